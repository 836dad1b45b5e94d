"""Normal durations, charts with their baselines, the Pareto of lost minutes, OEE figures of a line."""

from datetime import timedelta
from math import exp, log
from statistics import median

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from floorterm.changeover.minutes import minutes_spent
from floorterm.changeover.state import State
from floorterm.timestudy.busy import busy
from floorterm.timestudy.charting import Point, time_chart
from floorterm.timestudy.durations import Key, normal, promise, shrunk, spread
from floorterm.timestudy.lost import lost, work_of
from floorterm.timestudy.observed import Observation, observed
from floorterm.timestudy.study import Context, study
from tests.timestudy.made import BEGIN, released, usual

NOTHING = Context(families={}, bars_min={"L1": 240.0})
# NIST/SEMATECH e-Handbook 6.3.2.2, flow rate of a fluid; published limits 45.8159 and 55.8041
FLOW = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)


def _states(cleans: list[float]) -> list[State]:
    return [
        usual(clean, work=f"C-{n:04d}", begin=BEGIN + timedelta(days=n)) for n, clean in enumerate(cleans, 1)
    ]


def _seen(cleans: list[float]) -> list[Observation]:
    return [one for state in _states(cleans) for one in observed(state, {})]


@given(st.lists(st.floats(0.1, 500), min_size=2, max_size=40))
def test_promise_and_spread_are_those_of_a_library_of_statistics(values: list[float]) -> None:
    assert promise(values) == pytest.approx(float(numpy.percentile(values, 80)))
    deviations = numpy.abs(numpy.array(values) - numpy.median(values))
    assert spread(values) == pytest.approx(1.4826 * float(numpy.median(deviations)))


def test_eight_records_stand_for_themselves_and_fewer_lean_on_the_step() -> None:
    cleans = [10, 11, 12, 13, 14, 15, 16, 17.0]
    key = Key(step="s/clean", families=("a", "b"), crew=1)
    own = normal(key, _seen(cleans))
    assert own is not None
    assert (own.basis, own.count, own.median_min) == ("own", 8, 13.5)
    assert own.promise_min == pytest.approx(numpy.percentile(cleans, 80))
    other = normal(Key(step="s/clean", families=("a", "z"), crew=1), _seen(cleans))
    assert other is not None
    assert (other.basis, other.count, other.count_step, other.median_min) == ("step", 0, 8, 13.5)
    few = normal(key, _seen(cleans[:7]))
    assert few is not None
    assert (few.basis, few.promise_min) == ("few", None)
    assert few.long_min == pytest.approx(1.5 * few.median_min)
    assert normal(Key(step="s/none", families=("a", "b"), crew=1), _seen(cleans)) is None


def test_a_small_sample_is_drawn_towards_the_step_by_the_weight_of_five() -> None:
    """planning.md 3.5: m = (n * own + 5 * overall) / (n + 5) on the logarithm."""
    assert shrunk([20.0, 20.0, 20.0], 10.0) == pytest.approx(exp((3 * log(20) + 5 * log(10)) / 8))
    assert shrunk([], 10.0) == 10.0


def test_what_is_doubtful_is_counted_and_teaches_nothing() -> None:
    ticked = [("fetch", 4.0, "AA"), ("last", 5.0, "AA"), ("clean", 5.01, "AA"), ("fit", 10.0, "AA")]
    states = [*_states([12.0] * 8), released([*ticked, ("first", 14.0, "AA")], work="C-0009")]
    found = study(states, NOTHING, BEGIN + timedelta(days=30))
    assert found.doubtful == (("batch", 2),)
    clean = next(one for one in found.steps if one.step == "s/clean")
    assert (clean.normal.count_step, clean.normal.median_min) == (8, 12.0)


def test_the_published_chart_comes_out_of_the_logarithm_of_minutes() -> None:
    points = [
        Point(work=f"C-{n}", at=BEGIN + timedelta(days=n), minutes=exp(value / 10))
        for n, value in enumerate(FLOW)
    ]
    base = time_chart(points).chart.baseline
    assert base is not None
    assert (10 * log(base.lower), 10 * log(base.upper)) == pytest.approx((45.8159, 55.8041), abs=5e-5)
    assert time_chart(points[:7]).chart.standing == "too_few"


def test_a_proved_shift_begins_a_baseline_at_its_first_point_and_the_old_one_stays() -> None:
    before = [60.0, 64, 58, 62, 66, 59, 61, 65, 63, 57] * 3
    after = [70.0, 72, 69, 71, 73, 70, 72, 71, 69, 70]
    points = [
        Point(work=str(n), at=BEGIN + timedelta(days=n), minutes=value)
        for n, value in enumerate([*before, *after])
    ]
    found = time_chart(points)
    alone = time_chart(points[:30])
    assert found.chart.baseline == alone.chart.baseline
    assert alone.later == ()
    assert [one.first for one in found.later] == [30]
    assert found.later[0].baseline.centre == pytest.approx(exp(sum(map(log, after)) / len(after)))


def test_no_limits_come_out_of_values_that_were_made_in_different_ways() -> None:
    points = [
        Point(work=str(n), at=BEGIN + timedelta(days=n), minutes=60.0 + n, gap=n % 2 == 0) for n in range(12)
    ]
    assert time_chart(points).chart.baseline is None
    assert len(time_chart(points).points) == 12


def test_losses_are_sorted_by_their_sum_with_their_count_and_less_gains_they_are_the_gap() -> None:
    states = _states([16.0, 10.0, 10.0, 10.0, 10.0])
    minutes = [(one, found) for one in states if (found := minutes_spent(one, BEGIN)) is not None]
    found = lost(minutes)
    first = found.losses[0]
    assert (first.cause, first.step, first.seconds, first.count) == ("over", "s/clean", 360, 1)
    assert found.losses[-1].share == pytest.approx(1.0)
    assert first.few
    assert sum(one.seconds for one in found.losses) - found.gained_s == found.gap_s == 360
    assert not found.too_few
    assert lost(minutes[:4]).too_few


@given(st.lists(st.floats(1, 60), min_size=1, max_size=8))
def test_losses_less_gains_are_always_actual_less_planned(cleans: list[float]) -> None:
    minutes = [(one, found) for one in _states(cleans) if (found := minutes_spent(one, BEGIN)) is not None]
    found = lost(minutes)
    assert sum(one.seconds for one in found.losses) - found.gained_s == found.gap_s


def test_external_work_while_the_line_stood_is_told_apart() -> None:
    before = released([("fetch", 4.0, "AA"), ("last", 5.0, "AA"), ("clean", 15.0, "AA")])
    late = released([("last", 1.0, "AA"), ("fetch", 5.0, "AA"), ("clean", 15.0, "AA")])
    assert (work_of(observed(before, {})).external_s, work_of(observed(before, {})).external_stopped_s) == (
        240,
        0,
    )
    assert (work_of(observed(late, {})).external_s, work_of(observed(late, {})).external_stopped_s) == (
        0,
        240,
    )


def test_availability_is_what_is_left_of_busy_time_after_changeovers() -> None:
    """S1 of the reference's sequence: two changeovers of 99 min; here 480 min between the last good bars."""
    first = usual(90.0, counters={"last": 1_000, "first": 5_000})  # last good bar 5, released 104
    begin = BEGIN + timedelta(minutes=480)
    second = usual(90.0, work="C-0002", begin=begin, counters={"last": 5_000 + 90_000, "first": 1})
    (line,) = busy([second, first], {"L1": 240.0})
    assert (line.planned_busy_s, line.setup_s, line.production_s) == (480 * 60, 99 * 60, 381 * 60)
    assert line.availability == pytest.approx(381 / 480)
    assert line.setup_ratio == pytest.approx(99 / 480)
    assert line.item_s == 0.25
    assert line.effectiveness == pytest.approx(90_000 * 0.25 / (381 * 60))
    set_back = usual(90.0, work="C-0002", begin=begin, counters={"last": 10})
    (line,) = busy([first, set_back], {"L1": 240.0})
    assert line.effectiveness is None


def test_a_study_of_nothing_says_nothing() -> None:
    found = study([], NOTHING, BEGIN)
    assert (found.changeovers, found.steps, found.pairs, found.lines) == (0, (), (), ())
    assert found.lost.too_few
    assert found.chart_of("s/clean") is None


def test_pairs_have_their_median_and_no_promise_before_eight() -> None:
    few = study(_states([10.0, 12, 14]), NOTHING, BEGIN).pairs[0]
    assert (few.count, few.promise_min) == (3, None)
    assert few.median_min == median([19.0, 21, 23])
    many = study(_states([10.0, 12, 14, 16, 18, 20, 22, 24]), NOTHING, BEGIN).pairs[0]
    assert many.promise_min == pytest.approx(numpy.percentile([19, 21, 23, 25, 27, 29, 31, 33], 80))

"""Control chart, rounding and OEE, against published examples."""

from decimal import Decimal
from math import exp, log

import pytest
from hypothesis import given
from hypothesis import strategies as st

from floorterm.quality import QualityError, Signal, baseline, individuals, oee, rounded, rounded_up, signals

FLOW = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)


def test_the_published_individuals_chart() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.2, flow rate of a fluid."""
    found = baseline(FLOW)
    assert found.centre == pytest.approx(50.81)
    assert found.mean_range == pytest.approx(1.8778, abs=5e-5)
    assert (found.lower, found.upper) == pytest.approx((45.8159, 55.8041), abs=5e-5)
    assert found.range_upper == pytest.approx(6.1347, abs=5e-4)
    assert individuals(FLOW).signals == ()


def test_each_western_electric_rule_speaks_at_the_point_that_completes_it() -> None:
    """Western Electric handbook of 1956, the four rules; limits here are 0 +- 3."""
    base = baseline((0.0, 1.128, 0.0, -1.128, 0.0))
    assert (base.centre, base.sigma) == pytest.approx((0, 1))
    assert signals((0, 0, 3.1), base) == (Signal(2, 1),)
    assert signals((0, 0, 3.0), base) == ()
    assert signals((2.1, 0, 2.2), base) == (Signal(2, 2),)
    assert signals((2.1, 2.2, 0), base) == ()
    assert signals((1.1, 1.2, 0, 1.3, 1.4), base) == (Signal(4, 3),)
    assert signals((0.1,) * 8, base) == (Signal(7, 4),)
    assert signals((0.1,) * 4 + (0.0,) + (0.1,) * 4, base) == ()
    assert signals((-2.1, 0, 2.2), base) == ()


def test_under_eight_values_there_are_no_limits_and_under_twenty_they_are_on_trial() -> None:
    assert individuals(FLOW[:7]).standing == "too_few"
    assert individuals(FLOW[:7]).baseline is None
    assert individuals(FLOW[:8]).standing == "trial"
    assert individuals(FLOW * 2).standing == "full"
    risen = (1.0, 2.0) * 4 + (2.0,) * 8
    assert all(signal.rule == 1 for signal in individuals(risen).signals)


def test_equal_values_make_no_division_and_any_other_counts_as_changed() -> None:
    assert individuals((30.0,) * 8, logarithmic=True).signals == ()
    base = baseline((30.0,) * 8)
    assert signals((30.0, 31.0), base) == (Signal(1, 0),)


def test_minutes_are_charted_by_their_logarithm_and_limits_are_shown_in_minutes() -> None:
    minutes = tuple(exp(value / 10) for value in FLOW)
    found, plain = individuals(minutes, logarithmic=True).baseline, baseline(FLOW)
    assert found is not None
    assert 10 * log(found.upper) == pytest.approx(plain.upper)
    assert found.lower > 0
    with pytest.raises(QualityError):
        individuals((0.0,) * 8, logarithmic=True)


def test_no_range_is_taken_over_a_gap() -> None:
    assert baseline((1.0, 2.0, 50.0, 51.0), gaps=frozenset({2})).mean_range == pytest.approx(1.0)
    with pytest.raises(QualityError):
        baseline((1.0, 2.0), gaps=frozenset({1}))


@given(st.lists(st.floats(1, 100), min_size=8, max_size=40))
def test_limits_never_move_once_thirty_values_are_there(values: list[float]) -> None:
    more = individuals([*values, *[55.0] * 30][:30])
    later = individuals([*[*values, *[55.0] * 30][:30], 99.0, 1.0])
    assert more.baseline == later.baseline


def test_oee_of_the_published_press_line() -> None:
    """*TPM: A Route to World-Class Performance*, p. 127: planned 910, up 783 min, 203 cycles of 3 min."""
    found = oee(planned_busy_min=910, production_min=783, item_min=3, produced=203, good=203)
    assert found.availability == pytest.approx(0.860, abs=5e-4)
    assert found.effectiveness == pytest.approx(0.778, abs=5e-4)


def test_oee_of_the_common_textbook_set_is_good_items_by_planned_time() -> None:
    """Common textbook set: 480 planned, 420 run, 1 min a piece, 400 made, 380 good: 79.2 %."""
    found = oee(planned_busy_min=480, production_min=420, item_min=1, produced=400, good=380)
    assert (found.availability, found.effectiveness, found.quality_ratio) == pytest.approx(
        (0.875, 0.952, 0.95), abs=5e-4
    )
    assert found.oee == pytest.approx(380 / 480)


def test_the_definition_of_planned_time_moves_availability_by_nine_points() -> None:
    """SMRP Best Practices, 6th edition, OEE sample: 76.63 % of 16 h, 85.5 % of 14.34 h."""
    whole = oee(planned_busy_min=16 * 60, production_min=12.26 * 60, item_min=1, produced=1, good=1)
    less = oee(planned_busy_min=14.34 * 60, production_min=12.26 * 60, item_min=1, produced=1, good=1)
    assert whole.availability == pytest.approx(0.7663, abs=5e-5)
    assert less.availability == pytest.approx(0.855, abs=5e-4)


def test_a_wrong_time_per_item_is_flagged_and_not_clipped() -> None:
    found = oee(planned_busy_min=100, production_min=100, item_min=2, produced=60, good=60)
    assert found.suspicious
    assert found.effectiveness == pytest.approx(1.2)
    with pytest.raises(QualityError):
        oee(planned_busy_min=100, production_min=101, item_min=1, produced=1, good=1)


def test_a_half_goes_to_the_even_neighbour_and_up_never_means_down() -> None:
    """ISO 80000-1 rule A (from memory): 12.25 is 12.2, 12.35 is 12.4."""
    assert [str(rounded(Decimal(text), 1)) for text in ("12.25", "12.35", "-0.05")] == [
        "12.2",
        "12.4",
        "-0.0",
    ]
    assert rounded_up(Decimal("5.61"), Decimal("0.1")) == Decimal("5.7")
    assert rounded_up(Decimal("5.7"), Decimal("0.1")) == Decimal("5.7")

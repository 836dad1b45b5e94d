"""A flush under way, from the record alone: curve, live residual, check samples, another way."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from floorterm.changeover.checked import checked
from floorterm.changeover.compose import compose
from floorterm.changeover.flush_case import case_of
from floorterm.changeover.flush_live import (
    after_check,
    alternative,
    check_inputs,
    checks_of,
    curve_of,
    live,
    spread_of,
    still_possible,
    strategy_inputs,
    strategy_kg,
    way_in_hand,
)
from floorterm.changeover.flush_picture import picture
from floorterm.changeover.state import FlushProgress
from floorterm.changeover.view_flush import known_text, next_best_text, sure_text, ways
from floorterm.changeover.worksheet import FlushNote
from floorterm.flush import UnitStart, washout
from floorterm.flush.calibration_errors import CalibrationError, NotFallingError
from floorterm.flush.from_library import line_model
from floorterm.flush.progress import Spread
from floorterm.flush.samples import Sample, Samples
from floorterm.library.model import Library

DAY = date(2026, 11, 24)


@pytest.fixture(scope="module")
def note(library: Library) -> FlushNote:
    found = compose(library, "L2", "palmarosa", "petitgrain", DAY, compare=True).flush
    assert found is not None
    return found


def at(note: FlushNote, pushed: str = "0", inputs: Mapping[str, str] | None = None) -> FlushProgress:
    return FlushProgress(required_kg=note.required_kg, pushed_kg=Decimal(pushed), inputs=inputs or {})


def test_the_curve_of_the_record_is_that_of_the_line_with_its_floor(
    note: FlushNote, library: Library
) -> None:
    curve = curve_of(note)
    assert curve is not None
    assert note.rinse is not None
    wanted = washout(line_model(library.lines["L2"]), floor=float(note.rinse.floor))
    for kg in (0.0, 60.0, 150.0, 400.0):
        assert curve.residual(kg) == pytest.approx(wanted.residual(kg), rel=1e-12)
    diverted = curve_of(note, at(note, inputs={"strategy": "divert_flash"}))
    assert diverted is not None
    assert diverted.divert_flash
    assert curve_of(note, at(note, inputs={"strategy": "strip"})) is None
    later = {"strategy": "divert_flash", "from_kg": "80"}
    assert curve_of(note, at(note, inputs=later)) is None, "flash was returned before: another curve"


def test_the_live_residual_is_the_curve_with_a_band_around_it(note: FlushNote) -> None:
    curve = curve_of(note)
    assert curve is not None
    assert live(note, at(note)) is None
    found = live(note, at(note, "120"))
    assert found is not None
    assert found.residual == pytest.approx(curve.residual(120.0))
    factor = Spread(sd_log=0.15).upper(0.95)
    assert found.high == pytest.approx(curve.residual(120.0 / factor))
    assert found.low == pytest.approx(curve.residual(120.0 * factor))


def test_check_samples_of_one_flush_count_together_and_stand_in_the_inputs(
    note: FlushNote, library: Library
) -> None:
    """The same as asking once with all samples."""
    curve = curve_of(note)
    assert curve is not None
    first, second = (Sample(kg, curve.residual(kg / 1.1)) for kg in (110.0, 160.0))
    progress = at(note, "110")
    one = after_check(note, progress, first)
    assert one is not None
    inputs = check_inputs(progress, one)
    assert inputs["new_kg"] == f"{one.promise_kg}"
    progress = replace(progress, required_kg=Decimal(one.promise_kg), inputs=inputs)
    assert [read.m_kg for read in checks_of(progress)] == [110.0]
    both = after_check(note, progress, second)
    assert both is not None
    known = library.fragrances
    case = case_of(library, library.lines["L2"], (known["palmarosa"],), known["petitgrain"], DAY)
    whole = checked(case, Samples((first, second)))
    assert both.promise_kg == pytest.approx(whole.promise_kg, abs=1)
    assert both.learnt.spread.sd_log < one.learnt.spread.sd_log < 0.15
    taught = spread_of(note, check_inputs(progress, both))
    assert taught.median == pytest.approx(both.learnt.spread.median, rel=1e-5)
    assert taught.measured


def test_samples_that_do_not_fall_are_refused_also_across_two_dialogues(note: FlushNote) -> None:
    progress = at(note, "150")
    found = after_check(note, progress, Sample(100.0, 0.3))
    assert found is not None
    with pytest.raises(NotFallingError):
        after_check(note, replace(progress, inputs=check_inputs(progress, found)), Sample(150.0, 0.4))
    with pytest.raises(CalibrationError, match="not above"):
        after_check(note, progress, Sample(100.0, 1e-9))


def test_inputs_that_are_no_figures_teach_nothing(note: FlushNote) -> None:
    for inputs in (
        {},
        {"holdup_factor": "x", "holdup_sd": "0.1"},
        {"holdup_factor": "-1", "holdup_sd": "0.1"},
    ):
        assert spread_of(note, inputs) == Spread(sd_log=0.15)
    assert checks_of(at(note, inputs={"samples": "12:x;oops"})) == ()


def test_the_alternative_is_the_cheapest_other_allowed_way(note: FlushNote) -> None:
    found = alternative(note)
    assert found is not None
    others = [
        row for row in note.strategies if row.allowed and row.key != "push_through" and row.cost is not None
    ]
    assert found.row == min(others, key=lambda row: row.cost or 0)
    base = note.strategy("push_through")
    assert base is not None
    assert base.cost is not None
    assert found.row.cost is not None
    assert found.cost == base.cost - found.row.cost
    back = alternative(note, found.row.key)
    assert back is not None
    assert back.row.key != found.row.key
    assert alternative(replace(note, strategies=())) is None


def test_another_way_requires_its_own_kg_after_what_was_pushed(note: FlushNote) -> None:
    row = note.strategy("strip")
    push = note.strategy("push_through")
    assert row is not None
    assert push is not None
    assert row.kg is not None
    assert strategy_kg(note, at(note), row) == row.kg
    assert strategy_kg(note, at(note, "80"), row) == row.kg + 80
    assert strategy_kg(note, at(note, "80"), push) == push.kg
    inputs = strategy_inputs(note, at(note, "80"), row)
    assert (inputs["strategy"], inputs["old_strategy"]) == ("strip", "push_through")
    assert (inputs["old_kg"], inputs["new_kg"]) == (f"{note.required_kg}", f"{row.kg + 80}")
    assert way_in_hand(at(note, inputs=inputs)) == "strip"


FRACTION = st.floats(0.0, 1.0)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(FRACTION, FRACTION, FRACTION), min_size=3, max_size=3))
def test_a_line_that_is_less_full_never_needs_more_than_from_the_switch(
    library: Library, held: list[tuple[float, float, float]]
) -> None:
    """The bound behind a way begun later: whatever was pushed before, no part is fuller than at the switch."""
    line = line_model(library.lines["L2"])
    start = {
        unit.name: UnitStart(active=active, dead=dead, plug=plug)
        for unit, (active, dead, plug) in zip(line.units[line.dose_index :], held, strict=True)
    }
    from_full = washout(line, divert_flash=True).kg_to_reach(0.02)
    assert washout(line, divert_flash=True, start=start).kg_to_reach(0.02) <= from_full * (1 + 1e-7)


def test_ways_that_begin_at_the_switch_cannot_be_taken_later(library: Library) -> None:
    note = compose(library, "L1", "clove-leaf", "petitgrain", DAY, compare=True).flush
    assert note is not None
    early = note.strategy("stop_early")
    diverted = note.strategy("divert_flash")
    middle = note.strategy("intermediate")
    assert early is not None
    assert diverted is not None
    assert middle is not None
    assert still_possible(at(note), early)
    assert not still_possible(at(note, "10"), early)
    assert still_possible(at(note, "10"), diverted)
    assert not still_possible(at(note), middle), "not allowed"


def test_the_picture_holds_curve_crossing_and_band(note: FlushNote) -> None:
    curve = curve_of(note)
    assert curve is not None
    spread = Spread(median=1.1, sd_log=0.05, measured=True)
    found = picture(curve, float(note.limit), spread, 0.95)
    assert found.crossing_kg == pytest.approx(curve.kg_to_reach(float(note.limit)) * 1.1)
    assert found.points[-1][0] > found.crossing_kg * spread.upper(0.95) / 1.1
    for (kg, residual), (_, low, high) in zip(found.points, found.band, strict=True):
        assert low <= residual <= high
        assert residual == pytest.approx(curve.residual(kg / 1.1))


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_words_name_kg_measured_or_assumed_and_what_the_next_best_saves(
    note: FlushNote, language: str
) -> None:
    assert f"{note.sure_kg}" in sure_text(note, language)
    assert "95 %" in sure_text(note, language)
    found = alternative(note)
    assert found is not None
    text = next_best_text(note, None, language)
    assert f"{found.row.kg} kg" in text
    assert f"{round(abs(found.cost))} USD" in text
    assert known_text(replace(note, calibration_n=17), language).count("17") == 1
    views = ways(note, "push_through", language)
    assert [view.key for view in views] == [row.key for row in note.strategies]
    for view in views:
        assert view.allowed == (not view.reasons)
        assert view.mark or view.allowed


def test_words_of_a_way_that_costs_more_say_so(note: FlushNote) -> None:
    found = alternative(note)
    assert found is not None
    progress = FlushProgress(required_kg=Decimal(1), inputs={"strategy": found.row.key})
    assert "costs" in next_best_text(note, progress, "en")

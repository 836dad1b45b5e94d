"""Ways to flush a pair, computed from the plant's words, and what the worksheet keeps of them."""

from datetime import date
from decimal import Decimal
from math import isinf

import pytest
from msgspec.structs import replace

from floorterm.changeover.compose import compose
from floorterm.changeover.strategies import Comparison, compared, strategies_of
from floorterm.changeover.view_words import tell
from floorterm.changeover.worksheet import FlushNote, to_json, worksheet_from_json
from floorterm.entries import canonical
from floorterm.flush import Pair, residual_limit, washout
from floorterm.flush.from_library import bar, line_model, rules
from floorterm.library.flush_data import IntermediateSpec
from floorterm.library.model import Library
from floorterm.wording import sentence
from tests.library.helper import made

DAY = date(2026, 11, 24)


def without(library: Library, line: str) -> Library:
    """The starter plant with nothing stated about flushing on a line, and no prices."""
    bare = replace(library.lines[line], flushing=None)
    plant = replace(library.plant, prices=None)
    return replace(library, lines={**library.lines, line: bare}, plant=plant)


@pytest.fixture(scope="module")
def ways(library: Library) -> Comparison:
    return strategies_of(library, "L2", "palmarosa", "petitgrain", DAY)


def test_the_cheapest_allowed_way_is_proposed_and_the_next_one_named(ways: Comparison) -> None:
    allowed = sorted((row for row in ways.rows if row.allowed), key=lambda row: row.cost)
    assert (ways.proposed, ways.next_best) == (allowed[0], allowed[1])
    assert ways.currency == "USD"
    base = ways.row("push_through")
    assert base is not None
    assert ways.saved_kg("push_through") == 0
    assert ways.saved_kg("intermediate") is None


def test_pushing_through_is_what_the_worksheet_asks_for(library: Library, ways: Comparison) -> None:
    note = compose(library, "L2", "palmarosa", "petitgrain", DAY).flush
    assert note is not None
    row = ways.row("push_through")
    assert row is not None
    assert note.required_kg - 1 < row.m_star_kg <= note.required_kg
    assert note.strategies == ()


def planned(library: Library, fragrance: str, run_kg: int = 2500) -> Library:
    """Line 2 with a fragrance planned in between."""
    line = library.lines["L2"]
    assert line.flushing is not None
    between = made(IntermediateSpec, {"fragrance": fragrance, "run_kg": run_kg})
    flushing = replace(line.flushing, intermediate=between)
    lines = {**library.lines, "L2": replace(line, flushing=flushing)}
    return replace(library, lines=lines)


def test_a_fragrance_in_between_is_flushed_by_the_limits_of_both_switches(library: Library) -> None:
    """Against the washout: to the middle one at its own limit above the heel of its tank, then both old ones
    together.
    """
    found = strategies_of(planned(library, "juniper"), "L2", "palmarosa", "petitgrain", DAY).row(
        "intermediate"
    )
    assert found is not None
    assert found.allowed
    policy, known = rules(library.plant.limits, DAY), library.fragrances
    model = line_model(library.lines["L2"])
    first = residual_limit(bar(known["palmarosa"]), bar(known["juniper"]), policy).value
    curve = washout(model, divert_flash=model.returned_fraction > 0)
    before = curve.kg_to_reach(first)  # juniper has its own tank: no heel
    assert found.m_star_kg > before
    assert "juniper" in sentence(found.notes[0]).lower()
    assert "enebro" in sentence(found.notes[0], "es").lower()


@pytest.mark.parametrize("middle", ["palmarosa", "petitgrain"])
def test_one_of_the_pair_is_no_fragrance_in_between(library: Library, middle: str) -> None:
    found = strategies_of(planned(library, middle), "L2", "palmarosa", "petitgrain", DAY).row("intermediate")
    assert found is not None
    assert [say.key for say in found.reasons] == ["strategies.reason.no_intermediate"]


def test_the_record_speaks_of_units_as_people_do(library: Library) -> None:
    """No id of a unit stands in a sentence of the record, in either language."""
    note = compose(library, "L1", "clove-leaf", "juniper", DAY, compare=True).flush
    assert note is not None
    strip = note.strategy("strip")
    assert strip is not None
    assert any("Duplex vacuum plodder" in text["en"] for text in strip.notes)
    title = library.lines["L1"].units[4].title
    assert any(str(title.es) in text["es"] for text in strip.notes)
    assert note.unit_name("plodder")["en"] == "Duplex vacuum plodder"
    assert note.unit_name("gone") == {"en": "gone"}


def test_warnings_of_a_record_are_read_in_either_language(library: Library) -> None:
    note = compose(library, "L1", "clove-leaf", "juniper", DAY).flush
    assert note is not None
    assert note.warnings
    for warning in note.warnings:
        assert tell(warning, "en") != tell(warning, "es")
    kept = to_json(compose(library, "L1", "clove-leaf", "juniper", DAY))
    old = worksheet_from_json({**kept, "flush": {**kept["flush"], "warnings": ["Old."]}})
    assert old.flush is not None
    assert [tell(warning, "es") for warning in old.flush.warnings] == ["Old."]


def test_what_nobody_states_is_not_guessed(library: Library) -> None:
    found = strategies_of(without(library, "L2"), "L2", "palmarosa", "petitgrain", DAY)
    assert found.currency == ""
    reasons = {row.key: {say.key for say in row.reasons} for row in found.rows}
    assert "strategies.reason.no_heels" in reasons["run_out"]
    assert "strategies.reason.no_cleaning" in reasons["strip"]
    assert "strategies.reason.one_sided" in reasons["stop_early"]
    assert {"strategies.reason.no_noodles", "strategies.reason.no_strength"} <= reasons["noodles_first"]
    for row in found.rows:
        if row.allowed:
            assert row.cost == pytest.approx(row.diverted_kg), "without prices the cost is the soap itself"


def test_a_claim_closes_every_way_but_stripping(library: Library) -> None:
    found = strategies_of(library, "L2", "palmarosa", "plain", DAY)
    assert [row.key for row in found.rows if row.allowed] == ["strip"]
    assert all(row.allowed or row.reasons for row in found.rows)


@pytest.fixture(scope="module")
def note(library: Library) -> FlushNote:
    found = compose(library, "L2", "palmarosa", "petitgrain", DAY, compare=True).flush
    assert found is not None
    return found


def test_the_note_keeps_the_ways_with_figures_rounded_to_the_safe_side(
    note: FlushNote, ways: Comparison
) -> None:
    assert [one.key for one in note.strategies] == [row.key for row in ways.rows]
    assert (note.proposed, note.next_best) == (
        ways.proposed and ways.proposed.key,
        ways.next_best and ways.next_best.key,
    )
    for kept, row in zip(note.strategies, ways.rows, strict=True):
        assert kept.allowed == row.allowed
        if isinf(row.diverted_kg):
            assert kept.kg is kept.cost is None
        else:
            assert kept.kg is not None
            assert kept.minutes is not None
            assert kept.kg - 1 < Decimal(repr(row.m_star_kg)) <= kept.kg
            assert kept.minutes - 1 < row.critical_min <= kept.minutes + 1e-9
        for text in (*kept.reasons, *kept.notes):
            assert set(text) == {"en", "es", "de"}
            assert len(set(text.values())) == 3


def test_a_worksheet_with_its_ways_is_the_same_when_read_back(library: Library) -> None:
    sheet = compose(library, "L2", "palmarosa", "petitgrain", DAY, compare=True)
    again = worksheet_from_json(to_json(sheet))
    assert again == sheet
    assert canonical(to_json(again)) == canonical(to_json(sheet))


def test_the_sure_figure_is_the_crossing_of_the_largest_likely_holdup(note: FlushNote) -> None:
    """exp(1.6449 x 0.15) = 1.2798: the normal quantile of 0.95 is tabulated as 1.6449."""
    assert note.confidence == Decimal("0.95")
    assert note.spread == Decimal("0.15")
    assert note.sure_kg is not None
    assert float(note.sure_kg) == pytest.approx(float(note.required_kg) * 1.2798, abs=2.5)
    assert note.calibration_n is None


@pytest.mark.parametrize(("spread", "everything"), [(0.0, False), (5.0, True)])
def test_ties_are_marked_within_the_uncertainty_of_the_holdup(
    library: Library, *, spread: float, everything: bool
) -> None:
    """A holdup that nobody knows at all makes every way as good as the next; a known one separates them."""
    model = line_model(library.lines["L2"])
    found = compared(library, "L2", model, Pair(limit=0.02), spread)
    assert found.proposed is not None
    others = [row for row in found.rows if row.allowed and row is not found.proposed]
    assert others
    assert {row.tied for row in others} == {everything}
    assert not found.proposed.tied

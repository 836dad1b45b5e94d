"""The heel of a shared dosing tank as the floor of the flush: rinses, dose ratio, the safe assumption, no room."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal

import pytest
from msgspec.structs import asdict, replace

from floorterm.changeover.compose import compose
from floorterm.changeover.view_words import tell
from floorterm.changeover.worksheet import FlushNote, to_json, worksheet_from_json
from floorterm.flush import residual_limit, washout
from floorterm.flush.from_library import bar, line_model, rules
from floorterm.library.flush_data import PriceList
from floorterm.library.model import DosingTank, Library
from tests.library.helper import made

DAY = date(2026, 11, 24)


def note_of(
    library: Library, outgoing: str, incoming: str, line: str = "L1", *, traces: tuple[str, ...] = ()
) -> FlushNote:
    note = compose(library, line, outgoing, incoming, DAY, traces=traces).flush
    assert note is not None
    return note


def with_tank(library: Library, **changed: object) -> Library:
    """The starter plant with another tank 12."""
    line = library.lines["L1"]
    tanks = tuple(
        made(DosingTank, {**asdict(tank), **changed}) if tank.id == "T12" else tank for tank in line.tanks
    )
    lines: Mapping[str, object] = {**library.lines, "L1": replace(line, tanks=tanks)}
    return replace(library, lines=lines)


def limit_of(library: Library, outgoing: str, incoming: str) -> float:
    policy = rules(library.plant.limits, DAY)
    return residual_limit(bar(library.fragrances[outgoing]), bar(library.fragrances[incoming]), policy).value


def test_the_floor_is_the_rinsed_heel_diluted_by_the_fill_in_doses_of_the_old_oil(library: Library) -> None:
    """By hand: (0.3/12.3)^k of the heel stays, times 0.3/80.3 after the fill, times the ratio of the doses."""
    note = note_of(library, "clove-leaf", "geranium")
    assert note.rinse is not None
    assert (note.rinse.tank, note.rinse.held, note.rinse.assumed) == ("T12", "clove-leaf", False)
    assert (note.rinse.rinses, note.rinse.rinse_kg) == (1, Decimal(12))
    doses = library.fragrances["geranium"].dose / library.fragrances["clove-leaf"].dose
    expected = 0.3 / 12.3 * 0.3 / 80.3 * float(doses)
    assert float(note.rinse.floor) == pytest.approx(expected, rel=1e-9)


def test_the_flush_is_the_crossing_above_the_floor(library: Library) -> None:
    note = note_of(with_tank(library, heel_kg=3), "clove-leaf", "geranium")
    assert note.rinse is not None
    curve = washout(line_model(library.lines["L1"]), floor=float(note.rinse.floor))
    kg = curve.kg_to_reach(limit_of(library, "clove-leaf", "geranium"))
    assert note.required_kg - 1 < kg <= note.required_kg
    assert note.required_kg > note_of(library, "clove-leaf", "geranium").required_kg


def test_more_heel_asks_for_more_rinses_until_the_flush_no_longer_pays_for_them(library: Library) -> None:
    rinses = []
    for heel in ("0.1", "3", "12"):
        rinse = note_of(with_tank(library, heel_kg=heel), "clove-leaf", "petitgrain").rinse
        assert rinse is not None
        rinses.append(rinse.rinses)
    assert rinses == sorted(rinses)
    assert rinses[0] == 1 < rinses[-1]


def test_without_prices_the_fewest_rinses_that_leave_the_flush_nearly_as_short_as_a_clean_tank(
    library: Library,
) -> None:
    plain = replace(library, plant=replace(library.plant, prices=None))
    found = note_of(with_tank(plain, heel_kg=12), "clove-leaf", "petitgrain")
    clean = note_of(with_tank(plain, heel_kg=0), "clove-leaf", "petitgrain")
    assert found.rinse is not None
    assert found.required_kg <= clean.required_kg * Decimal("1.05") + 1
    share = 0.5 ** (found.rinse.rinses - 1) * 12 / 92
    doses = float(library.fragrances["petitgrain"].dose / library.fragrances["clove-leaf"].dose)
    curve = washout(line_model(library.lines["L1"]), floor=min(share * doses, 0.99))
    assert curve.kg_to_reach(limit_of(library, "clove-leaf", "petitgrain")) > 1.05 * float(clean.required_kg)


def test_dear_rinses_are_fewer_than_cheap_ones(library: Library) -> None:
    def rinses(per_kg: str) -> int:
        prices = made(
            PriceList,
            {"currency": "USD", "soap_kg": "2", "rinse_kg": per_kg, "rinse_each": "1", "evidence": "guessed"},
        )
        plant = replace(library.plant, prices=prices)
        priced = with_tank(replace(library, plant=plant), heel_kg=6)
        rinse = note_of(priced, "clove-leaf", "petitgrain").rinse
        assert rinse is not None
        return rinse.rinses

    assert rinses("500") < rinses("0")


def test_a_tank_that_held_something_else_counts_as_the_fragrance_that_leaves_least_room(
    library: Library,
) -> None:
    """Juniper has its own tank, so nobody knows what tank 12 held; every user of it is tried."""
    note = note_of(library, "juniper", "petitgrain")
    assert note.rinse is not None
    assert note.rinse.assumed
    own = limit_of(library, "juniper", "petitgrain")
    share = 0.3 / 12.3 * 0.3 / 80.3
    users = [
        one for one in library.fragrances.values() if one.tanks.get("L1") == "T12" and one.id != "petitgrain"
    ]
    dose = library.fragrances["petitgrain"].dose
    worst = {
        one.id: share * float(dose / one.dose) * own / limit_of(library, one.id, "petitgrain")
        for one in users
    }
    assert note.rinse.held == max(worst, key=lambda name: worst[name])
    assert float(note.rinse.floor) == pytest.approx(max(worst.values()), rel=1e-9)
    assert any(
        "The record does not say what tank T12 held last" in tell(warning, "en") for warning in note.warnings
    )


def test_what_the_record_says_a_tank_held_last_is_counted_and_no_longer_assumed(library: Library) -> None:
    note = compose(library, "L1", "juniper", "petitgrain", DAY, tanks={"T12": "litsea"}).flush
    assert note is not None
    assert note.rinse is not None
    assert (note.rinse.held, note.rinse.assumed) == ("litsea", False)
    assert not any("does not say" in tell(warning, "en") for warning in note.warnings)
    worst = note_of(library, "juniper", "petitgrain").rinse
    assert worst is not None
    assert note.rinse.floor <= worst.floor


def test_a_tank_that_held_the_incoming_fragrance_last_brings_nothing(library: Library) -> None:
    note = compose(library, "L1", "juniper", "petitgrain", DAY, tanks={"T12": "petitgrain"}).flush
    assert note is not None
    assert note.rinse is None


def test_the_outgoing_fragrance_of_the_same_tank_counts_whatever_was_recorded_before(
    library: Library,
) -> None:
    note = compose(library, "L1", "clove-leaf", "petitgrain", DAY, tanks={"T12": "petitgrain"}).flush
    assert note is not None
    assert note.rinse is not None
    assert note.rinse.held == "clove-leaf"


def test_what_the_tank_brings_and_what_the_line_holds_keep_every_linear_rule_together(
    library: Library,
) -> None:
    """Mass balance by hand at the crossing: eugenol of clove left in the tank and juniper left in the line."""
    heavy = with_tank(library, heel_kg=6, rinse_kg=3)
    note = note_of(heavy, "juniper", "geranium")
    assert note.rinse is not None
    assert note.rinse.enough
    share = (6 / 9) ** note.rinse.rinses * 6 / 86
    dose = library.fragrances["geranium"].dose
    for old in ("clove-leaf", "litsea", "palmarosa"):
        left = washout(line_model(library.lines["L1"])).residual(float(note.required_kg))
        tank = share * float(dose / library.fragrances[old].dose) * (1 - left)
        used = left / limit_of(library, "juniper", "geranium") + tank / limit_of(library, old, "geranium")
        assert used <= 1 + 1e-9


def test_a_tank_that_no_rinse_makes_clean_enough_is_unreachable_and_says_so(library: Library) -> None:
    note = note_of(with_tank(library, heel_kg=60, rinse_kg=1), "clove-leaf", "petitgrain")
    assert note.status == "unreachable"
    assert (note.required_kg, note.bars) == (0, 0)
    assert note.rinse is not None
    assert not note.rinse.enough
    assert any(
        "even 12 rinses of 1 kg leave more in the feed" in tell(warning, "en") for warning in note.warnings
    )


def test_dedicated_tanks_and_bars_without_fragrance_bring_nothing(library: Library) -> None:
    assert note_of(library, "clove-leaf", "juniper").rinse is None
    assert note_of(library, "clove-leaf", "plain").rinse is None


def test_a_heel_that_nobody_stated_is_said_and_counts_as_none(library: Library) -> None:
    note = note_of(with_tank(library, heel_kg=0), "clove-leaf", "geranium")
    assert note.rinse is None
    assert any(
        "heel of the shared tank T12 is not stated" in tell(warning, "en") for warning in note.warnings
    )


def test_the_dosing_steps_say_how_often_to_rinse_and_with_how_much(library: Library) -> None:
    sheet = compose(with_tank(library, heel_kg=12), "L1", "clove-leaf", "petitgrain", DAY)
    assert sheet.flush is not None
    rinse = sheet.flush.rinse
    assert rinse is not None
    assert rinse.rinses > 1
    step = next(step for step in sheet.steps() if step.id.endswith("/rinse"))
    assert f"{rinse.rinses} x 12 kg" in step.text["en"]
    assert f"{rinse.rinses} x 12 kg" in step.text["es"]
    assert worksheet_from_json(to_json(sheet)) == sheet

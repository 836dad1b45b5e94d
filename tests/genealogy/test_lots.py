"""Lots of a real plant: named by steps, taken, filled, judged, traced; at a shell and on a screen."""

import json
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from floorterm.changeover.acts import CorrectStep, SignStep
from floorterm.cli import main
from floorterm.demo import shipped
from floorterm.demo.clock import SetClock
from floorterm.genealogy import Lot, backward
from floorterm.genealogy.reading import JUDGED, MADE, TAKEN
from floorterm.ledger import Ledger, RefusedError
from floorterm.library import load, starter_folder
from floorterm.lots import carry_kg, judge, links_of, make, past, take
from floorterm.plant import Plant
from floorterm.terminal.views.lots import answer_lines
from tests.conftest import PIN, START, who
from tests.terminal.shell import SMALL, opened, recorded, sign_in, text_of, until, until_top

BIN = Lot("bin", "BIN-7")
LAST = datetime(2026, 11, 24, 21, 20, tzinfo=UTC)  # after the demo's newest entry


@pytest.fixture
def filled(plant: Plant, clock: SetClock) -> Plant:
    """L1 makes a scented bar, takes a bag, fills a bin of what it holds; an hour passes."""
    scented = (one.id for one in plant.library.fragrances.values() if "L1" in one.lines and not one.unscented)
    fragrance = next(scented)
    plant.state_holds(who(plant, "SS"), "L1", (fragrance,), "as found", key="h0")
    take(plant, who(plant, "AA"), "L1", Lot("noodles", "N-1"), facts={"cure_age_d": Decimal(12)}, key="t1")
    clock.advance(timedelta(minutes=30))
    make(plant, who(plant, "AA"), "L1", BIN, START, kg=Decimal(40), fragrances=(fragrance,), key="m1")
    clock.advance(timedelta(minutes=30))
    return plant


def _keys(fault: RefusedError) -> list[str]:
    return [one.say.key.removeprefix("lots.") for one in fault.refusals]


def test_rework_goes_in_only_as_it_was_released(filled: Plant, clock: SetClock) -> None:
    own = filled.holds("L1").fragrances[0]
    with pytest.raises(RefusedError) as fault:
        take(filled, who(filled, "AA"), "L1", BIN, share_pct=Decimal(5), key="t2")
    assert _keys(fault.value) == ["not_released"]
    with pytest.raises(RefusedError) as fault:
        take(filled, who(filled, "AA"), "L1", Lot("bin", "BIN-8"), share_pct=Decimal(5), key="t3")
    assert _keys(fault.value) == ["unknown_bin"]
    with pytest.raises(RefusedError) as fault:
        judge(filled, who(filled, "AA"), BIN, "released", "", key="j1")
    assert _keys(fault.value) == ["supervisor", "into_what", "reason"]
    judge(filled, who(filled, "SS"), BIN, "released", "own, fresh", into=(own,), key="j2")
    with pytest.raises(RefusedError) as fault:
        take(filled, who(filled, "AA"), "L1", BIN, share_pct=Decimal("10.1"), key="t4")
    assert _keys(fault.value) == ["share"]
    clock.advance(timedelta(days=31))
    with pytest.raises(RefusedError) as fault:
        take(filled, who(filled, "AA"), "L1", BIN, share_pct=Decimal(10), key="t5")
    assert _keys(fault.value) == ["too_old"]
    assert filled.ledger.entries(kinds=(TAKEN,))[-1].value["lot"] == "N-1"


def test_rework_of_another_fragrance_has_the_smaller_limit_and_none_goes_into_unscented(
    filled: Plant, clock: SetClock
) -> None:
    own = filled.holds("L1").fragrances[0]
    others = [one for one in filled.library.fragrances.values() if "L1" in one.lines and one.id != own]
    scented = next(one.id for one in others if not one.unscented)
    bare = next(one.id for one in others if one.unscented)
    judge(filled, who(filled, "SS"), BIN, "released", "ok", into=(scented, bare), key="j")
    with pytest.raises(RefusedError) as fault:
        take(filled, who(filled, "AA"), "L1", BIN, share_pct=Decimal(1), key="t2")
    assert _keys(fault.value) == ["not_into"]
    filled.state_holds(who(filled, "SS"), "L1", (scented,), "as found", key="h1")
    with pytest.raises(RefusedError) as fault:
        take(filled, who(filled, "AA"), "L1", BIN, share_pct=Decimal("2.5"), key="t3")
    assert _keys(fault.value) == ["share"]
    assert (
        take(filled, who(filled, "AA"), "L1", BIN, share_pct=Decimal(2), key="t4").value["share_pct"] == "2"
    )
    filled.state_holds(who(filled, "SS"), "L1", (bare,), "as found", key="h2")
    with pytest.raises(RefusedError) as fault:
        take(filled, who(filled, "AA"), "L1", BIN, share_pct=Decimal(1), key="t5")
    assert "unscented" in _keys(fault.value)


def test_a_name_stands_once_and_a_filling_begins_before_it_ends(filled: Plant, clock: SetClock) -> None:
    with pytest.raises(RefusedError) as fault:
        make(filled, who(filled, "AA"), "L1", BIN, clock() + timedelta(hours=1), kg=Decimal(0), key="m2")
    assert _keys(fault.value) == ["made_before", "no_kg", "begun_later"]


def test_no_more_is_filled_than_the_line_can_make_in_the_time(filled: Plant, clock: SetClock) -> None:
    """Kg that never left would let go of a lot too early, and nothing takes them back."""
    rate = filled.library.lines["L1"].rate_kg_h
    pallet, begun = Lot("pallet", "P-1"), clock() - timedelta(minutes=30)
    with pytest.raises(RefusedError) as fault:
        make(filled, who(filled, "AA"), "L1", pallet, begun, kg=rate, key="m2")
    assert _keys(fault.value) == ["too_much"]
    make(filled, who(filled, "AA"), "L1", pallet, begun, kg=rate / 2, key="m3")
    at_once = Lot("pallet", "P-2")
    make(filled, who(filled, "AA"), "L1", at_once, clock(), kg=rate / 60, key="m4")


def test_what_a_line_carries_is_counted_by_its_own_holdups(plant: Plant) -> None:
    line = plant.library.lines["L1"]
    content = sum(unit.mixed_kg + unit.plug_kg for unit in line.units) + line.return_kg
    assert carry_kg(plant)["L1"] == 3 * content


def test_steps_of_a_changeover_name_lots_that_are_in_use_once_the_line_stands_for_it() -> None:
    """The demo's first changeover: what its preparation scanned, from the first step for which the line stands."""
    plant = Plant(load(starter_folder()), Ledger.open(shipped(), read_only=True), "test")
    found = past(plant)
    noodles = [one for one in found.taken if one.lot.sort == "noodles" and one.line == "L1"]
    assert noodles
    assert dict(noodles[0].facts)["cure_age_d"]
    entry = plant.ledger.entry(noodles[0].n)
    assert entry.step == "prep/noodle-lot"
    assert noodles[0].at > entry.at, "prepared while the line still ran the other fragrance"
    pallets = [one for one in found.made if one.lot.sort == "pallet"]
    assert pallets
    touched = backward(pallets[0].lot, links_of(plant, found))
    assert {"noodles", "packing"} <= {one.lot.sort for one in touched}


# --- at a shell -------------------------------------------------------------------------------------


def _run(plant: Plant, *arguments: str, pins: int = 0) -> Result:
    place = ["--db", str(plant.ledger.path)]
    return CliRunner().invoke(main, ["lots", *arguments, *place], input=f"{PIN}\n" * pins)


def test_lots_at_a_shell(filled: Plant) -> None:
    own = filled.holds("L1").fragrances[0]
    told = _run(filled, "judge", "bin:BIN-7", "waste", "--reason", "floor soap", "--by", "SS", pins=1)
    assert told.exit_code == 0, told.output
    refused = _run(filled, "take", "L1", "bin:BIN-7", "--share", "5", "--by", "AA", pins=1)
    assert refused.exit_code == 1
    assert "quarantine or waste" in refused.stderr
    traced = _run(filled, "trace", "noodles:N-1", "--json")
    (row,) = json.loads(traced.output)["forward"]
    assert (row["sort"], row["lot"], row["carried"], row["taken"]["cure_age_d"]) == (
        "bin",
        "BIN-7",
        False,
        "12",
    )
    assert "In BIN-7 there may be:" in _run(filled, "trace", "bin:BIN-7").output
    assert own not in _run(filled, "list").output
    assert _run(filled, "trace", "oil:none").exit_code == 1
    assert _run(filled, "trace", "soap:none").exit_code == 2
    assert _run(filled, "take", "L1", "oil:O", "--share", "NaN", "--by", "AA").exit_code == 2


def test_a_lot_whose_name_was_corrected_is_not_said_to_be_unknown(tmp_path: Path) -> None:
    """Whoever asks for the name that was corrected may hold the right one in their hands."""
    copy = tmp_path / "demo.db"
    copy.write_bytes(shipped().read_bytes())
    plant = Plant(load(starter_folder()), Ledger.open(copy, clock=SetClock(LAST)), "T1")
    officer, signed = who(plant, "CI"), plant.ledger.entries(changeover="C-0011", kinds=(SignStep.KIND,))
    n = next(one.n for one in signed if one.step == "prep/noodle-lot")
    for text in ("N-A", "N-B"):
        act = CorrectStep(step="prep/noodle-lot", corrects=n, text=text, reason="read wrongly")
        n = plant.act("C-0011", act, officer, key=text).n
    unknown = _run(plant, "trace", "noodles:N-A")
    assert unknown.exit_code == 1
    assert f"Entry {n} corrected the lot N-A to N-B" in unknown.stderr
    known = _run(plant, "trace", "noodles:N-B", "--json")
    assert json.loads(known.stdout)["corrections"] == [{"entry": n, "was": "N-A", "now": "N-B"}]
    lines = answer_lines(plant, past(plant), Lot("noodles", "N-B"), 76, "en")
    assert any("corrected the lot N-A" in "".join(span.text for span in line) for line in lines)


# --- on a screen ------------------------------------------------------------------------------------


async def test_lots_are_taken_filled_judged_and_traced_at_80x24(plant: Plant, clock: SetClock) -> None:
    async with opened(plant, size=SMALL) as (app, pilot):
        await pilot.press("f8")
        await until_top(pilot, "ShiftScreen")
        await pilot.press("f4")
        await until_top(pilot, "EntriesScreen")
        await pilot.press("f6")
        await until_top(pilot, "LotsScreen")
        assert "No lot is recorded in the last 31 days." in text_of(app)

        await pilot.press("f5")
        await until_top(pilot, "MenuScreen")
        await pilot.press("1")  # line L1
        await until(pilot, lambda: "What is it?" in text_of(app))
        await pilot.press("1")  # noodles
        await _type(pilot, "N-42")
        await _type(pilot, "12")
        await _type(pilot, "...")
        await until(pilot, lambda: "That is no number" in text_of(app))
        await pilot.press("backspace", "backspace", "backspace")
        await _type(pilot, "")
        await sign_in(pilot, "AA")
        await recorded(pilot, plant, TAKEN)
        (entry,) = plant.ledger.entries(kinds=(TAKEN,))
        assert entry.value == {"sort": "noodles", "lot": "N-42", "facts": {"cure_age_d": "12"}}

        clock.advance(timedelta(minutes=10))
        await pilot.press("f6")
        await until_top(pilot, "MenuScreen")
        await pilot.press("1")
        await until(pilot, lambda: "What is it?" in text_of(app))
        await pilot.press("2")  # a bin
        await _type(pilot, "BIN-1")
        await _type(pilot, "06:05")
        await _type(pilot, "25")
        await recorded(pilot, plant, MADE)
        (entry,) = plant.ledger.entries(kinds=(MADE,))
        assert (entry.value["kg"], entry.value["begun"][:16]) == ("25", "2026-11-24T13:05")
        await until(pilot, lambda: "quarantine" in text_of(app))

        await pilot.press("home", "enter")
        await until_top(pilot, "ReadScreen")
        await until(pilot, lambda: "In BIN-1 there may be:" in text_of(app) and "N-42" in text_of(app))
        await pilot.press("escape")
        await until_top(pilot, "LotsScreen")
        app.session.begin(plant.ledger.person("SS"))
        await pilot.press("f7")
        await until_top(pilot, "MenuScreen")
        await pilot.press("2")  # waste
        await _type(pilot, "floor soap")
        await sign_in(pilot, "SS")
        await recorded(pilot, plant, JUDGED)
        await until(pilot, lambda: "waste" in text_of(app))


async def _type(pilot, text: str) -> None:  # type: ignore[no-untyped-def]
    await until_top(pilot, "AskScreen")
    await pilot.press(*text, "enter")
    await pilot.pause()

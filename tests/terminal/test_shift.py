"""Shift: which shift it is, what waits, decisions and releases, and looking back at the record."""

from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest

from floorterm.changeover.acts import Abandon, Dispose, Note, RaiseDeviation, Release
from floorterm.demo.clock import SetClock
from floorterm.entries import Draft
from floorterm.ledger import PinError
from floorterm.ledger.pins import BURST
from floorterm.ledger.restored import RESTORED, Known, Restored
from floorterm.plant import Plant
from floorterm.terminal.app import FloorApp
from floorterm.terminal.plain import shift_text
from floorterm.terminal.views.lines import Names
from floorterm.terminal.views.record import entry_lines, kind_text, whole_entry
from floorterm.terminal.views.shift import shift_rows
from floorterm.terminal.views.text import Line
from floorterm.terminal.widgets.keys import KeyBar
from floorterm.wording import LANGUAGES, words
from tests.changeover.sheets import PELL, PLANT, TAMM
from tests.changeover.test_late import begun, paper
from tests.conftest import who
from tests.terminal.shell import (
    COMFORTABLE,
    SMALL,
    opened,
    recorded,
    rows,
    sign_in,
    tap_key,
    tap_row,
    text_of,
    until,
    until_top,
)

ZONE = ZoneInfo("America/Denver")


# --- what the screen says ---------------------------------------------------------------------------


def _work_with_deviation(plant: Plant) -> str:
    work = plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "begin").work
    plant.act(work, RaiseDeviation(text="bars crack", critical="quality"), who(plant, "AA"), key="raise")
    return work


@pytest.mark.parametrize("size", [SMALL, COMFORTABLE])
async def test_shift_shows_what_waits_and_what_ran(plant: Plant, size: tuple[int, int]) -> None:
    work = _work_with_deviation(plant)
    async with opened(plant, size) as (app, pilot):
        await pilot.press("f8")
        await until_top(pilot, "ShiftScreen")
        text = text_of(app)
        for part in (
            "early shift, Tue 2026-11-24", "1 deviation waits for a decision", "bars crack", "QUALITY",
            "Plain > Clove leaf", "under way", work,
        ):  # fmt: skip
            assert part in text


async def test_a_supervisor_is_told_of_many_wrong_pins_and_enter_leads_to_the_entries(
    plant: Plant, clock: SetClock
) -> None:
    for number in range(BURST):
        with pytest.raises(PinError):
            plant.ledger.check_pin("AA", "975310", terminal=f"T{number}")
        clock.advance(timedelta(minutes=15))
    told = "\n".join(shift_text(plant, "en"))
    async with opened(plant) as (app, pilot):
        await pilot.press("f8")
        await until_top(pilot, "ShiftScreen")
        for part in (
            "1 warning about wrong PINs",
            "20 wrong PINs in a row, the last at T19",
            "AA",
            "ASK THEM",
        ):
            assert part in text_of(app)
            assert part in told
        await pilot.press("enter")
        await until_top(pilot, "EntriesScreen")
        assert "many wrong PINs" in text_of(app)


@pytest.mark.parametrize("language", LANGUAGES)
async def test_a_restore_is_told_with_the_locks_that_may_have_moved_since(
    plant: Plant, language: str
) -> None:
    """What came after the copy is not in the record, a lock that was put on or taken off among it."""
    head = plant.ledger.head()
    known = Known(head.n + 3, "0" * 64, head.chain)
    value = Restored(chain="new", was=head.chain, kept_n=head.n, kept_hash=head.hash, known=known).value()
    draft = Draft(kind=RESTORED, key="r", person="SS", witness="VV", terminal="cli", value=value)
    plant.ledger.unit_of_work(lambda transaction: transaction.append((draft,)))
    told = "\n".join(shift_text(plant, language))
    async with opened(plant, language=language) as (app, pilot):
        await pilot.press("f8")
        await until_top(pilot, "ShiftScreen")
        for key in ("shift_restored", "restored_from", "restored_lost", "restored_look"):
            said = words(f"terminal.{key}", language, ends=head.n, missing=3)
            assert said in text_of(app)
            assert said in told


async def test_a_supervisor_decides_by_keys(plant: Plant) -> None:
    _work_with_deviation(plant)
    async with opened(plant) as (app, pilot):
        await pilot.press("f8")
        await until_top(pilot, "ShiftScreen")
        await pilot.press("enter")
        await until_top(pilot, "MenuScreen")
        await pilot.press("2")
        await until_top(pilot, "AskScreen")
        await pilot.press("c", "u", "t", "space", "o", "k", "enter")
        await sign_in(pilot, "SS")
        await recorded(pilot, plant, Dispose.KIND)
        entry = plant.ledger.entries(kinds=(Dispose.KIND,))[0]
        assert (entry.value["decision"], entry.reason, entry.identity) == ("rework", "cut ok", "pin")
        await until(pilot, lambda: "deviation waits" not in text_of(app))


async def test_a_supervisor_decides_by_touch(plant: Plant) -> None:
    _work_with_deviation(plant)
    async with opened(plant, COMFORTABLE) as (app, pilot):
        app.session.begin(plant.ledger.person("SS"))
        await tap_key(pilot, "f8")
        await until_top(pilot, "ShiftScreen")
        await tap_key(pilot, "f5")
        await until_top(pilot, "MenuScreen")
        await tap_row(pilot, "accept")
        await until_top(pilot, "AskScreen")
        from floorterm.terminal.widgets.entry import Pad

        pad = app.screen.query_one(Pad)
        await until(pilot, lambda: pad.size.width > 0)
        for letter in "ok":
            at = pad.zone_of(letter)
            assert at is not None
            await pilot.click(pad, offset=at)
            await pilot.pause()
        await tap_key(pilot, "enter")
        await sign_in(pilot, "SS")
        await recorded(pilot, plant, Dispose.KIND)
        assert plant.ledger.entries(kinds=(Dispose.KIND,))[0].reason == "ok"


async def test_an_operator_cannot_decide_and_is_told_whom_to_call(plant: Plant) -> None:
    _work_with_deviation(plant)
    async with opened(plant) as (app, pilot):
        await pilot.press("f8")
        await until_top(pilot, "ShiftScreen")
        await pilot.press("enter")
        await until_top(pilot, "MenuScreen")
        await pilot.press("1")
        await until_top(pilot, "AskScreen")
        await pilot.press("o", "k", "enter")
        await sign_in(pilot, "BB")
        await until(pilot, lambda: "supervisor" in text_of(app) and "NOT RECORDED" in text_of(app))
        assert plant.ledger.entries(kinds=(Dispose.KIND,)) == []


def _settles(app: FloorApp) -> tuple[str, bool]:
    """What F5 says, and whether it can be pressed."""
    cap = next(cap for cap in app.screen.query_one("#keys", KeyBar).caps if cap.key == "f5")
    return cap.label, cap.enabled


async def test_release_is_offered_only_when_nothing_else_is_left(plant: Plant) -> None:
    _work_with_deviation(plant)
    async with opened(plant) as (app, pilot):
        await pilot.press("f8")
        await until_top(pilot, "ShiftScreen")
        assert _settles(app) == ("decide", True)  # the first row is the deviation that waits
        await pilot.press("down")  # the work it belongs to
        await until(pilot, lambda: _settles(app) == ("decide", False))
        await pilot.press("f5")
        await pilot.pause()
        assert plant.ledger.entries(kinds=(Release.KIND,)) == []


async def test_a_finished_work_is_released_with_a_pin(plant: Plant, clock: SetClock) -> None:
    from tests.terminal.finish import finish

    work = finish(plant, clock, "eyewash-weekly")
    async with opened(plant) as (app, pilot):
        app.session.begin(plant.ledger.person("SS"))
        await pilot.press("f8")
        await until_top(pilot, "ShiftScreen")
        assert "1 waits for its release" in text_of(app)
        assert _settles(app) == ("release", True)
        await pilot.press("f5")
        await sign_in(pilot, "SS")
        await recorded(pilot, plant, Release.KIND)
        assert plant.state(work).status == "released"
        await until(pilot, lambda: "released" in text_of(app))


async def test_the_shift_before_shows_its_own_works(plant: Plant, clock: SetClock) -> None:
    work = _work_with_deviation(plant)
    plant.act(work, Abandon(reason="no film"), who(plant, "AA"), key="a")
    clock.advance(timedelta(hours=9))
    async with opened(plant) as (app, pilot):
        await pilot.press("f8")
        await until_top(pilot, "ShiftScreen")
        assert "late shift" in text_of(app)
        assert work not in text_of(app)
        await pilot.press("left")
        await until(pilot, lambda: "early shift" in text_of(app))
        assert work in text_of(app)
        assert "abandoned" in text_of(app)
        await pilot.press("right", "right")
        await until(pilot, lambda: "late shift" in text_of(app))


async def test_one_looks_back_at_a_work_down_to_the_single_entry(plant: Plant) -> None:
    work = _work_with_deviation(plant)
    plant.act(work, Note(text="new mesh screen in the rack"), who(plant, "BB"), key="note")
    async with opened(plant) as (app, pilot):
        await pilot.press("f8")
        await until_top(pilot, "ShiftScreen")
        await pilot.press("down", "enter")
        await until_top(pilot, "EntriesScreen")
        text = text_of(app)
        for part in (
            f"Record of {work}",
            "started",
            "Plain > Clove leaf",
            "note",
            "new mesh screen in the rack",
        ):
            assert part in text
        assert rows(app).chosen == rows(app).rows[-1]
        await pilot.press("enter")
        await until_top(pilot, "ReadScreen")
        entry = plant.ledger.entries(kinds=(Note.KIND,))[0]
        for part in (entry.hash, "BB", "work.note", "new mesh screen in the rack"):
            assert part in text_of(app).replace("\n", "") or part[:40] in text_of(app)


async def test_the_sign_offs_of_a_shift_are_its_entries(plant: Plant) -> None:
    _work_with_deviation(plant)
    async with opened(plant) as (app, pilot):
        await pilot.press("f8")
        await until_top(pilot, "ShiftScreen")
        await pilot.press("f4")
        await until_top(pilot, "EntriesScreen")
        assert [int(row.key) for row in rows(app).rows] == [entry.n for entry in plant.ledger.entries()]


# --- how entries read -------------------------------------------------------------------------------


def _said(lines: tuple[Line, ...]) -> str:
    return "\n".join("".join(span.text for span in line) for line in lines)


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_kind_of_entry_that_acts_make_has_words(language: str) -> None:
    from floorterm.changeover.acts import ACTS, STARTED

    for kind in (*ACTS, STARTED, "line.holds", "library.approved", "person.added"):
        assert kind_text(kind, language) != kind


def test_a_kind_of_a_later_version_is_shown_as_it_is_written() -> None:
    assert kind_text("later.kind", "en") == "later.kind"


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_entry_of_a_plant_reads(plant: Plant, language: str) -> None:
    work = _work_with_deviation(plant)
    sheet = plant.state(work).worksheet
    for entry in plant.ledger.entries():
        _, right = entry_lines(entry, sheet if entry.changeover else None, ZONE, language)
        assert str(entry.n) in _said(right)
        whole = _said(whole_entry(entry, ZONE, 74, language))
        assert entry.hash[:30] in whole
        assert max(len(line) for line in whole.splitlines()) <= 74


def test_a_deviation_from_paper_names_when_and_by_whom_it_was_done() -> None:
    record = begun().wait(120)
    record.do(paper(record, "prep/nose", 10, number="900"), TAMM, PELL)
    rows = shift_rows([record.state], Names(lines={}, fragrances={}), record.now, PLANT, "en")
    (row,) = (row for row in rows if row.deviation)
    assert "".join(span.text for span in row.right[1]) == "R. Ode 08:10"

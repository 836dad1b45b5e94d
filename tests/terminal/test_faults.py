"""Faults of the record at the line, brought about for real: said plainly, typed words stay, the rest goes on."""

import sqlite3
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import NoReturn

import pytest
from textual.pilot import Pilot

from floorterm.changeover.acts import Note
from floorterm.ledger import Ledger, LedgerDiskError
from floorterm.ledger.file_store import FileStore
from floorterm.plant import Plant
from floorterm.terminal.app import FloorApp
from floorterm.terminal.screens.work import WorkScreen
from tests.ledger_faults import (
    Fault,
    another_file,
    commits_fail,
    damaged,
    disk_full,
    empty,
    locked_by_a_stranger,
    missing,
    no_permission,
    of_a_newer_version,
    read_only,
    swapped,
)
from tests.terminal.conftest import CrewAt
from tests.terminal.shell import SMALL, at_once, opened, text_of, until, until_top

NOTE = "torn"


FAULTS = [
    (disk_full, "The disk is full"),
    (damaged, "is damaged"),
    (no_permission, "cannot be opened by this account"),
    (of_a_newer_version, "written by a newer version"),
    (another_file, "is not a floorterm ledger"),
    (locked_by_a_stranger, "Another program held the ledger"),
    (read_only, "can be read, not written"),
    (swapped, "no longer the ledger that was opened"),
]


async def _typed_note(pilot: Pilot[int]) -> None:
    await pilot.press("f5")
    await until_top(pilot, "MenuScreen")
    await pilot.press("1")
    await until_top(pilot, "AskScreen")
    if not pilot.app.screen.query_one("#entry").given.text:  # type: ignore[attr-defined]
        await pilot.press(*NOTE)


@pytest.mark.parametrize(("fault", "said"), FAULTS, ids=[one[0].__name__ for one in FAULTS])
async def test_each_fault_is_said_keeps_the_words_and_lets_first_aid_and_paper_through(
    fault: Fault, said: str, crew_at: CrewAt, monkeypatch: pytest.MonkeyPatch
) -> None:
    crew = crew_at("")
    plant: Plant = crew.plant
    path = plant.ledger.path
    async with opened(plant) as (app, pilot):
        app.begin_session(plant.ledger.person("OO"))
        screen = WorkScreen(crew.work)
        app.push_screen(screen)
        await until(pilot, lambda: screen.is_mounted and screen.view is not None)
        head = plant.ledger.head()
        await _typed_note(pilot)
        with fault(path, monkeypatch):
            await pilot.press("enter")
            await until_top(pilot, "WorkScreen")
            await until(pilot, lambda: said in " ".join(text_of(app).split()))
            shown = " ".join(text_of(app).split())
            assert "paper" in shown
            assert list(screen.drafts.values()) == [NOTE], "what was typed is kept"
            assert screen.view is not None
            assert screen.view.step is not None
            assert screen.view.step.text[:20] in shown, "the step stays on the screen"
            await pilot.press("f1")
            await until_top(pilot, "FirstAidScreen")
            await pilot.press("escape")
            await until_top(pilot, "WorkScreen")
            await pilot.press("f7")
            await until_top(pilot, "TextScreen")
            await until(pilot, lambda: f"{crew.work}: the record up to entry" in text_of(app))
            await pilot.press("escape")
            await until_top(pilot, "WorkScreen")
        assert app._exception is None
        await app.beat.tick()
        assert plant.ledger.head().n == head.n, "nothing was recorded"
        await _typed_note(pilot)
        await pilot.press("enter")
        await until(pilot, lambda: plant.ledger.head().n == head.n + 1)


@pytest.mark.parametrize("kept", [True, False], ids=["recorded", "missing"])
async def test_an_outcome_that_is_not_known_is_said_so_and_looked_up_before_anything_else(
    crew_at: CrewAt, monkeypatch: pytest.MonkeyPatch, kept: bool
) -> None:
    """The disk fails in the commit and goes on failing: meanwhile nothing is taken, then it is said what stands."""
    crew = crew_at("")
    plant: Plant = crew.plant
    monkeypatch.setattr("floorterm.terminal.desk.LOOK_AGAIN_S", 0.01)
    async with opened(plant) as (app, pilot):
        app.begin_session(plant.ledger.person("OO"))
        screen = WorkScreen(crew.work)
        app.push_screen(screen)
        await until(pilot, lambda: screen.is_mounted and screen.view is not None)
        head = plant.ledger.head()
        with monkeypatch.context() as for_a_while:
            commits_fail(for_a_while, sqlite3.SQLITE_IOERR_FSYNC, kept=kept, commits=1)
            with monkeypatch.context() as blind:
                blind.setattr(FileStore, "settled", _no_answer)
                await pilot.press("enter")
                await until(pilot, lambda: "NOT KNOWN WHETHER RECORDED" in text_of(app))
                assert "NOT RECORDED" not in text_of(app)
                await until(pilot, lambda: not app.desk.pending)
                assert not app.desk.record(crew.work, Note(text=NOTE)), "nothing else is taken"
                await until(pilot, lambda: "still being looked up" in text_of(app))
        said = f"Recorded as entry {head.n + 1}" if kept else "this does not stand in the record"
        await until(pilot, lambda: said in " ".join(text_of(app).split()))
        assert plant.ledger.head().n == head.n + kept, "one step is signed once, or none"
        if not kept:
            await pilot.press("enter")
            await until(pilot, lambda: plant.ledger.head().n == head.n + 1)


def _no_answer(_: FileStore) -> NoReturn:
    raise LedgerDiskError


def _nothing_wrong(_: Path, __: pytest.MonkeyPatch) -> AbstractContextManager[None]:
    return nullcontext()


AT_START = [(missing, "There is no ledger at"), (empty, "is empty"), *FAULTS[1:5]]


async def test_a_terminal_that_starts_with_a_fault_says_it_and_opens_once_it_is_gone(
    plant: Plant, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One after the other, each looked for by trying again, with first aid at hand."""
    path = plant.ledger.path
    fault_now = iter([*AT_START, (_nothing_wrong, "")])

    def opener() -> Plant:
        with next(fault_now)[0](path, monkeypatch):
            return Plant(plant.library, Ledger.open(path), "T1")

    app = FloorApp(opener, scan_gap_s=0.0, patience=at_once())
    async with app.run_test(size=SMALL) as pilot:
        for _, said in AT_START:
            await until_top(pilot, "TroubleScreen")
            await until(pilot, lambda said=said: said in " ".join(text_of(app).split()))
            await pilot.press("f1")
            await until_top(pilot, "FirstAidScreen")
            await pilot.press("escape")
            await until_top(pilot, "TroubleScreen")
            await pilot.press("f5")
        await until_top(pilot, "LinesScreen")
        await until(pilot, lambda: "Line 1" in text_of(app))


async def test_the_paper_of_the_work_is_shown_from_memory_while_the_record_is_away(crew_at: CrewAt) -> None:
    crew = crew_at("")
    path = crew.plant.ledger.path
    async with opened(crew.plant) as (app, pilot):
        screen = WorkScreen(crew.work)
        app.push_screen(screen)
        await until(pilot, lambda: screen.is_mounted and screen.view is not None)
        path.rename(path.with_suffix(".away"))
        await app.beat.tick()
        await pilot.press("f7")
        await until_top(pilot, "TextScreen")
        await until(pilot, lambda: f"{crew.work}: the record up to entry" in text_of(app))
        path.with_suffix(".away").rename(path)

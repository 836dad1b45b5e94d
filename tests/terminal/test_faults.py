"""Faults of the record at the line, brought about for real: said plainly, typed words stay, the rest goes on."""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, closing, contextmanager
from pathlib import Path

import pytest
from textual.pilot import Pilot

from floorterm.ledger import connect
from floorterm.plant import Plant
from floorterm.terminal.screens.work import WorkScreen
from tests.conftest import bound_by_permissions
from tests.terminal.conftest import CrewAt
from tests.terminal.shell import opened, text_of, until, until_top

NOTE = "torn"
Fault = Callable[[Path, pytest.MonkeyPatch], AbstractContextManager[None]]


@contextmanager
def read_only(path: Path, _: pytest.MonkeyPatch) -> Iterator[None]:
    """The account may read the file and no more."""
    path.chmod(0o444)
    for folder in path.parents:
        if folder.name.startswith("pytest-") or "pytest-of" in str(folder.parent):
            folder.chmod(0o755)
    with bound_by_permissions():
        yield
    path.chmod(0o644)


@contextmanager
def locked_by_a_stranger(path: Path, patch: pytest.MonkeyPatch) -> Iterator[None]:
    """Another program holds the file; the terminal waits a fiftieth of a second instead of five."""
    short = tuple((n, "20", 20) if n == "busy_timeout" else (n, v, w) for n, v, w in connect._ALWAYS)
    patch.setattr(connect, "_ALWAYS", short)
    with closing(sqlite3.connect(path, isolation_level=None)) as stranger:
        stranger.execute("BEGIN IMMEDIATE")
        yield
        stranger.execute("ROLLBACK")


@contextmanager
def swapped(path: Path, _: pytest.MonkeyPatch) -> Iterator[None]:
    """A copy stands where the ledger was."""
    kept = path.with_suffix(".kept")
    path.rename(kept)
    path.write_bytes(kept.read_bytes())
    yield
    kept.replace(path)


FAULTS = [
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
async def test_each_fault_is_said_with_the_paper_keeps_the_words_and_lets_first_aid_through(
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
            assert screen.drafts["note"] == NOTE, "what was typed is kept"
            assert screen.view is not None
            assert screen.view.step is not None
            assert screen.view.step.text[:20] in shown, "the step stays on the screen"
            await pilot.press("f1")
            await until_top(pilot, "FirstAidScreen")
            await pilot.press("escape")
            await until_top(pilot, "WorkScreen")
        assert app._exception is None
        await app._tick()
        assert plant.ledger.head().n == head.n, "nothing was recorded"
        await _typed_note(pilot)
        await pilot.press("enter")
        await until(pilot, lambda: plant.ledger.head().n == head.n + 1)


async def test_the_paper_of_the_work_is_shown_from_memory_while_the_record_is_away(crew_at: CrewAt) -> None:
    crew = crew_at("")
    path = crew.plant.ledger.path
    async with opened(crew.plant) as (app, pilot):
        screen = WorkScreen(crew.work)
        app.push_screen(screen)
        await until(pilot, lambda: screen.is_mounted and screen.view is not None)
        path.rename(path.with_suffix(".away"))
        await app._tick()
        await pilot.press("f7")
        await until_top(pilot, "TextScreen")
        await until(pilot, lambda: f"{crew.work}: the record up to entry" in text_of(app))
        path.with_suffix(".away").rename(path)

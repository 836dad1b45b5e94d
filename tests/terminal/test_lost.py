"""A record that goes away while the terminal is open: said at once, nothing lost, taken up again by itself."""

import asyncio
import importlib
import threading
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from floorterm.changeover.acts import Note
from floorterm.ledger import LedgerBusyError
from floorterm.plant import Plant
from floorterm.shift.window import window_at
from floorterm.terminal.base import FloorScreen
from floorterm.terminal.screens.audit import AuditScreen
from floorterm.terminal.screens.document import changeover_screen
from floorterm.terminal.screens.flush import FlushScreen
from floorterm.terminal.screens.locks import LocksScreen
from floorterm.terminal.screens.lots import LotsScreen
from floorterm.terminal.screens.procedures import ProceduresScreen
from floorterm.terminal.screens.review import ReviewScreen
from floorterm.terminal.screens.start import StartChangeoverScreen
from floorterm.terminal.screens.training import TrainingScreen
from floorterm.terminal.screens.work import WorkScreen
from floorterm.terminal.sight_memory import SightMemory
from floorterm.terminal.widgets.keys import KeyBar
from tests.conftest import PIN, who
from tests.terminal.shell import COMFORTABLE, opened, rows, tap_key, text_of, until, until_top


@pytest.fixture
def started(plant: Plant) -> str:
    return plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "begin").work


class Movable:
    """The file of a record, which can be taken from its place and brought back."""

    def __init__(self, path: Path) -> None:
        self._path, self._away = path, path.with_suffix(".away")

    def leaves(self) -> None:
        self._path.rename(self._away)

    def returns(self) -> None:
        self._away.rename(self._path)


@pytest.fixture
def record(plant: Plant) -> Movable:
    """The record of the plant."""
    return Movable(plant.ledger.path)


async def test_the_heading_says_since_when_and_stops_saying_so_by_itself(
    plant: Plant, started: str, record: Movable
) -> None:
    async with opened(plant) as (app, pilot):
        before = rows(app).rows
        record.leaves()
        await app.beat.tick()
        await until(pilot, lambda: "NO RECORD" in text_of(app))
        assert "does not answer since" in text_of(app)
        assert "There is no ledger at" in text_of(app), "the reason, with what to do"
        assert rows(app).rows == before, "what was read stays on the screen"
        record.returns()
        await app.beat.tick()
        await until(pilot, lambda: "NO RECORD" not in text_of(app))


async def test_keys_screens_and_first_aid_go_on_without_the_record(
    plant: Plant, started: str, record: Movable
) -> None:
    async with opened(plant) as (app, pilot):
        record.leaves()
        for key in ("enter", "f2", "f3", "f8", "f4", "f6", "f7", "escape", "down"):
            await pilot.press(key)
            await pilot.pause()
            assert app.is_running
            assert app._exception is None
        await pilot.press("f1")
        await until_top(pilot, "FirstAidScreen")
        await pilot.press("escape")
        await until(pilot, lambda: "NO RECORD" in text_of(app))
        record.returns()


async def test_what_is_asked_meanwhile_is_said_not_to_be_recorded_and_goes_through_afterwards(
    plant: Plant, started: str, record: Movable
) -> None:
    async with opened(plant) as (app, pilot):
        app.session.begin(plant.ledger.person("AA"))
        head = plant.ledger.head()
        record.leaves()
        assert app.desk.record(started, Note(text="torn mesh"), key="the-press")
        await until(pilot, lambda: not app.desk.pending)
        assert "There is no ledger at" in text_of(app)
        record.returns()
        assert plant.ledger.head() == head
        assert app.desk.record(started, Note(text="torn mesh"), key="the-press")
        await until(pilot, lambda: plant.ledger.head().n == head.n + 1)


async def test_a_read_that_hangs_holds_up_neither_the_clock_nor_the_look_at_the_record(
    plant: Plant, started: str, record: Movable, tmp_path: Path
) -> None:
    gate = threading.Event()
    memory = SightMemory(tmp_path / "t.sight")
    now = [0.0]
    async with opened(plant, memory=memory, steady=lambda: now[0]) as (app, pilot):
        app.session.begin(plant.ledger.person("AA"))
        hangs = asyncio.ensure_future(app.desk.in_reader(lambda _: gate.wait(20)))
        try:
            now[0] += 60 * plant.library.plant.pins.idle_min
            await asyncio.wait_for(app.beat.tick(), 2)
            await asyncio.wait_for(app.beat.tick(), 2)
            assert app.session.person is None, "the idle limit counts on"
            record.leaves()
            await asyncio.wait_for(app.beat.tick(), 2)
            await until(pilot, lambda: "NO RECORD" in text_of(app))
            record.returns()
            await asyncio.wait_for(app.beat.tick(), 2)
        finally:
            gate.set()
            await hangs
        await until(pilot, (tmp_path / "t.sight").exists)


async def test_first_aid_and_help_say_all_of_theirs_in_either_language_while_the_record_is_away(
    plant: Plant, started: str, record: Movable
) -> None:
    async with opened(plant) as (app, pilot):
        app.session.begin(plant.ledger.person("AA"))
        record.leaves()
        await app.beat.tick()
        await until(pilot, lambda: "NO RECORD" in text_of(app))
        await pilot.press("f1")
        await until_top(pilot, "FirstAidScreen")
        await until(pilot, lambda: plant.library.plant.emergency_number in text_of(app))
        assert plant.library.plant.first_aid[0].title.en in text_of(app)
        assert "First aid" in text_of(app)
        assert "A. Abel" in text_of(app)
        app.end_session()
        await pilot.press("f9")
        await until(pilot, lambda: plant.library.plant.first_aid[0].title.es in text_of(app))
        assert "Primeros auxilios" in text_of(app)
        assert "SIN REGISTRO" in text_of(app)
        assert "A. Abel" not in text_of(app)
        await pilot.press("escape")
        await pilot.press("question_mark")
        await until_top(pilot, "KeysScreen")
        await until(pilot, lambda: "F1" in text_of(app))
        record.returns()


async def test_what_was_said_of_the_loss_goes_with_it_and_other_notices_stay(
    plant: Plant, started: str, record: Movable
) -> None:
    async with opened(plant) as (app, pilot):
        lines = app.screen
        record.leaves()
        await app.beat.tick()
        await until(pilot, lambda: "There is no ledger at" in text_of(app))
        await pilot.press("f10")
        await until_top(pilot, "SignInScreen")
        app.screen.refuse(("Another matter.",), "caution")  # type: ignore[attr-defined]
        record.returns()
        await app.beat.tick()
        await until(pilot, lambda: "NO RECORD" not in text_of(app))
        assert "Another matter." in text_of(app)
        await pilot.press("escape")
        await until(pilot, lambda: app.screen is lines)
        assert "There is no ledger at" not in text_of(app)


async def test_what_could_not_be_recorded_meanwhile_stays_said(
    plant: Plant, started: str, record: Movable
) -> None:
    async with opened(plant) as (app, pilot):
        app.session.begin(plant.ledger.person("AA"))
        record.leaves()
        await app.beat.tick()
        app.desk.record(started, Note(text="torn mesh"))
        await until(pilot, lambda: "NOT RECORDED" in text_of(app))
        record.returns()
        await app.beat.tick()
        await until(pilot, lambda: "NO RECORD" not in text_of(app))
        assert "NOT RECORDED" in text_of(app)


MADE: list[Callable[[Plant, str], FloorScreen[Any]]] = [
    lambda _, work: FlushScreen(work),
    lambda _, work: WorkScreen(work),
    lambda _, __: LocksScreen("L1"),
    lambda _, __: LotsScreen(),
    lambda plant, _: ReviewScreen(window_at(plant.library.plant.shifts, plant.now(), plant.zone), {}),
    lambda _, __: TrainingScreen(),
    lambda _, __: AuditScreen(),
    lambda _, __: ProceduresScreen(),
    lambda _, __: StartChangeoverScreen("L1"),
]


@pytest.mark.parametrize("noticed", [True, False])
@pytest.mark.parametrize("made", MADE)
async def test_a_screen_opened_meanwhile_says_that_nothing_is_known_and_keeps_its_keys(
    plant: Plant, started: str, record: Movable, made: Callable[[Plant, str], FloorScreen[Any]], noticed: bool
) -> None:
    """No dead end by touch: Esc, the list of keys and first aid are there, whatever reads the record is off."""
    async with opened(plant, COMFORTABLE) as (app, pilot):
        record.leaves()
        if noticed:
            await app.beat.tick()
        app.push_screen(made(plant, started))
        await until(pilot, lambda: "is not known now" in " ".join(text_of(app).split()))
        screen = app.screen
        assert {"escape", "question_mark", "f1"} <= {cap.key for cap in screen.query_one(KeyBar).caps}
        await tap_key(pilot, "question_mark")
        await until_top(pilot, "KeysScreen")
        await until(pilot, lambda: len(rows(app).rows) > 2)
        await pilot.press("escape")
        await until(pilot, lambda: app.screen is screen)
        record.returns()
        await app.beat.tick()
        await until(pilot, lambda: "is not known now" not in " ".join(text_of(app).split()))
        await tap_key(pilot, "escape")
        await until_top(pilot, "LinesScreen")


async def test_one_key_that_cannot_be_asked_takes_no_other_with_it(
    plant: Plant, started: str, record: Movable
) -> None:
    async with opened(plant) as (app, pilot):
        await pilot.press("f3")
        await until_top(pilot, "FlushScreen")
        await until(pilot, lambda: app.screen.query_one(KeyBar).caps)
        before = [cap.key for cap in app.screen.query_one(KeyBar).caps]
        record.leaves()
        await app.beat.tick()
        app.retell()
        await until(pilot, lambda: "NO RECORD" in text_of(app))
        assert [cap.key for cap in app.screen.query_one(KeyBar).caps] == before


async def test_signing_in_meanwhile_says_so_instead_of_checking_for_ever(
    plant: Plant, started: str, record: Movable
) -> None:
    async with opened(plant) as (app, pilot):
        record.leaves()
        await app.beat.tick()
        await pilot.press("f10")
        await until_top(pilot, "SignInScreen")
        await until(pilot, lambda: "is not known now" in " ".join(text_of(app).split()))
        assert not app.screen.query_one("#pin").display, "half a pad beside nothing"
        record.returns()
        await app.beat.tick()
        await until(pilot, lambda: "A. Abel" in text_of(app))
        await pilot.press("a", "a", "enter")
        record.leaves()
        await pilot.press(*PIN, "enter")
        await until(pilot, lambda: "There is no ledger at" in text_of(app))
        assert "Checking" not in text_of(app)
        await app.beat.tick()
        await pilot.press(*PIN, "enter")
        await until(pilot, lambda: "The PIN was not checked" in text_of(app))
        assert "Checking" not in text_of(app)
        record.returns()
        await app.beat.tick()
        await until(pilot, lambda: "The PIN was not checked" not in text_of(app))
        await pilot.press(*PIN, "enter")
        await until_top(pilot, "LinesScreen")
        assert app.session.person is not None


async def test_what_a_list_answers_meanwhile_ends_no_terminal(
    plant: Plant, started: str, record: Movable
) -> None:
    async with opened(plant) as (app, pilot):
        await pilot.press("enter")
        await until_top(pilot, "WorkScreen")
        await pilot.press("f4")
        await until_top(pilot, "WorkListScreen")
        await until(pilot, lambda: rows(app).rows)
        record.leaves()
        await pilot.press("enter")
        await until_top(pilot, "WorkScreen")
        await until(pilot, lambda: "NO RECORD" in text_of(app))
        assert app._exception is None
        record.returns()


async def test_a_doubt_about_the_clock_goes_with_the_entry_that_clears_it_up(
    plant: Plant, started: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = plant.now()
    monkeypatch.setattr(plant.ledger, "now", lambda: now + timedelta(days=3))
    async with opened(plant) as (app, pilot):
        await until(pilot, lambda: "clock" in text_of(app))
        monkeypatch.undo()
        plant.act(started, Note(text="torn mesh"), who(plant, "AA"), key="a-note")
        await app.beat.tick()
        await until(pilot, lambda: "clock" not in text_of(app))


@pytest.mark.parametrize("sort", ["audit", "document"])
async def test_what_the_record_kept_from_being_read_is_read_once_it_answers(
    sort: str, plant: Plant, started: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It went away while the reading thread was at it; nothing has been recorded since."""
    name = {"audit": "audit.judged_month", "document": "document._changeover"}[sort]
    where, _, what = f"floorterm.terminal.screens.{name}".rpartition(".")
    whole = getattr(importlib.import_module(where), what)
    tries: list[int] = []

    def read(*given: object) -> object:
        tries.append(1)
        if len(tries) == 1:
            raise LedgerBusyError(seconds=5)
        return whole(*given)

    monkeypatch.setattr(f"{where}.{what}", read)
    async with opened(plant) as (app, pilot):
        screen = AuditScreen() if sort == "audit" else changeover_screen(started)
        app.push_screen(screen)
        await until(pilot, lambda: tries and app.lost)
        await app.beat.tick()
        await until(pilot, lambda: len(tries) == 2 and "reading the record" not in text_of(app))
        assert not app.lost

"""A record that goes away while the terminal is open: said at once, nothing lost, taken up again by itself."""

import asyncio
import threading
from pathlib import Path

import pytest

from floorterm.changeover.acts import Note
from floorterm.plant import Plant
from floorterm.terminal.sight_memory import SightMemory
from tests.conftest import who
from tests.terminal.shell import opened, rows, text_of, until, until_top


@pytest.fixture
def started(plant: Plant) -> str:
    return plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "begin").work


async def test_the_heading_says_since_when_and_stops_saying_so_by_itself(plant: Plant, started: str) -> None:
    path = plant.ledger.path
    away = path.with_suffix(".away")
    async with opened(plant) as (app, pilot):
        before = rows(app).rows
        path.rename(away)
        await app._tick()
        await until(pilot, lambda: "NO RECORD" in text_of(app))
        assert "does not answer since" in text_of(app)
        assert "There is no ledger at" in text_of(app), "the reason, with what to do"
        assert rows(app).rows == before, "what was read stays on the screen"
        away.rename(path)
        await app._tick()
        await until(pilot, lambda: "NO RECORD" not in text_of(app))


async def test_keys_screens_and_first_aid_go_on_without_the_record(plant: Plant, started: str) -> None:
    path = plant.ledger.path
    away = path.with_suffix(".away")
    async with opened(plant) as (app, pilot):
        path.rename(away)
        for key in ("enter", "f2", "f3", "f8", "f4", "f6", "f7", "escape", "down"):
            await pilot.press(key)
            await pilot.pause()
            assert app.is_running
            assert app._exception is None
        await pilot.press("f1")
        await until_top(pilot, "FirstAidScreen")
        await pilot.press("escape")
        await until(pilot, lambda: "NO RECORD" in text_of(app))
        away.rename(path)


async def test_what_is_asked_meanwhile_is_said_not_to_be_recorded_and_goes_through_afterwards(
    plant: Plant, started: str
) -> None:
    path = plant.ledger.path
    away = path.with_suffix(".away")
    async with opened(plant) as (app, pilot):
        app.session.begin(plant.ledger.person("AA"))
        head = plant.ledger.head()
        path.rename(away)
        assert app.desk.record(started, Note(text="torn mesh"), key="the-press")
        await until(pilot, lambda: not app.desk.pending)
        assert "There is no ledger at" in text_of(app)
        away.rename(path)
        assert plant.ledger.head() == head
        assert app.desk.record(started, Note(text="torn mesh"), key="the-press")
        await until(pilot, lambda: plant.ledger.head().n == head.n + 1)


async def test_a_read_that_hangs_holds_up_neither_the_clock_nor_the_look_at_the_record(
    plant: Plant, started: str, tmp_path: Path
) -> None:
    path, gate = plant.ledger.path, threading.Event()
    away = path.with_suffix(".away")
    memory = SightMemory(tmp_path / "t.sight")
    now = [0.0]
    async with opened(plant, memory=memory, steady=lambda: now[0]) as (app, pilot):
        app.session.begin(plant.ledger.person("AA"))
        hangs = asyncio.ensure_future(app.desk.in_reader(lambda _: gate.wait(20)))
        try:
            now[0] += 60 * plant.library.plant.pins.idle_min
            await asyncio.wait_for(app._tick(), 2)
            await asyncio.wait_for(app._tick(), 2)
            assert app.session.person is None, "the idle limit counts on"
            path.rename(away)
            await asyncio.wait_for(app._tick(), 2)
            await until(pilot, lambda: "NO RECORD" in text_of(app))
            away.rename(path)
            await asyncio.wait_for(app._tick(), 2)
        finally:
            gate.set()
            await hangs
        await until(pilot, (tmp_path / "t.sight").exists)


async def test_first_aid_and_help_say_all_of_theirs_in_either_language_while_the_record_is_away(
    plant: Plant, started: str
) -> None:
    path = plant.ledger.path
    away = path.with_suffix(".away")
    async with opened(plant) as (app, pilot):
        app.session.begin(plant.ledger.person("AA"))
        path.rename(away)
        await app._tick()
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
        away.rename(path)

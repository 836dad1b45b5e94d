"""A record that goes away while the terminal is open: said at once, nothing lost, taken up again by itself."""

import pytest

from floorterm.changeover.acts import Note
from floorterm.plant import Plant
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

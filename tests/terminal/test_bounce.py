"""Keys that bounce: of one key pressed three times at once, one dialogue opens, and one act is recorded once."""

import pytest
from textual import events
from textual.pilot import Pilot

from floorterm.plant import Plant
from floorterm.terminal.app import FloorApp
from floorterm.terminal.base import FloorScreen
from floorterm.terminal.messages import Scanned
from floorterm.terminal.screens.flush import FlushScreen
from floorterm.terminal.screens.inspections import InspectionsScreen
from floorterm.terminal.screens.locks import LocksScreen
from floorterm.terminal.screens.lots import LotsScreen
from floorterm.terminal.screens.training import TrainingScreen
from floorterm.terminal.screens.work import WorkScreen
from tests.terminal.at_step import Crew
from tests.terminal.conftest import CrewAt
from tests.terminal.shell import opened, until, until_top

FLUSH = "start/flush"


async def bounce(pilot: Pilot[int], key: str, times: int = 3) -> None:
    """Press a key so fast that nothing is done between."""
    for _ in range(times):
        pilot.app.post_message(events.Key(key, key if len(key) == 1 else None))
    for _ in range(20):
        await pilot.pause(0.005)


def screens(pilot: Pilot[int]) -> list[str]:
    return [type(screen).__name__ for screen in pilot.app.screen_stack[1:]]


async def _shown(app: FloorApp, pilot: Pilot[int], crew: Crew, made: object) -> FloorScreen[object]:
    """A screen with its keys, for whoever runs the changeover."""
    app.begin_session(crew.ode)
    screen: FloorScreen[object] = made(crew.work)  # type: ignore[operator]
    app.push_screen(screen)
    await until(pilot, lambda: screen.is_mounted and screen.query_one("#keys").caps)  # type: ignore[attr-defined]
    return screen


@pytest.mark.parametrize(
    ("made", "key", "opens"),
    [
        (WorkScreen, "f5", "MenuScreen"),
        (WorkScreen, "f2", "LocksScreen"),
        (WorkScreen, "f4", "WorkListScreen"),
        (FlushScreen, "f4", "WaysScreen"),
        (FlushScreen, "f5", "AskScreen"),
        (FlushScreen, "f6", "MenuScreen"),
        (FlushScreen, "f8", "AskScreen"),
        (lambda _: LotsScreen(), "f5", "MenuScreen"),
        (lambda _: TrainingScreen(), "f5", "AskScreen"),
        (lambda _: InspectionsScreen(), "f5", "AskScreen"),
        (WorkScreen, "f10", "SignInScreen"),
        (WorkScreen, "f1", "FirstAidScreen"),
    ],
)
async def test_a_key_that_bounces_opens_one_dialogue(
    made: object, key: str, opens: str, crew_at: CrewAt
) -> None:
    crew = crew_at(FLUSH)
    async with opened(crew.plant) as (app, pilot):
        screen = await _shown(app, pilot, crew, made)
        await bounce(pilot, key)
        await until_top(pilot, opens)
        assert screens(pilot) == [type(screen).__name__, opens]
        await pilot.press("escape")
        await until(pilot, lambda: app.screen is screen)
        await bounce(pilot, key, 1)
        await until_top(pilot, opens)


@pytest.mark.parametrize(
    ("made", "keys"),
    [
        (WorkScreen, ("f5", "f2")),
        (WorkScreen, ("f2", "f5")),
        (WorkScreen, ("f2", "f3")),
        (WorkScreen, ("f5", "f1")),
        (WorkScreen, ("f4", "f8", "f5")),
        (FlushScreen, ("f5", "f6")),
        (FlushScreen, ("f8", "f4")),
        (lambda _: LotsScreen(), ("f5", "f6")),
    ],
)
async def test_different_keys_pressed_at_once_open_one_screen(
    made: object, keys: tuple[str, ...], crew_at: CrewAt
) -> None:
    crew = crew_at(FLUSH)
    async with opened(crew.plant) as (app, pilot):
        screen = await _shown(app, pilot, crew, made)
        for key in keys:
            app.post_message(events.Key(key, None))
        await until(pilot, lambda: app.screen is not screen and app.screen.is_mounted)
        for _ in range(20):
            await pilot.pause(0.005)
        assert len(screens(pilot)) == 2
        await pilot.press("escape")
        await until(pilot, lambda: app.screen is screen)
        await bounce(pilot, keys[0], 1)
        await until(pilot, lambda: app.screen is not screen)


async def _asking_digit(app: FloorApp, pilot: Pilot[int], crew: Crew) -> str:
    """Open Locks for whoever works there; the digit of an offer that asks for something."""
    app.begin_session(crew.ode)
    screen = LocksScreen("L2", crew.work)
    app.push_screen(screen)
    await until(pilot, lambda: screen.is_mounted and screen.view is not None and screen.view.offers)
    assert screen.view is not None
    return str(next(place for place, one in enumerate(screen.view.offers, 1) if one.asks is not None))


async def test_a_digit_and_enter_at_once_ask_and_take_nothing(crew_at: CrewAt) -> None:
    """Enter came before the dialogue could be seen; a fault of the program would be kept and fail this."""
    crew = crew_at("strip-down-2/open-head")
    async with opened(crew.plant) as (app, pilot):
        asking = await _asking_digit(app, pilot, crew)
        for key in (asking, "enter"):
            app.post_message(events.Key(key, None if len(key) > 1 else key))
        await until_top(pilot, "AskScreen")
        await pilot.pause(0.05)
        assert screens(pilot) == ["LocksScreen", "AskScreen"]
        assert not app.screen.query_one("#notice").sentences  # type: ignore[attr-defined]


async def test_a_badge_that_is_read_twice_asks_for_one_pin(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        badge = next(person.badge for person in plant.ledger.people() if person.badge)
        for _ in range(3):
            app.screen.post_message(Scanned(badge))
        await until_top(pilot, "SignInScreen")
        await pilot.pause(0.05)
        assert screens(pilot) == ["SignInScreen"]


async def test_a_digit_that_bounces_on_locks_asks_once_and_records_once(crew_at: CrewAt) -> None:
    """Two dialogues beneath each other would record one reading twice."""
    crew = crew_at("strip-down-2/open-head")
    async with opened(crew.plant) as (app, pilot):
        asking = await _asking_digit(app, pilot, crew)
        await bounce(pilot, asking)
        await until_top(pilot, "AskScreen")
        assert screens(pilot) == ["LocksScreen", "AskScreen"]

"""An open terminal for tests of the shell: the application on a real plant, keys one by one, no scanner's ear."""

import asyncio
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

from textual.app import App
from textual.geometry import Offset
from textual.pilot import Pilot

from floorterm.plant import Plant
from floorterm.terminal.app import FloorApp
from floorterm.terminal.patience import Patience
from floorterm.terminal.widgets.keys import KeyBar
from floorterm.terminal.widgets.rows import Rows
from tests.conftest import PIN

SMALL, COMFORTABLE = (80, 24), (120, 40)
_PATIENCE_S = 10.0


def at_once() -> Patience:
    """For hands of a test, which know what is shown: every key is meant, however soon it comes."""
    return Patience(time.monotonic, settle_s=0.0)


@asynccontextmanager
async def opened(
    plant: Plant, size: tuple[int, int] = SMALL, **options: object
) -> AsyncIterator[tuple[FloorApp, Pilot[int]]]:
    """The application with its record open and Lines on top."""
    settings = {"scan_gap_s": 0.0, "patience": at_once(), **options}
    app = FloorApp(lambda: plant, **settings)  # type: ignore[arg-type]
    async with app.run_test(size=size) as pilot:
        await until(pilot, lambda: app.desk.is_open and rows(app).chosen is not None)
        yield app, pilot


async def until(pilot: Pilot[int], true: Callable[[], object]) -> None:
    """Wait until something is so; fail with what stands on the screen."""
    loop = asyncio.get_running_loop()
    end = loop.time() + _PATIENCE_S
    while not true():
        assert loop.time() < end, f"waited in vain; the screen was:\n{text_of(pilot.app)}"
        await pilot.pause(0.005)
    await pilot.pause()


async def until_top(pilot: Pilot[int], name: str) -> None:
    """Wait for a screen by its class."""
    await until(pilot, lambda: type(pilot.app.screen).__name__ == name and pilot.app.screen.is_mounted)


@asynccontextmanager
async def visited(pilot: Pilot[int], *keys: str) -> AsyncIterator[None]:
    """The screen that keys lead to from Lines ("" or none is Lines itself), and back again."""
    app = pilot.app
    for key in filter(None, keys):
        await pilot.press(key)
        await pilot.pause()
    if any(key for key in keys if not key.isdigit()):
        await until(pilot, lambda: len(app.screen_stack) > 1 and app.screen.is_mounted)
        await until(pilot, lambda: app.screen.query_one(KeyBar).caps)
    yield
    while len(app.screen_stack) > 1:
        depth = len(app.screen_stack)
        await pilot.press("escape")
        await until(pilot, lambda depth=depth: len(app.screen_stack) < depth or depth == 2)  # type: ignore[misc]


def rows(app: App[int]) -> Rows:
    """The list on top."""
    return app.screen.query(Rows).first()


def text_of(app: App[int]) -> str:
    """What stands on the screen, as lines of text."""
    lines = app.screen._compositor.render_strips()
    return "\n".join("".join(segment.text for segment in strip) for strip in lines)


async def tap_key(pilot: Pilot[int], key: str) -> None:
    """Tap a key at the foot."""
    bar = pilot.app.screen.query_one(KeyBar)
    zone = bar.zone_of(key)
    assert zone is not None, f"{key} is not among {[cap.key for cap in bar.caps]}"
    assert await pilot.click(KeyBar, offset=zone)
    await pilot.pause()


async def tap_row(pilot: Pilot[int], key: str) -> None:
    """Tap a row of the list on top, once; pages are turned by tapping the last line."""
    found = rows(pilot.app)
    for _ in range(60):
        at = place_of(found, key)
        if at is not None:
            await pilot.click(found, offset=at)
            await pilot.pause()
            return
        await pilot.click(found, offset=(found.outer_size.width - 4, found.outer_size.height - 1))
        await pilot.pause()
    raise AssertionError(f"no row {key} among {[row.key for row in found.rows]}")


def place_of(found: Rows, key: str) -> Offset | None:
    """A cell of a row that is in sight, with the widget's padding counted."""
    y = 0
    for index in range(found._first, len(found.rows)):
        if index > found._last_from(found._first):
            return None
        if found.rows[index].key == key:
            return Offset(6, y) + found.content_offset
        y += found._height(index)
    return None


async def sign_in(pilot: Pilot[int], code: str) -> None:
    """Answer the sign-in dialogue on top by keys."""
    await until_top(pilot, "SignInScreen")
    screen = pilot.app.screen
    if screen.query_one("#people").display:
        await pilot.press(*code.lower(), "enter")
    await pilot.press(*PIN, "enter")
    await until(pilot, lambda: pilot.app.screen is not screen)


async def recorded(pilot: Pilot[int], plant: Plant, kind: str) -> None:
    """Wait until the newest entry is of that kind and the screens know."""
    app = pilot.app
    assert isinstance(app, FloorApp)
    await until(
        pilot,
        lambda: not app.desk.pending and plant.ledger.entries(newest_first=True, limit=1)[0].kind == kind,
    )

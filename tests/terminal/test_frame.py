"""The frame that every screen is built on: what it is told is handled once, and nothing is drawn on what has gone."""

import importlib
import pkgutil
from collections.abc import Iterator

import pytest

from floorterm.changeover.acts import Note
from floorterm.plant import Plant
from floorterm.terminal import screens
from floorterm.terminal.base import FloorScreen
from floorterm.terminal.messages import NotRecorded, Recorded
from floorterm.terminal.screens.lines import LinesScreen
from tests.conftest import who
from tests.terminal.shell import opened, until


def _all_screens() -> Iterator[type[FloorScreen[object]]]:
    for module in pkgutil.iter_modules(screens.__path__):
        importlib.import_module(f"{screens.__name__}.{module.name}")
    waiting: list[type[FloorScreen[object]]] = [FloorScreen]
    while waiting:
        found = waiting.pop()
        waiting += found.__subclasses__()
        if found.__module__.startswith(screens.__name__):
            yield found


_OF_THE_FRAME = {
    name for name in vars(FloorScreen) if name.startswith("on_") and callable(vars(FloorScreen)[name])
}


def test_no_screen_handles_a_message_besides_the_frame() -> None:
    """Textual runs the handlers of every class of a screen: a second one would handle each message twice."""
    found = sorted(_all_screens(), key=lambda one: one.__name__)
    assert len(found) >= 15
    assert "on_recorded" in _OF_THE_FRAME
    twice = {one.__name__: sorted(_OF_THE_FRAME & vars(one).keys()) for one in found}
    assert {name: handlers for name, handlers in twice.items() if handlers} == {}


class _Listening(LinesScreen):
    """Lines, with what its hooks are told."""

    CSS_PATH = None

    def __init__(self) -> None:
        super().__init__()
        self.told: list[object] = []
        self.refused: list[tuple[str, ...]] = []

    def recorded(self, message: Recorded) -> None:
        self.told.append(message)

    def not_recorded(self, message: NotRecorded) -> None:
        self.told.append(message)

    def refuse(self, sentences: object, tone: object = "danger", title: object = "") -> None:
        self.refused.append(tuple(sentences))  # type: ignore[arg-type]


async def test_what_became_of_a_record_is_handled_once(plant: Plant) -> None:
    work = plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "begin").work
    entry = plant.act(work, Note(text="one"), who(plant, "AA"), key="one")
    async with opened(plant) as (app, pilot):
        screen = _Listening()
        await app.push_screen(screen)
        await pilot.pause()
        for message, sentences in ((Recorded(entry), ()), (NotRecorded(("No.",), "k"), ("No.",))):
            screen.told.clear()
            screen.refused.clear()
            screen.post_message(message)
            await until(pilot, lambda: screen.told)
            assert screen.told == [message]
            assert screen.refused == [sentences]


async def test_a_screen_that_has_gone_is_told_things_without_harm(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        screen = LinesScreen()
        await app.push_screen(screen)
        await pilot.pause()
        assert screen.stands
        gone = app.pop_screen()
        screen.retell()
        screen.refuse(("late",))
        await gone
        assert not screen.stands
        screen.show_heading()
        screen.show_keys()
        screen.refuse(("late",))
    app.say("after the end")  # a record that was under way when the program was told to go


@pytest.mark.parametrize("hears", [True, False])
async def test_a_screen_reads_its_own_record_once_and_that_of_others_too(plant: Plant, hears: bool) -> None:
    """One read for what was recorded here, one for what somebody else records."""
    work = plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "begin").work
    async with opened(plant) as (app, pilot):
        app.session.begin(plant.ledger.person("AA"))
        screen = app.screen
        assert isinstance(screen, LinesScreen)
        shown: list[int] = []
        show = screen.show
        screen.show = lambda: (shown.append(plant.ledger.head().n), show())[1]  # type: ignore[method-assign]
        if hears:
            assert app.desk.record(work, Note(text="here"))
            await until(pilot, lambda: shown and not app.desk.pending)
        else:
            plant.act(work, Note(text="there"), who(plant, "AA"), key="there")
            await app.look_at_record()
            await until(pilot, lambda: shown)
        await app.look_at_record()
        await pilot.pause()
        assert shown == [plant.ledger.head().n]

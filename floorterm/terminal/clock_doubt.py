"""A clock that stands before the newest entry, or more than a day past it: said until a newer entry clears it up."""

from typing import TYPE_CHECKING

from floorterm.terminal.widgets.notice import Notice
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.terminal.app import FloorApp


class ClockDoubt:
    """The doubt about the clock of a terminal, from the opening of its record on."""

    def __init__(self, app: "FloorApp") -> None:
        self._app = app
        self._said: tuple[str, ...] = ()

    async def say(self) -> None:
        """Say so on the screen, if there is a doubt."""
        from floorterm.terminal.base import FloorScreen  # noqa: PLC0415

        app = self._app
        self._said = await self._sentences()
        if self._said and not app.demo and app.screen_stack and isinstance(app.screen, FloorScreen):
            app.screen.refuse(self._said, "caution")

    def look(self) -> None:
        """The record has moved: what was said goes if it is no longer so. Reads in a worker, never beside the tick."""
        if self._said:
            self._app.run_worker(self._look(), group="clock", exclusive=True)

    async def _look(self) -> None:
        if self._said and not await self._sentences():
            for screen in self._app.screen_stack:
                for notice in screen.query(Notice):
                    notice.take_back({self._said})
            self._said = ()

    async def _sentences(self) -> tuple[str, ...]:
        from floorterm.ledger.clock import doubtful  # noqa: PLC0415  after the first frame

        head = await self._app.desk.in_reader(lambda plant: plant.ledger.head())
        plant = self._app.desk.plant
        why = doubtful(plant.now(), head.at)
        if not why:
            return ()
        facts = {
            "now": f"{plant.now():%Y-%m-%d %H:%M}",
            "newest": f"{head.at.astimezone(plant.zone):%Y-%m-%d %H:%M}",
        }
        return (words(f"terminal.clock_{why}", self._app.language, **facts),)

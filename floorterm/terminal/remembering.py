"""Keeps what the next start can show at once, beside the tick: no read that hangs holds it up."""

from typing import TYPE_CHECKING

from floorterm.terminal.log import LOG

if TYPE_CHECKING:
    from floorterm.terminal.app import FloorApp
    from floorterm.terminal.sight_memory import SightMemory


class Remembering:
    """What was kept last of a terminal with a memory; without one nothing is done."""

    def __init__(self, app: "FloorApp", memory: "SightMemory | None") -> None:
        self._app = app
        self._memory = memory
        self._kept: tuple[int, str, str] | None = None
        self._under_way = False

    def look(self, minute: str) -> None:
        """Keep it anew where the record has moved, the language changed or an hour passed since, in a worker."""
        moment = (self._app.desk.seen_n, self._app.language, minute[:13])
        if self._memory is None or self._under_way or moment == self._kept:
            return
        self._kept, self._under_way = moment, True
        self._app.run_worker(self._keep(self._memory, self._app.language), group="remembering")

    async def _keep(self, memory: "SightMemory", language: str) -> None:
        try:
            await self._app.desk.in_reader(lambda plant: memory.keep(plant.ledger, language))
        except Exception as fault:
            LOG.warning("nothing kept for the next start: %s", type(fault).__name__)
        finally:
            self._under_way = False

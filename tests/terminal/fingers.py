"""Fingers with a clock of their own: keys that come in a told rhythm, however fast the machine is."""

from textual import events
from textual.pilot import Pilot

from floorterm.terminal.app import FloorApp
from floorterm.terminal.patience import Patience
from tests.terminal.shell import until


class Fingers:
    """Presses keys at a terminal whose `patience` counts by this clock."""

    def __init__(self) -> None:
        self.now = 1000.0

    def patience(self) -> Patience:
        """As a terminal has it, on this clock."""
        return Patience(lambda: self.now)

    async def press(self, pilot: Pilot[int], *keys: str, after_s: float = 1.0) -> None:
        """Each key so long after the one before, and what it began is done before the next one comes."""
        for key in keys:
            self.now += after_s
            event = events.Key(key, {"enter": "\r"}.get(key, key if len(key) == 1 else None))
            event.time = self.now
            pilot.app.post_message(event)
            await self.done(pilot)

    async def done(self, pilot: Pilot[int]) -> None:
        """What was pressed is carried out, up to a commit."""
        app = pilot.app
        assert isinstance(app, FloorApp)
        await pilot.pause()
        await until(pilot, lambda: not app.desk.pending or type(app.screen).__name__ != "WorkScreen")
        await pilot.pause()

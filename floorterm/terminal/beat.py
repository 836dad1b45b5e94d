"""What a terminal does every two seconds: has the record moved, has a minute passed, is the session over? Silent when
nothing changed.
"""

from collections.abc import Callable
from typing import TYPE_CHECKING

from floorterm.terminal.log import LOG
from floorterm.terminal.messages import MinutePassed
from floorterm.terminal.remembering import Remembering
from floorterm.terminal.second_place import SecondPlace

if TYPE_CHECKING:
    from floorterm.terminal.app import FloorApp
    from floorterm.terminal.sight_memory import SightMemory

TICK_S = 2.0


class Beat:
    """The tick of one terminal, and what hangs on it. `steady` counts seconds."""

    def __init__(self, app: "FloorApp", memory: "SightMemory | None", steady: Callable[[], float]) -> None:
        self.second_place = SecondPlace(steady)
        self._app = app
        self._remembering = Remembering(app, memory)
        self._steady = steady
        self._minute = ""

    def begin(self) -> None:
        """The record is open: time counts from now on."""
        self._minute = self._minute_now()
        self.second_place.look(self._app.desk.plant)

    async def tick(self) -> None:
        """Each part for itself: a fault in one keeps nobody signed in."""
        app = self._app
        if not app.desk.is_open:
            return
        with app.own_faults.ticking():
            await app.look_at_record()
        with app.own_faults.ticking():
            self._keep_time()
        with app.own_faults.ticking():
            idle_min = app.desk.plant.library.plant.pins.idle_min
            if app.session.is_over(idle_min) and not app.desk.writing:
                app.end_session()

    def _keep_time(self) -> None:
        app, minute = self._app, self._minute_now()
        if not app.lost and not self._busy_hands():  # a fold beside keys could tear a scan apart
            self._remembering.look(minute)
        if minute != self._minute:
            self._minute = minute
            app.screen.post_message(MinutePassed())
            self.second_place.look(app.desk.plant)
        if fault := self.second_place.news():
            LOG.warning("second place for seals: %s", fault)
            app.say(app.desk.sentences(fault)[0])

    def _busy_hands(self) -> bool:
        return self._app.ear.holding or self._steady() - self._app.session.touched_at < TICK_S

    def _minute_now(self) -> str:
        return f"{self._app.desk.plant.now():%Y-%m-%d %H:%M}"

"""The ear of a terminal: every key passes it first, and from the program's start to the opened record nothing is lost.

The scanner's rhythm is told from fingers (`scan`). What is typed or scanned before the record is open is kept in order,
told so, and carried out once it is. Whatever could be recorded waits, and so does every scan; moving about in what is
seen, first aid, language and leaving do not, as long as nothing that came before them waits. On another screen (first
aid) keys are that screen's own.
"""

from collections import deque
from typing import TYPE_CHECKING

from textual._time import get_time  # the clock of a key's `time`

from floorterm.terminal.scan import OPENING_GAP_S, Fed, Key, ScanCollector
from floorterm.wording import words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from textual.message_pump import MessagePump

    from floorterm.terminal.app import FloorApp

_TIMER_SLACK_S = 0.002
_FRAME_S = 1 / 60
_MOST = (
    256  # of keys and scans together: more than hands and scanners give in the second that an opening takes
)
_ALWAYS = frozenset({"f1", "f9", "f11", "question_mark", "slash", "divide", "ctrl+q"})
_MOVES = frozenset({"up", "down", "pageup", "pagedown", "home", "end", *"0123456789"})


class Ear:
    """Keys and scanned texts of a terminal. `scan_gap_s` 0: no scans."""

    def __init__(self, app: "FloorApp", scan_gap_s: float) -> None:
        self._app = app
        self._gap_s = scan_gap_s
        self._collector = ScanCollector(gap_s=scan_gap_s and OPENING_GAP_S)
        self._kept: deque[Key | str] = deque()
        self._open = False
        self._carrying = False

    @property
    def holding(self) -> bool:
        """Whether it is not known yet what the last keys are."""
        return self._collector.holding

    async def hear(self, key: Key) -> None:
        """Take a key."""
        await self._pass_on(self._collector.feed(key))
        if self._collector.holding:
            self._app.set_timer(self._collector.gap_s + _TIMER_SLACK_S, self._listen_again)

    async def _listen_again(self) -> None:
        await self._pass_on(Fed(self._collector.quiet(get_time())))

    async def _pass_on(self, fed: Fed) -> None:
        given: tuple[Key | str, ...] = (*fed.keys, fed.scanned) if fed.scanned else fed.keys
        for one in given:
            if not self._keeps(one):
                await self._app.carry_out(one)

    def _keeps(self, given: Key | str) -> bool:
        """Whether it is taken here, to be carried out later."""
        if not self._waits(given):
            return False
        if len(self._kept) < _MOST:
            self._kept.append(given)
        if not self._open:
            self._app.say(words("terminal.kept", self._app.language, n=len(self._kept)))
        return True

    def _waits(self, given: Key | str) -> bool:
        if self._open:
            return self._carrying
        if isinstance(given, str):
            return True
        if given.key in _ALWAYS:
            return False
        if not self._app.at_first:
            return not self._app.has_screen
        return bool(self._kept) or given.key not in _MOVES

    def release(self) -> None:
        """The record is open: carry out what waits, one after the other, a frame between any two."""
        self._begin()
        self.go_on()

    def go_on(self) -> None:
        """The first screen is on top (again): what waits may go on, if the record is open."""
        if self._open and self._kept and not self._carrying and self._app.at_first:
            self._carrying = True
            self._in_a_frame()

    async def _next(self) -> None:
        """On whatever screen the one before has led to, once that stands."""
        app = self._app
        way: Sequence[MessagePump] = ()
        if self._kept and app.has_screen:
            way = tuple((app.focused or app.screen).ancestors_with_self)
            await app.carry_out(self._kept.popleft())
        self._carrying = bool(self._kept)
        if self._carrying:
            self._behind(way)

    def _behind(self, way: "Sequence[MessagePump]") -> None:
        """Go on once the last key has gone its way, from what had the focus up to the application."""
        if way:
            way[0].call_later(self._behind, way[1:])
        else:
            self._in_a_frame()

    def _in_a_frame(self) -> None:
        """By a timer of the application: what waits for a screen's next picture is lost when that screen gives way."""
        self._app.set_timer(_FRAME_S, self._next)

    def forget(self) -> int:
        """The record cannot be opened: what waited is not carried out, and the screen that says why takes keys.

        How much it was, for that screen to say so.
        """
        waited = len(self._kept)
        self._kept.clear()
        self._begin()
        return waited

    def _begin(self) -> None:
        self._open = True
        self._collector.gap_s = self._gap_s

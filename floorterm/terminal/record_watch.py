"""Whether the record answers: while it does not, every screen says so; what was said goes once it does again."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from floorterm.terminal.log import LOG
from floorterm.terminal.messages import LedgerMoved
from floorterm.terminal.views.text import day_and_clock
from floorterm.terminal.widgets.notice import Notice
from floorterm.wording import words

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from textual.dom import DOMNode

    from floorterm.ledger import LedgerError
    from floorterm.terminal.app import FloorApp
    from floorterm.terminal.base import FloorScreen


class RecordWatch:
    """Since when the record of a terminal does not answer, and what the screens said about it."""

    def __init__(self, app: "FloorApp") -> None:
        self._app = app
        self._lost_at: datetime | None = None
        self._reasons: tuple[str, ...] = ()
        self._said: set[tuple[str, ...]] = set()

    @property
    def lost(self) -> str:
        """That the record does not answer, and since when; "" while it does."""
        if self._lost_at is None:
            return ""
        since = day_and_clock(self._lost_at, self._app.desk.plant.zone, self._app.language)
        return words("terminal.lost", self._app.language, since=since)

    async def look(self) -> bool:
        """Tell the screen on top if the record has moved, or say that it does not answer; whether it has moved."""
        from floorterm.ledger import LedgerError  # noqa: PLC0415  loaded by now

        try:
            moved = await self._app.desk.has_moved()
        except LedgerError as fault:
            self.lose(fault)
            return False
        found_again, self._lost_at = self._lost_at is not None, None
        if found_again:
            self._take_back()
        if (moved or found_again) and self._app.screen_stack:
            self._app.screen.post_message(LedgerMoved())
        return moved

    @contextmanager
    def losing(self) -> Iterator[None]:
        """Where the record does not answer, what was shown stays, and the heading says so.

        Around every key and message: nothing is imported unless something went wrong.
        """
        try:
            yield
        except Exception as fault:
            from floorterm.ledger import LedgerError  # noqa: PLC0415

            if not isinstance(fault, LedgerError):
                raise
            self.lose(fault)

    def lose(self, fault: "LedgerError") -> None:
        """The record does not answer: every screen says so until it does. What is shown stays on the screen."""
        from floorterm.terminal.base import FloorScreen  # noqa: PLC0415

        if self._lost_at is not None:
            return
        LOG.warning("record lost: %s", type(fault).__name__)
        self._lost_at = self._app.desk.plant.now()
        self._reasons = self._app.desk.sentences(fault)
        if self._app.screen_stack and isinstance(self._app.screen, FloorScreen):
            self._app.screen.show_heading()
            self.say_why(self._app.screen)

    def say_why(self, screen: "FloorScreen[Any]") -> None:
        """Why the record does not answer; where nothing of it was ever shown, that nothing is known there now."""
        unknown = () if screen.knows else (words("terminal.nothing_known", self._app.language),)
        self.say(screen, (*self._reasons, *unknown))

    def say(self, screen: "FloorScreen[Any]", sentences: tuple[str, ...]) -> None:
        """Say something on a screen that holds until the record answers again."""
        self._said.add(sentences)
        screen.refuse(sentences, "caution")

    def state_of(self, action: str, node: "DOMNode", check: "Callable[[], bool | None]") -> bool | None:
        """Whether a key can do something now. One whose screen reads the record for it stays as it was known last."""
        from floorterm.terminal.base import FloorScreen  # noqa: PLC0415

        reads = isinstance(node, FloorScreen) and node.READS_RECORD
        if self._lost_at is None or not reads:
            with self.losing():
                return check()
        return node.known_state(action) if isinstance(node, FloorScreen) else None

    def _take_back(self) -> None:
        """The record is found again: what was said of its absence goes from every screen, other notices stay."""
        LOG.info("record found again")
        for screen in self._app.screen_stack:
            for notice in screen.query(Notice):
                notice.take_back(self._said)
        self._said.clear()

"""The current step, large. What has no room is reached by PgUp, PgDn or a tap on the last line."""

from collections.abc import Sequence

from textual import events
from textual.strip import Strip

from floorterm.terminal.views.text import Line, Span
from floorterm.terminal.widgets.paint import Painted
from floorterm.wording import words


class StepCard(Painted):
    """Lines that begin at the top for every new step; the same lines repaint nothing."""

    DEFAULT_CSS = """
    StepCard { height: 1fr; }
    """

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._lines: tuple[Line, ...] = ()
        self._about = ""
        self._first = 0

    def show(self, lines: Sequence[Line], about: str) -> None:
        """Show these lines; another `about` starts at the top."""
        fresh = tuple(lines)
        if about != self._about:
            self._about, self._first = about, 0
        elif fresh == self._lines:
            return
        self._lines = fresh
        self._first = min(self._first, max(0, len(fresh) - 1))
        self.refresh()

    @property
    def wanted(self) -> int:
        """Lines that the whole step takes."""
        return len(self._lines)

    @property
    def text(self) -> str:
        """All that the card says, as plain lines."""
        return "\n".join("".join(span.text for span in line) for line in self._lines)

    @property
    def _overflows(self) -> bool:
        return len(self._lines) > self.size.height > 1  # a single line says the step, not how to turn

    def turn(self, by: int) -> None:
        """Turn the page; after the last one the first comes again."""
        if not self._overflows:
            return
        page = max(1, self.size.height - 1)
        first = self._first + by * page
        self._first = 0 if first >= len(self._lines) or first < 0 else first
        self.refresh()

    def render_line(self, y: int) -> Strip:
        """One line of the step."""
        width = self.size.width
        if self._overflows and y == self.size.height - 1:
            language = str(getattr(self.app, "language", "en"))
            last = min(len(self._lines), self._first + self.size.height - 1)
            facts = {"first": self._first + 1, "last": last, "all": len(self._lines)}
            return self.paint((Span(f" {words('work.more', language, **facts)} ", "notice"),), width)
        place = self._first + y
        return self.paint(self._lines[place] if place < len(self._lines) else (), width)

    def on_click(self, event: events.Click) -> None:
        """A tap on the last line turns the page."""
        if self._overflows and event.y == self.size.height - 1:
            event.stop()
            self.turn(1)

    def on_resize(self) -> None:
        """Begin at the top."""
        self._first = 0
        self.refresh()

"""Lines of text that nobody chooses from: a detail pane of fixed size, repainted only where it changed."""

from collections.abc import Sequence

from textual.geometry import Region
from textual.strip import Strip

from floorterm.terminal.views.text import Line
from floorterm.terminal.widgets.paint import Painted


class Page(Painted, can_focus=False):
    """Shows lines from the top; what has no room is cut off, so views measure before."""

    DEFAULT_CSS = """
    Page { width: 1fr; height: 1fr; }
    """

    def __init__(self, *, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes)
        self.lines: tuple[Line, ...] = ()

    def show(self, lines: Sequence[Line]) -> None:
        """Show these lines."""
        old, self.lines = self.lines, tuple(lines)
        for y in range(max(len(old), len(self.lines))):
            was = old[y] if y < len(old) else ()
            now = self.lines[y] if y < len(self.lines) else ()
            if was != now:
                self.refresh(Region(0, y, self.size.width, 1))

    @property
    def text(self) -> str:
        """What is shown, as plain lines."""
        return "\n".join("".join(span.text for span in line) for line in self.lines)

    def render_line(self, y: int) -> Strip:
        """One line."""
        return self.paint(self.lines[y] if y < len(self.lines) else (), self.size.width)

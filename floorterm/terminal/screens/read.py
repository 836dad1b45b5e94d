"""Something to read: lines that are paged, with a name and a question."""

from collections.abc import Callable, Iterable

from textual.widget import Widget

from floorterm.terminal.base import FloorScreen
from floorterm.terminal.views.text import Line
from floorterm.terminal.widgets.rows import Row, Rows
from floorterm.wording import words


class ReadScreen(FloorScreen[None]):
    """Lines made anew for every width and language by `lines(width, language)`."""

    CSS_PATH = "read.tcss"

    def __init__(self, name: str, question: str, lines: Callable[[int, str], tuple[Line, ...]]) -> None:
        super().__init__()
        self._wording = (name, question)
        self._make = lines

    def body(self) -> Iterable[Widget]:
        """The lines."""
        yield Rows(digits=False, opens=False, id="read")

    def title_text(self) -> str:
        """What it is."""
        return words(self._wording[0], self.language)

    def question_text(self) -> str:
        """What it answers."""
        return words(self._wording[1], self.language)

    def show(self) -> None:
        """The lines for this width."""
        lines = self._make(max(30, self.size.width - 6), self.language)
        self.query_one("#read", Rows).show([Row(str(n), (line,)) for n, line in enumerate(lines)])

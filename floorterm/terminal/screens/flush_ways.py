"""Ways to flush: which one, and why not the others? Another way is chosen here; it is recorded by who asked."""

from collections.abc import Iterable

from textual.containers import Container
from textual.widget import Widget

from floorterm.changeover.flush_live import still_possible, way_in_hand
from floorterm.changeover.state import FlushProgress
from floorterm.changeover.view_flush import ways
from floorterm.changeover.view_words import kg, tell
from floorterm.changeover.worksheet import FlushNote
from floorterm.terminal.base import FloorScreen
from floorterm.terminal.views.flush_ways import way_line, way_lines, ways_head
from floorterm.terminal.views.work import say
from floorterm.terminal.widgets.rows import Row, Rows
from floorterm.terminal.widgets.step_card import StepCard

_HEAD = "head"


class WaysScreen(FloorScreen[str | None]):
    """All ways of the record side by side; its result is the way that was chosen, or None."""

    CSS_PATH = "flush_ways.tcss"
    QUESTION = "work.ways_question"
    OPENS = "terminal.key_choose"

    def __init__(
        self, title: str, note: FlushNote, progress: FlushProgress | None, *, changeable: bool
    ) -> None:
        super().__init__()
        self._title, self._note, self._progress, self._changeable = title, note, progress, changeable

    def body(self) -> Iterable[Widget]:
        """The table, and beneath it the chosen way in words."""
        with Container(id="sheet"):
            yield Rows(row_height=1, opens=self._changeable, on_chosen=self._tell, id="ways")
            yield StepCard(id="about")

    def title_text(self) -> str:
        """What is changed over."""
        return self._title

    @property
    def _in_hand(self) -> str:
        return way_in_hand(self._progress)

    def show(self) -> None:
        """Every way."""
        width = self.size.width - 2
        found = ways(self._note, self._in_hand, self.language)
        head = Row(_HEAD, (ways_head(self._note, self.language, width),), heading=True)
        rows = [Row(way.key, (way_line(way, width),)) for way in found]
        table = self.query_one("#ways", Rows)
        table.styles.height = len(rows) + 1
        table.show([head, *rows] if rows else [], empty=say("ways_none", self.language))
        if table.chosen is not None:
            self._tell(table.chosen)

    def _tell(self, row: Row) -> None:
        """Reasons and notes of the way that is chosen."""
        found = {way.key: way for way in ways(self._note, self._in_hand, self.language)}
        if row.key in found:
            lines = way_lines(found[row.key], self.language, self.size.width - 2)
            self.query_one(StepCard).show(lines, row.key)

    def on_rows_opened(self, message: Rows.Opened) -> None:
        """Take that way, unless something speaks against it."""
        row = self._note.strategy(message.row.key)
        if row is None or not self._changeable or self._progress is None:
            return
        if row.key == self._in_hand:
            self.refuse((say("ways_in_hand", self.language),), "caution")
        elif not row.allowed:
            self.refuse([tell(text, self.language) for text in row.reasons])
        elif not still_possible(self._progress, row):
            pushed = kg(self._progress.pushed_kg, self.language)
            self.refuse((say("ways_too_late", self.language, kg=pushed),))
        else:
            self.dismiss(row.key)

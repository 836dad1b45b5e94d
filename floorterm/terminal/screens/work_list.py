"""The whole list of a piece of work: what is done, by whom, what is open."""

from collections.abc import Iterable

from textual.widget import Widget

from floorterm.changeover.view import checklist, title_of
from floorterm.terminal.base import FloorScreen
from floorterm.terminal.views.shown import speaker_of
from floorterm.terminal.views.work import list_line, say
from floorterm.terminal.widgets.rows import Row, Rows


class WorkListScreen(FloorScreen[str | None]):
    """Every step in order; its result is the step to go to, or None."""

    CSS_PATH = "dialogs.tcss"

    def __init__(self, work: str, at: str = "") -> None:
        super().__init__()
        self._work, self._at = work, at
        self._shown = False

    def body(self) -> Iterable[Widget]:
        """The list."""
        yield Rows(row_height=1, digits=False, id="steps")

    def title_text(self) -> str:
        """What is changed over."""
        return title_of(self.desk.plant.state(self._work).worksheet, self.language)

    def question_text(self) -> str:
        """What the list answers."""
        return say("list_question", self.language)

    def show(self) -> None:
        """Every step."""
        plant, person = self.desk.plant, self.app.session.person
        rows = checklist(
            plant.state(self._work),
            person,
            plant.now(),
            self.language,
            elsewhere=plant.elsewhere(self._work),
            duties=speaker_of(self.desk.plant, self.language).duties,
            at=self._at,
        )
        steps = self.query_one("#steps", Rows)
        width = self.size.width - 4
        steps.show([Row(row.id, (list_line(row, width),), heading=row.mark == "section") for row in rows])
        if not self._shown and self._at:
            self._shown = steps.choose(self._at)

    def on_rows_opened(self, message: Rows.Opened) -> None:
        """Go to that step."""
        self.dismiss(message.row.key)

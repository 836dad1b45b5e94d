"""Entries of the record: those of one work, or those of one shift; Enter shows one whole."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from floorterm.terminal.base import FloorScreen
from floorterm.terminal.screens.read import ReadScreen
from floorterm.terminal.views.text import Line, apart
from floorterm.terminal.widgets.rows import Row, Rows
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.changeover.worksheet import Worksheet
    from floorterm.entries import Entry
    from floorterm.shift.window import Window


class EntriesScreen(FloorScreen[None]):
    """What was recorded, in the order of the record; the newest is chosen first."""

    CSS_PATH = "entries.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f6", "lots", "lots.key_lots", id="entries.lots"),
        Binding("f7", "study", "study.key_study", id="entries.study"),
        Binding("f8", "document", "study.key_document", id="entries.document"),
    ]

    def __init__(self, *, work: str = "", window: "Window | None" = None, at: int | None = None) -> None:
        super().__init__()
        self._work = work
        self._at = at  # the entry to choose first, instead of the newest
        self._window = window
        self._entries: dict[str, Entry] = {}
        self._begun = False

    def body(self) -> Iterable[Widget]:
        """One list."""
        yield Rows(row_height=2, digits=False, tap_opens=False, id="entries")

    def title_text(self) -> str:
        """The work, or the shift's sign-offs."""
        if self._work:
            return words("terminal.record_of", self.language, work=self._work)
        return words("terminal.sign_offs", self.language)

    def question_text(self) -> str:
        """Who signed what?"""
        if self._window is None:
            return words("terminal.record_question", self.language)
        from floorterm.shift.window import window_text  # noqa: PLC0415

        return window_text(self._window, self.language)

    def show(self) -> None:
        """Read the entries and show them."""
        plant = self.desk.plant
        if self._work:
            found = plant.ledger.entries(changeover=self._work)
        else:
            assert self._window is not None
            found = plant.ledger.entries(since=self._window.since, until=self._window.until)
        self._entries = {str(entry.n): entry for entry in found}
        rows = self.query_one("#entries", Rows)
        rows.show([self._row(entry) for entry in found], empty=words("terminal.no_entries", self.language))
        if not self._begun and found:
            self._begun = rows.choose(str(self._at or found[-1].n))

    def _row(self, entry: "Entry") -> Row:
        from floorterm.terminal.views.record import entry_lines  # noqa: PLC0415

        left, right = entry_lines(entry, self._sheet(entry.changeover), self.desk.plant.zone, self.language)
        width = self.size.width - 5
        lines = [apart(left[i], right[i], width, plain=self.app.plain) for i in (0, 1)]
        return Row(str(entry.n), tuple(lines))

    def _sheet(self, work: str) -> "Worksheet | None":
        return self.desk.plant.state(work).worksheet if work else None

    def on_rows_opened(self, message: Rows.Opened) -> None:
        """One entry whole."""
        entry = self._entries.get(message.row.key)
        if entry is None or not self.on_top:
            return
        zone = self.desk.plant.zone

        def lines(width: int, language: str) -> tuple[Line, ...]:
            from floorterm.terminal.views.record import whole_entry  # noqa: PLC0415

            return whole_entry(entry, zone, width, language)

        self.app.push_screen(ReadScreen("terminal.entry", "terminal.entry_question", lines))

    def action_lots(self) -> None:
        """What went into the lines and what came out."""
        from floorterm.terminal.screens.lots import LotsScreen  # noqa: PLC0415

        self.app.push_screen(LotsScreen())

    def check_action(self, action: str, _: tuple[object, ...]) -> bool | None:
        """The record of one piece of work is printed; the entries of a shift belong to several."""
        return (True if self._work else None) if action == "document" else True

    def action_study(self) -> None:
        """What the times of changeovers say."""
        from floorterm.terminal.screens.document import StudyScreen  # noqa: PLC0415

        self.app.push_screen(StudyScreen())

    def action_document(self) -> None:
        """The record of this work as it would be printed."""
        from floorterm.terminal.screens.document import changeover_screen  # noqa: PLC0415

        self.app.push_screen(changeover_screen(self._work))

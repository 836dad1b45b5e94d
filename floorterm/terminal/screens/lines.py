"""Lines: which line needs somebody first, and where work is started."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from floorterm.terminal.base import FloorScreen
from floorterm.terminal.messages import Scanned
from floorterm.terminal.views.text import Line, Span, apart
from floorterm.terminal.widgets.rows import Row, Rows
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.terminal.views.line_row import LineRow
    from floorterm.terminal.views.lines import Names


class LinesScreen(FloorScreen[None]):
    """Every line at a glance."""

    NAME = "terminal.lines"
    QUESTION = "terminal.lines_question"
    LEAVES = False
    CSS_PATH = "lines.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f2", "locks", "terminal.key_locks", id="lines.locks"),
        Binding("f3", "flush", "terminal.key_flush", id="lines.flush"),
        Binding("f4", "checklists", "terminal.key_checklists", id="lines.checklists"),
        Binding("f5", "audit", "audit_screen.key_audit", id="lines.audit"),
        Binding("f6", "start_changeover", "terminal.key_changeover", id="lines.changeover"),
        Binding("f7", "start_procedure", "terminal.key_procedure", id="lines.procedure"),
        Binding("f8", "shift", "terminal.key_shift", id="lines.shift"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._rows: tuple[LineRow, ...] = ()

    def body(self) -> Iterable[Widget]:
        """One list."""
        yield Rows(row_height=3, id="lines", on_chosen=self._row_chosen)

    def show(self) -> None:
        """Each line, the most pressing first."""
        rows = self.query_one("#lines", Rows)
        if not self.desk.is_open:
            seen = self.app.sight
            self._rows = seen.rows if seen else ()
            rows.show([self._row(row) for row in self._rows], empty=words("terminal.opening", self.language))
            return
        from floorterm.terminal.views.lines import line_rows  # noqa: PLC0415  after the first frame

        plant = self.desk.plant
        self._rows = line_rows(plant.lines(), self.names(), plant.now(), plant.zone, self.language)
        rows.show([self._row(row) for row in self._rows])

    def question_text(self) -> str:
        """Until the record is open, that it is being opened."""
        return super().question_text() if self.desk.is_open else words("terminal.opening", self.language)

    def right_line(self) -> Line:
        """Whether the checklists are approved as they are; in the demo, what it is."""
        if not self.desk.is_open:
            return ()
        plant = self.desk.plant
        if plant.approval() is None:
            key = "terminal.others_approved" if plant.others_approved() else "terminal.not_approved"
            return (Span(f" {words(key, self.language)} ", "caution"),)
        return (Span(words("terminal.demo_note", self.language), "quiet"),) if self.app.demo else ()

    def names(self) -> "Names":
        """The plant's names in the language that is spoken."""
        from floorterm.terminal.views.lines import names_of  # noqa: PLC0415

        return names_of(self.desk.plant.library, self.language)

    def _row(self, row: "LineRow") -> Row:
        width = self.size.width - 6
        lines = []
        for index in range(max(len(row.left), len(row.right))):
            left = row.left[index] if index < len(row.left) else ()
            right = row.right[index] if index < len(row.right) else ()
            if index:
                left = (Span("  "), *left)
            lines.append(apart(left, right, width, plain=self.app.plain))
        return Row(row.key, tuple(lines))

    @property
    def chosen(self) -> "LineRow | None":
        """The row that keys are about."""
        row = self.query_one("#lines", Rows).chosen
        return next((one for one in self._rows if row and one.key == row.key), None)

    # --- what keys do ---------------------------------------------------------------------------

    def on_rows_opened(self, _: Rows.Opened) -> None:
        """Open the work on the line, or start one."""
        row = self.chosen
        if row is None or not self.on_top:  # a key that bounced has opened it already
            return
        if not self.desk.is_open:  # a tap; keys wait until it is
            self.app.say(words("terminal.opening_wait", self.language))
            return
        if row.work:
            self._open_work(row.work)
        else:
            self.action_start_changeover()

    def _open_work(self, work: str) -> None:
        from floorterm.terminal.screens.work import WorkScreen  # noqa: PLC0415

        self.app.push_screen(WorkScreen(work))

    def check_action(self, action: str, _: tuple[object, ...]) -> bool | None:
        """Nothing of the plant can be opened before the record is."""
        needs_plant = (
            "locks",
            "flush",
            "checklists",
            "audit",
            "start_changeover",
            "start_procedure",
            "shift",
        )
        if action in needs_plant and not self.desk.is_open:
            return None
        if action == "flush" and not self._flush_work():
            return None
        return True

    def _flush_work(self) -> str:
        row = self.chosen
        return row.work if row is not None and row.flushes else ""

    def action_locks(self) -> None:
        """Every isolation point of the line."""
        from floorterm.terminal.screens.locks import LocksScreen  # noqa: PLC0415

        row = self.chosen
        if row is not None:
            self.app.push_screen(LocksScreen(row.line))

    def action_flush(self) -> None:
        """The flush of the changeover that is on."""
        from floorterm.terminal.screens.flush import FlushScreen  # noqa: PLC0415

        work = self._flush_work()
        if work:
            self.app.push_screen(FlushScreen(work))

    def action_checklists(self) -> None:
        """The checklists as they are now."""
        from floorterm.terminal.screens.procedures import ProceduresScreen  # noqa: PLC0415

        self.app.push_screen(ProceduresScreen())

    def action_audit(self) -> None:
        """What the lockouts of a month show."""
        from floorterm.terminal.screens.audit import AuditScreen  # noqa: PLC0415

        self.app.push_screen(AuditScreen())

    def action_start_changeover(self) -> None:
        """Choose the incoming fragrance of the chosen line."""
        from floorterm.terminal.screens.start import StartChangeoverScreen  # noqa: PLC0415

        row = self.chosen
        if row is not None:
            self.app.push_screen(StartChangeoverScreen(row.line), self._started)

    def action_start_procedure(self) -> None:
        """Choose a procedure that stands alone."""
        from floorterm.terminal.screens.start import StartProcedureScreen  # noqa: PLC0415

        row = self.chosen
        if row is not None:
            self.app.push_screen(StartProcedureScreen(row.line), self._started)

    def _started(self, work: str | None) -> None:
        if work:
            self._open_work(work)

    def action_shift(self) -> None:
        """The shift that is on."""
        from floorterm.terminal.screens.shift import ShiftScreen  # noqa: PLC0415

        self.app.push_screen(ShiftScreen())

    def _row_chosen(self, _: Row) -> None:
        """Another line: other keys work."""
        self.show_keys()

    # --- scans ----------------------------------------------------------------------------------

    def scanned(self, message: Scanned) -> None:
        """A line opens; a fragrance starts a changeover of the chosen line; a badge names a person."""
        text = message.text.strip()
        if not self.desk.is_open:
            self.app.say(words("terminal.opening_wait", self.language))
            return
        plant = self.desk.plant
        lines = {line.casefold(): line for line in plant.library.lines}
        fragrances = {one.code.casefold(): name for name, one in plant.library.fragrances.items()}
        fragrances |= {name.casefold(): name for name in plant.library.fragrances}
        if text.casefold() in lines:
            self.query_one("#lines", Rows).choose(lines[text.casefold()])
        elif text.casefold() in fragrances:
            self._scanned_fragrance(fragrances[text.casefold()])
        elif not self.app.badge_scanned(text):
            self.refuse((words("terminal.scan_unknown", self.language, text=text),), "caution")

    def _scanned_fragrance(self, fragrance: str) -> None:
        from floorterm.terminal.screens.start import StartChangeoverScreen  # noqa: PLC0415

        row = self.chosen
        if row is not None:
            self.app.push_screen(StartChangeoverScreen(row.line, fragrance), self._started)

"""Lockout audit: which lockouts of a month fell short, by which rule and clause, by whom, what is missing."""

from collections.abc import Iterable
from datetime import date, timedelta
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from floorterm.terminal.base import FloorScreen
from floorterm.terminal.screens.entries import EntriesScreen
from floorterm.terminal.screens.read import ReadScreen
from floorterm.terminal.views.text import Line, Span, sides
from floorterm.terminal.widgets.page import Page
from floorterm.terminal.widgets.rows import Row, Rows
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.plant import Plant
    from floorterm.review.lockout_audit import PeriodAudit
    from floorterm.terminal.views.audit import AuditRow


class AuditScreen(FloorScreen[None]):
    """One calendar month; Left and Right turn to others."""

    NAME = "audit_screen.title"
    CSS_PATH = "audit.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f4", "everything", "audit_screen.key_everything", id="audit.everything"),
        Binding("f5", "attest", "audit_screen.key_attest", id="audit.attest"),
        Binding("f6", "inspections", "audit_screen.key_inspections", id="audit.inspections"),
        Binding("f7", "year", "audit_screen.key_year", id="audit.year"),
        Binding("left", "turn(-1)", "terminal.key_before", id="audit.before"),
        Binding("right", "turn(1)", "terminal.key_after", id="audit.after"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._day: date | None = None  # a day of the month that is shown; None: the month that runs
        self._audit: PeriodAudit | None = None
        self._seen: tuple[date, int] | None = None
        self._rows: tuple[AuditRow, ...] = ()
        self._all = False

    def body(self) -> Iterable[Widget]:
        """The findings, and beneath them the chosen one in full."""
        yield Rows(row_height=2, digits=False, id="findings", on_chosen=self._chosen)
        yield Page(id="detail")
        yield Page(id="says")

    @property
    def day(self) -> date:
        """A day of the month that is shown."""
        return self._day or self.desk.plant.today()

    def question_text(self) -> str:
        """The answer, once it is there."""
        from floorterm.terminal.views.audit import answer  # noqa: PLC0415

        if self._audit is None:
            return words("audit_screen.reading", self.language)
        return answer(self._audit, self.language)

    def show(self) -> None:
        """What was found; judged anew beside the drawing when the record has moved."""
        from floorterm.terminal.views.audit import audit_rows  # noqa: PLC0415

        state = (self.day.replace(day=1), self.desk.plant.ledger.head().n)
        if state != self._seen:
            self._seen = state
            self.run_worker(self._judge(self.day), group="audit", exclusive=True)
        says: Line = (Span(words("audit_screen.says", self.language), "quiet"),)
        self.query_one("#says", Page).show((says,))
        if self._audit is None:
            self._rows = ()
            self.query_one("#findings", Rows).show((), empty=words("audit_screen.reading", self.language))
            self._tell()
            return
        self._rows = audit_rows(self._audit, self.language, everything=self._all)
        key = "audit_screen.none_short" if self._audit.jobs else "audit_screen.no_lockouts"
        empty = words(key, self.language, n=len(self._audit.jobs))
        self.query_one("#findings", Rows).show([self._row(row) for row in self._rows], empty=empty)
        self._tell()

    async def _judge(self, day: date) -> None:
        from floorterm.ledger import LedgerError  # noqa: PLC0415  loaded by now

        try:
            self._audit = await self.desk.in_reader(lambda plant: judged_month(plant, day))
        except LedgerError:
            self._seen = None  # judged once the record answers again
            raise
        self.retell()

    def _row(self, row: "AuditRow") -> Row:
        if row.heading:
            return Row(row.key, row.left, heading=True)
        return Row(row.key, sides(row.left, row.right, self.size.width - 4, plain=self.app.plain))

    @property
    def chosen(self) -> "AuditRow | None":
        """The row that keys are about."""
        row = self.query_one("#findings", Rows).chosen if self.is_mounted else None
        return next((one for one in self._rows if row and one.key == row.key), None)

    def _chosen(self, _: Row) -> None:
        """Another finding: another text beneath."""
        self._tell()
        self.show_keys()

    def _tell(self) -> None:
        from floorterm.terminal.views.audit import detail  # noqa: PLC0415

        self.query_one("#detail", Page).show(detail(self.chosen, self.size.width - 4, self.language))

    # --- keys -----------------------------------------------------------------------------------

    def key_label(self, wording: str) -> str:
        """The first key says what it would show."""
        if wording == "audit_screen.key_everything" and self._all:
            return words("audit_screen.key_short", self.language)
        return super().key_label(wording)

    def check_action(self, action: str, _: tuple[object, ...]) -> bool | None:
        """Nothing waits for a word where nothing was found."""
        if action == "attest":
            return True if self._audit is not None and self._audit.waiting() else None
        return True

    def on_rows_opened(self, _: Rows.Opened) -> None:
        """The entries behind a finding."""
        row = self.chosen
        if row is not None and row.job is not None and self.on_top:
            number = row.finding.entry if row.finding is not None else None
            self.app.push_screen(EntriesScreen(work=row.job.work, at=number or row.job.events[0].number))

    def action_everything(self) -> None:
        """All lockouts and all findings, or only those that fell short."""
        self._all = not self._all
        self.retell()

    def action_turn(self, by: int) -> None:
        """The month before, the month after; after the one that runs there is none."""
        first = self.day.replace(day=1)
        other = first - timedelta(days=1) if by < 0 else (first + timedelta(days=32)).replace(day=1)
        today = self.desk.plant.today()
        fresh = None if other >= today.replace(day=1) else other
        if fresh != self._day:
            self._day, self._audit = fresh, None
            self.retell()

    def action_attest(self) -> None:
        """What no event can prove, and who says it instead."""
        from floorterm.terminal.screens.attest import AttestScreen  # noqa: PLC0415

        if self._audit is not None:
            self.app.push_screen(AttestScreen(self.day, self._audit))

    def action_inspections(self) -> None:
        """Periodic inspections of the procedures."""
        from floorterm.terminal.screens.inspections import InspectionsScreen  # noqa: PLC0415

        self.app.push_screen(InspectionsScreen())

    def action_year(self) -> None:
        """Every rule over twelve months."""
        self.run_worker(self._year(), group="audit-year", exclusive=True)

    async def _year(self) -> None:
        audit = await self.desk.in_reader(lambda plant: _year(plant, plant.today()))

        def lines(width: int, language: str) -> tuple[Line, ...]:
            from floorterm.terminal.views.audit import year_lines  # noqa: PLC0415

            return year_lines(audit, width, language)

        if self.on_top:
            self.app.push_screen(ReadScreen("audit_screen.year", "audit_screen.year_question", lines))


def judged_month(plant: "Plant", day: date) -> "PeriodAudit":
    """The lockouts of the calendar month of a day."""
    from floorterm.review.lockout_audit import audit_period, month_of  # noqa: PLC0415

    return audit_period(plant, *month_of(day))


def _year(plant: "Plant", day: date) -> "PeriodAudit":
    from floorterm.review.lockout_audit import audit_period, year_until  # noqa: PLC0415

    return audit_period(plant, *year_until(day))

"""To attest: what no event of a month's lockouts can prove, and the name of whoever speaks for it."""

from collections.abc import Iterable
from datetime import date
from typing import TYPE_CHECKING

from textual.widget import Widget

from floorterm.terminal.base import FloorScreen
from floorterm.terminal.messages import Recorded
from floorterm.terminal.screens.audit import judged_month
from floorterm.terminal.screens.dialogs import AskScreen, words_spec
from floorterm.terminal.views.text import apart
from floorterm.terminal.widgets.page import Page
from floorterm.terminal.widgets.rows import Row, Rows
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.entries import Entry
    from floorterm.plant import Plant
    from floorterm.review.lockout_audit import PeriodAudit
    from floorterm.terminal.desk import Signature
    from floorterm.terminal.views.audit import AttestRow


class AttestScreen(FloorScreen[None]):
    """One row a rule; Enter asks what was looked at, then the PIN."""

    NAME = "audit_screen.attest"
    QUESTION = "audit_screen.attest_question"
    CSS_PATH = "audit.tcss"

    def __init__(self, day: date, audit: "PeriodAudit") -> None:
        super().__init__()
        self._day = day
        self._audit = audit
        self._rows: tuple[AttestRow, ...] = ()
        self._retry: tuple[str, str] | None = None

    def body(self) -> Iterable[Widget]:
        """The rules, and beneath them what the chosen one is about."""
        yield Rows(row_height=2, digits=False, id="waiting", on_chosen=self._chosen)
        yield Page(id="detail")

    def show(self) -> None:
        """What waits for somebody's word."""
        from floorterm.terminal.views.audit import attest_rows  # noqa: PLC0415

        if self.desk.plant.ledger.head().n != self._audit.seal.n:
            self.run_worker(self._judge(), group="audit", exclusive=True)
        self._rows = attest_rows(self._audit, self.language)
        width = self.size.width - 4
        rows = [
            Row(
                row.key,
                (apart(row.left[0], row.right[0], width, plain=self.app.plain),
                 apart(row.left[1], (), width, plain=self.app.plain)),
            )
            for row in self._rows
        ]  # fmt: skip
        self.query_one("#waiting", Rows).show(rows, empty=words("audit_screen.attest_none", self.language))
        self._tell()

    async def _judge(self) -> None:
        """Judge anew beside the drawing, as the record has moved."""
        self._audit = await self.desk.in_reader(lambda plant: judged_month(plant, self._day))
        self.retell()

    def _chosen(self, _: Row) -> None:
        """Another rule: another text beneath."""
        self.refuse(())
        self._tell()

    @property
    def chosen(self) -> "AttestRow | None":
        """The row that keys are about."""
        row = self.query_one("#waiting", Rows).chosen
        return next((one for one in self._rows if row and one.key == row.key), None)

    def _tell(self) -> None:
        from floorterm.terminal.views.audit import attest_detail  # noqa: PLC0415

        self.query_one("#detail", Page).show(attest_detail(self.chosen, self.size.width - 4))

    def on_rows_opened(self, _: Rows.Opened) -> None:
        """Ask for the words, then record them."""
        row = self.chosen
        if row is not None and self.on_top:
            self.start_way(self._ask, row)

    async def _ask(self, row: "AttestRow") -> None:
        title = f"{words('audit_screen.attest', self.language)}: {row.key}"
        spec = words_spec("ask_attest", self.language)
        given = await self.app.push_screen_wait(AskScreen(title, row.texts[0], spec))
        if given is None:
            return
        text = given.text.strip()

        def write(plant: "Plant", by: "Signature", key: str) -> "Entry":
            from floorterm.inspecting import record_attestation  # noqa: PLC0415

            return record_attestation(plant, by.who, row.key, row.jobs, text, key=key)

        key = self._retry[1] if self._retry and self._retry[0] == f"{row.key} {text}" else self.desk.new_key()
        self._retry = (f"{row.key} {text}", key)
        self.desk.write(write, key=key, screen=self, about=(title, row.texts[0], text))

    def recorded(self, _: Recorded) -> None:
        """It stands in the record; what is left is shown."""
        self._retry = None

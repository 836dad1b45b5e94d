"""Review: one shift as it is signed. Decide about its deviations, write what the next shift must know, sign."""

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from floorterm.changeover.entering import EntrySpec, Given
from floorterm.terminal.base import FloorScreen
from floorterm.terminal.messages import NotRecorded, Recorded
from floorterm.terminal.retry import Retry
from floorterm.terminal.screens.dialogs import AskScreen
from floorterm.terminal.screens.entries import EntriesScreen
from floorterm.terminal.views.text import sides
from floorterm.terminal.widgets.rows import Row, Rows
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.entries import Entry
    from floorterm.plant import Plant
    from floorterm.shift.window import Window
    from floorterm.shift_review import Review
    from floorterm.terminal.desk import Signature
    from floorterm.terminal.views.shift_review import ReviewRow


class ReviewScreen(FloorScreen[None]):
    """One shift. `drafts` keeps texts for the next shift that are not signed yet, by the shift's key."""

    NAME = "shift.review"
    CSS_PATH = "review.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f3", "handover", "shift.key_handover", id="review.handover"),
        Binding("f4", "minutes", "shift.key_minutes", id="review.minutes"),
        Binding("f5", "decide", "terminal.key_decide", id="review.decide"),
        Binding("f6", "sign", "shift.key_sign", id="review.sign"),
        Binding("f7", "take_over", "shift.key_take_over", id="review.take_over"),
        Binding("f8", "seal", "proof.key_seal", id="review.seal"),
    ]

    def __init__(self, window: "Window", drafts: dict[str, str]) -> None:
        super().__init__()
        self._window = window
        self._drafts = drafts
        self._review: Review | None = None
        self._rows: tuple[ReviewRow, ...] = ()
        self._retry = Retry()
        self._asked: object = None

    def body(self) -> Iterable[Widget]:
        """One list in its parts."""
        yield Rows(row_height=2, digits=False, id="review", on_chosen=self._row_chosen)

    def question_text(self) -> str:
        """Which shift it is."""
        from floorterm.shift.window import window_text  # noqa: PLC0415

        return window_text(self._window, self.language)

    def show(self) -> None:
        """Read the shift anew: what is signed is what is shown here."""
        from floorterm.shift_review import review_of  # noqa: PLC0415
        from floorterm.terminal.views.shift_review import review_rows  # noqa: PLC0415

        self._review = review_of(self.desk.plant, self._window)
        width = self.size.width - 7
        self._rows = review_rows(self._review, self.draft, width, self.language)
        self.query_one("#review", Rows).show([self._row(row, width) for row in self._rows])

    @property
    def draft(self) -> str:
        """The text for the next shift: as typed here, or as it was signed."""
        signed = self._review.signature if self._review is not None else None
        return self._drafts.get(self._window.key, signed.handover if signed is not None else "")

    def _row(self, row: "ReviewRow", width: int) -> Row:
        room = width + 2 if row.heading else width  # a heading begins further left
        lines = sides(row.left, row.right, room, plain=self.app.plain)
        return Row(row.key, lines, heading=row.heading)

    @property
    def chosen(self) -> "ReviewRow | None":
        """The row that keys are about."""
        row = self.query_one("#review", Rows).chosen if self.stands else None
        return next((one for one in self._rows if row and one.key == row.key), None)

    # --- keys -----------------------------------------------------------------------------------

    def check_action(self, action: str, _: tuple[object, ...]) -> bool | None:
        """Keys for what the chosen row allows, and for what the shift still needs."""
        row = self.chosen
        signed = self._review.signature if self._review is not None else None
        match action:
            case "minutes":
                return True if row is not None and row.minutes else None
            case "decide":
                return True if row is not None and row.deviation else None
            case "sign":  # what was signed and still reads so is not signed again
                review = self._review
                if review is None or review.opens is not None:
                    return None
                return True if review.shown(self.draft) is review.summary else None
            case "take_over":
                return True if signed is not None and signed.taken_over is None else None
        return True

    def _row_chosen(self, _: Row) -> None:
        """Other keys work."""
        self.show_keys()

    def on_rows_opened(self, _: Rows.Opened) -> None:
        """Decide, look at the minutes or at the entries, write: what the row is about."""
        row = self.chosen
        if row is None or not self.on_top:  # a key that bounced has opened it already
            return
        if row.deviation:
            self.action_decide()
        elif row.minutes:
            self.action_minutes()
        elif row.work:
            self.app.push_screen(EntriesScreen(work=row.work))
        elif row.key == "handover":
            self.action_handover()

    def action_seal(self) -> None:
        """The record's seal as a code to photograph."""
        from floorterm.terminal.screens.seal import SealScreen  # noqa: PLC0415

        self.app.push_screen(SealScreen())

    def action_minutes(self) -> None:
        """Why a changeover took as long as it did."""
        from floorterm.terminal.screens.minutes import MinutesScreen  # noqa: PLC0415

        row = self.chosen
        if row is not None and row.minutes:
            self.app.push_screen(MinutesScreen(row.work))

    def action_decide(self) -> None:
        """Decide about the deviation of the row."""
        row = self.chosen
        if row is not None and row.deviation:
            self.start_way(self._decide, row.work, row.deviation)

    async def _decide(self, work: str, number: int) -> None:
        from floorterm.terminal.screens.dispose import ask_disposition  # noqa: PLC0415

        given = await ask_disposition(self, work, number)
        if given is not None:
            act, own = given
            self._asked = act
            self.desk.record(work, act, key=self._retry.key_of(act), ask_witness=own, screen=self)

    def action_handover(self) -> None:
        """Write what the next shift must know."""
        self.start_way(self._write)

    async def _write(self) -> bool:
        spec = EntrySpec(mode="text", prompt=words("shift.ask_handover", self.language))
        title = words("shift.handover_title", self.language)
        given = await self.app.push_screen_wait(
            AskScreen(title, self.question_text(), spec, given=Given(text=self.draft))
        )
        if given is None:
            return False
        self._drafts[self._window.key] = given.text.strip()
        self.retell()
        return True

    def action_sign(self) -> None:
        """Sign what stands here; without a text for the next shift it is asked first."""
        if self._review is not None:
            self.start_way(self._sign, self._review)

    async def _sign(self, shown: "Review") -> None:
        from floorterm.shift_review import sign  # noqa: PLC0415

        if not self.draft and not await self._write():
            return
        text = self.draft

        def write(plant: "Plant", by: "Signature", key: str) -> "Entry":
            return sign(plant, by.who, shown, text, key=key)

        self._asked = ("sign", shown, text)
        self._record(write, "shift.key_sign", text)

    def action_take_over(self) -> None:
        """The lead of the next shift takes over what was signed."""
        from floorterm.shift_review import countersign  # noqa: PLC0415

        shown = self._review
        if shown is None:
            return

        def write(plant: "Plant", by: "Signature", key: str) -> "Entry":
            return countersign(plant, by.who, shown, key=key)

        self._asked = ("take over", shown)
        self._record(write, "shift.key_take_over")

    def _record(self, write: "Callable[[Plant, Signature, str], Entry]", what: str, *entered: str) -> None:
        about = (words(what, self.language).replace("|", ""), self.title_text(), *entered)
        self.desk.write(write, key=self._retry.key_of(self._asked), screen=self, about=about)

    def recorded(self, message: Recorded) -> None:
        """What was typed stands in the record now."""
        from floorterm.shift.signing import SIGNED  # noqa: PLC0415

        if message.entry.kind == SIGNED:
            self._drafts.pop(self._window.key, None)

    def not_recorded(self, message: NotRecorded) -> None:
        """Keep the key, so that a commit of unknown outcome is looked up; read again what was refused."""
        self._retry.keep(self._asked, message.key)
        self.retell()

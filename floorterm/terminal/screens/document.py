"""A document on screen, a part at a time: what would be printed, read where one stands."""

from collections.abc import Callable, Iterable
from datetime import timedelta
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from floorterm.terminal.base import FloorScreen
from floorterm.terminal.widgets.rows import Row, Rows
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.plant import Plant
    from floorterm.review.document import Document
    from floorterm.review.framing import Printing
    from floorterm.terminal.views.document import Part

_MONTH, _YEAR = timedelta(days=30), timedelta(days=365)


class DocumentScreen(FloorScreen[None]):
    """A document made by `make(plant, printing)` beside the drawing; Left and Right turn its parts."""

    CSS_PATH = "read.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("left", "turn(-1)", "study.key_before", id="document.before"),
        Binding("right", "turn(1)", "study.key_after", id="document.after"),
    ]

    def __init__(self, name: str, make: "Callable[[Plant, Printing], Document]") -> None:
        super().__init__()
        self._wording = name
        self._maker = make
        self._made: Document | None = None
        self._language = ""
        self._part = 0

    def body(self) -> Iterable[Widget]:
        """The lines of the part."""
        yield Rows(digits=False, opens=False, id="read")

    def title_text(self) -> str:
        """Which document."""
        return words(self._wording, self.language)

    @property
    def _parts(self) -> "tuple[Part, ...]":
        from floorterm.terminal.views.document import document_parts  # noqa: PLC0415

        return document_parts(self._made) if self._made is not None else ()

    def question_text(self) -> str:
        """Which part of how many."""
        parts = self._parts
        if not parts:
            return words("study.reading", self.language)
        part = parts[self._part]
        return words("study.part", self.language, name=part.name, n=self._part + 1, all=len(parts))

    def show(self) -> None:
        """The part; the document is made anew for another language only, as paper would not change either."""
        from floorterm.terminal.views.document import part_lines  # noqa: PLC0415

        if self._language != self.language:
            self._language, self._made = self.language, None
            self.run_worker(self._make(self.language), group="document", exclusive=True)
        rows = self.query_one("#read", Rows)
        if self._made is None:
            rows.show((), empty=words("study.reading", self.language))
            return
        lines = part_lines(self._made, self._parts[self._part], max(30, self.size.width - 6))
        rows.show([Row(f"{self._part} {n}", (line,)) for n, line in enumerate(lines)])

    async def _make(self, language: str) -> None:
        from floorterm.ledger import LedgerError  # noqa: PLC0415  loaded by now

        try:
            self._made = await self.desk.in_reader(
                lambda plant: self._maker(plant, _printing(plant, language))
            )
        except LedgerError:
            self._language = ""  # made once the record answers again
            raise
        self.retell()

    def anew(self) -> None:
        """Make the document again; what stands is cleared meanwhile."""
        self._language, self._made, self._part = "", None, 0
        self.retell()
        self.show_keys()

    def action_turn(self, by: int) -> None:
        """The part before, the part after; round at the ends."""
        if parts := self._parts:
            self._part = (self._part + by) % len(parts)
            self.retell()


class StudyScreen(DocumentScreen):
    """The time study of the last thirty days, at once; F4 reads the whole year."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f4", "span", "study.key_year", id="document.span"),
    ]

    def __init__(self) -> None:
        super().__init__("study.title", lambda plant, printing: _study(plant, printing, self._span))
        self._span = _MONTH

    def key_label(self, wording: str) -> str:
        """The key says what it would show."""
        if wording == "study.key_year" and self._span == _YEAR:
            return words("study.key_month", self.language)
        return super().key_label(wording)

    def action_span(self) -> None:
        """The other span, made anew."""
        self._span = _MONTH if self._span == _YEAR else _YEAR
        self.anew()


def changeover_screen(work: str) -> DocumentScreen:
    """The record of one piece of work: timeline, minutes, washout, sign-offs."""
    return DocumentScreen("sign_offs.title", lambda plant, printing: _changeover(plant, printing, work))


def _printing(plant: "Plant", language: str) -> "Printing":
    from floorterm.ledger import Seal  # noqa: PLC0415
    from floorterm.review.framing import Printing  # noqa: PLC0415

    name = plant.ledger.start().plant
    return Printing(plant=name, language=language, at=plant.now(), seal=Seal.of(plant.ledger.head(), name))


def _study(plant: "Plant", printing: "Printing", span: timedelta) -> "Document":
    from floorterm.review.study_document import study_document  # noqa: PLC0415
    from floorterm.studying import study_between  # noqa: PLC0415

    after = plant.today() + timedelta(days=1)
    return study_document(study_between(plant, after - span, after), after - span, after, printing)


def _changeover(plant: "Plant", printing: "Printing", work: str) -> "Document":
    from floorterm.review.changeover_document import changeover_document  # noqa: PLC0415

    return changeover_document(plant.state(work), plant.ledger.entries(changeover=work), printing)

"""Checklists: the library as it is now, who approved it, what is wrong with it, what a worksheet would say."""

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from floorterm.changeover.faults import ComposeError
from floorterm.terminal.base import FloorScreen
from floorterm.terminal.messages import NotRecorded
from floorterm.terminal.screens.read import ReadScreen
from floorterm.terminal.views.text import Line, Span
from floorterm.terminal.widgets.page import Page
from floorterm.terminal.widgets.rows import Row, Rows
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.changeover.worksheet import Worksheet
    from floorterm.library import Library, TranslationGap
    from floorterm.plant import Plant
    from floorterm.terminal.views.library import LibraryRow


class ProceduresScreen(FloorScreen[None]):
    """Everything that the plant's YAML says, from this terminal's point of view."""

    NAME = "terminal.checklists"
    QUESTION = "terminal.checklists_question"
    CSS_PATH = "procedures.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f5", "approve", "terminal.key_approve", id="procedures.approve"),
        Binding("f6", "gaps", "terminal.key_gaps", id="procedures.gaps"),
        Binding("f7", "read_again", "terminal.key_read_again", id="procedures.read_again"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._rows: tuple[LibraryRow, ...] = ()
        self._key: str | None = None

    def body(self) -> Iterable[Widget]:
        """Digest and approval, then the list."""
        yield Page(id="approval")
        yield Rows(row_height=2, digits=False, id="library", on_chosen=self._row_chosen)

    def show(self) -> None:
        """The library, and its approval as the record has it."""
        from floorterm.terminal.views.library import approval_line, library_rows  # noqa: PLC0415

        plant = self.desk.plant
        approved = plant.approval(), plant.others_approved()
        line = approval_line(plant.library, *approved, plant.zone, self.language)
        folder: Line = (Span(plant.library.folder, "quiet"),)
        self.query_one("#approval", Page).show((line, folder))
        self._rows = library_rows(plant.library, self.language)
        rows = [Row(row.key, row.lines, heading=not row.kind) for row in self._rows]
        self.query_one("#library", Rows).show(rows)

    def check_action(self, action: str, _: tuple[object, ...]) -> bool | None:
        """What is approved already is not approved again."""
        if action == "approve" and self.desk.plant.approval() is not None:
            return None
        return True

    def _row_chosen(self, _: Row) -> None:
        """What was answered before is over."""
        self.refuse(())

    # --- reading --------------------------------------------------------------------------------

    def on_rows_opened(self, message: Rows.Opened) -> None:
        """Read more about a row: a line, a lockout, or the worksheet that it would give."""
        row = next((one for one in self._rows if one.key == message.row.key), None)
        if row is None or not self.on_top:
            return
        library = self.desk.plant.library
        if row.kind == "lines":
            from floorterm.terminal.views.library import line_lines  # noqa: PLC0415

            line = library.lines[row.name]
            self._read("terminal.line_file", lambda width, language: line_lines(line, width, language))
        elif row.kind == "lockouts":
            from floorterm.terminal.views.library import lockout_lines  # noqa: PLC0415

            lockout = library.lockouts[row.name]
            self._read(
                "terminal.lockout_file", lambda width, language: lockout_lines(lockout, width, language)
            )
        else:
            self.run_worker(self._preview(row), group="preview", exclusive=True)

    def _read(self, name: str, lines: Callable[[int, str], tuple[Line, ...]]) -> None:
        if self.on_top:  # else somebody reads first aid by now
            self.app.push_screen(ReadScreen(name, f"{name}_question", lines))

    async def _preview(self, row: "LibraryRow") -> None:
        """The worksheet as it would be printed, on the first line that has it and holds something else."""
        try:
            sheet = await self.desk.in_reader(lambda plant: _sheet(plant, row.kind, row.name))
        except ComposeError as fault:
            self.refuse((str(fault),), "caution")
            return
        if sheet is None:
            self.refuse((words("terminal.no_preview", self.language),), "notice")
            return
        found = sheet

        def lines(_: int, language: str) -> tuple[Line, ...]:
            from floorterm.review.worksheet import as_text  # noqa: PLC0415
            from floorterm.terminal.views.library import text_lines  # noqa: PLC0415

            return text_lines(as_text(found, language))

        self._read("terminal.worksheet", lines)

    def action_gaps(self) -> None:
        """Texts without a reviewed translation."""
        self.run_worker(self._gaps(), group="preview", exclusive=True)

    async def _gaps(self) -> None:
        gaps = await self.desk.in_reader(_translation_gaps)

        def lines(width: int, language: str) -> tuple[Line, ...]:
            from floorterm.terminal.views.library import gap_lines  # noqa: PLC0415

            return gap_lines(gaps, width, language)

        self._read("terminal.gaps", lines)

    def action_read_again(self) -> None:
        """Read the files once more and say what is wrong with them, without changing what this terminal uses."""
        self.run_worker(self._read_again(), group="preview", exclusive=True)

    async def _read_again(self) -> None:
        from floorterm.library import LibraryError  # noqa: PLC0415

        language = self.language
        try:
            fresh = await self.desk.in_reader(_loaded_again)
        except LibraryError as fault:
            first = words("terminal.library_faults", language, n=len(fault.faults))
            found = (first, *map(str, fault.faults))

            def lines(width: int, _: str) -> tuple[Line, ...]:
                from floorterm.terminal.views.text import wrapped  # noqa: PLC0415

                return tuple(line for text in found for line in wrapped(text, width, indent=4))

            self._read("terminal.faults", lines)
            return
        same = fresh.digest == self.desk.plant.library.digest
        self.refuse((words("terminal.files_same" if same else "terminal.files_changed", language),), "notice")

    # --- approving ------------------------------------------------------------------------------

    def action_approve(self) -> None:
        """The safety officer approves the checklists as this terminal uses them."""
        about = (words("terminal.key_approve", self.language).replace("|", ""), self.title_text())
        self.desk.approve_library(key=self._key, about=about)

    def not_recorded(self, message: NotRecorded) -> None:
        """Why not; the next press is the same act again."""
        self._key = message.key


def _sheet(plant: "Plant", kind: str, name: str) -> "Worksheet | None":
    if kind == "alone":
        return plant.procedure_worksheet(plant.library.alone[name].lines[0], name)
    for line in plant.library.fragrances[name].lines:
        held = plant.holds(line).fragrances
        if held and held[0] != name:
            return plant.worksheet(line, name)
    return None


def _translation_gaps(plant: "Plant") -> "tuple[TranslationGap, ...]":
    from floorterm.library import translation_gaps  # noqa: PLC0415

    return translation_gaps(plant.library)


def _loaded_again(plant: "Plant") -> "Library":
    from pathlib import Path  # noqa: PLC0415

    from floorterm.library import load  # noqa: PLC0415

    return load(Path(plant.library.folder))

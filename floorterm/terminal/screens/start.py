"""Start work on a line: choose what comes, read what it asks, confirm."""

from abc import abstractmethod
from collections.abc import Callable, Iterable
from functools import partial
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import Container
from textual.widget import Widget

from floorterm.changeover.faults import ComposeError
from floorterm.terminal.base import FloorScreen
from floorterm.terminal.messages import NotRecorded, Recorded, Scanned
from floorterm.terminal.views.start import (
    Candidate,
    changeover_candidate,
    detail_lines,
    glance_lines,
    matching,
    procedure_candidate,
)
from floorterm.terminal.views.text import tell
from floorterm.terminal.widgets.page import Page
from floorterm.terminal.widgets.rows import Row, Rows
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.plant import Plant

_TOLD = 7  # lines under the list


# the candidates, and why something is none
Computed = tuple[tuple[Candidate, ...], tuple[str, ...]]


def composed(makers: Iterable[Callable[[], Candidate]]) -> Computed:
    """What can be composed, and the reasons of what the checklists do not allow."""
    found: list[Candidate] = []
    reasons: list[str] = []
    for make in makers:
        try:
            found.append(make())
        except ComposeError as fault:
            reasons.append(str(fault))
    return tuple(found), tuple(dict.fromkeys(reasons))


class StartScreen(FloorScreen[str]):
    """A list with what the chosen row asks; Enter chooses, a second one on its own page starts.

    Its result is the work that was begun, or None.
    """

    CSS_PATH = "start.tcss"
    OPENS = "terminal.key_choose"
    NOTHING: ClassVar[str] = "terminal.nothing_to_start"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "start", "terminal.key_start", id="start.start"),
    ]

    def __init__(self, line: str, chosen: str = "") -> None:
        super().__init__()
        self._line = line
        self._wanted = chosen
        self._candidates: tuple[Candidate, ...] = ()
        self._confirming: Candidate | None = None
        self._key = ""
        self._spoken = ""

    def body(self) -> Iterable[Widget]:
        """The list, and what is told about the chosen row."""
        with Container(id="choosing"):
            yield Rows(row_height=2, id="candidates", on_chosen=self._row_chosen, takes_enter=self.is_meant)
            yield Page(id="told")
        confirm = Page(id="confirm")
        confirm.can_focus = True  # the list is hidden behind it, and something always has the focus
        yield confirm

    def question_text(self) -> str:
        """What comes, or whether to start."""
        line = tell(self.desk.plant.library.lines[self._line].name, self.language)
        if self._confirming is not None:
            return words("terminal.start_confirm", self.language, line=line)
        return words(self.QUESTION, self.language, line=line)

    # --- what may begin -------------------------------------------------------------------------

    @abstractmethod
    def compute(self, plant: "Plant", language: str) -> Computed:
        """The candidates, and why something is none; called in the reading thread."""

    @abstractmethod
    def begin(self, candidate: Candidate, key: str) -> bool:
        """Ask the desk to begin it."""

    def _signs(self, candidate: Candidate) -> tuple[str, ...]:
        line = tell(self.desk.plant.library.lines[self._line].name, self.language)
        return (self.title_text(), f"{line}: {candidate.title}")

    def show(self) -> None:
        """Compute the candidates in the reading thread once a language, then show them."""
        if self._spoken != self.language:
            self._spoken = self.language
            self.query_one("#candidates", Rows).show((), empty=words("terminal.computing", self.language))
            self.run_worker(self._compute(), group="candidates", exclusive=True)
        self._show_phase()

    async def _compute(self) -> None:
        from floorterm.ledger import LedgerError  # noqa: PLC0415  loaded by now

        language, rows = self.language, self.query_one("#candidates", Rows)
        try:
            found, reasons = await self.desk.in_reader(lambda plant: self.compute(plant, language))
        except LedgerError:
            self._spoken = ""  # computed once the record answers again
            rows.show((), empty=words("terminal.nothing_known", language))
            raise
        self._candidates = found
        if self._confirming is not None:
            self._confirming = matching(found, self._confirming.key)
        empty = "" if reasons else words(self.NOTHING, self.language)
        rows.show([Row(one.key, one.row) for one in found], empty=empty)
        if reasons:
            self.refuse(reasons, "caution")
        if self._wanted:
            wanted, self._wanted = self._wanted, ""
            if rows.choose(wanted):
                self._confirm(matching(found, wanted))
            else:
                self.refuse((words("terminal.not_on_this_line", self.language, name=wanted),), "caution")
        self._show_phase()
        self.show_keys()
        self.appears()

    def _show_phase(self) -> None:
        confirming = self._confirming
        self.query_one("#choosing", Container).display = confirming is None
        page = self.query_one("#confirm", Page)
        page.display = confirming is not None
        rows = self.query_one("#candidates", Rows)
        if confirming is not None:
            page.show(detail_lines(confirming, self.size.width - 6))
        else:
            chosen = matching(self._candidates, rows.chosen.key) if rows.chosen else None
            told = self.query_one("#told", Page)
            wide = self.size.width >= 100
            width = (self.size.width - 10) // 2 if wide else self.size.width - 4
            height = max(_TOLD, told.size.height) if wide else _TOLD
            told.show(glance_lines(chosen, width, height, self.language) if chosen else ())

    # --- keys -----------------------------------------------------------------------------------

    def enter_does(self) -> object:
        """Enter chooses from the list, then it starts what stands on the page."""
        return self._confirming.key if self._confirming is not None else bool(self._candidates)

    def check_action(self, action: str, _: tuple[object, ...]) -> bool | None:
        """Starting is the second step."""
        if action == "start":
            return self._confirming is not None
        return action != "open" or self._confirming is None

    def _row_chosen(self, _: Row) -> None:
        """Tell about another row."""
        self._show_phase()

    def on_rows_opened(self, message: Rows.Opened) -> None:
        """Read everything, then confirm."""
        self._confirm(matching(self._candidates, message.row.key))

    def _confirm(self, candidate: Candidate | None) -> None:
        self._confirming = candidate
        self._key = self.desk.new_key()
        self.refuse(())
        self.retell()
        if candidate is not None:
            self.set_focus(self.query_one("#confirm", Page))

    def action_start(self) -> None:
        """Begin the work; whoever starts it signs in first."""
        if self._confirming is not None and self.is_meant():
            self.begin(self._confirming, self._key)

    def action_back(self) -> None:
        """From the page to the list, from there out."""
        if self._confirming is None:
            self.dismiss(None)
            return
        self._confirming = None
        self.refuse(())
        self.retell()
        self.query_one("#candidates", Rows).focus()

    def scanned(self, message: Scanned) -> None:
        """A scanned code chooses; starting is done by hand."""
        text = message.text.casefold()
        for one in self._candidates:
            if text in self.codes(one):
                self.query_one("#candidates", Rows).choose(one.key)
                self._confirm(one)
                return
        if not self.app.badge_scanned(message.text):
            self.refuse((words("terminal.scan_unknown", self.language, text=message.text),), "caution")

    def codes(self, candidate: Candidate) -> tuple[str, ...]:
        """What a scanner may read for a candidate, in lower case."""
        return (candidate.key.casefold(),)

    def recorded(self, message: Recorded) -> None:
        """It has begun; or something was stated that makes the list another one."""
        if message.entry.changeover:
            self.dismiss(message.entry.changeover)
        else:
            self._spoken = ""

    def not_recorded(self, message: NotRecorded) -> None:
        """Why not; the next press is the same act again."""
        self._key = message.key


class StartChangeoverScreen(StartScreen):
    """Which fragrance comes?"""

    NAME = "terminal.start_changeover"
    QUESTION = "terminal.start_changeover_question"
    NOTHING = "terminal.holds_first"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f5", "state_holds", "terminal.key_state_holds", id="start.holds"),
        Binding("f7", "day", "plan.key_day", id="start.day"),
    ]

    def compute(self, plant: "Plant", language: str) -> Computed:
        """Every fragrance of the line but the one that it holds."""
        held, library = plant.holds(self._line).fragrances, plant.library
        if not held:
            return (), ()
        known = {name: one for name, one in library.fragrances.items() if self._line in one.lines}
        if stranger := next((name for name in held if name not in known), ""):
            line = tell(library.lines[self._line].name, language)
            one = library.fragrances.get(stranger)
            name = tell(one.name, language) if one else stranger
            return (), (words("terminal.held_not_here", language, line=line, name=name),)

        def candidate(name: str) -> Candidate:
            return changeover_candidate(name, known[name].code, plant.worksheet(self._line, name), language)

        return composed(partial(candidate, name) for name in known if name != held[0])

    def begin(self, candidate: Candidate, key: str) -> bool:
        """Begin the changeover."""
        return self.desk.start_changeover(self._line, candidate.key, key=key, about=self._signs(candidate))

    def codes(self, candidate: Candidate) -> tuple[str, ...]:
        """The id, and the code on the drum."""
        code = self.desk.plant.library.fragrances[candidate.key].code
        return (candidate.key.casefold(), code.casefold())

    def action_day(self) -> None:
        """In which order today's fragrances lose the least."""
        from floorterm.terminal.screens.day import DayScreen  # noqa: PLC0415  only when it is asked for

        self.app.push_screen(DayScreen(self._line))

    def action_state_holds(self) -> None:
        """A supervisor states what the line holds, once after the ledger was made or to overrule the record."""
        self.start_way(self._state_holds)

    async def _state_holds(self) -> None:
        from floorterm.terminal.screens.dialogs import (  # noqa: PLC0415  only when it is asked for
            AskScreen,
            Item,
            MenuScreen,
            reason_spec,
        )

        plant, language = self.desk.plant, self.language
        title = words("terminal.state_holds", language)
        items = [
            Item(name, tell(one.name, language), one.code)
            for name, one in plant.library.fragrances.items()
            if self._line in one.lines
        ]
        question = words("terminal.state_holds_question", language)
        chosen = await self.app.push_screen_wait(MenuScreen(title, question, items))
        if chosen is None:
            return
        given = await self.app.push_screen_wait(AskScreen(title, question, reason_spec(language)))
        if given is not None:
            about = (title, tell(plant.library.fragrances[chosen].name, language), given.text)
            self.desk.state_holds(self._line, (chosen,), given.text, screen=self, about=about)


class StartProcedureScreen(StartScreen):
    """Which procedure is needed?"""

    NAME = "terminal.start_procedure"
    QUESTION = "terminal.start_procedure_question"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f5", "lye", "terminal.key_lye", id="start.lye"),
    ]

    def compute(self, plant: "Plant", language: str) -> Computed:
        """Every procedure that stands alone on this line, what cannot wait first."""
        here = [(name, one) for name, one in plant.library.alone.items() if self._line in one.lines]

        def candidate(name: str) -> Candidate:
            return procedure_candidate(name, plant.procedure_worksheet(self._line, name), language)

        return composed(
            partial(candidate, name) for name, _ in sorted(here, key=lambda one: not one[1].urgent)
        )

    def begin(self, candidate: Candidate, key: str) -> bool:
        """Begin the procedure."""
        return self.desk.start_procedure(self._line, candidate.key, key=key, about=self._signs(candidate))

    def action_lye(self) -> None:
        """Figures for lye: an estimate, nothing is recorded."""
        from floorterm.terminal.screens.lye import LyeFigures  # noqa: PLC0415  only when it is asked for

        self.start_way(LyeFigures(self.app).show)

"""The day plan: in which order does a line run today's fragrances? It only reckons; nothing is recorded."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import Container
from textual.widget import Widget

from floorterm.changeover.faults import ComposeError
from floorterm.planning import (
    Changes,
    Day,
    DayPlan,
    NoPlanError,
    Rule,
    changes_on,
    comes_from,
    day_of,
    plan_day,
)
from floorterm.terminal.base import FloorScreen
from floorterm.terminal.messages import Scanned
from floorterm.terminal.screens.read import ReadScreen
from floorterm.terminal.views.day import (
    fragrance_line,
    glance,
    hint_lines,
    plan_lines,
    refusal_lines,
    toggled,
    turned,
)
from floorterm.terminal.views.text import Line, Span, tell
from floorterm.terminal.widgets.page import Page
from floorterm.terminal.widgets.rows import Row, Rows
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.plant import Plant

_MOST_ROWS = 11
_Found = tuple[Day, DayPlan] | NoPlanError | None


class DayScreen(FloorScreen[None]):
    """The fragrances of a line, which of them run today, and the order that loses the least to changeovers."""

    NAME = "plan.title"
    QUESTION = "plan.question"
    CSS_PATH = "day.tcss"
    OPENS = "plan.key_mark"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f4", "full", "plan.key_full", id="day.full"),
        Binding("f5", "wish('first')", "plan.key_first", id="day.first"),
        Binding("f6", "wish('last')", "plan.key_last", id="day.last"),
    ]

    def __init__(self, line: str) -> None:
        super().__init__()
        self._line = line
        self._marked: tuple[str, ...] = ()
        self._wishes: dict[str, str] = {}
        self._held: tuple[str, ...] | None = None
        self._changes: Changes | None = None  # of the day on which the screen was opened
        self._found: _Found = None
        self._reckoning = False

    def body(self) -> Iterable[Widget]:
        """The list, and the order."""
        with Container(id="day"):
            yield Rows(row_height=1, id="fragrances")
            yield Page(id="order")

    def question_text(self) -> str:
        """What the day begins with."""
        line = tell(self.desk.plant.library.lines[self._line].name, self.language)
        return words(self.QUESTION, self.language, line=line)

    def show(self) -> None:
        """Every fragrance of the line; the order is reckoned anew if the line holds something else now."""
        plant = self.desk.plant
        held = comes_from(plant.line_now(self._line))
        if held != self._held:
            self._held = held
            self._reckon()
        self._show_rows()
        self._show_order()

    def _show_rows(self) -> None:
        library = self.desk.plant.library
        table = self.query_one("#fragrances", Rows)
        width = (self.size.width * 2 // 5 if self._wide else self.size.width) - 8
        here = [name for name, one in library.fragrances.items() if self._line in one.lines]
        lines = {
            name: fragrance_line(
                name,
                library,
                width,
                self.language,
                marked=name in self._marked,
                wish=self._wishes.get(name, ""),
                plain=self.app.plain,
            )
            for name in here
        }
        table.styles.height = (
            "1fr" if self._wide else _MOST_ROWS if self.app.panel else min(_MOST_ROWS, len(here) + 1)
        )
        table.show([Row(name, (line,)) for name, line in lines.items()])

    @property
    def _wide(self) -> bool:
        return self.size.width >= 100

    def _show_order(self) -> None:
        page = self.query_one("#order", Page)
        page.show(glance(self._order(page.size.width or 1, self.language), page.size.height, self.language))

    def _order(self, width: int, language: str) -> tuple[Line, ...]:
        library = self.desk.plant.library
        if self._reckoning:
            return ((Span(words("terminal.computing", language), "quiet"),),)
        if isinstance(self._found, NoPlanError):
            return refusal_lines(self._found, library, width, language)
        if self._found is None:
            return hint_lines(width, language)
        return plan_lines(*self._found, library, width, language)

    # --- reckoning ------------------------------------------------------------------------------

    def _reckon(self) -> None:
        """Work the order out in the reading thread."""
        self._found, self._reckoning = None, bool(self._marked)
        if self._marked:
            self.run_worker(self._reckoned(), group="plan", exclusive=True)

    async def _reckoned(self) -> None:
        try:
            self._found = await self.desk.in_reader(self._plan)
        except ComposeError as fault:
            self.refuse((str(fault),), "caution")
        finally:
            self._reckoning = False
        self._show_order()
        self.show_keys()

    def _plan(self, plant: "Plant") -> _Found:
        if self._changes is None:
            day = plant.now().astimezone(plant.zone).date()
            self._changes = changes_on(plant.library, self._line, day, plant.calibration(self._line))
        rules = [
            Rule(first=name) if wish == "first" else Rule(then=name)
            for name, wish in self._wishes.items()
            if name in self._marked
        ]
        try:
            day_asked = day_of(self._changes, self._held or (), self._marked)
            return day_asked, plan_day(day_asked, rules)
        except NoPlanError as fault:
            return fault

    # --- keys and scans -------------------------------------------------------------------------

    def on_rows_opened(self, message: Rows.Opened) -> None:
        """It runs today, or not."""
        self._toggle(message.row.key)

    def _toggle(self, fragrance: str) -> None:
        self.refuse(())
        self._marked = toggled(self._marked, fragrance)
        self._reckon()
        self.retell()

    def action_wish(self, wish: str) -> None:
        """The chosen fragrance runs first, or last; the same key again takes that back."""
        chosen = self.query_one("#fragrances", Rows).chosen
        if chosen is None:
            return
        if chosen.key not in self._marked:
            self._marked = (*self._marked, chosen.key)
        self._wishes = turned(self._wishes, chosen.key, wish)
        self._reckon()
        self.retell()

    def check_action(self, action: str, _: tuple[object, ...]) -> bool | None:
        """Nothing stands in full before something is marked."""
        return True if action != "full" or self._found is not None else None

    def action_full(self) -> None:
        """All that is said about the order, where the place for it is small."""
        self.app.push_screen(ReadScreen(self.NAME, "plan.question_full", self._order))

    def scanned(self, message: Scanned) -> None:
        """A drum's code, or a fragrance's name on a list: it runs today."""
        text = message.text.strip().casefold()
        for name, one in self.desk.plant.library.fragrances.items():
            if text in (name.casefold(), one.code.casefold()) and self._line in one.lines:
                self.query_one("#fragrances", Rows).choose(name)
                if name not in self._marked:
                    self._toggle(name)
                return
        super().scanned(message)

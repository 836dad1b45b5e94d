"""The day plan: in which order does a line run today's fragrances? It only reckons; nothing is recorded."""

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import Container
from textual.widget import Widget

from floorterm.changeover.faults import ComposeError
from floorterm.ledger import LedgerError
from floorterm.planning import (
    MOST_FRAGRANCES,
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
    with_,
)
from floorterm.terminal.views.text import Line, Span, tell, wrapped
from floorterm.terminal.widgets.page import Page
from floorterm.terminal.widgets.rows import Row, Rows
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.plant import Plant

_MOST_ROWS = 11
_Asked = tuple[tuple[str, ...], tuple[str, ...], tuple[Rule, ...]]  # held, marked, rules
_Found = tuple[Day, DayPlan] | NoPlanError | ComposeError


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
        self._wishes: Mapping[str, str] = {}
        self._held: tuple[str, ...] = ()
        self._asked: _Asked | None = None
        self._found: _Found | None = None
        self._figures: tuple[object, Changes] | None = None  # what they are of, and the pairs worked out

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
        """Every fragrance of the line, and the order from what it holds now."""
        self._held = comes_from(self.desk.plant.line_now(self._line))
        self._tell()

    def _tell(self) -> None:
        """Show what is marked, also without the record; the order is reckoned anew if anything else is asked."""
        rules = tuple(
            Rule(first=name) if wish == "first" else Rule(then=name) for name, wish in self._wishes.items()
        )
        asked = (self._held, self._marked, rules)
        if asked != self._asked:
            self._asked, self._found = asked, None
            self.workers.cancel_group(self, "plan")
            if self._marked and self._is_known():
                self.run_worker(self._reckon(asked), group="plan")
        self._show_rows()
        self._show_order()
        self.show_keys()

    def _is_known(self) -> bool:
        """Whether the checklists know what the line holds and allow it there."""
        known = self.desk.plant.library.fragrances
        return bool(self._held) and all(
            name in known and self._line in known[name].lines for name in self._held
        )

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
        if width := page.size.width:  # none before it was first laid out
            page.show(glance(self._order(width, self.language), page.size.height, self.language))

    def _order(self, width: int, language: str) -> tuple[Line, ...]:
        library, found = self.desk.plant.library, self._found
        if not self._is_known():
            return wrapped(words("plan.not_known", language), width, "caution")
        if not self._marked:
            return hint_lines(width, language)
        if self._asked is None:
            return wrapped(words("terminal.nothing_known", language), width, "quiet")
        if found is None:
            return ((Span(words("terminal.computing", language), "quiet"),),)
        if isinstance(found, ComposeError):
            return wrapped(str(found), width, "caution")
        if isinstance(found, NoPlanError):
            return refusal_lines(found, library, width, language)
        return plan_lines(*found, library, width, language)

    # --- reckoning ------------------------------------------------------------------------------

    async def _reckon(self, asked: _Asked) -> None:
        """Work the order out in the reading thread; it is shown only where nothing else was asked meanwhile."""
        try:
            found = await self.desk.in_reader(lambda plant: self._plan(plant, asked))
        except LedgerError:
            if asked == self._asked:
                self._asked = None  # reckoned once the record answers again
                self._show_order()
            raise
        if asked == self._asked:
            self._found = found
            self._show_order()
            self.show_keys()

    def _plan(self, plant: "Plant", asked: _Asked) -> _Found:
        held, marked, rules = asked
        day = plant.now().astimezone(plant.zone).date()
        figures = (plant.library, day, plant.calibration(self._line))
        if self._figures is None or self._figures[0] != figures:
            self._figures = figures, changes_on(plant.library, self._line, *figures[1:])
        try:
            day_asked = day_of(self._figures[1], held, marked)
            return day_asked, plan_day(day_asked, rules)
        except (NoPlanError, ComposeError) as fault:
            return fault

    # --- keys and scans -------------------------------------------------------------------------

    def on_rows_opened(self, message: Rows.Opened) -> None:
        """It runs today, or not."""
        self._take(toggled(self._marked, message.row.key), self._wishes)

    def action_wish(self, wish: str) -> None:
        """The chosen fragrance runs first, or last; the same key again takes that back."""
        chosen = self.query_one("#fragrances", Rows).chosen
        if chosen is not None:
            self._take(with_(self._marked, chosen.key), turned(self._wishes, chosen.key, wish))

    def _take(self, marked: tuple[str, ...], wishes: Mapping[str, str]) -> None:
        if len(marked) > MOST_FRAGRANCES:
            self.refuse((words("plan.too_many", self.language, n=MOST_FRAGRANCES),), "caution")
            return
        self.refuse(())
        self._marked = marked
        self._wishes = {name: wish for name, wish in wishes.items() if name in marked}
        self._tell()

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
                self._take(with_(self._marked, name), self._wishes)
                return
        super().scanned(message)

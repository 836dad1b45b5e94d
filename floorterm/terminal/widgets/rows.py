"""The list of every screen: frozen rows, one of them chosen, repainted line by line.

Arrows, digits and taps choose; Enter or a second tap opens. The last line says which rows are seen and turns
the page when it is tapped, so that nothing needs a scroll bar or a drag.
"""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import ClassVar

from msgspec import Struct
from textual import events
from textual.binding import Binding, BindingType
from textual.geometry import Region
from textual.message import Message
from textual.strip import Strip

from floorterm.terminal.messages import ByHand
from floorterm.terminal.views.text import Line, Span
from floorterm.terminal.widgets.paint import Painted
from floorterm.wording import words

_TWO_DIGITS_S = 1.5  # a second digit within this time makes a number of two digits


class Row(Struct, frozen=True):
    """One row: a key that stays the same when its text moves, and its lines. A heading cannot be chosen."""

    key: str
    lines: tuple[Line, ...]
    heading: bool = False


class Rows(Painted, can_focus=True):
    """A list of rows of equal height (`row_height` lines each, headings one).

    `on_chosen`, where given, is called instead of sending `Chosen`; `takes_enter` says whether Enter is meant for it.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "move(-1)", show=False),
        Binding("down", "move(1)", show=False),
        Binding("pageup", "page(-1)", show=False),
        Binding("pagedown", "page(1)", show=False),
        Binding("home", "move(-100000)", show=False),
        Binding("end", "move(100000)", show=False),
        Binding("enter", "open", "terminal.key_open", id="rows.open"),
        *(Binding(str(digit), f"digit({digit})", show=False) for digit in range(10)),
    ]
    DEFAULT_CSS = """
    Rows { height: 1fr; }
    """

    @dataclass(eq=False, repr=False)
    class Chosen(Message):
        """Another row is chosen now."""

        rows: "Rows"
        row: Row

        @property
        def control(self) -> "Rows":
            """The list that the row stands in."""
            return self.rows

    @dataclass(eq=False, repr=False)
    class Opened(ByHand):
        """The chosen row was opened."""

        rows: "Rows"
        row: Row

        @property
        def control(self) -> "Rows":
            """The list that the row stands in."""
            return self.rows

    def __init__(
        self,
        *,
        row_height: int = 1,
        empty: str = "",
        digits: bool = True,
        digit_opens: bool = False,
        tap_opens: bool = False,
        opens: bool = True,
        on_chosen: Callable[[Row], None] | None = None,
        takes_enter: Callable[[], bool] = lambda: True,
        id: str | None = None,
        classes: str | None = None,
    ) -> None:
        super().__init__(id=id, classes=classes)
        self.rows: tuple[Row, ...] = ()
        self.row_height = row_height
        self.empty = empty
        self.digits = digits
        self.digit_opens = digit_opens
        self.tap_opens = tap_opens
        self.opens = opens
        self._on_chosen = on_chosen  # called at once: what stands beside the list is drawn in the same frame
        self._takes_enter = takes_enter
        self._chosen = -1
        self._first = 0
        self._jumps = False  # the row was chosen from elsewhere: what comes after it is shown with it
        self._typed: tuple[int, float] = (0, 0.0)
        self._spoken = ""
        self._each, self._page_height = row_height, 1  # lines of a row, and of the foot that turns the page

    # --- values ---------------------------------------------------------------------------------

    @property
    def chosen(self) -> Row | None:
        """The row that Enter opens."""
        return self.rows[self._chosen] if 0 <= self._chosen < len(self.rows) else None

    def show(self, rows: Sequence[Row], *, empty: str | None = None) -> None:
        """Show these rows; equal rows repaint nothing, and the chosen row stays chosen by its key."""
        fresh = tuple(rows)
        if self._language != self._spoken:  # the line that turns the page speaks too
            self._spoken = self._language
            self.refresh()
        if empty is not None and empty != self.empty:
            self.empty = empty
            self.refresh()
        if fresh == self.rows:
            return
        old, before, at = self.rows, self.chosen, self._chosen
        self.rows = fresh
        found = next((i for i, row in enumerate(fresh) if before and row.key == before.key), None)
        self._chosen = self._choosable(self._chosen if found is None else found)
        same_shape = [(row.heading) for row in old] == [row.heading for row in fresh]
        first = self._first
        self._keep_in_sight()
        if not same_shape or first != self._first:
            self.refresh()
        else:
            for index, (was, now) in enumerate(zip(old, fresh, strict=True)):
                if was != now or (at != self._chosen and index in (at, self._chosen)):
                    self._refresh_row(index)
        if self.chosen is not None and (before is None or before.key != self.chosen.key):
            self._tell()

    def choose(self, key: str) -> bool:
        """Choose the row with that key, if there is one."""
        for index, row in enumerate(self.rows):
            if row.key == key and not row.heading:
                self._jumps |= index != self._chosen
                self._move_to(index)
                return True
        return False

    def _choosable(self, index: int) -> int:
        """The nearest index at or after (else before) this one that is no heading; -1 if there is none."""
        index = max(0, min(index, len(self.rows) - 1))
        after = [i for i in range(index, len(self.rows)) if not self.rows[i].heading]
        before = [i for i in range(index) if not self.rows[i].heading]
        return after[0] if after else before[-1] if before else -1

    # --- where things stand ---------------------------------------------------------------------

    def _height(self, index: int) -> int:
        return 1 if self.rows[index].heading else self._each

    def _measure(self) -> None:
        """Rows that are tapped are as high as a finger needs, where the terminal is known to be a touch panel.

        Asked where the size changes, not for every row of every line that is drawn.
        """
        self._page_height = self.least[1] if self.touched else 1
        self._each = max(self.row_height, self._page_height if self._tapped else 1)

    @property
    def _tapped(self) -> bool:
        return self.opens or self._on_chosen is not None

    def targets(self) -> tuple[Region, ...]:
        """Every row in sight, and both halves of the line that turns the page."""
        wide = self.size.width
        found = (
            [
                Region(0, self._top_of(index), wide, self._height(index))
                for index in range(self._first, self._last_from(self._first) + 1)
                if self._tapped and not self.rows[index].heading
            ]
            if self.rows
            else []
        )
        if self._paged():
            top = self.size.height - self._page_height
            found += [Region(x, top, wide // 2, self._page_height) for x in (0, wide // 2)]
        return tuple(found)

    def _last_from(self, first: int) -> int:
        """The last row that fits when `first` is on top."""
        left = self._room()
        index = first
        while index < len(self.rows) and left >= self._height(index):
            left -= self._height(index)
            index += 1
        return max(first, index - 1)

    def _room(self) -> int:
        whole = sum(self._height(i) for i in range(len(self.rows)))
        return self.size.height if whole <= self.size.height else max(1, self.size.height - self._page_height)

    def _paged(self) -> bool:
        return self._room() < self.size.height

    def _keep_in_sight(self) -> None:
        if not self.rows or self.size.height == 0:
            self._first = 0
            return
        chosen = max(0, self._chosen)
        first = min(self._first, chosen)
        if self._jumps and not self._first <= chosen <= self._last_from(self._first):
            first, half = chosen, self._room() // 2
            while first > 0 and sum(self._height(i) for i in range(first - 1, chosen + 1)) <= half:
                first -= 1
        self._jumps = False
        while first > 0 and first <= chosen and self.rows[first - 1].heading:
            first -= 1
        while first < chosen and self._last_from(first) < chosen:
            first += 1
        while first > 0 and self._last_from(first - 1) == len(self.rows) - 1:
            first -= 1
        self._first = first

    def _top_of(self, index: int) -> int:
        return sum(self._height(i) for i in range(self._first, index))

    def _at(self, y: int) -> tuple[int, int] | None:
        """(row, line of the row) at a line of the widget."""
        for index in range(self._first, len(self.rows)):
            if y < self._height(index):
                return (index, y)
            y -= self._height(index)
        return None

    def _refresh_row(self, index: int) -> None:
        if self._first <= index <= self._last_from(self._first):
            self.refresh(Region(0, self._top_of(index), self.size.width, self._height(index)))

    def check_action(self, action: str, _: tuple[object, ...]) -> bool | None:
        """Without numbers, digits are somebody else's; without rows, nothing is opened."""
        if action == "digit":
            return self.digits
        if action == "open":
            return self.opens and (True if self.chosen else None)
        return True

    # --- moving ---------------------------------------------------------------------------------

    def _move_to(self, index: int) -> None:
        index = self._choosable(index)
        if index == self._chosen or index < 0:
            return
        old, self._chosen = self._chosen, index
        first = self._first
        self._keep_in_sight()
        if self._first != first:
            self.refresh()
        else:
            self._refresh_row(old)
            self._refresh_row(index)
        self._tell()

    def _tell(self) -> None:
        if self.chosen is None:
            return
        if self._on_chosen is not None:
            self._on_chosen(self.chosen)
        else:
            self.post_message(self.Chosen(self, self.chosen))

    def action_move(self, by: int) -> None:
        """Choose another row; headings are passed over."""
        self._typed = (0, 0.0)
        if not self.rows:
            return
        target = max(0, min(self._chosen + by, len(self.rows) - 1))
        if by < 0:
            above = [i for i in range(target + 1) if not self.rows[i].heading]
            target = above[-1] if above else target
        self._move_to(target)

    def action_page(self, by: int) -> None:
        """Turn the page."""
        seen = max(1, self._last_from(self._first) - self._first)
        self.action_move(by * seen)

    def action_open(self) -> None:
        """Enter opens the chosen row."""
        if self._takes_enter():
            self.open_chosen()

    def open_chosen(self) -> None:
        """Open the chosen row."""
        if self.chosen is not None and self.opens:
            self.post_message(self.Opened(self, self.chosen))

    def action_digit(self, digit: int) -> None:
        """Choose the row of that number; two digits soon after each other are one number."""
        if not self.digits:
            return
        choosable = [i for i, row in enumerate(self.rows) if not row.heading]
        tens, at = self._typed
        now = time.monotonic()
        number = tens * 10 + digit if now - at <= _TWO_DIGITS_S else digit
        if number > len(choosable):
            number = digit
        self._typed = (number, now)
        if 1 <= number <= len(choosable):
            self._move_to(choosable[number - 1])
            if self.digit_opens:
                self.open_chosen()

    # --- drawing --------------------------------------------------------------------------------

    def render_line(self, y: int) -> Strip:
        """One line of the list."""
        width = self.size.width
        if not self.rows:
            return self.paint((Span(f"  {self.empty}", "quiet"),) if y == 1 else (), width)
        if self._paged() and y >= self.size.height - self._page_height:
            middle = y == self.size.height - 1 - self._page_height // 2
            return self.paint(self._page_line() if middle else (), width)
        place = self._at(y)
        if place is None or place[0] > self._last_from(self._first):
            return self.paint((), width)
        index, line = place
        row = self.rows[index]
        content = row.lines[line] if line < len(row.lines) else ()
        if row.heading:
            return self.paint(content, width)
        selected = index == self._chosen
        return self.paint((*self._lead(index, line, selected), *content), width, selected=selected)

    def _lead(self, index: int, line: int, selected: bool) -> Line:
        if line:
            return (Span(" " * self._lead_width()),)
        mark = ">" if selected else " "
        if not self.digits:
            return (Span(f"{mark} "),)
        number = sum(1 for row in self.rows[: index + 1] if not row.heading)
        return (Span(f"{mark}{number:>{self._lead_width() - 2}} "),)

    def _lead_width(self) -> int:
        if not self.digits:
            return 2
        return 3 + len(str(sum(1 for row in self.rows if not row.heading)))

    @property
    def _language(self) -> str:
        return str(getattr(self.app, "language", "en"))

    def _page_line(self) -> Line:
        choosable = [i for i, row in enumerate(self.rows) if not row.heading]
        last = self._last_from(self._first)
        seen = [number for number, i in enumerate(choosable, 1) if self._first <= i <= last]
        return (
            Span(
                "  " + words(
                    "terminal.rows_seen" if self.can_focus else "terminal.rows_tapped", self._language,
                    first=seen[0] if seen else 0, last=seen[-1] if seen else 0, all=len(choosable),
                ),
                "quiet",
            ),
        )  # fmt: skip

    # --- events ---------------------------------------------------------------------------------

    def on_resize(self) -> None:
        """Keep the chosen row in sight."""
        before = (self._each, self._page_height, self._first)
        self._measure()
        self._keep_in_sight()
        if before != (self._each, self._page_height, self._first):
            self.refresh()

    def on_click(self, event: events.Click) -> None:
        """Choose the row that was tapped; a row that was chosen already is opened."""
        event.stop()
        self.focus()
        inside = event.get_content_offset(self)
        if inside is None:
            return
        x, y = inside
        if self._paged() and y >= self.size.height - self._page_height:
            self.action_page(-1 if x < self.size.width // 2 else 1)
            return
        place = self._at(y)
        if place is None or self.rows[place[0]].heading:
            return
        if place[0] == self._chosen or self.tap_opens:
            self._move_to(place[0])
            self.open_chosen()
        else:
            self._move_to(place[0])

    def on_mouse_scroll_down(self, event: events.MouseScrollDown) -> None:
        """The wheel chooses the next row."""
        event.stop()
        self.action_move(1)

    def on_mouse_scroll_up(self, event: events.MouseScrollUp) -> None:
        """The wheel chooses the row before."""
        event.stop()
        self.action_move(-1)

"""Touch zones: answers, units, a pad of characters. Each is as large as a finger in a glove needs."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from msgspec import Struct
from rich.cells import cell_len
from textual import events
from textual.geometry import Region
from textual.strip import Strip

from floorterm.terminal.messages import ByHand
from floorterm.terminal.views.text import Span, Tone, fit
from floorterm.terminal.widgets.paint import Look, Looks, Painted, looks

ROOMY = (100, 34)  # columns and lines from which there is room for gaps


class Zone(Struct, frozen=True):
    """One zone: what it stands for, the digit that chooses it, its words, and whether it is chosen."""

    key: str
    label: str
    digit: str = ""
    note: str = ""
    chosen: bool = False
    under_cursor: bool = False
    tone: Tone = ""


class Zones(Painted):
    """Zones side by side, in as many rows as their words need. `per_row` fixes how many stand in a row."""

    DEFAULT_CSS = """
    Zones { height: 0; }
    """
    LOOKS: ClassVar[Looks] = looks(
        {
            "head": Look("cap-fore", "cap-back"),
            "off": Look("head-quiet", "cap-back"),
            "strong": Look("chosen-fore", "chosen-back", "bold"),
        }
    )

    @dataclass(eq=False, repr=False)
    class Tapped(ByHand):
        """A zone was tapped."""

        zones: "Zones"
        key: str

        @property
        def control(self) -> "Zones":
            """The zones among which it stands."""
            return self.zones

    def __init__(self, *, per_row: int = 0, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes)
        self.zones: tuple[Zone, ...] = ()
        self._per_row = per_row

    def show(self, zones: Sequence[Zone]) -> None:
        """Show these zones; equal ones repaint nothing."""
        fresh = tuple(zones)
        if fresh == self.zones:
            return
        self.zones = fresh
        self._fit_height()
        self.refresh()

    # --- where they stand -----------------------------------------------------------------------

    @property
    def _zone_height(self) -> int:
        return self.least[1]

    @property
    def _gap(self) -> int:
        roomy = self.app.size.height >= ROOMY[1] and self.app.size.width >= ROOMY[0]
        return 1 if roomy and self._per_row == 0 else 0

    def _columns(self) -> int:
        """As many side by side as leave every label whole."""
        count, width = len(self.zones), self._width
        if self._per_row:
            room = max(1, width // (self.least[0] + 1))
            if room >= self._per_row:
                return min(self._per_row, max(1, count))
            rows = -(-count // room)  # fewer stand beside each other: as many in each row as in the others
            return max(1, -(-count // max(1, rows)))
        least = self.least[0]
        for columns in range(count, 1, -1):
            each = width // columns - 1
            if each >= least and all(self._fits(zone, each) for zone in self.zones):
                return columns
        return 1

    def _fits(self, zone: Zone, width: int) -> bool:
        notes = len(textwrap.wrap(zone.note, width - 2)) if zone.note else 0
        words_ = f"{zone.digit} {zone.label}".split()
        whole = all(cell_len(word) <= width - 4 for word in words_)
        return whole and len(textwrap.wrap(zone.label, width - 4)) + notes <= self._zone_height

    @property
    def _width(self) -> int:
        return self.size.width or self.app.size.width

    def rows(self) -> int:
        """How many rows of zones there are."""
        return -(-len(self.zones) // self._columns()) if self.zones else 0

    def needed(self) -> int:
        """Lines that all zones take."""
        rows = self.rows()
        return rows * (self._zone_height + self._gap) - (self._gap if rows else 0)

    def _fit_height(self) -> None:
        self.styles.height = self.needed()

    def _spans_of_row(self, row: int) -> tuple[tuple[Zone, int, int], ...]:
        columns, width = self._columns(), self._width
        inside = self.zones[row * columns : (row + 1) * columns]
        each = width // (len(inside) if self._per_row else columns)
        return tuple((zone, place * each, each - 1) for place, zone in enumerate(inside))

    def targets(self) -> tuple[Region, ...]:
        """Every zone."""
        step, high = self._zone_height + self._gap, self._zone_height
        return tuple(
            Region(x, row * step, width, high)
            for row in range(self.rows())
            for _, x, width in self._spans_of_row(row)
        )

    def zone_of(self, key: str) -> tuple[int, int] | None:
        """The cell in the middle of a zone, relative to this widget."""
        for row in range(self.rows()):
            for zone, x, width in self._spans_of_row(row):
                if zone.key == key:
                    return (x + width // 2, row * (self._zone_height + self._gap) + self._zone_height // 2)
        return None

    # --- drawing --------------------------------------------------------------------------------

    def render_line(self, y: int) -> Strip:
        """One line of the zones."""
        row, inside = divmod(y, self._zone_height + self._gap)
        if row >= self.rows() or inside >= self._zone_height:
            return self.paint((), self.size.width)
        line: list[Span] = []
        for zone, _, width in self._spans_of_row(row):
            line.append(self._cell(zone, inside, width))
            line.append(Span(" "))
        return self.paint(tuple(line), self.size.width)

    def _cell(self, zone: Zone, y: int, width: int) -> Span:
        lines = self._lines(zone, width)
        top = max(0, (self._zone_height - len(lines)) // 2) if self._per_row else 0
        text = lines[y - top] if 0 <= y - top < len(lines) else ""
        tone: Tone = "strong" if zone.chosen else zone.tone or "head"
        if self._per_row:
            left = (width - cell_len(text)) // 2
            return Span(" " * left + text + " " * (width - left - cell_len(text)), tone)
        return Span(text + " " * (width - cell_len(text)), tone)

    def _lines(self, zone: Zone, width: int) -> list[str]:
        if self._per_row:
            return [fit(zone.label, width, plain=self.plain)]
        mark = "x" if zone.chosen else ">" if zone.under_cursor else " "
        lead = f"{mark}{zone.digit:>2} "
        notes = textwrap.wrap(zone.note, max(1, width - 4)) if zone.note else []
        labels = textwrap.wrap(zone.label, max(1, width - 4)) or [""]
        room = self._zone_height - min(len(notes), 1)
        if len(labels) > room:
            labels = [*labels[: room - 1], fit(" ".join(labels[room - 1 :]), width - 4, plain=self.plain)]
        lines = [(lead if place == 0 else " " * 4) + text for place, text in enumerate(labels)]
        lines += [" " * 4 + note for note in notes]
        return [fit(text, width, plain=self.plain) for text in lines[: self._zone_height]]

    # --- events ---------------------------------------------------------------------------------

    def on_resize(self) -> None:
        """Lay out anew."""
        self._fit_height()
        self.refresh()

    def on_click(self, event: events.Click) -> None:
        """Say which zone was tapped."""
        event.stop()
        row, inside = divmod(event.y, self._zone_height + self._gap)
        if row >= self.rows() or inside >= self._zone_height:
            return
        for zone, x, width in self._spans_of_row(row):
            if x <= event.x < x + width:
                self.post_message(self.Tapped(self, zone.key))

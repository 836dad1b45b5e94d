"""What stands in the terminal's cells, so that a change writes those alone that differ: a slow line carries little.

Textual writes every widget's line from its first to its last changed region, whether its cells say something else or
not. Whole screens (another screen, another size) are written as they are, which also mends what a stranger wrote there.
"""

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, NamedTuple

from rich.cells import cell_len
from rich.control import Control
from rich.style import Style
from textual._compositor import ChopsUpdate, CompositorUpdate, LayoutUpdate
from textual.strip import Strip

if TYPE_CHECKING:
    from rich.console import Console, ConsoleOptions, RenderableType, RenderResult


class Cell(NamedTuple):
    """What one cell shows; "" is the second half of a wide sign."""

    text: str
    style: Style | None


class Drawn:
    """The cells as they were written last; nothing is known of cells that this program never wrote."""

    def __init__(self) -> None:
        self._lines: dict[int, list[Cell]] = {}

    def lean(self, update: "RenderableType | None") -> "RenderableType | None":
        """An update that writes no more than it must, once it is written; anything else as it is."""
        return _Lean(self, update) if isinstance(update, LayoutUpdate | ChopsUpdate) else update

    def whole(self, update: LayoutUpdate, console: "Console") -> str:
        """Everything that the update has."""
        self._lines = {
            y: [Cell(" ", None)] * update.region.x + cells_of(strips)
            for y, strips in enumerate(update.strips, update.region.y)
        }
        return update.render_segments(console)

    def changes(self, update: ChopsUpdate, console: "Console") -> str:
        """What the update has and the terminal does not show yet."""
        return "".join(
            Control.move_to(x, y).segment.text + piece.render(console)
            for y, at, strip in _pieces(update)
            for x, piece in self._differing(y, at, strip)
        )

    def _differing(self, y: int, at: int, strip: Strip) -> Iterator[tuple[int, Strip]]:
        """The part of a piece at a cell that differs from what stands there, if any does."""
        fresh, line = cells_of((strip,)), self._lines.setdefault(y, [])
        old = line[at : at + len(fresh)]
        if fresh == old:
            return
        if len(old) < len(fresh):  # never written so far
            first, last = 0, len(fresh)
            line += [Cell("", None)] * (at - len(line))
        else:
            differing = [place for place, (new, was) in enumerate(zip(fresh, old, strict=True)) if new != was]
            first, last = differing[0], differing[-1] + 1
            while first and not fresh[first].text:
                first -= 1
            while last < len(fresh) and not fresh[last].text:
                last += 1
        line[at : at + len(fresh)] = fresh
        yield at + first, strip.crop(first, last)


class _Lean(CompositorUpdate):
    """An update of Textual's that asks what stands in the terminal when it is written, and not before."""

    def __init__(self, drawn: Drawn, update: LayoutUpdate | ChopsUpdate) -> None:
        self._drawn, self._update = drawn, update

    def __rich_console__(self, console: "Console", options: "ConsoleOptions") -> "RenderResult":
        return self._update.__rich_console__(console, options)

    def render_segments(self, console: "Console") -> str:
        if isinstance(self._update, LayoutUpdate):
            return self._drawn.whole(self._update, console)
        return self._drawn.changes(self._update, console)


def cells_of(strips: Iterable[Strip]) -> list[Cell]:
    """The cells that strips beside each other fill. A sign without width stands with the one before it."""
    found: list[Cell] = []
    for strip in strips:
        for text, style, _ in strip:
            if text.isascii():
                found += [Cell(sign, style) for sign in text]
                continue
            for sign in text:
                width = cell_len(sign)
                if width == 0 and found:
                    found[-1] = found[-1]._replace(text=found[-1].text + sign)
                else:
                    found.append(Cell(sign, style))
                    found += [Cell("", style)] * (width - 1)
    return found


def _pieces(update: ChopsUpdate) -> Iterator[tuple[int, int, Strip]]:
    """Line, first cell and strip of each piece that the update would write."""
    for y, left, right in update.spans:
        for end, (x, strip) in zip(update.chop_ends[y], update.chops[y].items(), strict=False):
            if strip is None or x >= right or end <= left:
                continue
            yield y, max(x, left), strip.crop(max(x, left) - x, min(end, right) - x)

"""How large a thing must be to be tapped: cells of this panel for a finger in a glove.

A target is 20 mm square. Larger ones were hit no better and gaps between them made no difference (Colle &
Hiszem 2004, Ergonomics, abstract); keys for mittened hands are 19 mm and more (MIL-STD-1472E, 5.4.3.1.3.3,
an excerpt on keyboards). WCAG 2.2 (2.5.5) asks 44 px of a page in a browser, about 12 mm.
"""

import math
import re

from msgspec import Struct

TARGET_MM = 20.0
_PANEL = re.compile(r"(\d{2,4}(?:[.,]\d)?) ?[xX] ?(\d{2,4}(?:[.,]\d)?)")


class PanelError(ValueError):
    """The size of a panel cannot be read."""


class Panel(Struct, frozen=True):
    """The seen area of a display, in millimetres."""

    width_mm: float
    height_mm: float

    @classmethod
    def parse(cls, text: str) -> "Panel":
        """A panel written as WIDTHxHEIGHT in millimetres, as 246x184. Raises PanelError."""
        found = _PANEL.fullmatch(text.strip())
        if found is None:
            raise PanelError(
                f"The panel's size is written as width x height in millimetres, for example 246x184; got {text!r}."
            )
        width, height = (float(part.replace(",", ".")) for part in found.groups())
        return cls(width, height)

    def __str__(self) -> str:
        """As `parse` reads it."""
        return f"{self.width_mm:g}x{self.height_mm:g}"

    def cell_mm(self, columns: int, lines: int) -> tuple[float, float]:
        """Width and height of one cell, in millimetres, when the whole panel has so many columns and lines."""
        return self.width_mm / columns, self.height_mm / lines


USUAL = Panel(246, 184)  # 12.1 inches, 4 to 3
_MOST_UNTOLD = (10, 5)  # what USUAL has at 120x40: a window of more lines is on a larger display than that


def target_cells(panel: Panel | None, columns: int, lines: int) -> tuple[int, int]:
    """(columns, lines) of the least target on a panel, or where nothing is known of it, on a usual one."""
    wide, high = (panel or USUAL).cell_mm(max(1, columns), max(1, lines))
    cells = math.ceil(TARGET_MM / wide), math.ceil(TARGET_MM / high)
    if panel is not None:
        return cells
    return min(cells[0], _MOST_UNTOLD[0]), min(cells[1], _MOST_UNTOLD[1])

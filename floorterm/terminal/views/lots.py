"""What a lot touched and what touched it, as lines."""

from typing import TYPE_CHECKING

from floorterm.genealogy.trace import backward, forward
from floorterm.lots import links_of
from floorterm.review.lots_text import found_row, renamed_lines
from floorterm.terminal.views.text import Line, Span, wrapped
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.genealogy.model import Lot, Past
    from floorterm.plant import Plant


def answer_lines(plant: "Plant", past: "Past", lot: "Lot", width: int, language: str) -> tuple[Line, ...]:
    """Both directions, two lines a lot, and how wide the answer is."""
    found = links_of(plant, past)
    lines: list[Line] = []
    for key, rows in (("forward", forward(lot, found)), ("backward", backward(lot, found))):
        if rows:
            lines.append((Span(words(f"lots.{key}", language, lot=lot.name), "strong"),))
        for one in rows:
            sort, name, line, begun, until, kg, how = found_row(one, plant.zone, language)
            lines.append((Span(f"  {sort}  "), Span(name, "strong"), Span(f"  {line}")))
            lines += wrapped(f"      {begun} - {until[-5:]}  {kg}  {how}", width, "quiet", indent=6)
    for said in renamed_lines(lot, past, language):
        lines += wrapped(said, width, "caution")
    return (*lines, *wrapped(words("lots.wide", language), width))

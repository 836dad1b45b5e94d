"""Pieces that every view is made of: spans with a tone, times, minutes, and the plant's own words by language.

A tone is a word for why something looks the way it looks ("danger", "done"); what it looks like on this
terminal is the theme's business, and the words carry the meaning without it.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime, tzinfo
from decimal import ROUND_HALF_UP, Decimal
from typing import Literal

from msgspec import Struct
from rich.cells import cell_len, set_cell_size

from floorterm.languages import Worded, by_language, grouped, in_
from floorterm.wording import FALLBACK, words

Tone = Literal[
    "",
    "strong",
    "quiet",
    "done",
    "notice",
    "caution",
    "warning",
    "danger",
    "safe",
    "input",
    "off",
    "head",
    "code",
]


class Span(Struct, frozen=True):
    """A piece of text in one tone."""

    text: str
    tone: Tone = ""


Line = tuple[Span, ...]


def tell(text: "Mapping[str, str] | Worded | None", language: str) -> str:
    """A text of the plant in a language; its unreviewed draft, then English, where that language has none."""
    if text is None:
        return ""
    return in_(text if isinstance(text, Mapping) else by_language(text), language)


def unreviewed(texts: Iterable[Worded], language: str) -> bool:
    """Whether any of the texts has no reviewed translation into that language."""
    return any(language not in by_language(text) for text in texts)


def clock(at: datetime, zone: tzinfo) -> str:
    """Hour and minute on the plant's wall clock."""
    return f"{at.astimezone(zone):%H:%M}"


def day_and_clock(at: datetime, zone: tzinfo, language: str) -> str:
    """Day of the week, hour and minute on the plant's wall clock."""
    local = at.astimezone(zone)
    return f"{words(f'terminal.weekday_{local.isoweekday()}', language)} {local:%H:%M}"


def hours_and_minutes(minutes: int) -> str:
    """47 as 0:47, 125 as 2:05."""
    return f"{minutes // 60}:{minutes % 60:02d}"


def whole(value: Decimal) -> int:
    """Rounded to a whole number, half up as people round."""
    return int(value.to_integral_value(ROUND_HALF_UP))


def thousands(value: Decimal | int, language: str = FALLBACK) -> str:
    """A whole number in groups of three: 3,434 in English, 3 434 where a comma is the decimal sign."""
    return grouped(value, language)


def short_name(name: str) -> str:
    """A printed name short enough for a heading: `Ragna Ode` as `R. Ode`."""
    first, _, rest = name.strip().partition(" ")
    return f"{first[0]}. {rest.strip()}" if rest and len(first) > 2 else name.strip()


def width_of(line: Line) -> int:
    """Cells that a line takes."""
    return sum(cell_len(span.text) for span in line)


def fit(text: str, width: int, *, plain: bool = False) -> str:
    """The text cut to a width in cells, with a mark where something is missing."""
    if cell_len(text) <= width:
        return text
    mark = "..." if plain else "…"
    if width <= cell_len(mark):
        return set_cell_size(text, max(0, width))
    return set_cell_size(text, width - cell_len(mark)).rstrip() + mark


def apart(left: Line, right: Line, width: int, *, plain: bool = False) -> Line:
    """Two lines as one of that width, the second set to the right; the last span of the first gives way."""
    over = width_of(left) + width_of(right) + (2 if right else 0) - width
    if over > 0 and left:
        last = left[-1]
        left = (*left[:-1], Span(fit(last.text, max(4, width_of((last,)) - over), plain=plain), last.tone))
    return (*left, Span(" " * max(1, width - width_of(left) - width_of(right))), *right)


def sides(
    left: Sequence[Line], right: Sequence[Line], width: int, *, plain: bool = False
) -> tuple[Line, ...]:
    """Lines with what stands at the right of each; the right has no more lines than the left."""
    return tuple(
        apart(line, right[index] if index < len(right) else (), width, plain=plain)
        for index, line in enumerate(left)
    )


def zip_columns(*columns: tuple[Sequence[Line], int]) -> Iterator[Line]:
    """Columns of lines beside each other, each with its width; the last one takes what is left of the line."""
    for at in range(max(len(lines) for lines, _ in columns)):
        row: Line = ()
        for place, (lines, width) in enumerate(columns, 1):
            cell = lines[at] if at < len(lines) else ()
            row += cell
            if place < len(columns):
                row += (Span(" " * (width - width_of(cell))),)
        yield row


def wrapped(text: str, width: int, tone: Tone = "", *, indent: int = 0) -> tuple[Line, ...]:
    """A text as lines of at most that width in cells; `indent` cells before every line but the first."""
    lines: list[str] = []
    current = ""
    for word in _broken(text, max(1, width - indent)):
        room = max(1, width - (indent if lines else 0))
        longer = f"{current} {word}" if current else word
        if cell_len(longer) <= room or not current:
            current = longer
            continue
        lines.append(current)
        current = word
    lines.append(current)
    return tuple((Span((" " * indent if i else "") + line, tone),) for i, line in enumerate(lines))


def _broken(text: str, width: int) -> Iterator[str]:
    """The words of a text; one that is wider than a line (a hash, a path) in pieces."""
    for word in text.split():
        while cell_len(word) > width:
            piece = word[:width]
            yield piece
            word = word[width:]  # noqa: PLW2901  the rest of it
        yield word

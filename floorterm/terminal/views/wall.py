"""What a display on the wall says of each line: what it does now, for how long, whose locks are on. Pure."""

from collections.abc import Iterable, Sequence
from datetime import datetime, tzinfo
from itertools import zip_longest
from typing import TYPE_CHECKING

from msgspec import Struct

from floorterm.changeover.standard import standard_min
from floorterm.changeover.waiting import open_steps
from floorterm.terminal.views.lines import Names, deviations_span, elapsed_min, locks_line, not_counted
from floorterm.terminal.views.text import (
    Line,
    Span,
    Tone,
    clock,
    fit,
    hours_and_minutes,
    tell,
    whole,
    width_of,
    wrapped,
)
from floorterm.wording import Fact, words

if TYPE_CHECKING:
    from floorterm.changeover.line_now import LineNow
    from floorterm.changeover.state import State

DIGIT_ROWS = 5
_DIGITS = {
    "0": ("###", "# #", "# #", "# #", "###"),
    "1": ("  #", "  #", "  #", "  #", "  #"),
    "2": ("###", "  #", "###", "#  ", "###"),
    "3": ("###", "  #", "###", "  #", "###"),
    "4": ("# #", "# #", "###", "  #", "  #"),
    "5": ("###", "#  ", "###", "  #", "###"),
    "6": ("###", "#  ", "###", "# #", "###"),
    "7": ("###", "  #", "  #", "  #", "  #"),
    "8": ("###", "# #", "###", "# #", "###"),
    "9": ("###", "# #", "###", "  #", "###"),
    ":": (" ", "#", " ", "#", " "),
}
_NO_TONE: Tone = ""
_BIG_WIDTH = 34  # cells for hours and minutes, twice as wide as drawn so that they look square


class Block(Struct, frozen=True):
    """One line of the plant: its bar, big minutes ("" while it runs) and what stands beside them."""

    title: str
    big: str
    tone: Tone
    beside: tuple[Line, ...]


def wall_blocks(
    found: Iterable["LineNow"], order: Sequence[str], names: Names, now: datetime, zone: tzinfo, language: str
) -> tuple[Block, ...]:
    """The lines in the plant's own order: who looks up finds each where it was."""
    by_line = {one.line: one for one in found}
    return tuple(_block(by_line[line], names, now, zone, language) for line in order if line in by_line)


def _block(one: "LineNow", names: Names, now: datetime, zone: tzinfo, language: str) -> Block:
    name = names.lines.get(one.line, one.line)
    held = " + ".join(names.fragrance(fragrance) for fragrance in one.holds.fragrances)
    state = one.changeover
    big, tone = "", _NO_TONE
    beside: list[Line] = []
    if state is None:
        title = f"{name}   {held or words('terminal.holds_unknown', language)}"
        if one.holds.at is not None:
            since = words("terminal.since", language, at=clock(one.holds.at, zone))
            beside.append((Span(f"{words('wall.runs', language)} {since}"),))
    else:
        outgoing, incoming = (names.fragrance(part) for part in state.title)
        title = f"{name}   {held or outgoing} > {incoming}"
        big, tone = _minutes(state, now)
        beside += _now(state, now, zone, language)
    for other in (*one.procedures, *one.leftover):
        sheet = other.worksheet
        said = tell(sheet.procedure.name, language) if sheet.procedure else other.work
        beside.append((Span(said),))
    beside.append(locks_line(one.works, language))
    if (waiting := deviations_span(one.unsettled, language)) is not None:
        beside.append((waiting,))
    return Block(title, big, tone, tuple(beside))


def _minutes(state: "State", now: datetime) -> tuple[str, Tone]:
    elapsed = elapsed_min(state, now)
    if elapsed is None:
        return "", ""
    return hours_and_minutes(elapsed), "caution" if elapsed > whole(standard_min(state.worksheet)) else ""


def _now(state: "State", now: datetime, zone: tzinfo, language: str) -> list[Line]:
    found: list[Line] = []
    if state.paused_since is not None:
        said = words("terminal.paused_since", language, at=clock(state.paused_since, zone))
        found.append((Span(said, "caution"),))
    standard = whole(standard_min(state.worksheet))
    elapsed = elapsed_min(state, now)
    if elapsed is None:
        found.append((Span(not_counted(state, language)),))
    else:
        over = elapsed - standard
        tone: Tone = "caution" if over > 0 else ""
        facts: dict[str, Fact] = {"standard": hours_and_minutes(standard), "minutes": over}
        found.append((Span(words("wall.over" if over > 0 else "wall.of", language, **facts), tone),))
    steps = open_steps(state, now)
    step = tell(steps[0].text, language) if steps else words("terminal.to_release", language)
    found.append((Span(step, "strong"),))
    return found


def wall_lines(blocks: Sequence[Block], width: int, height: int, *, plain: bool) -> tuple[Line, ...]:
    """The blocks one under the other, each with the same share of the height; what has no room is cut at its end."""
    each = max(3, height // max(1, len(blocks)))
    lines: list[Line] = []
    for block in blocks:
        bar = fit(f" {block.title}", width, plain=plain)
        rows: list[Line] = [(Span(bar + " " * (width - width_of((Span(bar),))), "head"),), ()]
        big = big_digits(block.big, plain=plain) if block.big and width >= 2 * _BIG_WIDTH else ()
        room = width - (_BIG_WIDTH if big else 0) - 2
        beside = [part for line in block.beside for part in _wrapped(line, room)]
        for left, right in zip_longest(big, beside):
            first = (Span((left or "").ljust(_BIG_WIDTH), block.tone or "strong"),) if big else ()
            rows.append((Span("  "), *first, *(right or ())))
        lines += [*rows[:each], *([()] * (each - len(rows)))]
    return tuple(lines)


def _wrapped(line: Line, width: int) -> tuple[Line, ...]:
    if width_of(line) <= width or len(line) != 1:
        return (line,)
    return wrapped(line[0].text, width, line[0].tone)


def big_digits(text: str, *, plain: bool) -> tuple[str, ...]:
    """Digits and colons, five rows high; every cell is drawn twice, since cells are twice as high as wide."""
    cell = "#" if plain else "█"
    return tuple(
        "  ".join("".join(cell * 2 if dot == "#" else "  " for dot in _DIGITS[one][row]) for one in text)
        for row in range(DIGIT_ROWS)
    )

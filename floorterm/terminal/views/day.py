"""What the day plan says: which fragrances run today, in which order, and what that costs. Pure."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from floorterm.planning.telling import name_of, no_plan, rows, sentences
from floorterm.terminal.views.text import Line, Span, apart, wrapped
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.library.model import Library
    from floorterm.planning import Day, DayPlan, NoPlanError

MARKED, UNMARKED = "[x]", "[ ]"


def fragrance_line(
    fragrance: str,
    library: "Library",
    width: int,
    language: str,
    *,
    marked: bool,
    wish: str,
    plain: bool,
) -> Line:
    """One fragrance of the line: whether it runs today, and a rule about it."""
    mark = MARKED if marked else UNMARKED
    name = Span(f"{mark} {name_of(fragrance, library, language)}", "strong" if marked else "")
    right = [Span(words(f"plan.wish_{wish}", language), "quiet")] if wish else []
    return apart((name,), tuple(right), width, plain=plain)


def plan_lines(
    day: "Day", found: "DayPlan", library: "Library", width: int, language: str
) -> tuple[Line, ...]:
    """The order with what each changeover costs, then how good it is and what others cost."""
    table = [(*row[:3], f"{row[3]} kg", row[5]) for row in rows(found, library, language)]
    widths = [max(len(row[at]) for row in table) for at in range(len(table[0]))]
    lines: list[Line] = []
    for place, name, minutes, kg, note in table:
        cells = (place.rjust(widths[0]), name.ljust(widths[1]), minutes.rjust(widths[2]), kg.rjust(widths[3]))
        lines.append((Span(f"{cells[0]}  {cells[1]}", "strong"), Span(f"  {cells[2]}  {cells[3]}  {note}")))
    lines.append(())
    first, *rest = sentences(day, found, library, language)
    lines += wrapped(first, width, "strong")
    for text in rest:
        lines += wrapped(text, width)
    return tuple(lines)


def glance(lines: Sequence[Line], height: int, language: str) -> tuple[Line, ...]:
    """As many lines as there is room for; the last says how many there are yet."""
    if len(lines) <= height:
        return tuple(lines)
    more = words("plan.more", language, n=len(lines) - height + 1)
    return (*lines[: height - 1], (Span(f" {more} ", "notice"),))


def refusal_lines(fault: "NoPlanError", library: "Library", width: int, language: str) -> tuple[Line, ...]:
    """That no order keeps the rules, and which one to give up."""
    first, *rest = no_plan(fault, library, language)
    lines = list(wrapped(f" {first} ", width, "caution"))
    for text in rest:
        lines += wrapped(text, width)
    return tuple(lines)


def hint_lines(width: int, language: str) -> tuple[Line, ...]:
    """What to do where nothing is marked."""
    return wrapped(words("plan.hint", language), width, "quiet")


def turned(wishes: Mapping[str, str], fragrance: str, wish: str) -> dict[str, str]:
    """Rules after a key: one fragrance is first, one last; the same key again takes it back."""
    kept = {name: other for name, other in wishes.items() if other != wish and name != fragrance}
    return kept if wishes.get(fragrance) == wish else {**kept, fragrance: wish}


def toggled(marked: tuple[str, ...], fragrance: str) -> tuple[str, ...]:
    """The fragrances of the day after a key: another one behind them, or one of them gone."""
    left = tuple(name for name in marked if name != fragrance)
    return left if fragrance in marked else (*left, fragrance)


def with_(marked: tuple[str, ...], fragrance: str) -> tuple[str, ...]:
    """The fragrances of the day with another one behind them, if it is none of them."""
    return marked if fragrance in marked else (*marked, fragrance)

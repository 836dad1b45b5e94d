"""What the Seal screen says: the square code, and beside or without it the seal in digits. Pure."""

from collections.abc import Sequence

from floorterm.ledger.seal import Seal
from floorterm.terminal.views.text import Line, Span, wrapped
from floorterm.wording import Count, words

_GAP = 2
_GROUPS_A_LINE = 2


def seal_lines(
    seal: Seal, code: Sequence[str], width: int, language: str, *, plant: str, at: str
) -> tuple[Line, ...]:
    """The code as drawn at the left (none: it cannot be drawn here), the seal in words and digits at the right."""
    room = width - (len(code[0]) + _GAP if code else 0)
    told = _told(seal, room, language, plant=plant, at=at, drawn=bool(code))
    if not code:
        return told
    lines: list[Line] = []
    for y in range(max(len(code), len(told))):
        square = Span(code[y], "code") if y < len(code) else Span(" " * len(code[0]))
        lines.append((square, Span(" " * _GAP), *(told[y] if y < len(told) else ())))
    return tuple(lines)


def _told(seal: Seal, width: int, language: str, *, plant: str, at: str, drawn: bool) -> tuple[Line, ...]:
    groups = seal.groups.split()
    digits = (
        "  ".join(groups[start : start + _GROUPS_A_LINE]) for start in range(0, len(groups), _GROUPS_A_LINE)
    )
    entry = words("proof.seal_entry", language, number=Count(seal.n), at=at)
    return (
        *wrapped(plant, width, "strong"),
        *wrapped(entry, width, "strong"),
        (),
        *wrapped(words("proof.seal_digits", language), width),
        *((Span(line, "strong"),) for line in digits),
        (),
        *wrapped(f"{words('proof.seal_chain', language)} {seal.chain}", width),
        (),
        *(() if drawn else wrapped(words("proof.seal_no_square", language), width, "caution")),
        *wrapped(words("proof.seal_photograph", language), width),
    )

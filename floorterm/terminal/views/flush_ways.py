"""Ways to flush side by side, why one is not allowed, and the chain of reasoning, as lines of spans."""

from floorterm.changeover.view_flush import WayView
from floorterm.changeover.view_words import tell
from floorterm.changeover.worksheet import FlushNote
from floorterm.terminal.views.text import Line, Span, Tone, fit, wrapped
from floorterm.terminal.views.work import labelled, say
from floorterm.wording import words

_CELLS = (6, 9, 5, 5, 8)  # kg, diverted, min, crew, cost
_MARK = 13
_LEAD = 4  # mark and number that the list puts before a row


def _name_room(width: int) -> int:
    return max(16, min(34, width - sum(_CELLS) - _MARK - _LEAD))


def ways_head(note: FlushNote, language: str, width: int) -> Line:
    """What stands in the columns."""
    names = [words(f"strategies.column.{name}", language) for name in ("kg", "diverted", "min", "crew")]
    names.append(note.currency or words("strategies.column.cost_kg", language))
    cells = "".join(f"{fit(name, room - 1):>{room}}" for name, room in zip(names, _CELLS, strict=True))
    lead = words("strategies.column.name", language)
    room = _name_room(width)
    return (Span(f"{' ' * _LEAD}{fit(lead, room):<{room}}{cells}", "quiet"),)


def way_line(way: WayView, width: int) -> Line:
    """One way in a line: figures and what speaks for or against it in a word."""
    room = _name_room(width)
    cells = "".join(f"{cell:>{space}}" for cell, space in zip(way.cells, _CELLS, strict=True))
    tone: Tone = "" if way.allowed else "quiet"
    mark: Tone = "strong" if way.allowed else "caution" if way.in_hand else "quiet"
    return (
        Span(f"{fit(way.name, room):<{room}}{cells}", tone),
        Span(f" {way.mark}" if way.mark else "", mark),
    )


def way_lines(way: WayView, language: str, width: int) -> list[Line]:
    """All that is to be known of one way: reasons against it first."""
    lines: list[Line] = [(Span(f" {way.name}", "strong"),)]
    for place, reason in enumerate(way.reasons):
        label = say("label_caution", language) if place == 0 else ""
        lines += labelled(label, reason, width, "caution", "caution")
    for place, note in enumerate(way.notes):
        lines += labelled(say("label_note", language) if place == 0 else "", note, width)
    return lines


def chain_lines(note: FlushNote, language: str, width: int) -> tuple[Line, ...]:
    """The reasoning with its sources, numbered, wrapped."""
    if not note.chain:
        return wrapped(say("chain_none", language), width)
    lines: list[Line] = []
    for number, text in enumerate(note.chain, start=1):
        for place, line in enumerate(wrapped(tell(text, language), width - 4)):
            lines.append((Span("    " if place else f"{number:>2}. "), *line))
    return tuple(lines)

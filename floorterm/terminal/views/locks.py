"""The Locks screen as lines of spans, made of a `LocksView`."""

from collections.abc import Iterator, Sequence

from rich.cells import cell_len

from floorterm.changeover.view_locks import JobView, LocksView, PointRow
from floorterm.terminal.views.text import Line, Span, Tone, width_of, wrapped, zip_columns
from floorterm.terminal.views.work import labelled, refusal_lines, say

_SAID = 2  # what is said above the points; the rest stands below them
_WIDE = 100  # columns from which on the place of a point stands beside its name
_NAMES, _NAMES_WIDE = 30, 54  # columns that names may take whatever stands beside them
_POSITION = 13
_LEAD = "   "  # room of the mark before a point


def locks_lines(view: LocksView, language: str, width: int, *, signed_in: bool) -> list[Line]:
    """Every lockout of the line: what comes next, what is refused, every point with its locks."""
    if not view.jobs:
        return labelled("", view.empty, width)
    lines: list[Line] = []
    for job in view.jobs:
        lines += _job(job, language, width, signed_in=signed_in)
    return lines


def _job(job: JobView, language: str, width: int, *, signed_in: bool) -> list[Line]:
    status: Tone = "danger" if job.alarm else "quiet"
    lines: list[Line] = [
        (
            Span(f" {job.machine}  ", "strong"),
            Span(f"{job.work}  {job.title}: ", "quiet"),
            Span(job.status, status),
        )
    ]
    if signed_in and job.next:
        lines += labelled(say("label_next", language), job.next[0], width, "strong", "quiet")
    elif not signed_in:
        lines += labelled(say("label_next", language), say("sign_in_for_next", language), width)
    if job.refusals:
        lines += refusal_lines(job.refusals[:1], language, width)
    for said in job.said[:_SAID]:
        tone: Tone = said.level or "quiet"
        rule = f" ({said.rule})" if said.rule else ""
        lines += labelled(say("label_said", language), f"{said.text}{rule}", width, tone, tone)
    for crew in job.crew:
        lines += labelled("", crew, width)
    lines += _points(job.points, width)
    lines += labelled("", job.at_work, width)
    lines += labelled("", job.proved, width)
    lines += refusal_lines(job.refusals[1:], language, width)
    for said in job.said[_SAID:]:
        lines += labelled("", f"{said.text} ({said.rule})", width, "quiet")
    return lines


def _points(points: Sequence[PointRow], width: int) -> Iterator[Line]:
    """Every point with its whole name, as people look for it at the machine; what has no room goes on beneath."""
    wide = width >= _WIDE
    names = [f"{point.name}, {point.place}" if wide and point.place else point.name for point in points]
    tails = [tuple(_tail(point)) for point in points]
    position = min(_POSITION, max((cell_len(point.position) for point in points), default=0))
    free = width - len(_LEAD) - position - 2
    least = _NAMES_WIDE if wide else _NAMES
    told = max((width_of(line) for tail in tails for line in _flowing(tail, free)), default=0)
    room = min(max((cell_len(name) for name in names), default=0), max(least, free - told - 1))
    gap = 2 if room + told < free else 1
    for point, name, tail in zip(points, names, tails, strict=True):
        tone: Tone = "done" if point.isolated else "quiet"
        yield from zip_columns(
            (((Span(" x " if point.isolated else _LEAD, tone),),), len(_LEAD)),
            (wrapped(name, room), room + 1),
            (wrapped(point.position, position, tone), position + gap),
            (_flowing(tail, free - room - gap + 1), 0),
        )


def _tail(point: PointRow) -> Iterator[Span]:
    """Whose locks, and what is to be known of the point; what is wrong comes before whose lock it is."""
    if point.note and point.note_level:
        yield Span(f" {point.note} ", point.note_level)
    for place, lock in enumerate(point.locks, 1):
        yield Span(lock if place == len(point.locks) else f"{lock};", "strong" if point.own else "")
    if point.note and not point.note_level:
        yield Span(point.note, "quiet")


def _flowing(pieces: Sequence[Span], room: int) -> tuple[Line, ...]:
    """Pieces beside each other as long as there is room; a piece is parted only where it is wider than the room."""
    lines: list[Line] = [()]
    for piece in pieces:
        gap = Span(" " if lines[-1] and lines[-1][-1].text.endswith((";", " ")) else "  ")
        if not lines[-1]:
            lines[-1] = (piece,)
        elif width_of((*lines[-1], gap, piece)) <= room:
            lines[-1] = (*lines[-1], gap, piece)
        else:
            lines.append((piece,))
        if width_of(lines[-1]) > room:
            lines[-1:] = wrapped(piece.text.strip(), room, piece.tone)
    return tuple(lines)

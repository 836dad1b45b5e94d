"""The Locks screen as lines of spans, made of a `LocksView`."""

from floorterm.changeover.view_locks import JobView, LocksView, PointRow
from floorterm.terminal.views.text import Line, Span, Tone, fit
from floorterm.terminal.views.work import labelled, refusal_lines, say

_SAID = 2  # what is said above the points; the rest stands below them


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
    for point in job.points:
        lines.append(_point(point, width))
    lines += labelled("", job.at_work, width)
    lines += labelled("", job.proved, width)
    lines += refusal_lines(job.refusals[1:], language, width)
    for said in job.said[_SAID:]:
        lines += labelled("", f"{said.text} ({said.rule})", width, "quiet")
    return lines


def _point(point: PointRow, width: int) -> Line:
    name_room, position_room = (max(54, width - 90), 12) if width >= 100 else (25, 11)
    mark = "x" if point.isolated else " "
    tone: Tone = "done" if point.isolated else "quiet"
    place = f", {point.place}" if width >= 100 else ""
    head: Line = (
        Span(f" {mark} ", tone),
        Span(f"{fit(point.name + place, name_room):<{name_room}} "),
        Span(f"{fit(point.position, position_room):<{position_room}} ", tone),
    )
    locks = "; ".join(point.locks)
    lock = Span(locks, "strong" if point.own else "")
    if not point.note:
        return (*head, lock)
    note: Tone = point.note_level or "quiet"
    if point.note_level:  # what is wrong comes before whose lock it is
        return (*head, Span(f" {point.note} ", note), Span(f" {locks}"))
    return (*head, lock, Span(f"  {point.note}", note))

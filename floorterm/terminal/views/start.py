"""What the start screens say: for each fragrance or procedure that a line could begin, what it would ask. Pure."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from msgspec import Struct

from floorterm.changeover.standard import standard_min
from floorterm.changeover.view import governs, title_of
from floorterm.terminal.views.text import Line, Span, hours_and_minutes, tell, thousands, whole, wrapped
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.changeover.worksheet import FlushNote, Worksheet


class Candidate(Struct, frozen=True):
    """Something that could begin: its id, the row that names it, and everything that is told before it does."""

    key: str
    row: tuple[Line, Line]
    title: str
    lines: tuple[str, ...]
    cautions: tuple[str, ...]


def changeover_candidate(key: str, code: str, sheet: "Worksheet", language: str) -> Candidate:
    """A changeover by its worksheet."""
    incoming = tell(sheet.incoming.name, language) if sheet.incoming else key
    note = sheet.flush
    told = [_size(sheet, language)]
    cautions: list[str] = []
    if note is not None:
        told += [flush_text(note, language), governs(sheet, language)]
        if note.required_kg:
            told.append(words(f"terminal.evidence_{note.evidence}", language))
        if note.gate:
            cautions.append(words("terminal.gate", language))
        if note.status in ("deviation", "unreachable"):
            cautions.append(words(f"terminal.flush_{note.status}", language))
    machines = lockouts(sheet, language)
    if machines:
        told.append(words("terminal.start_lockouts", language, machines=", ".join(machines)))
    name: Line = (Span(incoming, "strong"), Span(f"   {code}", "quiet"))
    return Candidate(
        key, (name, (Span(_short(sheet, language), "quiet"),)), title_of(sheet, language), tuple(told), tuple(cautions)
    )  # fmt: skip


def procedure_candidate(key: str, sheet: "Worksheet", language: str) -> Candidate:
    """A procedure that stands alone."""
    told = [_size(sheet, language)]
    machines = lockouts(sheet, language)
    if machines:
        told.append(words("terminal.start_lockouts", language, machines=", ".join(machines)))
    title = title_of(sheet, language)
    row: tuple[Line, Line] = ((Span(title, "strong"),), (Span(_size(sheet, language), "quiet"),))
    return Candidate(key, row, title, tuple(told), ())


def lockouts(sheet: "Worksheet", language: str) -> tuple[str, ...]:
    """The machines that are locked out on the way."""
    return tuple(dict.fromkeys(tell(job.machine, language) for job in sheet.jobs))


def flush_text(note: "FlushNote", language: str) -> str:
    """kg, bars and minutes of a flush, or that there is nothing to flush."""
    if note.status == "none" or not note.required_kg:
        return words("terminal.flush_none", language)
    return words(
        "terminal.flush_amount",
        language,
        kg=thousands(note.required_kg, language),
        bars=thousands(note.bars, language),
        minutes=note.minutes,
    )


def _size(sheet: "Worksheet", language: str) -> str:
    return words(
        "terminal.start_size",
        language,
        n=sum(1 for _ in sheet.steps()),
        standard=hours_and_minutes(whole(standard_min(sheet))),
    )


def _short(sheet: "Worksheet", language: str) -> str:
    note = sheet.flush
    steps = sum(1 for _ in sheet.steps())
    minutes = hours_and_minutes(whole(standard_min(sheet)))
    kg = thousands(note.required_kg, language) if note else "0"
    return words("terminal.start_short", language, kg=kg, steps=steps, standard=minutes)


def detail_lines(candidate: Candidate, width: int) -> tuple[Line, ...]:
    """Everything that is told about a candidate, wrapped."""
    lines: list[Line] = [(Span(candidate.title, "strong"),), ()]
    for caution in candidate.cautions:
        lines += wrapped(f" {caution} ", width, "caution")
    for text in candidate.lines:
        lines += wrapped(text, width, indent=2)
    return tuple(lines)


def glance_lines(candidate: Candidate, width: int, height: int, language: str) -> tuple[Line, ...]:
    """What is told about a candidate in so many lines: where they are too few, the last says how many there are yet."""
    lines = detail_lines(candidate, width)
    if len(lines) > height:
        lines = tuple(line for line in lines if line)
    if len(lines) > height:
        left = words("terminal.start_more", language, n=len(lines) - height + 1)
        lines = (*lines[: height - 1], (Span(f" {left} ", "notice"),))
    return lines


def matching(candidates: Iterable[Candidate], key: str) -> Candidate | None:
    """The candidate of a key."""
    return next((one for one in candidates if one.key == key), None)

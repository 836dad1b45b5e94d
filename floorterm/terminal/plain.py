"""What the screens say, as plain lines: for screen readers, pipes and logs. Imports nothing of Textual.

Every line is a whole sentence or fact: nothing is cut to a width, set to the right, or said by colour alone.
"""

import re
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from floorterm.changeover.view_locks import locks_view
from floorterm.shift import telling
from floorterm.shift.window import Window, window_at, window_text
from floorterm.terminal.views.lines import line_rows, names_of
from floorterm.terminal.views.locks import locks_lines
from floorterm.terminal.views.shift import ledger_tells, shift_rows
from floorterm.terminal.views.shift_review import review_rows
from floorterm.terminal.views.shown import speaker_of
from floorterm.terminal.views.text import Line, day_and_clock, tell
from floorterm.terminal.views.work import finish_lines, foot_lines, step_lines, top_lines
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.changeover.view import WorkView
    from floorterm.people import Person
    from floorterm.plant import Plant
    from floorterm.shift_review import Review

_WIDE = 10_000  # views wrap and cut to a width; here there is none
_MOST = 99


def status_text(plant: "Plant", language: str) -> Iterator[str]:
    """Lines: what each holds, what is on, minutes against standard, locks, deviations."""
    library = plant.library
    yield f"{words('terminal.lines', language)}  {_place_and_time(plant, language)}"
    rows = line_rows(plant.lines(), names_of(library, language), plant.now(), plant.zone, language)
    for row in rows:
        yield from _sides(row.left, row.right)


def next_text(plant: "Plant", shown: "WorkView", language: str) -> Iterator[str]:
    """Work: the current step of a piece of work, as its view has it for a person or for nobody in particular."""
    yield f"{shown.line}  {shown.title}  {shown.work}  {_place_and_time(plant, language)}"
    yield shown.clock.text
    yield shown.locks.text
    yield from _plain(top_lines(shown, language, _WIDE))
    if shown.step is None:
        yield from _plain(finish_lines(shown, language, _WIDE))
        return
    yield from _plain(step_lines(shown.step, language, _WIDE))
    if not shown.step.refused:
        spec = shown.step.entry
        if spec.prompt:
            yield spec.prompt
        for place, option in enumerate(spec.options, 1):
            yield f"{place} {option.text}  {option.note}".rstrip()
    yield from _plain(foot_lines(shown, language, _WIDE, _MOST))


def locks_text(plant: "Plant", line: str, person: "Person | None", language: str) -> Iterator[str]:
    """Locks: every isolation point of a line with the locks on it, by whom, since when."""
    name = tell(plant.library.lines[line].name, language)
    shown = locks_view(
        plant.lock_works(line),
        person,
        plant.now(),
        language,
        line=name,
        duties=speaker_of(plant, language).duties,
        people=plant.ledger.people(),
        shift_since=window_at(plant.library.plant.shifts, plant.now(), plant.zone).since,
    )
    yield f"{words('work.locks_title', language, line=name)}  {_place_and_time(plant, language)}"
    yield shown.authority
    yield shown.summary
    yield from _plain(locks_lines(shown, language, _WIDE, signed_in=True))


def shift_text(plant: "Plant", language: str, window: Window | None = None) -> Iterator[str]:
    """Shift: what waits for a decision, what was run in the shift (default: the one that is on), how long it took."""
    from floorterm.shift_review import states_shown  # noqa: PLC0415

    window = window or window_at(plant.library.plant.shifts, plant.now(), plant.zone)
    yield f"{words('terminal.shift', language)}  {window_text(window, language)}"
    found = states_shown(plant, window)
    names = names_of(plant.library, language)
    told = ledger_tells(plant.ledger, window)
    for row in shift_rows(found, names, plant.now(), plant.zone, language, told, window.since):
        yield from _sides(row.left, row.right)


def review_text(review: "Review", language: str) -> Iterator[str]:
    """Review: the shift as its supervisor signs it, each changeover with the parts of its minutes."""
    yield f"{words('shift.review', language)}  {window_text(review.window, language)}"
    signature = review.signature
    draft = signature.handover if signature else ""
    works = {f"work {line.work}": line for line in review.shown(draft).works}
    for row in review_rows(review, draft, _WIDE, language):
        yield from _sides(row.left, row.right)
        line = works.get(row.key)
        if line is None or line.procedure:
            continue
        if line.flush is not None:
            yield telling.flush_text(line.flush, language)
        if line.minutes is not None:
            yield telling.minutes_text(line.minutes, language)
            for part in line.minutes.parts:
                yield f"{telling.more(part.seconds)}  {telling.part_text(part, language)}"


def _place_and_time(plant: "Plant", language: str) -> str:
    return f"{plant.library.plant.name}  {day_and_clock(plant.now(), plant.zone, language)}"


def _sides(left: tuple[Line, ...], right: tuple[Line, ...]) -> Iterator[str]:
    """What stands at the left and at the right of a row, one after the other."""
    for index in range(max(len(left), len(right))):
        parts = (side[index] for side in (left, right) if index < len(side))
        yield from _plain([tuple(span for part in parts for span in (*part, *_gap(part)))])


def _gap(part: Line) -> Line:
    return (type(part[0])("  "),) if part else ()


def _plain(lines: Iterable[Line]) -> Iterator[str]:
    """The texts alone, with room for a breath where the screen has a gap."""
    for line in lines:
        text = re.sub(r" {3,}", "  ", "".join(span.text for span in line)).strip()
        if text:
            yield text

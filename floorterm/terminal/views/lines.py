"""What the Lines screen says: each line with what it holds and what is on, then its other works. Pure."""

from collections.abc import Iterable, Mapping
from datetime import datetime, tzinfo
from typing import TYPE_CHECKING

from msgspec import Struct

from floorterm.changeover.standard import standard_min
from floorterm.changeover.waiting import open_steps
from floorterm.terminal.views.line_row import LineRow
from floorterm.terminal.views.text import (
    Line,
    Span,
    Tone,
    clock,
    day_and_clock,
    hours_and_minutes,
    short_name,
    tell,
    whole,
)
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.changeover.line_now import LineNow
    from floorterm.changeover.state import State
    from floorterm.library.model import Library


class Names(Struct, frozen=True, kw_only=True):
    """Names of the plant's things in the language that is spoken."""

    lines: Mapping[str, str]
    fragrances: Mapping[str, str]

    def fragrance(self, name: str) -> str:
        """A fragrance, also one that the checklists no longer know."""
        return self.fragrances.get(name, name)


def names_of(library: "Library", language: str) -> Names:
    """The names of the checklists in a language."""
    return Names(
        lines={name: tell(line.name, language) for name, line in library.lines.items()},
        fragrances={name: tell(one.name, language) for name, one in library.fragrances.items()},
    )


def names_of_works(lines: "Iterable[LineNow]", language: str) -> Names:
    """The names that the worksheets of the works on these lines have, where no checklists are read yet."""
    sheets = [state.worksheet for one in lines for state in one.unsettled]
    named = [one for sheet in sheets for one in (sheet.outgoing, sheet.incoming, *sheet.traces) if one]
    return Names(
        lines={sheet.line.id: tell(sheet.line.name, language) for sheet in sheets},
        fragrances={one.id: tell(one.name, language) for one in named},
    )


def elapsed_min(state: "State", now: datetime) -> int | None:
    """Whole minutes since the last good outgoing bar; since the start for a procedure; None before the bar."""
    begun = state.started_at
    if state.runs_until:
        if state.last_good is None:
            return None
        begun = state.last_good.done_at
    return max(0, int(((state.ended_at or now) - begun).total_seconds() // 60))


def against_standard(state: "State", now: datetime, language: str) -> Span:
    """Minutes against the standard, with a word; over is a caution, quiet otherwise."""
    elapsed = elapsed_min(state, now)
    if elapsed is None:
        return Span(not_counted(state, language), "quiet")
    standard = whole(standard_min(state.worksheet))
    facts = {"elapsed": hours_and_minutes(elapsed), "standard": hours_and_minutes(standard)}
    if elapsed > standard:
        tone: Tone = "strong" if state.ended else "caution"  # what is over asks nothing of anybody any more
        return Span(words("terminal.over", language, minutes=elapsed - standard, **facts), tone)
    return Span(words("terminal.within", language, **facts))


def not_counted(state: "State", language: str) -> str:
    """Why no minutes count yet. Nobody is told that a line runs while locks are on."""
    return words(
        "terminal.counts_from_last_bar" if state.locks_on() else "terminal.line_still_runs", language
    )


def locks_line(states: Iterable["State"], language: str) -> Line:
    """How many locks are on, and whose."""
    locks = [lock for state in states for lock in state.locks_on()]
    if not locks:
        return (Span(words("terminal.no_locks", language), "quiet"),)
    names = ", ".join(dict.fromkeys(short_name(lock.owner_name or lock.owner) for lock in locks))
    return (Span(words("terminal.locks_on", language, n=len(locks), names=names), "strong"),)


def deviations_span(states: Iterable["State"], language: str) -> Span | None:
    """How many deviations wait for a decision."""
    count = sum(len(state.open_deviations) for state in states)
    return Span(words("terminal.deviations_wait", language, n=count), "caution") if count else None


def steps_left(state: "State", now: datetime, language: str) -> str:
    """How many steps are still to be signed."""
    count = len(open_steps(state, now))
    return (
        words("terminal.steps_left", language, n=count) if count else words("terminal.to_release", language)
    )


def line_rows(
    found: Iterable["LineNow"], names: Names, now: datetime, zone: tzinfo, language: str
) -> tuple[LineRow, ...]:
    """The rows of all lines, in the order in which the lines come."""
    rows: list[LineRow] = []
    for one in found:
        rows.append(_line_row(one, names, now, zone, language))
        rows.extend(_procedure_row(one.line, state, now, zone, language) for state in one.procedures)
        rows.extend(_leftover_row(one.line, state, zone, language) for state in one.leftover)
        rows.extend(_waiting_row(one.line, state, zone, language) for state in one.waiting)
    return tuple(rows)


def _line_row(one: "LineNow", names: Names, now: datetime, zone: tzinfo, language: str) -> LineRow:
    name = Span(f"{names.lines.get(one.line, one.line)}  ", "strong")
    held = " + ".join(names.fragrance(fragrance) for fragrance in one.holds.fragrances)
    state = one.changeover
    deviations = deviations_span(one.unsettled, language)
    right2: Line = (deviations,) if deviations else ()
    if state is None:
        if held and one.holds.at is not None:
            said = words("terminal.holds_since", language, fragrance=held, at=clock(one.holds.at, zone))
        else:
            said = words("terminal.holds_unknown", language)
        idle = Span(words("terminal.no_work", language), "quiet")
        return LineRow(
            one.line,
            one.line,
            "",
            ((name, Span(said)), locks_line(one.works, language)),
            ((idle,), (), right2),
        )
    outgoing, incoming = state.title
    said = words(
        "terminal.going_to", language, outgoing=held or names.fragrance(outgoing), incoming=names.fragrance(incoming)
    )  # fmt: skip
    left = Span(steps_left(state, now, language), "quiet")
    status = _paused(state, zone, language) or against_standard(state, now, language)
    return LineRow(
        one.line,
        one.line,
        state.work,
        ((name, Span(said)), locks_line(one.works, language)),
        ((status,), (left,), right2),
        flushes=state.worksheet.flush is not None,
    )


def _paused(state: "State", zone: tzinfo, language: str) -> Span | None:
    if state.paused_since is None:
        return None
    return Span(words("terminal.paused_since", language, at=clock(state.paused_since, zone)), "caution")


def _procedure_row(line: str, state: "State", now: datetime, zone: tzinfo, language: str) -> LineRow:
    sheet = state.worksheet
    title = tell(sheet.procedure.name, language) if sheet.procedure else state.work
    since = words("terminal.since", language, at=clock(state.started_at, zone))
    status = _paused(state, zone, language) or Span(since, "quiet")
    return LineRow(
        f"{line}/{state.work}",
        line,
        state.work,
        ((Span(f"  {title}"),), (Span("  "), *locks_line((state,), language))),
        ((status,), (Span(steps_left(state, now, language), "quiet"),)),
    )


def _leftover_row(line: str, state: "State", zone: tzinfo, language: str) -> LineRow:
    ended = words("terminal.left_with_locks", language, at=clock(state.ended_at or state.last_at, zone))
    return LineRow(
        f"{line}/{state.work}",
        line,
        state.work,
        ((Span("  "), Span(f" {ended} ", "warning")), (Span("  "), *locks_line((state,), language))),
        ((), ()),
    )


def _waiting_row(line: str, state: "State", zone: tzinfo, language: str) -> LineRow:
    """A work that has ended, and about which somebody still has to decide."""
    sheet = state.worksheet
    ends = (sheet.procedure,) if sheet.procedure else (sheet.outgoing, sheet.incoming)
    title = " > ".join(tell(one.name, language) for one in ends if one is not None)
    status = words(f"terminal.status_{state.status}", language)
    ended = day_and_clock(state.ended_at or state.last_at, zone, language)
    deviations = deviations_span((state,), language)
    return LineRow(
        f"{line}/{state.work}",
        line,
        state.work,
        ((Span(f"  {title}"),), (Span(f"  {state.work}  {status} {ended}", "quiet"),)),
        ((deviations,) if deviations else (), ()),
    )

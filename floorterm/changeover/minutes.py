"""Where the minutes of a changeover went: planned, standard and actual, and the parts of the difference. Pure.

The minutes count from the last good outgoing bar to the release, because a first bar is good only once the line is
released; a procedure that stands alone counts from its start. Everything is in whole seconds, so that the parts add
up exactly: `actual_s - planned_s == sum(part.seconds for part in parts)`, whatever was recorded.

The time is followed backwards from the last sign-off: a step could begin when the last of what it comes after was
done and its person was free, and whichever of the two came last is asked the same question. These steps touch each
other and fill the whole time; what others did beside them cost none.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from decimal import ROUND_HALF_UP, Decimal
from typing import Literal

from msgspec import Struct

from floorterm.changeover.standard import minutes_of, standard_min
from floorterm.changeover.state import Signed, State, Stop, pause_reason
from floorterm.changeover.worksheet import Step, Worksheet

Lost = Literal[
    "plan",  # the standard became another after the start: another fragrance, a flush that was revised
    "over",  # a step took longer than its standard, or shorter
    "stop",  # the work was paused
    "waiting",  # for a decision, for the release, or as somebody said
    "searching",  # as somebody said
    "again",  # a step that was done once more later
    "external",  # a step for which the line need not have stood
    "order",  # another chain of steps decided than the standard's
    "left",  # standard minutes of what was not done (yet)
    "running",  # since the last sign-off of a work that goes on
]
_Spans = list[tuple[int, int]]


class Part(Struct, frozen=True, kw_only=True):
    """One part of the difference, in seconds; below zero it took less. `step` is "" for what belongs to no step.

    `reasons` are the words that people gave.
    """

    cause: Lost
    seconds: int
    step: str = ""
    reasons: tuple[str, ...] = ()


class Minutes(Struct, frozen=True, kw_only=True):
    """The minutes of one piece of work, in seconds. `planned_s` is the standard of the worksheet it began with,
    `standard_s` that of the worksheet as it is now, with the kg of the flush as revised last.
    """

    begun: datetime
    until: datetime
    planned_s: int
    standard_s: int
    actual_s: int
    parts: tuple[Part, ...]

    @property
    def gap_s(self) -> int:
        """Actual less planned."""
        return self.actual_s - self.planned_s


class _Link(Struct, frozen=True):
    """A stretch of the time that belongs to one signature; without one it is the time after the last of them."""

    since: int
    until: int
    signed: Signed | None


def last_good_bar(state: State) -> datetime | None:
    """When the last good outgoing bar was made; the start, where the worksheet marks none; None before that bar."""
    if not state.runs_until:
        return state.started_at
    return None if state.last_good is None else state.last_good.done_at


def minutes_spent(state: State, now: datetime) -> Minutes | None:
    """The minutes up to the end of the work, or up to now; None before the last good outgoing bar."""
    begun = last_good_bar(state)
    if begun is None:
        return None
    until = max(begun, state.ended_at or now)
    kg = {name: flush.required_kg for name, flush in state.flush.items()}
    planned = _seconds(standard_min(state.planned or state.worksheet))
    standard = _seconds(standard_min(state.worksheet, kg))
    return Minutes(
        begun=begun,
        until=until,
        planned_s=planned,
        standard_s=standard,
        actual_s=_since(begun, until),
        parts=_parts(state, begun, until, standard, standard - planned),
    )


def over_standard(state: State, step: str, now: datetime) -> int:
    """Whole minutes by which a step took longer than its standard and which nobody has explained yet."""
    found = minutes_spent(state, now)
    parts = found.parts if found is not None else ()
    return max(0, sum(part.seconds for part in parts if part.cause == "over" and part.step == step)) // 60


# --- the chain of steps that fills the time ---------------------------------------------------------------------------


def _links(state: State, begun: datetime, until: datetime) -> Iterator[_Link]:
    """The stretches from the end back to the last good bar; each ends where the one before it began."""
    signed = sorted(
        (one for one in state.history if begun < one.done_at <= until), key=lambda one: (one.done_at, one.n)
    )
    place = len(signed) - 1
    end = _since(begun, until)
    last = _since(begun, signed[place].done_at) if signed else 0
    if end > last:
        yield _Link(last, end, None)
    while place >= 0:
        before = waited_for(state.worksheet, signed, place)
        since = _since(begun, signed[before].done_at) if before is not None else 0
        yield _Link(since, _since(begun, signed[place].done_at), signed[place])
        place = -1 if before is None else before


def waited_for(sheet: Worksheet, signed: Sequence[Signed], place: int) -> int | None:
    """The newest signature that this one had to wait for: a step that it comes after, or its own person's last.

    `signed` are in the order in which they were done; the answer is a place in it, None where there is none.
    """
    one = signed[place]
    step = sheet.step(one.act.step)
    names = (*step.after, step.since) if step is not None else ()
    for index in range(place - 1, -1, -1):
        if signed[index].done_by == one.done_by or signed[index].act.step in names:
            return index
    return None


# --- what each stretch was ----------------------------------------------------------------------------------------


def _parts(state: State, begun: datetime, until: datetime, standard: int, plan: int) -> tuple[Part, ...]:
    end = _since(begun, until)
    pauses = [(_span(begun, end, stop.since, stop.until), stop.reason) for stop in pauses_of(state, until)]
    stops = _merged(span for span, _ in pauses)
    waits = _merged([*stops, *(_span(begun, end, *times) for times in _undecided(state, until))])
    counts = {
        one.act.step: one.n for one in state.history
    }  # the last signature of a step is the one that counts
    found: list[Part] = [Part(cause="plan", seconds=plan)]
    chain = 0
    for link in _links(state, begun, until):
        stopped = _within(stops, link)
        waited = _within(waits, link) - stopped
        name = link.signed.act.step if link.signed is not None else ""
        reasons = tuple(reason for span, reason in pauses if _within([span], link))
        found.append(Part(cause="stop", seconds=stopped, step=name, reasons=reasons))
        found.append(Part(cause="waiting", seconds=waited, step=name))
        rest = link.until - link.since - stopped - waited
        step = state.worksheet.step(name)
        if link.signed is None:
            found.append(Part(cause="waiting" if state.ended else "running", seconds=rest))
        elif step is None or counts[name] != link.signed.n:
            found.append(Part(cause="again", seconds=rest, step=name))
        elif step.external:
            found.append(Part(cause="external", seconds=rest, step=name))
        else:
            own = _standard(state, step)
            chain += own
            found += _over(state, name, rest - own)
    found.append(Part(cause="order" if state.status == "released" else "left", seconds=chain - standard))
    return _gathered(found, state.worksheet)


def _over(state: State, step: str, over: int) -> Iterator[Part]:
    """What a step took over its standard; as much of it as somebody explained under that name, never more."""
    for told in (one for one in state.told if one.step == step):
        explained = min(max(over, 0), told.minutes * 60)
        over -= explained
        yield Part(cause=told.cause, seconds=explained, step=step, reasons=(told.reason,))
    yield Part(cause="over", seconds=over, step=step)


def _standard(state: State, step: Step) -> int:
    kg = state.flush[step.id].required_kg if step.id in state.flush else None
    return _seconds(minutes_of(state.worksheet, step, kg))


def pauses_of(state: State, until: datetime) -> Iterator[Stop]:
    """Every pause, also the one that is not over."""
    yield from state.stops
    if state.paused_since is not None:
        yield Stop(since=state.paused_since, until=until, reason=pause_reason(state))


def _undecided(state: State, until: datetime) -> Iterator[tuple[datetime, datetime]]:
    """Times in which what comes next had to wait for a decision."""
    for one in state.deviations:
        if one.stops:
            yield one.at, until if one.open or one.decided_at is None else one.decided_at


def _gathered(parts: Iterable[Part], sheet: Worksheet) -> tuple[Part, ...]:
    """One part for each cause and step, without those of nothing; the largest first, ties in checklist order."""
    sums: dict[tuple[Lost, str], int] = {}
    reasons: dict[tuple[Lost, str], tuple[str, ...]] = {}
    for part in parts:
        key = (part.cause, part.step)
        sums[key] = sums.get(key, 0) + part.seconds
        if part.seconds:
            reasons[key] = tuple(dict.fromkeys((*reasons.get(key, ()), *part.reasons)))
    order: Mapping[str, int] = {step.id: place for place, step in enumerate(sheet.steps())}
    found = [
        Part(cause=cause, seconds=seconds, step=step, reasons=reasons.get((cause, step), ()))
        for (cause, step), seconds in sums.items()
        if seconds
    ]
    return tuple(sorted(found, key=lambda part: (-abs(part.seconds), order.get(part.step, -1), part.cause)))


# --- whole seconds ------------------------------------------------------------------------------------------------


def _since(begun: datetime, at: datetime) -> int:
    return int((at - begun).total_seconds() // 1)


def _seconds(minutes: Decimal) -> int:
    return int((minutes * 60).to_integral_value(ROUND_HALF_UP))


def _span(begun: datetime, end: int, since: datetime, until: datetime) -> tuple[int, int]:
    """A time as seconds, cut to what is counted."""
    first = min(max(_since(begun, since), 0), end)
    return first, min(max(_since(begun, until), first), end)


def _merged(spans: Iterable[tuple[int, int]]) -> _Spans:
    found: _Spans = []
    for since, until in sorted(spans):
        if found and since <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], until))
        else:
            found.append((since, until))
    return found


def _within(spans: _Spans, link: _Link) -> int:
    return sum(max(0, min(until, link.until) - max(since, link.since)) for since, until in spans)

"""What an act that is never refused falls short of, and what time going by does: said at once, never hidden.

Own locks come off, people leave and emergencies are recorded whatever else is wrong; the audit judges them
afterwards. So that nobody learns it only then, the state keeps each such moment with the rule that the audit
will report (ids of the project's rule table, read from 29 CFR 1910.147).
"""

from collections.abc import Iterator
from datetime import timedelta

from floorterm.lockout.model import Event, LockEvent
from floorterm.lockout.naming import place_facts
from floorterm.lockout.state import LockoutState, Shortfall
from floorterm.wording import Fact


def fell_short(before: LockoutState, after: LockoutState, event: LockEvent) -> tuple[Shortfall, ...]:
    """Everything that a recorded event fell short of, given the state before it and after it."""
    return tuple(
        Shortfall(n=event.n, at=event.at, rule=rule, key=f"lockout.short.{key}", facts=facts)
        for rule, key, facts in _all(before, after, event)
        if not any(one.key == f"lockout.short.{key}" and one.facts == facts for one in before.shortfalls)
    )


def made_good(state: LockoutState, event: LockEvent) -> tuple[Shortfall, ...]:
    """What still stands once an event is recorded.

    A point that lost its last lock unchecked is made good when everything was locked, relieved and verified from
    scratch and work goes on, as long as no energy came back in between ((f)(4) as OSHA's manual reads it).
    """
    if event.event is not Event.WORK_START:
        return state.shortfalls
    energised = max((one.n for one in state.events if one.event in _ENERGISES), default=0)
    return tuple(one for one in state.shortfalls if one.key != "lockout.short.unchecked" or one.n < energised)


_ENERGISES = frozenset({Event.RE_ENERGISE, Event.TEMP_ENERGISE})
_Found = tuple[str, str, dict[str, Fact]]


def _all(before: LockoutState, after: LockoutState, event: LockEvent) -> Iterator[_Found]:
    who: dict[str, Fact] = {"name": event.by_name or event.by, "n": event.n}
    yield from _lapsed(before, event)
    if event.event is Event.WORK_END and event.by not in before.at_work:
        yield "LR-03", "end_without_start", who
    if before.alarm and event.event is not Event.WORK_END:
        yield "LO-28", "during_alarm", who
    if event.by in before.removed:
        yield "LO-34", "acted_uninformed", who
    if event.event in (Event.LOCK_OFF, Event.REMOVE_OTHER):
        yield from _lock_gone(before, after, who)
    if event.event is Event.REMOVE_OTHER and event.is_emergency:
        yield "LO-34", "cut", {**who, "owner": before.name(event.owner)}
    if event.event is Event.SHUT_DOWN and event.is_emergency and not before.reviewed:
        yield "LO-22", "emergency_stop", who
    if event.event is Event.OWNER_ABSENT_CHECK and event.owner in before.at_work and event.result == "absent":
        rule = "LO-42" if before.group else "LO-30"
        yield rule, "left_at_work", {**who, "owner": before.name(event.owner)}
    if before.at_work and not after.at_work and after.unverified_primaries():
        names = ", ".join(after.name(code) for code in after.unverified_primaries())
        yield "LO-43", "primary_never_verified", {**who, "names": names}


def _lapsed(before: LockoutState, event: LockEvent) -> Iterator[_Found]:
    """Readings that came too late while somebody was at work ((d)(5)(ii)): the interval is the site's."""
    if not before.at_work:
        return
    late: dict[str, list[str]] = {}
    for point in before.job.points:
        if not (point.required and point.reaccumulates and point.monitor_min is not None):
            continue
        since = before.points[point.id].read_at or before.exposed_since
        if since is not None and event.at - since > timedelta(minutes=point.monitor_min):
            late.setdefault(since.isoformat(timespec="minutes"), []).append(point.id)
    for since_text, points in late.items():
        yield "LO-28", "lapsed", {**place_facts(before, points), "since": since_text}


def _lock_gone(before: LockoutState, after: LockoutState, who: dict[str, Fact]) -> Iterator[_Found]:
    for code, work in before.at_work.items():
        bare = [place for place in after.without_own_lock(code) if place not in before.without_own_lock(code)]
        if bare:
            rule = "LO-42" if before.group else "LO-30"
            yield rule, "bare_at_work", {**who, **place_facts(before, bare), "worker": work.name}
    emptied = [place for place in after.not_locked() if place not in before.not_locked()]
    if emptied and not (before.inspected and before.accounted):
        yield "LO-31", "unchecked", {**who, **place_facts(before, emptied)}
    for one in before.handed:
        owners = {lock.owner for lock in after.locks_on(one.place)}
        had = {lock.owner for lock in before.locks_on(one.place)}
        if one.to & had and not one.to & owners and (one.giver in owners or one.giver in had):
            yield "LO-43", "hand_over_broken", {**who, **place_facts(before, [one.place])}

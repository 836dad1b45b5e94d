"""Whether isolation is proved for a person, straight from the words of the rule and from a list of events.

Written from 29 CFR 1910.147(d)(4)-(6), (f)(3)(i) and (f)(4) without the program's own state: every question
replays the list. Slow and plain on purpose. Individual lockout only.
"""

from collections.abc import Sequence

from floorterm.lockout.model import Event, Job, LockEvent


def is_on(events: Sequence[LockEvent], point: str) -> bool:
    """Whether the point is energised after these events."""
    on = True
    for event in events:
        if point in event.points and event.event is Event.ISOLATE:
            on = False
        if point in event.points and event.event in (Event.RE_ENERGISE, Event.TEMP_ENERGISE):
            on = True
    return on


def locks(events: Sequence[LockEvent], point: str) -> list[tuple[str, str]]:
    """(lock, owner) on the point after these events, in order. A removal names the owner of the lock."""
    found: list[tuple[str, str]] = []
    for event in events:
        if event.event is Event.LOCK_ON and point in event.points:
            found.append((event.lock, event.by))
        if event.event is Event.LOCK_OFF and (point in event.points or not event.points):
            found = [(lock, who) for lock, who in found if who != event.by or event.lock not in ("", lock)]
        if event.event is Event.REMOVE_OTHER and point in event.points:
            found = [(lock, who) for lock, who in found if who != event.owner or event.lock not in ("", lock)]
    return found


def full(job: Job, events: Sequence[LockEvent]) -> bool:
    """Every required point is off and locked by somebody."""
    return all(not is_on(events, point) and locks(events, point) for point in job.required)


def relieved(events: Sequence[LockEvent], point: str) -> bool:
    """Stored energy was relieved after the first lock of the present isolation of the point."""
    seen_lock = done = False
    for index, event in enumerate(events):
        if point not in event.points:
            continue
        if event.event in (Event.RE_ENERGISE, Event.TEMP_ENERGISE) or (
            event.event is Event.ISOLATE and is_on(events[:index], point)
        ):
            seen_lock = done = False
        if event.event is Event.LOCK_ON and not is_on(events[:index], point):
            seen_lock = True
        if event.event is Event.RELEASE and seen_lock:
            done = True
    return done


def under_own_locks(job: Job, events: Sequence[LockEvent], person: str) -> bool:
    """The person has an own lock on every required point."""
    return all(any(who == person for _, who in locks(events, point)) for point in job.required)


def proved(job: Job, events: Sequence[LockEvent], person: str) -> bool:
    """Some verification stands for the person after these events."""
    return any(_stands(job, events, index, person) for index in range(len(events)))


def _stands(job: Job, events: Sequence[LockEvent], index: int, person: str) -> bool:
    event, before = events[index], events[:index]
    if event.event is not Event.VERIFY or event.result != "zero":
        return False
    if event.points and not set(job.required) <= set(event.points):
        return False
    if event.by != person and person not in event.people:
        return False
    if not full(job, before) or not all(
        relieved(before, point.id) for point in job.points if point.required and point.needs_release
    ):
        return False
    if not all(any(who == person for _, who in locks(before, point)) for point in job.required):
        return False
    for later in range(index + 1, len(events) + 1):
        if not full(job, events[:later]) or _breaks(job, events[later - 1]):
            return False
        if any(later_lock(events[later - 1], point, person) for point in job.required):
            return False
    return True


def later_lock(event: LockEvent, point: str, person: str) -> bool:
    """The person puts a lock on after the verification: that verification is not later than their lock."""
    return event.event is Event.LOCK_ON and point in event.points and event.by == person


def _breaks(job: Job, event: LockEvent) -> bool:
    if event.event is Event.ISOLATE:
        return bool(set(event.points) & set(job.required))
    covers = bool(set(event.points or job.required) & set(job.required))
    return event.event in (Event.VERIFY, Event.MONITOR) and event.result == "not_zero" and covers

"""What each lockout event brings about: the fold of one job's events, in the order of their numbers.

Takes whatever was recorded; what *may* be recorded the guard decides (29 CFR 1910.147(d), (e), (f)).
"""

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime

from msgspec.structs import replace

from floorterm.lockout.effects_shared import changed, energised, touches_required, unproved, without_locks
from floorterm.lockout.effects_special import SPECIAL, returned
from floorterm.lockout.model import BOX, Event, Job, LockEvent
from floorterm.lockout.shortfall import fell_short, made_good
from floorterm.lockout.state import OPENING, AtWork, LockOn, LockoutState, PointState, covered


def replay(job: Job, events: Iterable[LockEvent], line: str = "") -> LockoutState:
    """The state of a job after its events, in the order given (that of their numbers)."""
    state = LockoutState.initial(job, line)
    for event in events:
        state = apply_event(state, event)
    return state


def apply_event(state: LockoutState, event: LockEvent) -> LockoutState:
    """The state after one more event. Takes whatever was recorded; what *may* be, the guard decides."""
    if state.closed and event.event in OPENING:
        state = state.next_run()
    before = _seen(state, event)
    after = _EFFECTS[event.event](before, event)
    if not before.at_work and after.at_work:
        after = replace(after, exposed_since=event.at)
    found = fell_short(state, after, event)
    kept = made_good(state, event)
    return replace(after, begun=True, events=(*state.events, event), shortfalls=(*kept, *found))


def _seen(state: LockoutState, event: LockEvent) -> LockoutState:
    """The state in which somebody acts: their name is known, and whoever acts is not absent."""
    if event.by_name and state.names.get(event.by) != event.by_name:
        state = replace(state, names={**state.names, event.by: event.by_name})
    return returned(state, event.by)


def _points_only(state: LockoutState, event: LockEvent) -> tuple[str, ...]:
    return tuple(place for place in covered(state, event) if place != BOX)


def _notify_before(state: LockoutState, event: LockEvent) -> LockoutState:
    return replace(state, told_before=state.told_before | set(event.people))


def _review(state: LockoutState, event: LockEvent) -> LockoutState:
    return replace(state, reviewed=state.reviewed | {event.by})


def _shut_down(state: LockoutState, _: LockEvent) -> LockoutState:
    return replace(state, is_shut_down=True, restarted=False)


def _isolate(state: LockoutState, event: LockEvent) -> LockoutState:
    def change(point: PointState) -> PointState:
        return (
            point
            if point.isolated
            else replace(point, isolated=True, locked_n=None, relieved_n=None, awaits_lock=True)
        )

    points = covered(state, event)
    anew = any(not state.points[point].isolated for point in points if point in state.job.required)
    after = replace(changed(state, points, change), restarted=False, told_after=frozenset())
    if anew:  # what a member was offered counts for the cycle in which it was offered
        after = replace(after, offered=frozenset())
    return unproved(after, "isolate") if touches_required(state, points) else after


def _lock_on(state: LockoutState, event: LockEvent) -> LockoutState:
    def change_at(name: str) -> Callable[[PointState], PointState]:
        lock = LockOn(
            line=state.line, job=state.job.id, point=name, lock=event.lock,
            owner=event.by, owner_name=event.by_name, n=event.n, at=event.at,
        )  # fmt: skip

        def change(point: PointState) -> PointState:
            first = event.n if point.isolated and point.locked_n is None else point.locked_n
            return replace(point, locks=(*point.locks, lock), locked_n=first, awaits_lock=False)

        return change

    points = covered(state, event)
    state = replace(state, own_locks_used=state.own_locks_used or not state.group)
    for name in points:
        state = _box_lock(state, event) if name == BOX else changed(state, (name,), change_at(name))
    if not state.group and touches_required(state, points):  # a verification counts only after one's own lock
        state = replace(state, proofs={who: n for who, n in state.proofs.items() if who != event.by})
    return state


def _box_lock(state: LockoutState, event: LockEvent) -> LockoutState:
    lock = LockOn(
        line=state.line, job=state.job.id, point=BOX, lock=event.lock,
        owner=event.by, owner_name=event.by_name, n=event.n, at=event.at,
    )  # fmt: skip
    boxed = {**state.boxed, event.by: event.by_name}
    return replace(state, box=(*state.box, lock), boxed=boxed, accounted=False)


def _release(state: LockoutState, event: LockEvent) -> LockoutState:
    def change(point: PointState) -> PointState:
        return point if point.locked_n is None else replace(point, relieved_n=event.n, relieve_again=False)

    return changed(state, covered(state, event), change)


def _zero(state: LockoutState, points: tuple[str, ...], at: datetime) -> LockoutState:
    return changed(state, points, lambda point: replace(point, zero_at=at, read_at=at))


def _not_zero(state: LockoutState, points: tuple[str, ...]) -> LockoutState:
    # 1910.147(d)(5)(ii): what has come back is relieved and verified again before anybody works
    stored = [p.id for p in state.job.points if p.id in points and (p.needs_release or p.reaccumulates)]
    after = changed(state, points, lambda point: replace(point, zero_at=None))
    after = changed(after, stored, lambda point: replace(point, relieved_n=None, relieve_again=True))
    after = replace(after, alarm=bool(state.at_work))
    return unproved(after, "not_zero") if touches_required(state, points) else after


def _verify(state: LockoutState, event: LockEvent) -> LockoutState:
    points = _points_only(state, event)
    if event.result != "zero":
        if state.group:
            state = replace(state, offered=state.offered | {event.by, *event.people})
        return _not_zero(state, points)
    after = _zero(state, points, event.at)
    if state.group:
        after = replace(after, offered=after.offered | {event.by, *event.people})
    if not set(state.job.required) <= set(points) or not state.full or state.not_relieved():
        return after
    if state.group:
        return replace(after, proofs={**after.proofs, event.by: event.n}, unproved_by="")
    proved = {who: event.n for who in (event.by, *event.people) if who and not state.without_own_lock(who)}
    return replace(after, proofs={**state.proofs, **proved}, unproved_by="" if proved else state.unproved_by)


def _monitor(state: LockoutState, event: LockEvent) -> LockoutState:
    points = _points_only(state, event)
    return _zero(state, points, event.at) if event.result == "zero" else _not_zero(state, points)


def _work_start(state: LockoutState, event: LockEvent) -> LockoutState:
    begun = AtWork(n=event.n, at=event.at, name=event.by_name)
    return replace(
        state,
        at_work={**state.at_work, event.by: state.at_work.get(event.by, begun)},
        workers={**state.workers, event.by: event.by_name},
        inspected=False,
        accounted=False,
    )


def _work_end(state: LockoutState, event: LockEvent) -> LockoutState:
    if event.by not in state.at_work:  # said once more, to be sure: nothing has changed
        return state
    left = {who: since for who, since in state.at_work.items() if who != event.by}
    return replace(state, at_work=left, alarm=state.alarm and bool(left), inspected=False, accounted=False)


def _inspect_area(state: LockoutState, event: LockEvent) -> LockoutState:
    return replace(state, inspected=event.result == "ok")


def _account_people(state: LockoutState, event: LockEvent) -> LockoutState:
    return replace(state, accounted=event.result == "ok" and not state.uncleared(event.people))


def _lock_off(state: LockoutState, event: LockEvent) -> LockoutState:
    return without_locks(
        state, covered(state, event), lambda lock: lock.owner == event.by and event.lock in ("", lock.lock)
    )


def _notify_after(state: LockoutState, event: LockEvent) -> LockoutState:
    return replace(state, told_after=state.told_after | set(event.people))  # a lock that comes off undoes it


def _re_energise(state: LockoutState, event: LockEvent) -> LockoutState:
    points = _points_only(state, event)
    after = replace(energised(state, points), re_energised=True)
    return unproved(after, "re_energise") if touches_required(state, points) else after


def _restart(state: LockoutState, _: LockEvent) -> LockoutState:
    return replace(state, restarted=True, is_shut_down=False)


def _close(state: LockoutState, _: LockEvent) -> LockoutState:
    return replace(state, closed=True)


_EFFECTS: Mapping[Event, Callable[[LockoutState, LockEvent], LockoutState]] = {
    Event.NOTIFY_BEFORE: _notify_before,
    Event.REVIEW: _review,
    Event.SHUT_DOWN: _shut_down,
    Event.ISOLATE: _isolate,
    Event.LOCK_ON: _lock_on,
    Event.RELEASE: _release,
    Event.VERIFY: _verify,
    Event.MONITOR: _monitor,
    Event.WORK_START: _work_start,
    Event.WORK_END: _work_end,
    Event.INSPECT_AREA: _inspect_area,
    Event.ACCOUNT_PEOPLE: _account_people,
    Event.LOCK_OFF: _lock_off,
    Event.NOTIFY_AFTER: _notify_after,
    Event.RE_ENERGISE: _re_energise,
    Event.RESTART: _restart,
    Event.CLOSE: _close,
    **SPECIAL,
}

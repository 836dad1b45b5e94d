"""Ending a lockout: looked over, everybody counted, own locks off, told, energised again, closed (29 CFR 1910.147(e)).

The pieces that a test run asks for as well ((f)(1)) are here once, each with the clause of whoever asks.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping

from floorterm.lockout.asking import NONSENSE, SITE, Asked
from floorterm.lockout.model import BOX, Event
from floorterm.lockout.state import LockOn, covered
from floorterm.people import LockoutStatus
from floorterm.wording import Refusal


def name_told(asked: Asked) -> Iterator[Refusal]:
    """Against telling nobody in particular."""
    if asked.state.job.affected_duties and not asked.event.people:
        yield asked.no("name_told", "(c)(9)")


def not_begun(asked: Asked) -> Iterator[Refusal]:
    """Against an end where nothing was begun."""
    if not asked.state.begun:
        yield asked.no("nothing_begun", NONSENSE)


def nobody_working(asked: Asked, clause: str = "(e)(2)(i)") -> Iterator[Refusal]:
    """Against energy, or an end, while somebody is at work."""
    if asked.state.at_work:
        names = ", ".join(work.name for work in asked.state.at_work.values())
        yield asked.no("still_working", clause, names=names)


def no_locks(asked: Asked, places: Iterable[str], clause: str = "(e)(3)") -> Iterator[Refusal]:
    """Against energy while a lock is on, of this job or another, or another job is about to lock the point."""
    for lock in [lock for at in places for lock in (*asked.state.locks_on(at), *asked.others(at))]:
        if lock.lock:
            owner = lock.owner_name or lock.owner
            yield asked.no("lock_still_on", clause, (lock.point,), lock=lock.lock, owner=owner)
        else:
            yield asked.no("isolated_for_another", "(d)(3)", (lock.point,), job=lock.job)


def told_after(asked: Asked) -> Iterator[Refusal]:
    """Against energy while somebody affected does not know that the locks are off."""
    untold = asked.state.untold(after=True)
    if untold:
        yield asked.no("untold_after", "(e)(2)(ii)", duties=", ".join(untold))


def _inspect_area(asked: Asked) -> Iterator[Refusal]:
    yield from not_begun(asked)
    yield from nobody_working(asked)


def _account_people(asked: Asked) -> Iterator[Refusal]:
    yield from _inspect_area(asked)
    uncleared = asked.state.uncleared(asked.event.people)
    if uncleared and asked.event.result == "ok":
        yield asked.no("not_accounted_for", "(e)(2)(i)", names=", ".join(uncleared))


def lock_off(asked: Asked) -> Iterator[Refusal]:
    """One's own lock comes off whatever else is wrong; anybody else's does not (1910.147(e)(3))."""
    state, event, code = asked.state, asked.event, asked.person.code
    locks = [lock for point in covered(state, event) for lock in state.locks_on(point)]
    if any(lock.owner == code and event.lock in ("", lock.lock) for lock in locks):
        return
    named = [lock for lock in locks if lock.lock == event.lock] or locks
    others = [lock for lock in named if lock.owner != code]
    if others:
        yield asked.no("not_your_lock", "(e)(3)", _points_of(others), names=_owners(others))
    else:
        yield asked.no("no_such_lock", NONSENSE, event.points)


def _notify_after(asked: Asked) -> Iterator[Refusal]:
    yield from name_told(asked)
    yield from not_begun(asked)
    state, locks = asked.state, asked.state.locks_on()
    held = all(point.locks for point in state.points.values() if point.isolated)
    if locks and held:  # for a test some points are opened while others stay locked
        yield asked.no("told_too_early", "(e)(2)(ii)", _points_of(locks), names=_owners(locks))


def _re_energise(asked: Asked) -> Iterator[Refusal]:
    state, points = asked.state, asked.event.points
    energised = [point for point in points if not state.points[point].isolated]
    if energised:
        yield asked.no("already_energised", NONSENSE, energised)
    yield from no_locks(asked, (*points, BOX))
    yield from nobody_working(asked)
    if not state.inspected:
        yield asked.no("inspect_first", "(e)(1)")
    if not state.accounted:
        yield asked.no("account_first", "(e)(2)(i)")


def _restart(asked: Asked) -> Iterator[Refusal]:
    state = asked.state
    if asked.person.lockout is LockoutStatus.OTHER:
        yield asked.no("not_for_others", "(c)(7)(i)(C)")
    yield from not_begun(asked)
    yield from nobody_working(asked)
    yield from no_locks(asked, (*state.points, BOX))
    still_off = [point for point in state.job.required if state.points[point].isolated]
    if still_off:
        yield asked.no("point_still_off", NONSENSE, still_off)
    yield from told_after(asked)


def _close(asked: Asked) -> Iterator[Refusal]:
    state = asked.state
    yield from not_begun(asked)
    locks = state.locks_on()
    if locks:
        yield asked.no("close_with_locks", "LO-36", _points_of(locks), names=_owners(locks))
    yield from nobody_working(asked)
    still_off = [name for name, point in state.points.items() if point.isolated]
    if still_off:
        yield asked.no("close_with_point_off", SITE, still_off)
    if state.re_energised:
        yield from told_after(asked)
    for removed in state.removed.values():
        if not removed.contacted:
            yield asked.no("contact_first", "(e)(3)(ii)", name=removed.owner_name)


def _points_of(locks: Iterable[LockOn]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(lock.point for lock in locks))


def _owners(locks: Iterable[LockOn]) -> str:
    return ", ".join(dict.fromkeys(lock.owner_name or lock.owner for lock in locks))


ENDING: Mapping[Event, Callable[[Asked], Iterator[Refusal]]] = {
    Event.INSPECT_AREA: _inspect_area,
    Event.ACCOUNT_PEOPLE: _account_people,
    Event.NOTIFY_AFTER: _notify_after,
    Event.RE_ENERGISE: _re_energise,
    Event.RESTART: _restart,
    Event.CLOSE: _close,
}

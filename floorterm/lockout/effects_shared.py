"""Changes of a lockout's state that several events share: points, locks that come off, energy that is back."""

from collections.abc import Callable, Iterable

from msgspec.structs import replace

from floorterm.lockout.model import BOX
from floorterm.lockout.state import LockOn, LockoutState, PointState


def changed(
    state: LockoutState, points: Iterable[str], change: Callable[[PointState], PointState]
) -> LockoutState:
    """The state with some of its points changed."""
    after = dict(state.points)
    for point in points:
        after[point] = change(after[point])
    return replace(state, points=after)


def unproved(state: LockoutState, by: str) -> LockoutState:
    """The state without any verification that stands; `by` says what took it away."""
    reason = by if state.proofs or by == "not_zero" else state.unproved_by
    return replace(state, proofs={}, unproved_by=reason)


def touches_required(state: LockoutState, points: Iterable[str]) -> bool:
    """Whether any of these points must be locked before anybody works."""
    return bool(set(points) & set(state.job.required))


def energised(state: LockoutState, points: Iterable[str]) -> LockoutState:
    """The state with energy back at these points; their keys leave the lock box."""
    names = tuple(points)

    def change(point: PointState) -> PointState:
        return replace(
            point, isolated=False, locked_n=None, relieved_n=None, relieve_again=False, zero_at=None
        )

    return replace(changed(state, names, change), keys=state.keys - set(names))


def without_locks(state: LockoutState, places: Iterable[str], goes: Callable[[LockOn], bool]) -> LockoutState:
    """The state with some locks off: what was told of before, proved or handed over no longer counts."""
    taken = {place: [lock for lock in state.locks_on(place) if goes(lock)] for place in places}
    taken = {place: locks for place, locks in taken.items() if locks}
    if not taken:
        return state

    def change(point: PointState) -> PointState:
        left = tuple(lock for lock in point.locks if not goes(lock))
        if left:
            return replace(point, locks=left)
        # continuity is broken (1910.147(f)(4)): locked, relieved and verified again before anybody works
        return replace(point, locks=(), locked_n=None, relieved_n=None)

    points = tuple(place for place in taken if place != BOX)
    after = replace(
        changed(state, points, change),
        told_after=frozenset(),
        keys=state.keys - set(points),
        handed=tuple(
            one
            for one in state.handed
            if not any(lock.owner == one.giver for lock in taken.get(one.place, ()))
        ),
    )
    if BOX in taken:
        after = replace(after, box=tuple(lock for lock in state.box if not goes(lock)))
    if not touches_required(state, points):
        return after
    if after.group or any(not after.points[name].locks for name in points if name in state.job.required):
        return unproved(after, "lock_off")
    owners = {lock.owner for locks in taken.values() for lock in locks}
    return replace(after, proofs={who: n for who, n in after.proofs.items() if who not in owners})

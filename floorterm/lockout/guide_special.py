"""What somebody may also do in a lockout, beside what comes next: 29 CFR 1910.147(e)(3) exception and (f).

Offers for a screen; the guard decides what may be recorded.
"""

from collections.abc import Iterator

from floorterm.access import Right, has_right
from floorterm.lockout.guide import Move, move
from floorterm.lockout.model import Event
from floorterm.lockout.state import LockoutState
from floorterm.people import LockoutStatus, Person


def other_moves(state: LockoutState, person: Person, *, work_left: bool) -> tuple[Move, ...]:
    """What the person may do besides, the likeliest first; whoever must first be informed is offered nothing."""
    if state.job.job_class != "lockout" or person.code in state.removed:
        return ()
    return tuple(_moves(state, person, work_left))


def _moves(state: LockoutState, person: Person, work_left: bool) -> Iterator[Move]:
    authorised = person.lockout is LockoutStatus.AUTHORIZED
    if state.at_work and person.code not in state.at_work and state.alone_due():
        yield move(state, Event.LONE_CHECK, key="ask_after", people=tuple(state.at_work))
    if authorised:
        yield from _hand_over(state, person.code)
        if work_left:
            yield from _test(state)
    if state.begun and not state.closed and (authorised or has_right(person, Right.DIRECT_LOCK_REMOVAL)):
        if authorised:
            yield from _crews(state)
        if state.exchanged and not state.own_staff_told:
            yield move(state, Event.OWN_STAFF_TOLD)
        if state.locks_on():
            yield move(state, Event.NOTIFY_BEFORE, key="tell_again")
    if authorised or has_right(person, Right.DIRECT_LOCK_REMOVAL):
        yield from _absent(state, person)


def _hand_over(state: LockoutState, code: str) -> Iterator[Move]:
    """To whoever has a lock beside one's own on every place where one has a lock."""
    places = tuple(dict.fromkeys(lock.point for lock in state.own_locks(code)))
    handed = {one.place for one in state.handed if one.giver == code}
    mine = tuple(place for place in places if place not in handed)
    owners = [{lock.owner for lock in state.locks_on(place)} - {code} for place in mine]
    to = set.intersection(*owners) if owners else set()
    if to:
        yield move(state, Event.HAND_OVER, mine, people=tuple(sorted(to)))


def _test(state: LockoutState) -> Iterator[Move]:
    """Energy for a test: area, people, locks off those points, people told, then energy ((f)(1)(i)-(iv))."""
    isolated = tuple(name for name, point in state.points.items() if point.isolated)
    bare = tuple(name for name in isolated if not state.points[name].locks)
    if not isolated or state.at_work or not state.workers or state.testing:
        return
    if not state.inspected:
        yield move(state, Event.INSPECT_AREA, key="test_area")
    elif not state.accounted:
        yield move(state, Event.ACCOUNT_PEOPLE, key="test_people")
    elif bare and not state.box and state.untold(after=True):
        yield move(state, Event.NOTIFY_AFTER, key="test_tell")
    elif bare and not state.box:
        yield move(state, Event.TEMP_ENERGISE, bare)


def _crews(state: LockoutState) -> Iterator[Move]:
    free = state.job.mode == "either" and not state.own_locks_used
    if state.group or free:
        yield move(state, Event.ASSIGN_PRIMARY, key="assign_again" if state.crews else "assign_primary")


def _absent(state: LockoutState, person: Person) -> Iterator[Move]:
    """Step by step: not at the plant, tried to reach them, lock off, told before they go on."""
    for owner, removed in state.removed.items():
        if not removed.contacted:
            yield move(state, Event.OWNER_CONTACT_TRY, owner=owner)
        else:
            yield move(state, Event.OWNER_INFORMED, removed.places, owner=owner)
    owners = dict.fromkeys(lock.owner for lock in state.locks_on() if lock.owner != person.code)
    for owner in owners:
        if owner not in state.absent:
            yield move(state, Event.OWNER_ABSENT_CHECK, owner=owner)
            continue
        if owner not in state.contacted:
            yield move(state, Event.OWNER_CONTACT_TRY, owner=owner)
        if state.job.other_removal and has_right(person, Right.DIRECT_LOCK_REMOVAL):
            places = tuple(dict.fromkeys(lock.point for lock in state.own_locks(owner)))
            yield move(state, Event.REMOVE_OTHER, places, owner=owner)


def emergency_moves(state: LockoutState, person: Person | None) -> tuple[Move, ...]:
    """What an emergency did, entered afterwards: never before a person is free."""
    own = person.code if person else ""
    owners = dict.fromkeys(lock.owner for lock in state.locks_on() if lock.owner != own)
    stop = state.begun and not state.is_shut_down and not state.closed and state.job.job_class == "lockout"
    stopped = (move(state, Event.SHUT_DOWN, key="emergency_stop"),) if stop else ()
    return stopped + tuple(
        move(
            state,
            Event.REMOVE_OTHER,
            tuple(dict.fromkeys(lock.point for lock in state.own_locks(owner))),
            "cut",
            owner=owner,
        )
        for owner in owners
    )

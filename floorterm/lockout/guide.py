"""What a person does next in a lockout job: the next moves in the order of 29 CFR 1910.147(d) and (e).

Guidance for a screen, from the record alone. What may be recorded is decided by the guard; the site's own
procedure and a competent person decide what is done at the machine.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from floorterm.lockout.guard import point_facts
from floorterm.lockout.model import Event
from floorterm.lockout.state import LockoutState
from floorterm.people import LockoutStatus, Person
from floorterm.wording import Say


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One thing to do: the event and its points, or no event when there is only something to wait for."""

    event: Event | None
    points: tuple[str, ...] = ()
    say: Say


def next_moves(state: LockoutState, person: Person, now: datetime, *, work_left: bool) -> tuple[Move, ...]:
    """What the person does next in this job, the most pressing first; empty when nothing is to be done.

    `work_left` says whether steps of the work under the lockout are still open. Whoever is not at work and
    has locks on is always offered to take them off.
    """
    return tuple(_moves(state, person, now, work_left))


def _move(state: LockoutState, event: Event | None, points: tuple[str, ...] = (), key: str = "") -> Move:
    facts = {"machine": state.job.machine, **point_facts(state, points)}
    if not key:
        key = event.value if event else ""
    if key == "wait_for_people":
        facts["names"] = ", ".join(work.name for work in state.at_work.values())
    if key == "wait_for_locks":
        owners = dict.fromkeys(lock.owner_name or lock.owner for lock in state.locks_on())
        facts["names"] = ", ".join(owners)
    return Move(event=event, points=points, say=Say(f"lockout.next.{key}", facts))


def _moves(state: LockoutState, person: Person, now: datetime, work_left: bool) -> Iterator[Move]:
    code = person.code
    if state.alarm:
        if code in state.at_work:
            yield _move(state, Event.WORK_END, key="alarm")
        else:
            yield _move(state, None, key="wait_for_people")
            yield from _leave(state, code)
        return
    if code in state.at_work:
        yield from _at_work(state, now, work_left)
        return
    authorised = person.lockout is LockoutStatus.AUTHORIZED
    if authorised:
        yield from _towards_work(state, code, now) if work_left else _towards_end(state, code)
    if work_left or not authorised:
        yield from _leave(state, code)


def _at_work(state: LockoutState, now: datetime, work_left: bool) -> Iterator[Move]:
    lapsed = state.lapsed(now)
    if lapsed:
        yield _move(state, Event.MONITOR, lapsed, key="lapsed")
    elif work_left:
        yield _move(state, None, key="work")
    yield _move(state, Event.WORK_END)


def _leave(state: LockoutState, code: str) -> Iterator[Move]:
    own = tuple(dict.fromkeys(lock.point for lock in state.own_locks(code)))
    if own:
        yield _move(state, Event.LOCK_OFF, own)


def _towards_work(state: LockoutState, code: str, now: datetime) -> Iterator[Move]:
    if state.closed:
        state = state.next_run()
    bare = tuple(point for point in state.without_own_lock(code) if state.points[point].isolated)
    lapsed = state.lapsed(now)
    if state.untold():
        yield _move(state, Event.NOTIFY_BEFORE)
    elif code not in state.reviewed:
        yield _move(state, Event.REVIEW)
    elif state.not_isolated() and not state.is_shut_down:
        yield _move(state, Event.SHUT_DOWN)
    elif state.not_isolated():
        yield _move(state, Event.ISOLATE, state.not_isolated())
    elif bare:
        yield _move(state, Event.LOCK_ON, bare)
    elif state.not_relieved():
        yield _move(state, Event.RELEASE, state.not_relieved())
    elif code not in state.proofs:
        yield _move(state, Event.VERIFY, state.job.required)
    elif lapsed:
        yield _move(state, Event.MONITOR, lapsed)
    else:
        yield _move(state, Event.WORK_START)


def _towards_end(state: LockoutState, code: str) -> Iterator[Move]:
    if not state.begun or state.closed:
        return
    isolated = tuple(name for name, point in state.points.items() if point.isolated)
    if state.at_work:
        yield _move(state, None, key="wait_for_people")
        yield from _leave(state, code)
    elif isolated and not state.inspected:
        yield _move(state, Event.INSPECT_AREA)
    elif isolated and not state.accounted:
        yield _move(state, Event.ACCOUNT_PEOPLE)
    elif state.own_locks(code):
        yield from _leave(state, code)
    elif state.locks_on():
        yield _move(state, None, key="wait_for_locks")
    elif isolated or state.re_energised:
        if state.untold(after=True):
            yield _move(state, Event.NOTIFY_AFTER)
        elif isolated:
            yield _move(state, Event.RE_ENERGISE, isolated)
        elif not state.restarted:
            yield _move(state, Event.RESTART)
            yield _move(state, Event.CLOSE)
        else:
            yield _move(state, Event.CLOSE)
    else:
        yield _move(state, Event.CLOSE)

"""What a person does next in a lockout job: the next moves in the order of 29 CFR 1910.147(d), (e) and (f).

Guidance for a screen, from the record alone. What may be recorded is decided by the guard; the site's own
procedure and a competent person decide what is done at the machine. What somebody may also do, but need not
(a hand-over, a test, an absent owner's lock), is in `guide_special`.
"""

from collections.abc import Iterator
from datetime import datetime

from msgspec import Struct

from floorterm.lockout.asking import firms_of
from floorterm.lockout.model import BOX, Event
from floorterm.lockout.naming import place_facts
from floorterm.lockout.state import LockoutState
from floorterm.people import LockoutStatus, Person
from floorterm.wording import Say


class Move(Struct, frozen=True, kw_only=True):
    """One thing to do: the event and its points, or no event when there is only something to wait for.

    `owner` is whose lock it is about; `people` those whom it may name.
    """

    event: Event | None
    points: tuple[str, ...] = ()
    say: Say
    owner: str = ""
    people: tuple[str, ...] = ()


def next_moves(state: LockoutState, person: Person, now: datetime, *, work_left: bool) -> tuple[Move, ...]:
    """What the person does next in this job, the most pressing first; empty when nothing is to be done.

    `work_left` says whether steps of the work under the lockout are still open. Whoever is not at work and
    has locks on is always offered to take them off.
    """
    if state.job.job_class != "lockout":
        return tuple(_exception(state, person, work_left))
    return tuple(_moves(state, person, now, work_left))


def move(
    state: LockoutState,
    event: Event | None,
    points: tuple[str, ...] = (),
    key: str = "",
    *,
    owner: str = "",
    people: tuple[str, ...] = (),
) -> Move:
    """A move with its sentence; `key` where the sentence is not the event's usual one."""
    facts = {"machine": state.job.machine, **place_facts(state, points), "owner": state.name(owner)}
    if not key:
        key = event.value if event else ""
    if key == "wait_for_people":
        facts["names"] = ", ".join(work.name for work in state.at_work.values())
    if key == "wait_for_locks":
        owners = dict.fromkeys(lock.owner_name or lock.owner for lock in state.locks_on())
        facts["names"] = ", ".join(owners)
    if key in ("wait_for_primary", "primary_first"):
        facts["names"] = ", ".join(state.name(crew.primary) for crew in state.crews)
    return Move(event=event, points=points, say=Say(f"lockout.next.{key}", facts), owner=owner, people=people)


def _moves(state: LockoutState, person: Person, now: datetime, work_left: bool) -> Iterator[Move]:
    code = person.code
    if code in state.removed:
        yield move(state, None, state.removed[code].places, "be_informed")
        yield from _leave(state, code)
        return
    if state.alarm:
        if code in state.at_work:
            yield move(state, Event.WORK_END, key="alarm")
        else:
            yield move(state, None, key="wait_for_people")
            yield from _leave(state, code)
        return
    if code in state.at_work:
        yield from _at_work(state, person, now, work_left)
        return
    authorised = person.lockout is LockoutStatus.AUTHORIZED
    if authorised and state.testing:
        yield move(state, Event.TEMP_END, tuple(sorted(state.testing)))
    elif authorised:
        yield from _towards_work(state, person, now) if work_left else _towards_end(state, code)
    if work_left or not authorised:
        yield from _leave(state, code)


def _at_work(state: LockoutState, person: Person, now: datetime, work_left: bool) -> Iterator[Move]:
    lapsed = state.lapsed(now)
    due = state.alone_due().get(person.code, now)
    if lapsed:
        yield move(state, Event.MONITOR, lapsed, key="lapsed")
    elif person.code in state.unverified_primaries():
        yield move(state, Event.VERIFY, state.job.required, key="take_over")
    elif due is None or now > due:
        yield move(state, Event.LONE_CHECK)
    elif work_left:
        yield move(state, None, key="work")
    yield move(state, Event.WORK_END)


def _leave(state: LockoutState, code: str) -> Iterator[Move]:
    own = tuple(dict.fromkeys(lock.point for lock in state.own_locks(code)))
    if own:
        yield move(state, Event.LOCK_OFF, own)


def _towards_work(state: LockoutState, person: Person, now: datetime) -> Iterator[Move]:
    code = person.code
    if state.closed:
        state = state.next_run()
    bare = tuple(
        point for point in state.without_own_lock(code) if point != BOX and state.points[point].isolated
    )
    if state.untold():
        yield move(state, Event.NOTIFY_BEFORE)
    elif firms_of(state.job, person) and not _exchanged(state, person):
        yield move(state, Event.CONTRACTOR_EXCHANGE)
    elif state.group and state.crew_of(code) is None:
        yield move(state, None, key="wait_for_primary") if state.crews else move(state, Event.ASSIGN_PRIMARY)
    elif code not in state.reviewed:
        yield move(state, Event.REVIEW)
    elif state.not_isolated() and not state.is_shut_down:
        yield move(state, Event.SHUT_DOWN)
    elif state.not_isolated():
        yield move(state, Event.ISOLATE, state.not_isolated())
    elif state.group:
        yield from _in_group(state, person, now)
    elif bare:
        yield move(state, Event.LOCK_ON, bare)
    elif state.not_relieved():
        yield move(state, Event.RELEASE, state.not_relieved())
    elif code not in state.proofs:
        yield move(state, Event.VERIFY, state.job.required)
    else:
        yield from _start(state, person, now)


def _exchanged(state: LockoutState, person: Person) -> bool:
    both = {"given", "received"}
    return all(state.exchanged.get(firm, frozenset()) >= both for firm in firms_of(state.job, person))


def _in_group(state: LockoutState, person: Person, now: datetime) -> Iterator[Move]:
    """The primary locks the points, boxes the keys, verifies and offers; then each member locks the box."""
    code, crew = person.code, state.in_charge(person.code)
    leads = crew is not None and crew.primary == code
    if state.proved_by(code) is not None:
        if state.without_own_lock(code):
            yield move(state, Event.LOCK_ON, (BOX,))
        else:
            yield from _start(state, person, now)
    elif not leads:
        # with the points ready only the verification or its offer is missing: a member may verify too
        proved = crew is not None and state.proofs.get(crew.primary, -1) > crew.since
        yield (
            move(state, Event.VERIFY, state.job.required, "verify_too")
            if proved
            else move(state, None, key="primary_first")
        )
    elif state.not_locked():
        yield move(state, Event.LOCK_ON, state.not_locked(), "job_lock")
    elif state.not_in_box():
        yield move(state, Event.KEY_IN_BOX, state.not_in_box())
    elif state.not_relieved():
        yield move(state, Event.RELEASE, state.not_relieved())
    else:
        yield move(state, Event.VERIFY, state.job.required)
    members = tuple(sorted(crew.members - state.offered - {code})) if leads and crew is not None else ()
    if members and state.proved_by(code) is not None:
        yield move(state, Event.OFFER_VERIFY, people=members)


def _start(state: LockoutState, person: Person, now: datetime) -> Iterator[Move]:
    lapsed, minutes = state.lapsed(now), state.job.policy.lone_min
    known = state.alone.get(person.code)
    stale = known is None or (minutes is not None and (now - known.at).total_seconds() > 60 * minutes)
    if lapsed:
        yield move(state, Event.MONITOR, lapsed)
    elif minutes is not None and not state.at_work and stale:
        yield move(state, Event.LONE_CHECK, key="name_contact")
    else:
        yield move(state, Event.WORK_START)


def _towards_end(state: LockoutState, code: str) -> Iterator[Move]:
    if not state.begun or state.closed:
        return
    isolated = tuple(name for name, point in state.points.items() if point.isolated)
    if state.at_work:
        yield move(state, None, key="wait_for_people")
        yield from _leave(state, code)
    elif state.own_locks(code, BOX):
        yield move(state, Event.LOCK_OFF, (BOX,))
    elif isolated and not state.inspected:
        yield move(state, Event.INSPECT_AREA)
    elif isolated and not state.accounted:
        yield move(state, Event.ACCOUNT_PEOPLE)
    elif state.own_locks(code) and not state.box:
        yield from _leave(state, code)
    elif state.locks_on():
        yield move(state, None, key="wait_for_locks")
    else:
        yield from _energy_back(state, isolated)


def _energy_back(state: LockoutState, isolated: tuple[str, ...]) -> Iterator[Move]:
    told = not state.untold(after=True)
    if not (isolated or state.re_energised):
        yield move(state, Event.CLOSE)
    elif not told:
        yield move(state, Event.NOTIFY_AFTER)
    elif isolated:
        yield move(state, Event.RE_ENERGISE, isolated)
    else:
        if not state.restarted:
            yield move(state, Event.RESTART)
        yield move(state, Event.CLOSE)


def _exception(state: LockoutState, person: Person, work_left: bool) -> Iterator[Move]:
    """Work that needs no lockout: its conditions first, then the work ((a)(2)(ii) note, (a)(2)(iii)(A))."""
    minor = state.job.job_class == "minor_servicing"
    if person.code in state.at_work:
        if work_left:
            yield move(state, None, key="work")
        yield move(state, Event.WORK_END)
    elif state.at_work:
        yield move(state, None, key="wait_for_people")
    elif not work_left:
        if state.unplugged:
            yield move(state, Event.PLUG_IN)
        if state.begun and not state.closed:
            yield move(state, Event.CLOSE)
    elif minor:
        yield move(state, Event.WORK_START if state.confirmed else Event.CONFIRM_EXCEPTION)
    elif not state.unplugged:
        yield move(state, Event.UNPLUG)
    else:
        yield move(state, Event.WORK_START if state.plug_held else Event.PLUG_CONTROL)

"""What may happen next in a lockout, and why not: the order of 29 CFR 1910.147(d) and (e).

Every refusal names its clause, or says that it is site policy. Nothing here says that a machine is safe: the
locks, the try-out, the site's own procedure and a competent person decide. Ending one's work, taking off one's
own lock, and what an emergency did are never refused. The end of a lockout is in `guard_ending`, the special
situations are in `guard_special`, work that needs no lockout in `guard_exceptions`.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import datetime, timedelta

from floorterm.access import Right, has_right
from floorterm.lockout.asking import NONSENSE, SITE, Asked, authorised, firms_of
from floorterm.lockout.guard_ending import ENDING, lock_off, name_told
from floorterm.lockout.guard_exceptions import EXCEPTIONAL, may_exception
from floorterm.lockout.guard_special import RULES as SPECIAL
from floorterm.lockout.guard_special import TO_EMPLOYER
from floorterm.lockout.model import BOX, Event, LockEvent
from floorterm.lockout.state import OPENING, LockOn, LockoutState, covered
from floorterm.people import LockoutStatus, Person
from floorterm.wording import Refusal

__all__ = ["NONSENSE", "SITE", "may_event", "may_work", "training_refusals"]

# (e): "actions taken by the authorized employee(s)"; (d)(1) lets an affected employee turn the machine off.
_ANYBODY = frozenset({Event.SHUT_DOWN, Event.RESTART, Event.WORK_END, Event.LOCK_OFF, Event.LONE_CHECK})
_RESULTS: Mapping[Event, tuple[str, str]] = {
    Event.VERIFY: ("zero", "not_zero"),
    Event.MONITOR: ("zero", "not_zero"),
    Event.INSPECT_AREA: ("ok", "not_ok"),
    Event.ACCOUNT_PEOPLE: ("ok", "not_ok"),
}
_NEEDS_POINT = frozenset(
    {
        Event.ISOLATE, Event.LOCK_ON, Event.RELEASE, Event.RE_ENERGISE, Event.TEMP_ENERGISE, Event.KEY_IN_BOX,
        Event.HAND_OVER, Event.REMOVE_OTHER,
    }
)  # fmt: skip
_AT_THE_BOX = frozenset({Event.LOCK_ON, Event.LOCK_OFF, Event.REMOVE_OTHER, Event.HAND_OVER})
# What is still to be said to and about an absent owner when the record of the job is closed.
_AFTER_CLOSE = frozenset({Event.OWNER_CONTACT_TRY, Event.OWNER_INFORMED, Event.ON_SITE})


def may_event(
    state: LockoutState,
    event: LockEvent,
    person: Person,
    now: datetime,
    elsewhere: Iterable[LockOn] = (),
    people: Mapping[str, Person] | None = None,
) -> tuple[Refusal, ...]:
    """All refusals of an event that a person proposes; empty when it may be recorded.

    `event.by` is the person. `now` carries the plant's own offset (its local date decides about training and
    inspection). `elsewhere` are the locks that other jobs have on, this line's and others'. `people` are those
    whom the event may name, by code.
    """
    if event.event in OPENING and state.closed:
        state = state.next_run()
    asked = Asked(
        state=state, event=event, person=person, now=now, elsewhere=tuple(elsewhere), people=people or {}
    )
    if event.event is Event.WORK_END:
        return ()
    if event.event is Event.LOCK_OFF:
        return tuple(lock_off(asked))
    if state.job.job_class != "lockout":
        return tuple(may_exception(asked))
    if event.event in EXCEPTIONAL:
        return (asked.no("lockout_job", NONSENSE),)
    if event.is_emergency:
        return tuple(_emergency(asked))
    if state.closed and event.event not in _AFTER_CLOSE:
        return (asked.no("closed", NONSENSE),)
    if _finds_energy(event):
        return tuple(_not_zero(asked))
    general = tuple(_general(asked))
    if any(refusal.rule == NONSENSE for refusal in general):
        return general
    return general + tuple(_RULES[event.event](asked))


def may_work(
    state: LockoutState, person: Person, now: datetime, elsewhere: Iterable[LockOn] = ()
) -> tuple[Refusal, ...]:
    """All refusals against a person working under the lockout now: starting, or going on with it."""
    event = LockEvent(n=0, at=now, event=Event.WORK_START, by=person.code, by_name=person.name)
    if person.code not in state.at_work or state.job.job_class != "lockout":
        already = person.code in state.at_work and not state.closed
        return () if already else may_event(state, event, person, now, elsewhere)
    asked = Asked(state=state, event=event, person=person, now=now, elsewhere=tuple(elsewhere))
    if state.closed:
        return (asked.no("closed", NONSENSE),)
    return (*_alarm(asked), *_exposed(asked))


def training_refusals(state: LockoutState, person: Person, now: datetime) -> tuple[Refusal, ...]:
    """What keeps a person from starting work because of their status, training or the periodic inspection.

    It keeps nobody from a lock or from saying that there is energy; so it is said as soon as they act.
    """
    event = LockEvent(n=0, at=now, event=Event.WORK_START, by=person.code, by_name=person.name)
    asked = Asked(state=state, event=event, person=person, now=now)
    status = () if authorised(person) else (asked.no("not_authorised", "(c)(8)"),)
    return (*status, *_trained(asked))


def _emergency(asked: Asked) -> Iterator[Refusal]:
    """What an emergency did is recorded afterwards, whoever did it; only a lock that was not there is not."""
    state, event = asked.state, asked.event
    if event.event is Event.REMOVE_OTHER:
        on = [lock for place in covered(state, event) for lock in state.locks_on(place)]
        if not any(lock.owner == event.owner and event.lock in ("", lock.lock) for lock in on):
            yield asked.no("no_such_lock", NONSENSE, event.points)


def _finds_energy(event: LockEvent) -> bool:
    return event.event in (Event.VERIFY, Event.MONITOR) and event.result == "not_zero"


def _not_zero(asked: Asked) -> Iterator[Refusal]:
    """Energy found is never refused, whoever found it and whenever; only what makes no sense at all is."""
    if not asked.state.begun:
        yield asked.no("nothing_begun", NONSENSE)
    elif not covered(asked.state, asked.event):
        yield asked.no("which_point", NONSENSE)


def _general(asked: Asked) -> Iterator[Refusal]:
    state, event, person = asked.state, asked.event, asked.person
    box = {BOX} if state.group and event.event in _AT_THE_BOX else set()
    unknown = [point for point in event.points if point not in state.points and point not in box]
    if unknown:
        yield asked.no("unknown_point", NONSENSE, unknown)
    if event.event in _NEEDS_POINT and not event.points:
        yield asked.no("which_point", NONSENSE)
    results = _RESULTS.get(event.event)
    if results and event.result not in results:
        yield asked.no(f"result_{results[0]}", NONSENSE)
    may_direct = event.event in TO_EMPLOYER and has_right(person, Right.DIRECT_LOCK_REMOVAL)
    if event.event not in _ANYBODY and not authorised(person) and not may_direct:
        yield asked.no("not_authorised", "(c)(8)")
    if person.code in state.removed:  # nothing but ways out is open to whoever is not informed
        removed = state.removed[person.code]
        yield asked.no("not_informed", "(e)(3)(iii)", removed.places, name=removed.by_name)
    if event.event is not Event.OWNER_ABSENT_CHECK:  # else nobody could ever say that the last one has left
        yield from _alarm(asked)


def _alarm(asked: Asked) -> Iterator[Refusal]:
    """A reading was not zero: first everybody who is at work ends it (1910.147(d)(5)(ii))."""
    if asked.state.alarm:
        names = ", ".join(work.name for work in asked.state.at_work.values())
        yield asked.no("alarm", "(d)(5)(ii)", names=names)


def _anything(_: Asked) -> Iterator[Refusal]:
    yield from ()


def _told(asked: Asked) -> Iterator[Refusal]:
    untold = asked.state.untold()
    if untold:
        yield asked.no("untold", "(c)(9)", duties=", ".join(untold))


def _shut_down(asked: Asked) -> Iterator[Refusal]:
    if not asked.state.reviewed:
        yield asked.no("not_reviewed", "(d)(1)")


def _isolate(asked: Asked) -> Iterator[Refusal]:
    yield from _told(asked)
    if not asked.state.is_shut_down:
        yield asked.no("not_shut_down", "(d)(2)")
    if asked.state.testing & set(asked.event.points):
        yield asked.no("end_test_first", "(f)(1)(v)", sorted(asked.state.testing))
    yield from _exchanged(asked)


def _exchanged(asked: Asked) -> Iterator[Refusal]:
    """A contractor acts once the two employers have told each other their procedures ((f)(2)(i))."""
    for firm in firms_of(asked.state.job, asked.person):
        if asked.state.exchanged.get(firm, frozenset()) < {"given", "received"}:
            yield asked.no("exchange_first", "(f)(2)(i)", firm=firm.replace("_", " "))


def _lock_on(asked: Asked) -> Iterator[Refusal]:
    state, event = asked.state, asked.event
    yield from _told(asked)
    if len(event.points) > 1:
        yield asked.no("one_lock_one_point", "(c)(5)(ii)", event.points)
    if not event.lock:
        yield asked.no("which_lock", "(c)(5)(ii)(D)")
    energised = [p for p in event.points if p != BOX and not state.points[p].isolated]
    if energised:
        yield asked.no("not_isolated", "(d)(3)", energised)
    if BOX in event.points:
        yield from _box_lock(asked)
    yield from _exchanged(asked)
    for lock in (*state.locks_on(), *asked.elsewhere):
        if event.lock and lock.lock == event.lock:
            yield asked.no("lock_in_use", "(c)(5)(ii)", (lock.point,), lock=lock.lock, owner=lock.owner_name)


def _box_lock(asked: Asked) -> Iterator[Refusal]:
    """A member's lock holds the box once every point's key is in it ((f)(3)(ii)(D))."""
    state = asked.state
    if state.crew_of(asked.person.code) is None:
        yield asked.no("not_a_member", "(f)(3)(ii)(A)")
    if not state.full:
        yield asked.no("keys_first", "(f)(3)(ii)(D)", state.not_in_box() or state.not_locked())


def _release(asked: Asked) -> Iterator[Refusal]:
    unlocked = [point for point in asked.event.points if asked.state.points[point].locked_n is None]
    if unlocked:
        yield asked.no("relieve_after_lock", "(d)(5)(i)", unlocked)


def _verify(asked: Asked) -> Iterator[Refusal]:
    state = asked.state
    missing = set(state.job.required) - set(covered(state, asked.event))
    if missing:
        yield asked.no("verify_all", "(d)(6)", [p for p in state.job.required if p in missing])
    yield from _isolated_and_relieved(asked)
    bare = () if state.group else state.without_own_lock(asked.person.code)
    covered_witness = any(not state.without_own_lock(code) for code in asked.event.people)
    if bare and not covered_witness:  # it counts for whoever has own locks: for the witness then
        yield asked.no("verify_after_own_lock", "(d)(6)", bare)


def _isolated_and_relieved(asked: Asked) -> Iterator[Refusal]:
    state = asked.state
    if state.not_isolated():
        yield asked.no("not_isolated", "(d)(3)", state.not_isolated())
    if state.not_locked():
        yield asked.no("not_locked", "(d)(4)(i)", state.not_locked())
    elif state.not_in_box():
        yield asked.no("keys_first", "(f)(3)(ii)(D)", state.not_in_box())
    if state.not_relieved():
        yield asked.no("not_relieved", "(d)(5)(i)", state.not_relieved())


def _monitor(asked: Asked) -> Iterator[Refusal]:
    points = covered(asked.state, asked.event)
    if not points:
        yield asked.no("which_point", NONSENSE)
    open_ = [point for point in points if not asked.state.points[point].isolated]
    if open_:
        yield asked.no("not_isolated", "(d)(3)", open_)


def _work_start(asked: Asked) -> Iterator[Refusal]:
    state, person = asked.state, asked.person
    if person.code in state.at_work:
        yield asked.no("already_working", NONSENSE)
    yield from _trained(asked)
    if person.code not in state.reviewed:
        yield asked.no("review_first", "(d)(1)")
    yield from _exchanged(asked)
    yield from _isolated_and_relieved(asked)
    if state.group:
        yield from _in_a_crew(asked)
    yield from _exposed(asked)
    yield from _not_alone(asked)


def _in_a_crew(asked: Asked) -> Iterator[Refusal]:
    state = asked.state
    if state.crew_of(asked.person.code) is None:
        yield asked.no("not_a_member", "(f)(3)(ii)(B)")
    if state.several_crews and not state.coordinator:
        yield asked.no("no_coordinator", "(f)(3)(ii)(C)")


def _not_alone(asked: Asked) -> Iterator[Refusal]:
    """Site policy: whoever starts alone has named, a moment ago, who asks after them."""
    state, code, minutes = asked.state, asked.person.code, asked.state.job.policy.lone_min
    if minutes is None or state.at_work:
        return
    known = state.alone.get(code)
    if known is None or asked.now - known.at > timedelta(minutes=minutes):
        yield asked.no("name_contact", SITE, n=minutes)


def _trained(asked: Asked) -> Iterator[Refusal]:
    """Training and inspection in date: asked for a start of work only, never for a lock or an end of work."""
    job, person, today = asked.state.job, asked.person, asked.now.date()
    if person.lockout is LockoutStatus.AUTHORIZED and (
        person.trained_on is None or person.trained_on > today
    ):
        yield asked.no("no_training", "(c)(7)(i)")
    elif job.changed_on is not None and person.trained_on is not None and person.trained_on < job.changed_on:
        yield asked.no("trained_before_change", "(c)(7)(iii)", changed=job.changed_on.isoformat())
    named = dict(job.retrain).get(person.code)
    if named is not None and person.trained_on is not None and person.trained_on < named:
        yield asked.no("trained_before_inspection", "(c)(7)(iii)", inspected=named.isoformat())
    if person.valid_to is not None and person.valid_to < today:
        yield asked.no("training_over", SITE, date=person.valid_to.isoformat())
    if job.inspection_due is not None and job.inspection_due < today:
        yield asked.no("inspection_overdue", "(c)(6)(i)", date=job.inspection_due.isoformat())


def _exposed(asked: Asked) -> Iterator[Refusal]:
    """Whoever works is under their own lock on every point, with a verification of their own that stands."""
    state, code = asked.state, asked.person.code
    bare = state.without_own_lock(code)
    if bare:
        yield asked.no("own_lock_first", "(d)(4)(i), (f)(3)(i)", bare)
    proved = state.proved_by(code) is not None
    if not proved:
        yield from _unproved(asked)
    lapsed = state.lapsed(asked.now)
    if lapsed and proved:
        yield asked.no("monitor_lapsed", "(d)(5)(ii)", lapsed)


def _unproved(asked: Asked) -> Iterator[Refusal]:
    state, code = asked.state, asked.person.code
    if not state.group:
        yield asked.no(f"unproved_{state.unproved_by}" if state.unproved_by else "not_verified", "(d)(6)")
        return
    crew = state.in_charge(code)
    if crew is None:
        return  # that nobody answers for them is said already
    if state.proofs.get(crew.primary, -1) <= crew.since:
        yield asked.no("primary_verifies", "(f)(3)(ii)(A), (d)(6)", name=asked.spoken([crew.primary]))
    if code not in state.offered:
        yield asked.no("not_offered", "(d)(6)", name=asked.spoken([crew.primary]))


_RULES: Mapping[Event, Callable[[Asked], Iterator[Refusal]]] = {
    Event.NOTIFY_BEFORE: name_told,
    Event.REVIEW: _anything,
    Event.SHUT_DOWN: _shut_down,
    Event.ISOLATE: _isolate,
    Event.LOCK_ON: _lock_on,
    Event.RELEASE: _release,
    Event.VERIFY: _verify,
    Event.MONITOR: _monitor,
    Event.WORK_START: _work_start,
    **ENDING,
    **SPECIAL,
}

"""What may happen next in an individual lockout, and why not: the order of 29 CFR 1910.147(d) and (e).

Every refusal names its clause. Nothing here says that a machine is safe: the locks, the try-out, the site's
own procedure and a competent person decide. Ending one's work and taking off one's own lock are never
refused.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from floorterm.lockout.model import Event, LockEvent
from floorterm.lockout.state import OPENING, LockOn, LockoutState, covered
from floorterm.people import LockoutStatus, Person
from floorterm.wording import Fact, Refusal, Say, in_each_language

_CFR: Final = "29 CFR 1910.147"
NONSENSE: Final = "LR-03"  # sequences that are physically impossible are shown, not smoothed
SITE: Final = "site policy"

# (e): "actions taken by the authorized employee(s)"; (d)(1) lets an affected employee turn the machine off.
_AUTHORISED = frozenset(Event) - {Event.SHUT_DOWN, Event.RESTART, Event.WORK_END, Event.LOCK_OFF}
_RESULTS: Mapping[Event, tuple[str, str]] = {
    Event.VERIFY: ("zero", "not_zero"),
    Event.MONITOR: ("zero", "not_zero"),
    Event.INSPECT_AREA: ("ok", "not_ok"),
    Event.ACCOUNT_PEOPLE: ("ok", "not_ok"),
}
_NEEDS_POINT = frozenset({Event.ISOLATE, Event.LOCK_ON, Event.RELEASE, Event.RE_ENERGISE})


@dataclass(frozen=True, slots=True)
class _Asked:
    """One question to the guard: the state, the event proposed, who, when, and the locks of other jobs."""

    state: LockoutState
    event: LockEvent
    person: Person
    now: datetime
    elsewhere: tuple[LockOn, ...]

    def no(self, key: str, clause: str, points: Iterable[str] = (), **facts: Fact) -> Refusal:
        """A refusal about this job, with the names of points in every language."""
        machine = {"machine": self.state.job.machine}
        named = point_facts(self.state, points)
        rule = clause if clause in (NONSENSE, SITE) or clause.startswith("LO-") else _CFR + clause
        return Refusal(Say(f"lockout.{key}", {**machine, **named, **facts}), rule)

    def others(self, point: str) -> tuple[LockOn, ...]:
        """Locks of other jobs on that point of this line."""
        same = (lock for lock in self.elsewhere if lock.line in ("", self.state.line))
        return tuple(lock for lock in same if lock.point == point)


def point_facts(state: LockoutState, points: Iterable[str]) -> dict[str, Fact]:
    """The names of points as facts of a sentence, one fact a language (`points_en`, `points_es`)."""
    names = {point.id: point.name for point in state.job.points}
    spoken = [in_each_language("points", names.get(point, {}), point) for point in points]
    return {key: ", ".join(str(each[key]) for each in spoken) for key in in_each_language("points", {})}


def may_event(
    state: LockoutState,
    event: LockEvent,
    person: Person,
    now: datetime,
    elsewhere: Iterable[LockOn] = (),
) -> tuple[Refusal, ...]:
    """All refusals of an event that a person proposes; empty when it may be recorded.

    `event.by` is the person. `now` carries the plant's own offset (its local date decides about training and
    inspection). `elsewhere` are the locks that other jobs have on, this line's and others'.
    """
    if event.event in OPENING and state.closed:
        state = state.next_run()
    asked = _Asked(state, event, person, now, tuple(elsewhere))
    if event.event is Event.WORK_END:
        return ()
    if event.event is Event.LOCK_OFF:
        return tuple(_lock_off(asked))
    if state.closed:
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
    if person.code not in state.at_work:
        return may_event(state, event, person, now, elsewhere)
    asked = _Asked(state, event, person, now, tuple(elsewhere))
    if state.closed:
        return (asked.no("closed", NONSENSE),)
    return (*_alarm(asked), *_exposed(asked))


def _finds_energy(event: LockEvent) -> bool:
    return event.event in (Event.VERIFY, Event.MONITOR) and event.result == "not_zero"


def _not_zero(asked: _Asked) -> Iterator[Refusal]:
    """Energy found is never refused, whoever found it and whenever; only what makes no sense at all is."""
    if not asked.state.begun:
        yield asked.no("nothing_begun", NONSENSE)
    elif not covered(asked.state, asked.event):
        yield asked.no("which_point", NONSENSE)


def _general(asked: _Asked) -> Iterator[Refusal]:
    state, event, person = asked.state, asked.event, asked.person
    unknown = [point for point in event.points if point not in state.points]
    if unknown:
        yield asked.no("unknown_point", NONSENSE, unknown)
    if event.event in _NEEDS_POINT and not event.points:
        yield asked.no("which_point", NONSENSE)
    results = _RESULTS.get(event.event)
    if results and event.result not in results:
        yield asked.no(f"result_{results[0]}", NONSENSE)
    if event.event in _AUTHORISED and person.lockout is not LockoutStatus.AUTHORIZED:
        yield asked.no("not_authorised", "(c)(8)")
    yield from _alarm(asked)


def _alarm(asked: _Asked) -> Iterator[Refusal]:
    """A reading was not zero: first everybody who is at work ends it (1910.147(d)(5)(ii))."""
    if asked.state.alarm:
        names = ", ".join(work.name for work in asked.state.at_work.values())
        yield asked.no("alarm", "(d)(5)(ii)", names=names)


def _anything(_: _Asked) -> Iterator[Refusal]:
    yield from ()


def _notify(asked: _Asked) -> Iterator[Refusal]:
    if asked.state.job.affected_duties and not asked.event.people:
        yield asked.no("name_told", "(c)(9)")


def _notify_after(asked: _Asked) -> Iterator[Refusal]:
    yield from _notify(asked)
    yield from _not_begun(asked)
    locks = asked.state.locks_on()
    if locks:
        yield asked.no("told_too_early", "(e)(2)(ii)", _points_of(locks), names=_owners(locks))


def _told(asked: _Asked) -> Iterator[Refusal]:
    untold = asked.state.untold()
    if untold:
        yield asked.no("untold", "(c)(9)", duties=", ".join(untold))


def _shut_down(asked: _Asked) -> Iterator[Refusal]:
    if not asked.state.reviewed:
        yield asked.no("not_reviewed", "(d)(1)")


def _isolate(asked: _Asked) -> Iterator[Refusal]:
    yield from _told(asked)
    if not asked.state.is_shut_down:
        yield asked.no("not_shut_down", "(d)(2)")


def _lock_on(asked: _Asked) -> Iterator[Refusal]:
    state, event = asked.state, asked.event
    yield from _told(asked)
    if len(event.points) > 1:
        yield asked.no("one_lock_one_point", "(c)(5)(ii)", event.points)
    if not event.lock:
        yield asked.no("which_lock", "(c)(5)(ii)(D)")
    energised = [point for point in event.points if not state.points[point].isolated]
    if energised:
        yield asked.no("not_isolated", "(d)(3)", energised)
    for lock in (*state.locks_on(), *asked.elsewhere):
        if event.lock and lock.lock == event.lock:
            yield asked.no("lock_in_use", "(c)(5)(ii)", (lock.point,), lock=lock.lock, owner=lock.owner_name)


def _release(asked: _Asked) -> Iterator[Refusal]:
    unlocked = [point for point in asked.event.points if asked.state.points[point].locked_n is None]
    if unlocked:
        yield asked.no("relieve_after_lock", "(d)(5)(i)", unlocked)


def _verify(asked: _Asked) -> Iterator[Refusal]:
    state = asked.state
    missing = set(state.job.required) - set(covered(state, asked.event))
    if missing:
        yield asked.no("verify_all", "(d)(6)", [p for p in state.job.required if p in missing])
    yield from _isolated_and_relieved(asked)
    bare = state.without_own_lock(asked.person.code)
    if bare:
        yield asked.no("verify_after_own_lock", "(d)(6)", bare)


def _isolated_and_relieved(asked: _Asked) -> Iterator[Refusal]:
    state = asked.state
    if state.not_isolated():
        yield asked.no("not_isolated", "(d)(3)", state.not_isolated())
    if state.not_locked():
        yield asked.no("not_locked", "(d)(4)(i)", state.not_locked())
    if state.not_relieved():
        yield asked.no("not_relieved", "(d)(5)(i)", state.not_relieved())


def _monitor(asked: _Asked) -> Iterator[Refusal]:
    points = covered(asked.state, asked.event)
    if not points:
        yield asked.no("which_point", NONSENSE)
    open_ = [point for point in points if not asked.state.points[point].isolated]
    if open_:
        yield asked.no("not_isolated", "(d)(3)", open_)


def _work_start(asked: _Asked) -> Iterator[Refusal]:
    state, person = asked.state, asked.person
    if person.code in state.at_work:
        yield asked.no("already_working", NONSENSE)
    yield from _trained(asked)
    if person.code not in state.reviewed:
        yield asked.no("review_first", "(d)(1)")
    yield from _isolated_and_relieved(asked)
    yield from _exposed(asked)


def _trained(asked: _Asked) -> Iterator[Refusal]:
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


def _exposed(asked: _Asked) -> Iterator[Refusal]:
    """Whoever works is under their own lock on every point, with a verification of their own that stands."""
    state, code = asked.state, asked.person.code
    bare = state.without_own_lock(code)
    if bare:
        yield asked.no("own_lock_first", "(d)(4)(i), (f)(3)(i)", bare)
    if code not in state.proofs:
        key = f"unproved_{state.unproved_by}" if state.unproved_by else "not_verified"
        yield asked.no(key, "(d)(6)")
    lapsed = state.lapsed(asked.now)
    if lapsed and code in state.proofs:
        yield asked.no("monitor_lapsed", "(d)(5)(ii)", lapsed)


def _not_begun(asked: _Asked) -> Iterator[Refusal]:
    if not asked.state.begun:
        yield asked.no("nothing_begun", NONSENSE)


def _nobody_working(asked: _Asked) -> Iterator[Refusal]:
    if asked.state.at_work:
        names = ", ".join(work.name for work in asked.state.at_work.values())
        yield asked.no("still_working", "(e)(2)(i)", names=names)


def _inspect_area(asked: _Asked) -> Iterator[Refusal]:
    yield from _not_begun(asked)
    yield from _nobody_working(asked)


def _account_people(asked: _Asked) -> Iterator[Refusal]:
    yield from _inspect_area(asked)
    uncleared = asked.state.uncleared(asked.event.people)
    if uncleared and asked.event.result == "ok":
        yield asked.no("not_accounted_for", "(e)(2)(i)", names=", ".join(uncleared))


def _lock_off(asked: _Asked) -> Iterator[Refusal]:
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


def _re_energise(asked: _Asked) -> Iterator[Refusal]:
    state, points = asked.state, asked.event.points
    energised = [point for point in points if not state.points[point].isolated]
    if energised:
        yield asked.no("already_energised", NONSENSE, energised)
    yield from _no_locks(asked, points)
    yield from _nobody_working(asked)
    if not state.inspected:
        yield asked.no("inspect_first", "(e)(1)")
    if not state.accounted:
        yield asked.no("account_first", "(e)(2)(i)")


def _no_locks(asked: _Asked, points: Iterable[str]) -> Iterator[Refusal]:
    found = [lock for point in points for lock in (*asked.state.locks_on(point), *asked.others(point))]
    for lock in found:
        yield asked.no("lock_still_on", "(e)(3)", (lock.point,), lock=lock.lock, owner=lock.owner_name)


def _told_after(asked: _Asked) -> Iterator[Refusal]:
    untold = asked.state.untold(after=True)
    if untold:
        yield asked.no("untold_after", "(e)(2)(ii)", duties=", ".join(untold))


def _restart(asked: _Asked) -> Iterator[Refusal]:
    state = asked.state
    if asked.person.lockout is LockoutStatus.OTHER:
        yield asked.no("not_for_others", "(c)(7)(i)(C)")
    yield from _not_begun(asked)
    yield from _nobody_working(asked)
    yield from _no_locks(asked, state.points)
    still_off = [point for point in state.job.required if state.points[point].isolated]
    if still_off:
        yield asked.no("point_still_off", NONSENSE, still_off)
    yield from _told_after(asked)


def _close(asked: _Asked) -> Iterator[Refusal]:
    state = asked.state
    yield from _not_begun(asked)
    locks = state.locks_on()
    if locks:
        yield asked.no("close_with_locks", "LO-36", _points_of(locks), names=_owners(locks))
    yield from _nobody_working(asked)
    still_off = [name for name, point in state.points.items() if point.isolated]
    if still_off:
        yield asked.no("close_with_point_off", SITE, still_off)
    if state.re_energised:
        yield from _told_after(asked)


def _points_of(locks: Iterable[LockOn]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(lock.point for lock in locks))


def _owners(locks: Iterable[LockOn]) -> str:
    return ", ".join(dict.fromkeys(lock.owner_name or lock.owner for lock in locks))


_RULES: Mapping[Event, Callable[[_Asked], Iterator[Refusal]]] = {
    Event.NOTIFY_BEFORE: _notify,
    Event.REVIEW: _anything,
    Event.SHUT_DOWN: _shut_down,
    Event.ISOLATE: _isolate,
    Event.LOCK_ON: _lock_on,
    Event.RELEASE: _release,
    Event.VERIFY: _verify,
    Event.MONITOR: _monitor,
    Event.WORK_START: _work_start,
    Event.INSPECT_AREA: _inspect_area,
    Event.ACCOUNT_PEOPLE: _account_people,
    Event.NOTIFY_AFTER: _notify_after,
    Event.RE_ENERGISE: _re_energise,
    Event.RESTART: _restart,
    Event.CLOSE: _close,
}

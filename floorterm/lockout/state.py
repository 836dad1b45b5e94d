"""Where a lockout job stands after its events: who has which lock where, what is proved, who is exposed.

A fold over events in the order of their numbers, never of their times. What is derived here follows the
energy-control rules for individual lockout (29 CFR 1910.147(d), (e), (f)(4)); it says what was recorded, and
never that a machine is safe.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Literal

from floorterm.lockout.model import Event, Job, LockEvent, Point

GapCode = Literal["not_isolated", "no_own_lock", "not_relieved", "not_verified"]

# Events that may begin a job, or begin it anew after its record was closed.
OPENING = frozenset({Event.NOTIFY_BEFORE, Event.REVIEW, Event.SHUT_DOWN, Event.ISOLATE, Event.LOCK_ON})


@dataclass(frozen=True, slots=True, kw_only=True)
class LockOn:
    """One lock on one point: whose it is and since when. `line` tells equal point ids of two lines apart."""

    line: str = ""
    job: str = ""
    point: str
    lock: str
    owner: str
    owner_name: str = ""
    n: int = 0
    at: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PointState:
    """One point: its position, its locks, and what was done since it was isolated and locked.

    `locked_n` is the first lock of this cycle (a lock put on an energised point belongs to none),
    `relieved_n` the relief that counts: after that lock, and before the point stood without a lock again.
    """

    isolated: bool = False
    locks: tuple[LockOn, ...] = ()
    locked_n: int | None = None
    relieved_n: int | None = None
    relieve_again: bool = False
    zero_at: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class AtWork:
    """Somebody who is recorded as working under the lockout: entry, time and printed name."""

    n: int
    at: datetime
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """One reason why nothing proves isolation for a person: a code and the points it is about."""

    code: GapCode
    points: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LockoutState:
    """One job after its events so far.

    A job can be run again after its record was closed (`run` counts); then all but `events` begins anew.
    `proofs` holds, per person, the number of the verification that stands; `unproved_by` names the event that
    made the last ones stale ("not_zero", "isolate", "lock_off", "re_energise"). `alarm` is set from a reading
    that was not zero until nobody is at work. `inspected` and `accounted` speak of the time since the last
    work.
    """

    job: Job
    line: str = ""
    run: int = 1
    events: tuple[LockEvent, ...] = ()
    points: Mapping[str, PointState] = field(default_factory=dict)
    begun: bool = False
    reviewed: frozenset[str] = frozenset()
    told_before: frozenset[str] = frozenset()
    told_after: frozenset[str] = frozenset()
    is_shut_down: bool = False
    at_work: Mapping[str, AtWork] = field(default_factory=dict)
    workers: Mapping[str, str] = field(default_factory=dict)
    proofs: Mapping[str, int] = field(default_factory=dict)
    unproved_by: str = ""
    alarm: bool = False
    inspected: bool = False
    accounted: bool = False
    re_energised: bool = False
    restarted: bool = False
    closed: bool = False

    @classmethod
    def initial(cls, job: Job, line: str = "") -> "LockoutState":
        """A job of which nothing is recorded yet: every point energised, no lock on."""
        return cls(job=job, line=line, points={point.id: PointState() for point in job.points})

    def locks_on(self, point: str = "") -> tuple[LockOn, ...]:
        """The locks on one point, or on all of them, in the order in which they went on."""
        if point:
            return self.points[point].locks if point in self.points else ()
        found = [lock for state in self.points.values() for lock in state.locks]
        return tuple(sorted(found, key=lambda lock: lock.n))

    def own_locks(self, person: str, point: str = "") -> tuple[LockOn, ...]:
        """The locks of one person, on one point or on all of them."""
        return tuple(lock for lock in self.locks_on(point) if lock.owner == person)

    def working(self) -> Mapping[str, AtWork]:
        """Who is recorded as working under the lockout now, by person code (W of the rules)."""
        return self.at_work

    def without_own_lock(self, person: str) -> tuple[str, ...]:
        """Required points on which the person has no lock."""
        return tuple(point for point in self.job.required if not self.own_locks(person, point))

    def not_isolated(self) -> tuple[str, ...]:
        """Required points that are not recorded as isolated."""
        return tuple(point for point in self.job.required if not self.points[point].isolated)

    def not_locked(self) -> tuple[str, ...]:
        """Required points without any lock."""
        return tuple(point for point in self.job.required if not self.points[point].locks)

    def needs_relief(self, point: Point) -> bool:
        """Whether stored energy must be relieved there: by the procedure, or after a reading not zero."""
        return point.needs_release or self.points[point.id].relieve_again

    def not_relieved(self) -> tuple[str, ...]:
        """Required points whose stored energy must still be relieved (after the lock, 1910.147(d)(5)(i))."""
        return tuple(
            point.id
            for point in self.job.points
            if point.required and self.needs_relief(point) and self.points[point.id].relieved_n is None
        )

    @property
    def full(self) -> bool:
        """Whether every required point is isolated and carries at least one lock."""
        return not self.not_isolated() and not self.not_locked()

    def proof_gaps(self, person: str) -> list[Gap]:
        """What is missing until isolation is proved for the person; empty when it is (1910.147(d)(6))."""
        gaps = [
            Gap(code="not_isolated", points=self.not_isolated()),
            Gap(code="no_own_lock", points=self.without_own_lock(person)),
            Gap(code="not_relieved", points=self.not_relieved()),
        ]
        found = [gap for gap in gaps if gap.points]
        if person not in self.proofs:
            found.append(Gap(code="not_verified", points=self.job.required))
        return found

    def untold(self, *, after: bool = False) -> tuple[str, ...]:
        """Affected duties that nobody has told yet, before the lockout or after it (1910.147(c)(9)).

        A duty counts as told by its own id or by `duty:code` (one person of that duty).
        """
        told = self.told_after if after else self.told_before
        heads = {who.split(":", 1)[0] for who in told}
        return tuple(duty for duty in self.job.affected_duties if duty not in heads)

    def lapsed(self, now: datetime) -> tuple[str, ...]:
        """Required points that can build up again and whose last zero reading is old (1910.147(d)(5)(ii))."""
        return tuple(point for point, due in self.monitor_due().items() if due is None or now > due)

    def monitor_due(self) -> Mapping[str, datetime | None]:
        """The latest time of the next reading of each re-accumulating point; None: no zero reading yet."""
        found: dict[str, datetime | None] = {}
        for point in self.job.points:
            if point.required and point.reaccumulates and point.monitor_min is not None:
                zero_at = self.points[point.id].zero_at
                found[point.id] = None if zero_at is None else zero_at + timedelta(minutes=point.monitor_min)
        return found

    def uncleared(self, people: Iterable[str]) -> tuple[str, ...]:
        """Names of people who worked in this job and are not among those said to be clear."""
        clear = frozenset(people)
        return tuple(name for code, name in self.workers.items() if code not in clear)

    @property
    def is_idle(self) -> bool:
        """Nothing is left on the machine: no lock, nobody at work, no point isolated."""
        return not self.at_work and not any(point.locks or point.isolated for point in self.points.values())

    def next_run(self) -> "LockoutState":
        """The same job begun anew after its record was closed; what was left on is still on."""
        return replace(
            LockoutState.initial(self.job, self.line),
            run=self.run + 1,
            events=self.events,
            points=self.points,
            at_work=self.at_work,
            workers={code: work.name for code, work in self.at_work.items()},
        )


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
    after = _EFFECTS[event.event](state, event)
    return replace(after, begun=True, events=(*state.events, event))


def covered(state: LockoutState, event: LockEvent) -> tuple[str, ...]:
    """The points that an event is about: those named, or all that its kind covers when none is named."""
    if event.points:
        return tuple(point for point in event.points if point in state.points)
    if event.event is Event.MONITOR:
        return tuple(point.id for point in state.job.points if point.reaccumulates)
    if event.event is Event.VERIFY:
        return state.job.required
    if event.event is Event.LOCK_OFF:
        return tuple(state.points)
    return ()


def _change(
    state: LockoutState, points: Iterable[str], change: Callable[[PointState], PointState]
) -> LockoutState:
    changed = dict(state.points)
    for point in points:
        changed[point] = change(changed[point])
    return replace(state, points=changed)


def _unproved(state: LockoutState, by: str) -> LockoutState:
    reason = by if state.proofs or by == "not_zero" else state.unproved_by
    return replace(state, proofs={}, unproved_by=reason)


def _touches_required(state: LockoutState, points: Iterable[str]) -> bool:
    return bool(set(points) & set(state.job.required))


def _notify_before(state: LockoutState, event: LockEvent) -> LockoutState:
    return replace(state, told_before=state.told_before | set(event.people))


def _review(state: LockoutState, event: LockEvent) -> LockoutState:
    return replace(state, reviewed=state.reviewed | {event.by})


def _shut_down(state: LockoutState, _: LockEvent) -> LockoutState:
    return replace(state, is_shut_down=True, restarted=False)


def _isolate(state: LockoutState, event: LockEvent) -> LockoutState:
    def change(point: PointState) -> PointState:
        return point if point.isolated else replace(point, isolated=True, locked_n=None, relieved_n=None)

    points = covered(state, event)
    after = replace(_change(state, points, change), restarted=False, told_after=frozenset())
    return _unproved(after, "isolate") if _touches_required(state, points) else after


def _lock_on(state: LockoutState, event: LockEvent) -> LockoutState:
    def change_at(name: str) -> Callable[[PointState], PointState]:
        lock = LockOn(
            line=state.line, job=state.job.id, point=name, lock=event.lock,
            owner=event.by, owner_name=event.by_name, n=event.n, at=event.at,
        )  # fmt: skip

        def change(point: PointState) -> PointState:
            first = event.n if point.isolated and point.locked_n is None else point.locked_n
            return replace(point, locks=(*point.locks, lock), locked_n=first)

        return change

    points = covered(state, event)
    for name in points:
        state = _change(state, (name,), change_at(name))
    if _touches_required(state, points):  # a verification counts only after one's own lock
        state = replace(state, proofs={who: n for who, n in state.proofs.items() if who != event.by})
    return state


def _release(state: LockoutState, event: LockEvent) -> LockoutState:
    def change(point: PointState) -> PointState:
        return point if point.locked_n is None else replace(point, relieved_n=event.n, relieve_again=False)

    return _change(state, covered(state, event), change)


def _zero(state: LockoutState, points: tuple[str, ...], at: datetime) -> LockoutState:
    return _change(state, points, lambda point: replace(point, zero_at=at))


def _not_zero(state: LockoutState, points: tuple[str, ...]) -> LockoutState:
    # 1910.147(d)(5)(ii): what has come back is relieved and verified again before anybody works
    stored = [p.id for p in state.job.points if p.id in points and (p.needs_release or p.reaccumulates)]
    after = _change(state, points, lambda point: replace(point, zero_at=None))
    after = _change(after, stored, lambda point: replace(point, relieved_n=None, relieve_again=True))
    after = replace(after, alarm=bool(state.at_work))
    return _unproved(after, "not_zero") if _touches_required(state, points) else after


def _verify(state: LockoutState, event: LockEvent) -> LockoutState:
    points = covered(state, event)
    if event.result != "zero":
        return _not_zero(state, points)
    after = _zero(state, points, event.at)
    if not set(state.job.required) <= set(points) or not state.full or state.not_relieved():
        return after
    proved = {who: event.n for who in (event.by, *event.people) if who and not state.without_own_lock(who)}
    return replace(after, proofs={**state.proofs, **proved}, unproved_by="" if proved else state.unproved_by)


def _monitor(state: LockoutState, event: LockEvent) -> LockoutState:
    points = covered(state, event)
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
    def goes(lock: LockOn) -> bool:
        return lock.owner == event.by and event.lock in ("", lock.lock)

    def change(point: PointState) -> PointState:
        left = tuple(lock for lock in point.locks if not goes(lock))
        if left or not point.locks:
            return replace(point, locks=left)
        # continuity is broken (1910.147(f)(4)): locked, relieved and verified again before anybody works
        return replace(point, locks=(), locked_n=None, relieved_n=None)

    points = tuple(
        name for name in covered(state, event) if any(goes(lock) for lock in state.points[name].locks)
    )
    if not points:
        return state
    after = replace(_change(state, points, change), told_after=frozenset())
    if not _touches_required(state, points):
        return after
    if any(not after.points[name].locks for name in points if name in state.job.required):
        return _unproved(after, "lock_off")
    return replace(after, proofs={who: n for who, n in after.proofs.items() if who != event.by})


def _notify_after(state: LockoutState, event: LockEvent) -> LockoutState:
    return state if state.locks_on() else replace(state, told_after=state.told_after | set(event.people))


def _re_energise(state: LockoutState, event: LockEvent) -> LockoutState:
    def change(point: PointState) -> PointState:
        return replace(
            point, isolated=False, locked_n=None, relieved_n=None, relieve_again=False, zero_at=None
        )

    points = covered(state, event)
    after = replace(_change(state, points, change), re_energised=True)
    return _unproved(after, "re_energise") if _touches_required(state, points) else after


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
}

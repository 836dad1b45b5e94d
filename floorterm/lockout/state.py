"""Where a lockout job stands after its events: who has which lock where, what is proved, who is exposed.

A fold over events in the order of their numbers, never of their times. What is derived here follows the
energy-control rules (29 CFR 1910.147(d), (e), (f)); it says what was recorded, and never that a machine is
safe. What an event brings about is in `floorterm.lockout.effects`.
"""

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import Literal

from msgspec import Struct, field
from msgspec.structs import replace

from floorterm.lockout.model import BOX, Event, Job, LockEvent, Point
from floorterm.wording import Fact

GapCode = Literal["not_isolated", "no_own_lock", "not_relieved", "not_verified"]

# Events that may begin a job, or begin it anew after its record was closed.
OPENING = frozenset(
    {
        Event.NOTIFY_BEFORE, Event.REVIEW, Event.SHUT_DOWN, Event.ISOLATE, Event.LOCK_ON,
        Event.CONTRACTOR_EXCHANGE, Event.OWN_STAFF_TOLD, Event.ASSIGN_PRIMARY, Event.CONFIRM_EXCEPTION, Event.UNPLUG,
    }
)  # fmt: skip


class LockOn(Struct, frozen=True, kw_only=True):
    """One lock on one point: whose it is and since when. `line` tells equal point ids of two lines apart.

    An empty `lock` stands for a point that the job has isolated and not locked yet: nobody else energises it.
    """

    line: str = ""
    job: str = ""
    point: str
    lock: str
    owner: str
    owner_name: str = ""
    n: int = 0
    at: datetime | None = None


class PointState(Struct, frozen=True, kw_only=True):
    """One point: its position, its locks, and what was done since it was isolated and locked.

    `locked_n` is the first lock of this cycle (a lock put on an energised point belongs to none),
    `relieved_n` the relief that counts: after that lock, and before the point stood without a lock again.
    """

    isolated: bool = False
    locks: tuple[LockOn, ...] = ()
    locked_n: int | None = None
    awaits_lock: bool = False  # isolated, and no lock of this job was ever on it since
    relieved_n: int | None = None
    relieve_again: bool = False
    zero_at: datetime | None = None
    read_at: datetime | None = None  # the last zero reading ever; one that was not zero does not take it back


class AtWork(Struct, frozen=True, kw_only=True):
    """Somebody who is recorded as working under the lockout: entry, time and printed name."""

    n: int
    at: datetime
    name: str


class Crew(Struct, frozen=True, kw_only=True):
    """Who answers for whom in a group: the primary, the members, since which entry ((f)(3)(ii)(A))."""

    primary: str
    members: frozenset[str]
    since: int
    took_over: bool = False

    def holds(self, person: str) -> bool:
        """Whether the person is one of theirs; the primary counts as a member."""
        return person == self.primary or person in self.members


class Removed(Struct, frozen=True, kw_only=True):
    """A lock that somebody else took off: its owner does not go on before they know ((e)(3)(iii))."""

    n: int
    at: datetime
    places: tuple[str, ...]
    lock: str
    owner_name: str
    by_name: str
    contacted: bool = False


class Handed(Struct, frozen=True, kw_only=True):
    """A place that somebody hands over: their lock comes off while one of the others' is on ((f)(4))."""

    place: str
    giver: str
    to: frozenset[str]


class Alone(Struct, frozen=True, kw_only=True):
    """Who asks after somebody that works alone, and when they last heard of each other (site policy)."""

    contact: str
    at: datetime


class Shortfall(Struct, frozen=True, kw_only=True):
    """What an act that is never refused, or time going by, fell short of: said on the screen at once.

    `rule` is the rule that the audit will report; `key` and `facts` word it.
    """

    n: int
    at: datetime
    rule: str
    key: str
    facts: Mapping[str, Fact] = field(default_factory=dict)


class Gap(Struct, frozen=True, kw_only=True):
    """One reason why nothing proves isolation for a person: a code and the points it is about."""

    code: GapCode
    points: tuple[str, ...] = ()


class LockoutState(Struct, frozen=True, kw_only=True):
    """One job after its events so far.

    A job can be run again after its record was closed (`run` counts); then all but `events` begins anew.
    `proofs` holds, per person, the number of the verification that stands; `unproved_by` names the event that
    made the last ones stale ("not_zero", "isolate", "lock_off", "re_energise"). `alarm` is set from a reading
    that was not zero until nobody is at work. `inspected` and `accounted` speak of the time since the last
    work.

    In a group (`group`) the members' locks hang on the lock box (`box`), the keys of the points' locks lie in it
    (`keys`), and a verification of the primary counts for every member who could verify too (`offered`).
    `testing` are points energised for a test; `absent` owners whom somebody looked for in vain, `removed` those
    whose lock was taken off and who do not know it; `exchanged` what outside employers told and were told.
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
    names: Mapping[str, str] = field(default_factory=dict)
    box: tuple[LockOn, ...] = ()
    boxed: Mapping[str, str] = field(default_factory=dict)
    keys: frozenset[str] = frozenset()
    own_locks_used: bool = False
    crews: tuple[Crew, ...] = ()
    crew_count: int = 1
    coordinator: str = ""
    offered: frozenset[str] = frozenset()
    testing: frozenset[str] = frozenset()
    handed: tuple[Handed, ...] = ()
    absent: frozenset[str] = frozenset()
    contacted: frozenset[str] = frozenset()
    removed: Mapping[str, Removed] = field(default_factory=dict)
    exchanged: Mapping[str, frozenset[str]] = field(default_factory=dict)
    own_staff_told: bool = False
    alone: Mapping[str, Alone] = field(default_factory=dict)
    confirmed: bool = False
    unplugged: bool = False
    plug_by: str = ""
    plug_held: bool = False
    exposed_since: datetime | None = None
    shortfalls: tuple[Shortfall, ...] = ()

    @classmethod
    def initial(cls, job: Job, line: str = "") -> "LockoutState":
        """A job of which nothing is recorded yet: every point energised, no lock on."""
        return cls(job=job, line=line, points={point.id: PointState() for point in job.points})

    @property
    def group(self) -> bool:
        """Whether it is a group lockout: by the procedure, or since somebody took charge of a crew."""
        return self.job.mode == "group" or (self.job.mode == "either" and bool(self.crews))

    def locks_on(self, point: str = "") -> tuple[LockOn, ...]:
        """The locks on one point or the lock box, or on all of them, in the order in which they went on."""
        if point == BOX:
            return self.box
        if point:
            return self.points[point].locks if point in self.points else ()
        found = [lock for state in self.points.values() for lock in state.locks]
        return tuple(sorted((*found, *self.box), key=lambda lock: lock.n))

    def holding(self) -> tuple[LockOn, ...]:
        """What keeps other jobs from energising: locks, and points isolated for this job that wait for their first."""
        waiting = (
            LockOn(line=self.line, job=self.job.id, point=name, lock="", owner="")
            for name, point in self.points.items()
            if point.isolated and point.awaits_lock
        )
        return (*self.locks_on(), *waiting)

    def own_locks(self, person: str, point: str = "") -> tuple[LockOn, ...]:
        """The locks of one person, on one point or on all of them."""
        return tuple(lock for lock in self.locks_on(point) if lock.owner == person)

    def working(self) -> Mapping[str, AtWork]:
        """Who is recorded as working under the lockout now, by person code (W of the rules)."""
        return self.at_work

    def own_places(self) -> tuple[str, ...]:
        """Where everybody who works has a lock of their own: each required point, or the group's lock box."""
        return (BOX,) if self.group else self.job.required

    def without_own_lock(self, person: str) -> tuple[str, ...]:
        """Required points (in a group: the lock box) on which the person has no lock."""
        return tuple(place for place in self.own_places() if not self.own_locks(person, place))

    def not_in_box(self) -> tuple[str, ...]:
        """Required points whose key is not in the lock box; none outside a group."""
        return tuple(point for point in self.job.required if point not in self.keys) if self.group else ()

    @property
    def several_crews(self) -> bool:
        """Whether more than one crew or craft works under it ((f)(3)(ii)(C))."""
        return max(self.job.crews, self.crew_count) > 1

    def crew_of(self, person: str) -> Crew | None:
        """The crew that answers for a person, the newest first."""
        return next((crew for crew in reversed(self.crews) if crew.holds(person)), None)

    def in_charge(self, person: str) -> Crew | None:
        """The crew whose primary verifies for a person; with one crew the newest."""
        if self.several_crews:
            return self.crew_of(person)
        return self.crews[-1] if self.crews else None

    def proved_by(self, person: str) -> int | None:
        """The number of the verification that stands for a person; None where none does ((d)(6), (f)(3))."""
        if not self.group:
            return self.proofs.get(person)
        crew = self.in_charge(person)
        if crew is None or person not in self.offered:
            return None
        found = self.proofs.get(crew.primary)
        return found if found is not None and found > crew.since else None

    def name(self, code: str) -> str:
        """The printed name of somebody who acted in this job; their code where nobody of it did."""
        return self.names.get(code, code)

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
        """Whether every required point is isolated and locked, and in a group its key is in the box."""
        return not self.not_isolated() and not self.not_locked() and not self.not_in_box()

    def proof_gaps(self, person: str) -> list[Gap]:
        """What is missing until isolation is proved for the person; empty when it is (1910.147(d)(6))."""
        gaps = [
            Gap(code="not_isolated", points=self.not_isolated()),
            Gap(code="no_own_lock", points=self.without_own_lock(person)),
            Gap(code="not_relieved", points=self.not_relieved()),
        ]
        found = [gap for gap in gaps if gap.points]
        if self.proved_by(person) is None:
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

    @property
    def attending(self) -> Mapping[str, str]:
        """Everybody who worked or had a lock on the box, by code: those whom a head count is about."""
        return {**self.boxed, **self.workers}

    def uncleared(self, people: Iterable[str]) -> tuple[str, ...]:
        """Names of people who worked or locked the box in this job and are not among those said to be clear."""
        clear = frozenset(people)
        return tuple(name for code, name in self.attending.items() if code not in clear)

    def unverified_primaries(self) -> tuple[str, ...]:
        """Primaries who took over from another and have not verified since ((f)(4))."""
        return tuple(
            crew.primary
            for crew in self.crews
            if crew.took_over and self.proofs.get(crew.primary, -1) <= crew.since
        )

    def alone_due(self) -> Mapping[str, datetime | None]:
        """Until when somebody asks after each person who works alone; None: nobody was named (site policy)."""
        minutes = self.job.policy.lone_min
        if minutes is None or len(self.at_work) != 1:
            return {}
        worker = next(iter(self.at_work))
        known = self.alone.get(worker)
        return {worker: known.at + timedelta(minutes=minutes) if known else None}

    def too_old(self, now: datetime) -> bool:
        """Whether a lock has been on for longer than the site allows (site policy)."""
        first = next((lock.at for lock in self.locks_on() if lock.at is not None), None)
        return first is not None and now - first > timedelta(hours=self.job.policy.job_age_limit_h)

    @property
    def is_idle(self) -> bool:
        """Nothing is left on the machine: no lock, nobody at work, no point isolated, no plug pulled."""
        left = any(point.locks or point.isolated for point in self.points.values())
        return not (self.at_work or left or self.box or self.unplugged)

    def next_run(self) -> "LockoutState":
        """The same job begun anew after its record was closed; what was left on is still on."""
        return replace(
            LockoutState.initial(self.job, self.line),
            run=self.run + 1,
            events=self.events,
            points=self.points,
            at_work=self.at_work,
            workers={code: work.name for code, work in self.at_work.items()},
            names=self.names,
            box=self.box,
            removed=self.removed,
            exposed_since=self.exposed_since,
        )


def covered(state: LockoutState, event: LockEvent) -> tuple[str, ...]:
    """The points that an event is about: those named, or all that its kind covers when none is named."""
    if event.points:
        return tuple(point for point in event.points if point in state.points or point == BOX)
    if event.event is Event.MONITOR:
        return tuple(point.id for point in state.job.points if point.reaccumulates)
    if event.event is Event.VERIFY:
        return state.job.required
    if event.event is Event.LOCK_OFF:
        return (*state.points, BOX)
    if event.event is Event.TEMP_END:
        return tuple(sorted(state.testing))
    return ()

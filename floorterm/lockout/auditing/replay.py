"""What a job's events bring about, moment by moment, in the order of their numbers and never of their times.

`Replay.before(i)` is the state just before event `i` (an index, not its number); `before(len(events))` the
state after all of them. The derived values are those on which every rule rests: positions, locks, keys in the
lock box, who is at work, cycles of isolation, and whether a verification proves isolation for a person.
"""

from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from functools import cached_property
from typing import Literal

from msgspec import Struct, field
from msgspec.structs import replace

from floorterm.lockout.auditing.record import (
    BOX,
    Event,
    Job,
    Person,
    PersonSince,
    Point,
    Procedure,
    Record,
)
from floorterm.lockout.auditing.table import Profile, profiles

REMOVALS = frozenset({"lock_off", "remove_other"})
ENERGISES = frozenset({"re_energise", "temp_energise"})
READINGS = frozenset({"verify", "monitor"})
NO_PROCEDURE = Procedure(id="")
# What is missing from a verification until it proves isolation for a person, the weakest failure first.
Miss = Literal[
    "none", "not_zero", "partial", "not_full", "no_key", "before_release", "broken", "wrong_person", "before_own_lock",
    "before_primary", "not_offered", "",
]  # fmt: skip


class Held(Struct, frozen=True):
    """A lock or tag where it hangs: who put it on, and at which event."""

    lock: str
    owner: str
    at: int
    tag: bool = False
    extra_measure: str = ""


class Cycle(Struct, frozen=True):
    """A point since it was isolated: that event, the first lock after it, the last relief after that lock."""

    isolated: int
    locked: int | None = None
    released: int | None = None


class Crew(Struct, frozen=True):
    """Who answers for whom: the assignment in force, and the one that put this primary in charge."""

    primary: str
    members: frozenset[str]
    assigned: int
    since: int

    def holds(self, person: str) -> bool:
        """Whether the person is one of theirs; the primary counts as a member."""
        return person == self.primary or person in self.members


class Moment(Struct, frozen=True):
    """The state just before an event."""

    locks: Mapping[str, tuple[Held, ...]] = field(default_factory=dict)
    keys: frozenset[str] = frozenset()
    working: Mapping[str, int] = field(default_factory=dict)
    cycles: Mapping[str, Cycle] = field(default_factory=dict)
    crews: tuple[Crew, ...] = ()

    def on(self, place: str) -> tuple[Held, ...]:
        """The locks at a point or box (L of the rules)."""
        return self.locks.get(place, ())

    def off(self, point: str) -> bool:
        """Whether the point's device is in its safe position."""
        return point in self.cycles

    def owns(self, person: str, place: str) -> bool:
        """Whether the person has a lock of their own there."""
        return any(held.owner == person for held in self.on(place))

    def released(self, point: str) -> bool:
        """Whether stored energy was relieved in this cycle after the point's first lock."""
        return point in self.cycles and self.cycles[point].released is not None


class Replay:
    """One job replayed: its events, the procedure in force, and the state before each event."""

    def __init__(self, record: Record, job: Job) -> None:
        self.record, self.job, self.events = record, job, job.events
        self.header = job.header
        self.procedure = record.procedures.get(job.header.procedure, NO_PROCEDURE)
        self.group = job.header.mode == "group"
        self.moments = tuple(self._replayed())

    @cached_property
    def profile(self) -> Profile:
        """The jurisdiction's row."""
        return profiles()[self.record.profile]

    @cached_property
    def required(self) -> tuple[Point, ...]:
        """R: the points that must be off and locked; without those that may stay on, where that is law."""
        stay = "stays_on" in self.profile.options
        return tuple(point for point in self.procedure.required if not (stay and point.stays_on))

    @cached_property
    def required_ids(self) -> tuple[str, ...]:
        """The ids of R."""
        return tuple(point.id for point in self.required)

    def before(self, index: int) -> Moment:
        """The state just before the event of that index."""
        return self.moments[index]

    @property
    def end(self) -> Moment:
        """The state after every event."""
        return self.moments[-1]

    def person(self, code: str, event: Event | None) -> Person | None:
        """The person of a code as on record at an event (None: now), or None where the record does not know them.

        What came from paper is judged by the people of the paper's time, as far back as the record knows them.
        """
        since = self.record.since.get(code)
        if event is None or not since:
            return self.record.people.get(code)
        known = [one.person for one in since if not _after(one, event)]
        if not known and event.entered is not None:
            return since[0].person
        return known[-1] if known else None

    def person_on(self, code: str, day: date, entry: int | None) -> Person | None:
        """The person of a code as on record at an entry, or where none is named at the end of a day.

        Of a day before the ledger knew them, as it did first, if that was before this job.
        """
        since = self.record.since.get(code)
        if not since:
            return self.record.people.get(code)
        known = [one.person for one in since if (one.at.date() <= day if entry is None else one.n <= entry)]
        if not known and self.events and not _after(since[0], self.events[0]):
            return since[0].person
        return known[-1] if known else None

    def trained_later(self, code: str, event: Event, since: date = date.min) -> tuple[date, int] | None:
        """A training from a day up to the event's that was entered after the event: its date and entry."""
        for one in self.record.since.get(code, ()):
            day = one.person.trained_by(event.t.date())
            if _after(one, event) and day is not None and day >= since:
                return day, one.n
        return None

    def authorized(self, code: str, event: Event | None) -> bool:
        """Whether the person was on record as an authorised employee at an event."""
        person = self.person(code, event)
        return person is not None and person.role == "authorized"

    def each(self, *words: str) -> Iterator[tuple[int, Event]]:
        """The events of these words with their indices."""
        return ((i, event) for i, event in enumerate(self.events) if event.ev in words)

    def first(self, *words: str) -> int | None:
        """The index of the first event of these words."""
        return next((i for i, _ in self.each(*words)), None)

    def points_of(self, event: Event) -> tuple[str, ...]:
        """The points an event is about; "all" means R."""
        return self.required_ids if event.all_points else event.points

    def covers(self, event: Event) -> bool:
        """Whether an event covers all of R."""
        return set(self.required_ids) <= set(self.points_of(event))

    def touches(self, event: Event) -> bool:
        """Whether an event is about any point of R."""
        return bool(set(self.required_ids) & set(self.points_of(event)))

    @cached_property
    def day(self) -> date | None:
        """The local date of the first isolation or lock (d of the rules)."""
        index = self.first("isolate", "lock_on")
        return None if index is None else self.events[index].t.date()

    def workers(self, until: int | None = None) -> tuple[str, ...]:
        """Everybody who started work before an event, in order."""
        return tuple(dict.fromkeys(e.by for i, e in self.each("work_start") if until is None or i < until))

    # --- locks ------------------------------------------------------------------------------------

    def taken(self, index: int) -> tuple[str, Held] | None:
        """Where a removal took which lock from; None where that lock was not on there."""
        event = self.events[index]
        if event.ev not in REMOVALS:
            return None
        return _target(event, self.before(index))

    @cached_property
    def removals(self) -> tuple[tuple[int, str, Held], ...]:
        """Every removal that took a lock off: event index, place, lock."""
        found = ((i, self.taken(i)) for i, _ in self.each(*REMOVALS))
        return tuple((i, *taken) for i, taken in found if taken is not None)

    def emptied(self, index: int) -> tuple[str, ...]:
        """Places of R (and the box) that the event of that index left without any lock."""
        places = (*self.required_ids, BOX) if self.group else self.required_ids
        return tuple(
            place
            for place in places
            if self.before(index).on(place) and not self.moments[index + 1].on(place)
        )

    def last_work(self, index: int) -> int:
        """Index of the last end of work before an event; -1 if there is none."""
        return max((i for i, _ in self.each("work_end") if i < index), default=-1)

    def unlocking(self, index: int) -> int:
        """U: the first event since the last start of work that left a required point without a lock."""
        since = max((i for i, _ in self.each("work_start") if i < index), default=-1)
        opened = (i for i in range(since + 1, index) if set(self.emptied(i)) & set(self.required_ids))
        return next(opened, index)

    # --- proof ------------------------------------------------------------------------------------

    def locked(self, moment: Moment) -> bool:
        """Every required point off and locked."""
        return all(moment.off(k) and moment.on(k) for k in self.required_ids)

    def full(self, moment: Moment) -> bool:
        """Every required point off and locked, in group mode with its key in the box."""
        return self.locked(moment) and (not self.group or set(self.required_ids) <= moment.keys)

    @cached_property
    def several_crews(self) -> bool:
        """Whether the job or any assignment speaks of more than one crew."""
        counts = (event.crews or 1 for _, event in self.each("assign_primary"))
        return max((self.header.crews or 1, *counts)) > 1

    def crew_of(self, moment: Moment, person: str) -> Crew | None:
        """The crew that answers for a person."""
        return next((crew for crew in reversed(moment.crews) if crew.holds(person)), None)

    def in_charge(self, moment: Moment, person: str) -> Crew | None:
        """The crew whose primary is in charge of a person; with one crew, the latest assignment."""
        if self.several_crews:
            return self.crew_of(moment, person)
        return moment.crews[-1] if moment.crews else None

    def miss(self, person: str, index: int) -> Miss:
        """What is missing until isolation is proved for a person just before an event; "" when it is."""
        best = 0
        for v in range(index - 1, -1, -1):
            if self.events[v].ev == "verify":
                found = self._missing(person, v, index)
                if found == "":
                    return ""
                best = max(best, _ORDER.index(found))
        return _ORDER[best]

    def _missing(self, person: str, v: int, index: int) -> Miss:
        event, then = self.events[v], self.before(v)
        if event.result != "zero":
            return "not_zero"
        if not self.covers(event) and not (self.record.site.partial_verifies and self._adds_up(v)):
            return "partial"
        if not self.full(then):
            return "not_full" if not self.locked(then) else "no_key"
        if any(p.needs_release and not then.released(p.id) for p in self.required):
            return "before_release"
        if self._undone(v, index):
            return "broken"
        return self._not_theirs(person, v, index)

    def _undone(self, v: int, index: int) -> bool:
        """Whether something since a verification took away what it showed."""
        if not all(self.full(self.before(i)) for i in range(v, index + 1)):
            return True
        for event in self.events[v + 1 : index]:
            if event.ev == "isolate" and self.touches(event):
                return True
            if event.ev in READINGS and event.result == "not_zero" and self.touches(event):
                return True
        return False

    def _not_theirs(self, person: str, v: int, index: int) -> Miss:
        event = self.events[v]
        if self.group:
            return self._not_primarys(person, v, index)
        checker = self.header.appointed if "appointed_person" in self.profile.options else person
        if checker != event.by and checker not in event.witness:
            return "wrong_person"
        for k in self.required_ids:
            own = [i for i, e in self.each("lock_on") if i < index and e.by == checker and k in e.places]
            if not own or own[-1] > v:
                return "before_own_lock"
        return ""

    def _not_primarys(self, person: str, v: int, index: int) -> Miss:
        now = self.before(index)
        crew = self.in_charge(now, person)
        if crew is None or self.events[v].by != crew.primary:
            return "wrong_person"
        if v < crew.since:
            return "before_primary"
        begun = max((now.cycles[k].isolated for k in self.required_ids if now.off(k)), default=-1)
        for event in self.events[begun + 1 : index]:
            if event.ev == "offer_verify" and person in event.to:
                return ""
            if event.ev == "verify" and (event.by == person or person in event.witness):
                return ""
        return "not_offered"

    def _adds_up(self, v: int) -> bool:
        """Site profile: whether partial verifications of one cycle together cover R at this one."""
        now = self.before(v)
        covered = set(self.points_of(self.events[v]))
        for i in range(v - 1, -1, -1):
            event = self.events[i]
            if event.ev == "verify" and event.result == "zero" and event.by == self.events[v].by:
                covered |= {k for k in self.points_of(event) if now.off(k) and now.cycles[k].isolated < i}
        return set(self.required_ids) <= covered

    # --- building ---------------------------------------------------------------------------------

    def _replayed(self) -> Iterator[Moment]:
        moment = Moment()
        yield moment
        for index, event in enumerate(self.events):
            moment = self._after(moment, index, event)
            yield moment

    def _after(self, moment: Moment, index: int, event: Event) -> Moment:
        match event.ev:
            case "isolate":
                cycles = {k: Cycle(index) for k in self.points_of(event) if not moment.off(k)}
                return replace(moment, cycles={**moment.cycles, **cycles})
            case "re_energise" | "temp_energise":
                gone = set(self.points_of(event))
                cycles = {k: cycle for k, cycle in moment.cycles.items() if k not in gone}
                return replace(moment, cycles=cycles, keys=moment.keys - gone)
            case "lock_on":
                return _locked(moment, index, event)
            case "lock_off" | "remove_other":
                return _unlocked(moment, event)
            case "key_in_box":
                return replace(moment, keys=moment.keys | set(self.points_of(event)))
            case "release":
                return _relieved(moment, index, self.points_of(event))
            case "work_start":
                return replace(moment, working={event.by: index, **moment.working})
            case "work_end":
                left = {who: since for who, since in moment.working.items() if who != event.by}
                return replace(moment, working=left)
            case "assign_primary":
                return replace(moment, crews=self._assigned(moment, index, event))
        return moment

    def _assigned(self, moment: Moment, index: int, event: Event) -> tuple[Crew, ...]:
        members = frozenset(event.members)
        count = event.crews or self.header.crews or 1

        def replaced(crew: Crew) -> bool:
            meets = crew.members | {crew.primary}
            return count <= 1 or crew.primary == event.primary or bool(meets & (members | {event.primary}))

        same = [crew for crew in moment.crews if replaced(crew) and crew.primary == event.primary]
        since = same[0].since if same else index
        kept = tuple(crew for crew in moment.crews if not replaced(crew))
        return (*kept, Crew(event.primary, members, index, since))


_ORDER: tuple[Miss, ...] = (
    "none", "not_zero", "partial", "not_full", "no_key", "before_release", "broken", "wrong_person", "before_own_lock",
    "before_primary", "not_offered",
)  # fmt: skip


def _after(one: PersonSince, event: Event) -> bool:
    """Whether an entry about somebody came after an event, by the paper's time where it comes from paper."""
    if event.entered is not None:
        return one.at > (event.claimed or event.t)
    return event.entry is not None and one.n > event.entry


def _locked(moment: Moment, index: int, event: Event) -> Moment:
    locks, cycles = dict(moment.locks), dict(moment.cycles)
    for place in event.places:
        held = Held(event.lock or f"?{event.n}", event.by, index, event.tag, event.extra_measure)
        others = tuple(lock for lock in moment.on(place) if lock.lock != held.lock)
        locks[place] = (*others, held)
        if place in cycles and cycles[place].locked is None:
            cycles[place] = replace(cycles[place], locked=index)
    return replace(moment, locks=locks, cycles=cycles)


def _target(event: Event, moment: Moment) -> tuple[str, Held] | None:
    """The lock that a removal takes: the one named, else the only one that its owner can mean."""
    owner = event.owner if event.ev == "remove_other" else event.by
    for place in event.places:
        for held in moment.on(place):
            if held.lock == event.lock or (not event.lock and held.owner == owner):
                return place, held
    return None


def _unlocked(moment: Moment, event: Event) -> Moment:
    target = _target(event, moment)
    if target is None:
        return moment
    place, gone = target
    left = tuple(held for held in moment.on(place) if held is not gone)
    return replace(moment, locks={**moment.locks, place: left}, keys=moment.keys - {place})


def _relieved(moment: Moment, index: int, points: Iterable[str]) -> Moment:
    cycles = dict(moment.cycles)
    for k in points:
        if k in cycles and cycles[k].locked is not None:
            cycles[k] = replace(cycles[k], released=index)
    return replace(moment, cycles=cycles)

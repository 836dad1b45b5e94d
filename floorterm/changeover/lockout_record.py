"""The lockouts of a piece of work as a record that the audit can judge.

What the ledger keeps elsewhere or not at all (a register of locks, the certificates of an older revision) is
left out, so that the audit asks a person to attest it. A notice names duties, not people: each affected duty
stands in the record as a duty. A job that was begun again after its record was closed becomes one job a run.
"""

from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime, timedelta
from decimal import Decimal
from types import MappingProxyType
from typing import TYPE_CHECKING

from msgspec.structs import replace

from floorterm.access import Right, has_right
from floorterm.changeover.paper_lockout import Happened, as_happened, minute, papers
from floorterm.changeover.state import State
from floorterm.lockout.auditing import record
from floorterm.lockout.effects import apply_event
from floorterm.lockout.inspection import Inspection, certificate_of
from floorterm.lockout.model import FIVE, Event, Job, LockEvent, Point, Policy
from floorterm.lockout.state import LockoutState, covered
from floorterm.people import Person, PersonThen

if TYPE_CHECKING:
    from floorterm.library.model import LockoutFile

_TO = frozenset({Event.NOTIFY_BEFORE, Event.NOTIFY_AFTER, Event.OWN_STAFF_TOLD})
_NOT = ("guard_removed", "body_in_zone")
_HERE_ONLY = frozenset(
    {Event.CONFIRM_EXCEPTION, Event.LONE_CHECK}
)  # said of the job as a whole, or site policy


def record_of(
    state: State,
    people: Iterable[Person | PersonThen],
    *,
    lockouts: Mapping[str, "LockoutFile"] | None = None,
    inspections: Iterable[Inspection] = (),
    as_of: datetime | None = None,
) -> record.Record:
    """The record of every lockout of a piece of work that something was recorded of.

    `people` are those of the ledger, or all that its entries said of them in order: then each event is judged by the
    people as they were on record at it. What the library's procedures (`lockouts`) state counts where they still are
    of the revision that was worked to; certificates of theirs and recorded `inspections` count always. `as_of` is the
    moment for which open jobs are judged.
    """
    by_paper = {name: tuple(as_happened(state, name)) for name in state.every_lockout if papers(state, name)}
    return record_of_lockouts(
        state.work,
        state.every_lockout,
        people,
        lockouts=lockouts,
        inspections=inspections,
        as_of=as_of,
        by_paper=by_paper,
    )


def tells_of_lockout(state: State) -> bool:
    """Whether anything of a lockout was recorded or entered from paper."""
    return any(job.events or papers(state, name) for name, job in state.every_lockout.items())


def record_of_lockouts(
    work: str,
    locks: Mapping[str, LockoutState],
    people: Iterable[Person | PersonThen],
    *,
    lockouts: Mapping[str, "LockoutFile"] | None = None,
    inspections: Iterable[Inspection] = (),
    as_of: datetime | None = None,
    by_paper: Mapping[str, tuple[Happened, ...]] = MappingProxyType({}),
) -> record.Record:
    """The same from the lockout jobs alone; `work` names the piece of work that they belong to.

    `by_paper` are the jobs of which something was entered from paper, as they happened.
    """
    told = {name: lockout for name, lockout in locks.items() if lockout.events or name in by_paper}
    own = tuple(lockout.job.policy.contractor_duties for lockout in told.values())
    firms = tuple(dict.fromkeys(duty for duties in own for duty in duties))
    known: dict[str, record.Person] = {}
    since: dict[str, tuple[record.PersonSince, ...]] = {}
    for one in people:
        if isinstance(one, Person):
            known[one.code] = _person(one, firms)
            continue
        code = one.person.code
        known[code] = _person(one.person, firms, one.trainings)
        since[code] = (*since.get(code, ()), record.PersonSince(n=one.n, at=one.at, person=known[code]))
    policy = next((lockout.job.policy for lockout in told.values()), Policy())
    procedures: dict[str, record.Procedure] = {}
    jobs: list[record.Job] = []
    for name, lockout in told.items():
        job, key = lockout.job, f"{work}/{name}"
        for duty in job.affected_duties:
            known.setdefault(duty, record.Person(code=duty, role="affected", is_duty=True))
        made = tuple(one for one in inspections if one.procedure == job.procedure)
        procedures[key] = _procedure(key, job, (lockouts or {}).get(job.procedure), made)
        for run, events in enumerate(_runs(by_paper.get(name) or _recorded(lockout)), start=1):
            jobs.append(_job(key, run, job, events))
    return record.Record(
        people=known, since=since, procedures=procedures, jobs=tuple(jobs), site=_site(policy), as_of=as_of
    )


def _site(policy: Policy) -> record.Site:
    return record.Site(
        never_exempt=policy.never_exempt,
        job_age_limit=timedelta(hours=policy.job_age_limit_h),
        crew_limit=policy.crew_limit,
    )


def _person(person: Person, firms: tuple[str, ...], trainings: tuple[date, ...] = ()) -> record.Person:
    employer = next((firm for firm in firms if firm in person.duties), "")
    return record.Person(
        code=person.code,
        role=person.lockout.value,
        trained=person.trained_on,
        trainings=trainings,
        valid_to=person.valid_to,
        contractor=bool(employer),
        employer=employer,
        employer_rep=has_right(person, Right.DIRECT_LOCK_REMOVAL),
    )


def _procedure(
    key: str, job: Job, written: "LockoutFile | None", made: tuple[Inspection, ...]
) -> record.Procedure:
    found = record.Procedure(
        id=key,
        machines=tuple(dict.fromkeys(job.machine.values())),
        revision=str(job.revision),
        changed_on=job.changed_on,
        machine_changed_on=written.machine_changed_on if written is not None else None,
        other_removal=job.other_removal or None,  # what the job says; no is left for the procedure to say
        documented=True,  # a lockout step exists only through a written procedure of the library
        points=tuple(_point(point) for point in job.points),
        inspection_due=job.inspection_due,
        certificates=tuple(_certificates(job, written, made)) or None,
    )
    if written is None or written.revision != job.revision:
        return found
    content = written.content
    parts = (
        content.scope, content.purpose, content.authorisation, content.rules_and_techniques,
        content.enforcement, content.intended_use, content.steps_shut_down_isolate,
        content.steps_devices_and_responsible, content.how_tested,
    )  # fmt: skip
    return replace(
        found,
        effective_on=_day(written.effective_on),
        other_removal=written.other_removal,
        content_complete=all(parts) and all(point.verify for point in found.required),
        certificates=found.certificates or (),
    )


def _certificates(
    job: Job, written: "LockoutFile | None", made: tuple[Inspection, ...]
) -> Iterator[record.Certificate]:
    """Those of the checklists, whatever their revision, and what the ledger's own inspections certify."""
    told = [(one, None) for one in written.certificates] if written is not None else []
    for one, entry in (*told, *((certificate_of(one), one.n) for one in made)):
        yield record.Certificate(
            machine=next(iter(job.machine.values()), ""),
            dated=_day(one.date),
            inspector=one.inspector,
            users_observed=one.users_observed,
            employees=one.employees,
            authorized_then=one.authorized,
            reviewed=one.reviewed,
            deviations=tuple(
                record.Deviation(
                    text=found.text, persons=found.persons, closed=found.corrected_on is not None
                )
                for found in one.deviations
            ),
            entry=entry,
        )


def _day(value: date | str) -> date:
    return value if isinstance(value, date) else date.fromisoformat(value)


def _point(point: Point) -> record.Point:
    return record.Point(
        id=point.id,
        device=point.device,
        energies=point.energies,
        lockable=point.lockable,
        required=point.required,
        needs_release=point.needs_release,
        reaccumulates=point.reaccumulates,
        monitor_min=None if point.monitor_min is None else Decimal(point.monitor_min),
        verify=next(iter(point.verify_method.values()), None),
    )


def _recorded(lockout: LockoutState) -> Iterator[Happened]:
    state = LockoutState.initial(lockout.job, lockout.line)
    for event in lockout.events:
        yield Happened(before=state, event=event, entry=event.n)
        state = apply_event(state, event)


def _runs(happened: Iterable[Happened]) -> Iterator[list[Happened]]:
    """The events of each run with the state before them."""
    run: list[Happened] = []
    for one in happened:
        if apply_event(one.before, one.event).run != one.before.run and run:
            yield run
            run = []
        run.append(one)
    if run:
        yield run


def _job(key: str, run: int, job: Job, events: list[Happened]) -> record.Job:
    spoken: list[record.Event] = []
    for happened in events:
        for one in _spoken(happened.before, happened.event):
            told = replace(one, n=len(spoken) + 1, entry=happened.entry)
            spoken.append(_from_paper(told, happened, spoken[-1].t if spoken else told.t))
    header = _header(key, job, [one.event for one in events])
    name = key if run == 1 else f"{key} ({run})"
    return record.Job(id=name, title=job.title.get("en", ""), header=header, events=tuple(spoken))


def _from_paper(told: record.Event, happened: Happened, last: datetime) -> record.Event:
    """Both times of what came from paper; paper tells no seconds: within a minute it follows what was last."""
    if happened.paper is None:
        return told
    same_minute = minute(last) == minute(told.t)
    return replace(
        told,
        t=max(told.t, last) if same_minute else told.t,
        late=True,
        claimed=told.t,
        entered=happened.paper.at,
    )


def _header(key: str, job: Job, events: list[LockEvent]) -> record.Header:
    grouped = job.mode == "group" or any(event.event is Event.ASSIGN_PRIMARY for event in events)
    confirmed = any(event.event is Event.CONFIRM_EXCEPTION and event.result == "ok" for event in events)
    return record.Header(
        job_class=job.job_class,
        mode="group" if grouped else "individual",
        procedure=key,
        revision=str(job.revision),
        affected=job.affected_duties if job.job_class == "lockout" else (),
        crews=job.crews if grouped else None,
        task=job.task,
        answers=dict.fromkeys((*FIVE, *_NOT), True) | dict.fromkeys(_NOT, False) if confirmed else {},
        measure=next(iter(job.measure.values()), ""),
        energies=("electrical_cord",) if job.job_class == "cord_plug" else None,
    )


def _spoken(before: LockoutState, event: LockEvent) -> Iterator[record.Event]:
    """One recorded event as the record has it: one a lock, every point named."""
    points = covered(before, event)
    said = record.Event(
        n=0, t=event.at, ev=event.event.value, by=event.by, result=event.result, how=event.how,
        owner=event.owner,
    )  # fmt: skip
    if event.event in _HERE_ONLY:
        return
    match event.event:
        case Event.LOCK_ON:
            for point in points:
                yield replace(said, places=(point,), lock=event.lock)
        case Event.LOCK_OFF:
            yield from _removals(replace(said, lock=event.lock), before, event.by, points, event)
        case Event.REMOVE_OTHER:
            directed = replace(said, lock=event.lock, directed_by=event.directed_by)
            yield from _removals(directed, before, event.owner, points, event)
        case Event.ON_SITE:
            for person in event.people:
                yield replace(said, person=person)
        case Event.REVIEW:
            yield replace(said, rev=str(before.job.revision))
        case Event.ACCOUNT_PEOPLE:
            yield replace(said, clear=event.people)
        case Event.VERIFY:
            yield replace(said, points=points, witness=event.people)
        case word if word in _TO:
            heads = tuple(dict.fromkeys(who.split(":", 1)[0] for who in event.people))
            yield replace(said, to=heads)
        case _:
            yield _special(replace(said, points=points), event)


def _removals(
    said: record.Event, before: LockoutState, owner: str, places: tuple[str, ...], event: LockEvent
) -> Iterator[record.Event]:
    """One removal a lock; what was not on there is said as it was entered."""
    taken = [
        lock for place in places for lock in before.own_locks(owner, place) if event.lock in ("", lock.lock)
    ]
    for lock in taken:
        yield replace(said, places=(lock.point,), lock=lock.lock)
    if not taken:
        yield replace(said, places=event.points)


def _special(said: record.Event, event: LockEvent) -> record.Event:
    """Groups, hand-overs and outside employers in the record's words."""
    match event.event:
        case Event.HAND_OVER:
            return replace(said, points=(), places=said.points, giver=event.by, to=event.people)
        case Event.ASSIGN_PRIMARY:
            return replace(
                said,
                primary=event.primary,
                members=event.people,
                crews=event.crews or None,
                coordinator=event.coordinator,
            )
        case Event.OFFER_VERIFY:
            return replace(said, to=event.people)
        case Event.CONTRACTOR_EXCHANGE:
            return replace(said, partner=event.people, direction=event.how, how="")
    return said

"""The lockouts of a period, judged: which fell short, by which rule, by whom, and what a person must attest.

A job belongs to a period when any of its events does; it is judged whole. People count as they were on record at each
event, so that what is entered of them later does not change what an earlier event shows.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING

from msgspec import Struct, field
from msgspec.structs import replace

from floorterm.changeover.lockout_record import record_of, tells_of_lockout
from floorterm.inspecting import inspections
from floorterm.ledger.persons import FOLDED, people_then
from floorterm.ledger.seal import Seal
from floorterm.lockout.attestation import ATTESTED, Attestation, fold_attestations
from floorterm.lockout.auditing import Finding, Level, Rule, audit, rules
from floorterm.lockout.auditing.record import Event, Job, Record, Site
from floorterm.people import Person

if TYPE_CHECKING:
    from floorterm.changeover.state import State
    from floorterm.library.model import LockoutPolicy
    from floorterm.lockout.model import Job as LockoutJob
    from floorterm.lockout.model import Point
    from floorterm.plant import Plant

LEVELS: tuple[Level, ...] = ("V", "W", "P", "A")


class AuditedJob(Struct, frozen=True, kw_only=True):
    """One lockout with everything that the audit says of it. Texts are by language, times with the plant's offset."""

    id: str
    work: str
    line: str
    procedure: str
    revision: str
    title: Mapping[str, str]
    machine: Mapping[str, str]
    points: "tuple[Point, ...]"
    events: tuple[Event, ...]
    findings: tuple[Finding, ...]
    closed: bool
    attested: Mapping[str, Attestation] = field(default_factory=dict)

    @property
    def since(self) -> datetime:
        """When its first event was recorded."""
        return self.events[0].t

    @property
    def until(self) -> datetime:
        """When its last event so far was recorded."""
        return self.events[-1].t

    @property
    def people(self) -> tuple[str, ...]:
        """Everybody who recorded an event, in order."""
        return tuple(dict.fromkeys(event.by for event in self.events if event.by))

    def of(self, level: Level) -> tuple[Finding, ...]:
        """The findings of a level."""
        return tuple(one for one in self.findings if one.level == level)

    @property
    def short(self) -> bool:
        """Whether the record shows that something asked for was not met."""
        return bool(self.of("V"))

    def to_attest(self) -> tuple[Finding, ...]:
        """What a person must still attest: findings that no event can settle and nobody has spoken for."""
        return tuple(one for one in self.of("A") if one.rule not in self.attested)


class RuleCount(Struct, frozen=True, kw_only=True):
    """One rule over a period: findings by level, and in how many jobs it was not met."""

    rule: Rule
    counts: Mapping[Level, int]
    jobs_short: int
    attested: int


class PeriodAudit(Struct, frozen=True, kw_only=True):
    """The lockouts of the local days from `since` up to, not with, `until`; `names` are people's printed names."""

    since: date
    until: date
    profile: str
    jobs: tuple[AuditedJob, ...]
    names: Mapping[str, str]
    seal: Seal
    now: datetime
    chain_valid: bool | None = None

    @property
    def short(self) -> tuple[AuditedJob, ...]:
        """The lockouts that fell short."""
        return tuple(job for job in self.jobs if job.short)

    def count(self, level: Level) -> int:
        """How many findings of a level."""
        return sum(len(job.of(level)) for job in self.jobs)

    def name_of(self, code: str) -> str:
        """A printed name, or the code where the record has none."""
        return self.names.get(code, code)

    def by_rule(self) -> tuple[RuleCount, ...]:
        """Every rule that found something, in the order of the table."""
        found = []
        for name, rule in rules().items():
            hits = [(job, one) for job in self.jobs for one in job.findings if one.rule == name]
            counts: Counter[Level] = Counter(one.level for _, one in hits)
            if hits:
                short = {job.id for job, one in hits if one.level == "V"}
                spoken = sum(1 for job, one in hits if one.level == "A" and name in job.attested)
                found.append(RuleCount(rule=rule, counts=counts, jobs_short=len(short), attested=spoken))
        return tuple(found)

    def waiting(self) -> tuple[tuple[Rule, tuple[tuple[AuditedJob, Finding], ...]], ...]:
        """What a person must still attest, by rule, with the jobs that it is about."""
        found: dict[str, list[tuple[AuditedJob, Finding]]] = {}
        for job in self.jobs:
            for one in job.to_attest():
                found.setdefault(one.rule, []).append((job, one))
        return tuple((rule, tuple(found[name])) for name, rule in rules().items() if name in found)


def month_of(day: date) -> tuple[date, date]:
    """The calendar month of a day, from its first day up to, not with, the next month's first."""
    first = day.replace(day=1)
    return first, (first + timedelta(days=32)).replace(day=1)


def year_until(day: date) -> tuple[date, date]:
    """The twelve months up to and with a day."""
    end = day + timedelta(days=1)
    try:
        return end.replace(year=end.year - 1), end
    except ValueError:  # 29 February
        return end.replace(year=end.year - 1, day=28), end


def site_of(policy: "LockoutPolicy") -> Site:
    """What the plant's own policy asks for, as the audit takes it."""
    return Site(
        never_exempt=policy.never_exempt,
        job_age_limit=timedelta(hours=policy.job_age_limit_h),
        inspection_months=policy.inspection_months,
    )


def audit_period(
    plant: "Plant", since: date, until: date, *, profile: str = "", chain_valid: bool | None = None
) -> PeriodAudit:
    """Judge every lockout of a period. `profile` overrides the plant's jurisdiction; `chain_valid` is what verifying
    the whole record found, where somebody did.
    """
    zone, now = plant.zone, plant.now()
    begin, end = (datetime.combine(day, time(), tzinfo=zone) for day in (since, until))
    refs = plant.ledger.refs(since=begin, until=end)
    works = tuple(dict.fromkeys(ref.changeover for ref in refs if ref.changeover))
    people = tuple(people_then(plant.ledger.entries(kinds=FOLDED)))
    lockouts, made = plant.library.lockouts, inspections(plant)
    policy = plant.library.plant.lockout
    law = profile or policy.profile
    site = site_of(policy)
    words = fold_attestations(plant.ledger.entries(kinds=(ATTESTED,)))
    jobs: list[AuditedJob] = []
    for work in works:
        state = plant.state(work)
        if not tells_of_lockout(state):
            continue
        record = record_of(state, people, lockouts=lockouts, inspections=made, as_of=now)
        record = replace(record, site=site, profile=law, chain_valid=chain_valid)
        kept = tuple(job for job in record.jobs if any(begin <= event.t < end for event in job.events))
        if kept:
            jobs += _audited(state, replace(record, jobs=kept), words)
    head = plant.ledger.head()
    return PeriodAudit(
        since=since,
        until=until,
        profile=law,
        jobs=tuple(sorted(jobs, key=lambda job: (job.since, job.id))),
        names=_names(plant.ledger.people(), plant),
        seal=Seal.of(head, plant.ledger.start().plant),
        now=now,
        chain_valid=chain_valid,
    )


def _audited(
    state: "State", record: Record, words: Mapping[tuple[str, str], Attestation]
) -> Iterator[AuditedJob]:
    found = audit(record)
    for job in record.jobs:
        live = _live(state, job)
        yield AuditedJob(
            id=job.id,
            work=state.work,
            line=state.worksheet.line.id,
            procedure=live.procedure,
            revision=job.header.revision,
            title=live.title,
            machine=live.machine,
            points=live.points,
            events=job.events,
            findings=tuple(one for one in found if one.job == job.id),
            closed=job.closed,
            attested={rule: word for (name, rule), word in words.items() if name == job.id},
        )


def _live(state: "State", job: Job) -> "LockoutJob":
    """The lockout job that a job of the record was made from: `work/name`, and a count from the second run on."""
    name = job.header.procedure.removeprefix(f"{state.work}/")
    return state.every_lockout[name].job


def _names(people: Iterable[Person], plant: "Plant") -> dict[str, str]:
    found = {duty.id: duty.name.en for duty in plant.library.plant.duties}
    return found | {person.code: person.name for person in people}

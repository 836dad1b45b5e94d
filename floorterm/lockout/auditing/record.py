"""A record of lockout jobs as frozen values: what the audit judges, wherever the jobs were recorded.

None means that the document says nothing of a thing at all (no register of locks, no answer); that is another
matter than an empty list, which says that there is none. Times carry their UTC offset; `n` is the order of
entry, and it decides.
"""

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Final, Literal

from msgspec import Struct, field

BOX: Final = "BOX"
NEVER_EXEMPT: Final = ("screen_change", "head_opening", "die_change", "lye_line_opening")

Role = Literal["authorized", "affected", "other", "employer_rep"]
JobClass = Literal["lockout", "minor_servicing", "cord_plug"]
Mode = Literal["individual", "group"]

# What can happen in a job. The last line is asked for only outside the United States.
EVENTS: Final = frozenset(
    {
        "notify_before", "review", "contractor_exchange", "assign_primary", "shut_down", "isolate",
        "lock_on", "key_in_box", "release", "offer_verify", "verify", "monitor", "work_start",
        "work_end", "inspect_area", "account_people", "lock_off", "owner_absent_check",
        "owner_contact_try", "remove_other", "owner_informed", "on_site", "hand_over",
        "notify_after", "own_staff_told", "re_energise", "temp_energise", "temp_end", "restart",
        "unplug", "plug_control", "plug_in", "close", "earth", "cover", "attestation_given",
        "attestation_returned",
    }
)  # fmt: skip


class Person(Struct, frozen=True, kw_only=True):
    """Somebody of the record. `is_duty`: not a person but a duty whose holders the record does not name.

    `employer_rep`: they may direct for the employer besides their role; the role of that name says the same.
    `trainings` are all dates of training where the record keeps more than the newest, which is `trained`.
    """

    code: str
    role: Role = "other"
    trained: date | None = None
    trainings: tuple[date, ...] = ()
    valid_to: date | None = None
    contractor: bool = False
    employer: str = ""
    assigned: date | None = None
    is_duty: bool = False
    employer_rep: bool = False

    def trained_by(self, day: date) -> date | None:
        """The newest training on or before a day."""
        dates = self.trainings or ((self.trained,) if self.trained is not None else ())
        return max((one for one in dates if one <= day), default=None)


class PersonSince(Struct, frozen=True, kw_only=True):
    """Somebody as a ledger's entry `n` left them, until the next entry about them; `at` is when it was recorded."""

    n: int
    at: datetime
    person: Person


class Point(Struct, frozen=True, kw_only=True):
    """One isolation point of a procedure. `verify` is its stated method, `stays_on` why it may stay live."""

    id: str
    device: str | None = None
    energies: tuple[str, ...] = ()
    lockable: bool = True
    required: bool = True
    needs_release: bool = False
    reaccumulates: bool = False
    monitor_min: Decimal | None = None
    verify: str | None = None
    stays_on: str = ""


class Deviation(Struct, frozen=True, kw_only=True):
    """Something a periodic inspection found: the persons it names, and whether its correction is closed."""

    text: str
    persons: tuple[str, ...] = ()
    dated: date | None = None
    closed: bool = False


class Certificate(Struct, frozen=True, kw_only=True):
    """A periodic inspection as certified (29 CFR 1910.147(c)(6)); `entry` recorded it where a ledger did."""

    machine: str = ""
    dated: date | None = None
    inspector: str = ""
    users_observed: tuple[str, ...] = ()
    employees: tuple[str, ...] = ()
    authorized_then: tuple[str, ...] | None = None
    affected_then: tuple[str, ...] | None = None
    reviewed: tuple[str, ...] | None = None
    deviations: tuple[Deviation, ...] = ()
    entry: int | None = None


class Procedure(Struct, frozen=True, kw_only=True):
    """The revision of an energy-control procedure that was in force.

    `flags` are the eight conditions under which none need be written ((c)(4)(i) exception), `content` says of
    each of the nine parts whether it is there. `inspection_due` stands for certificates that another
    record holds.
    """

    id: str
    machines: tuple[str, ...] = ()
    revision: str = ""
    effective_on: date | None = None
    changed_on: date | None = None
    machine_changed_on: date | None = None
    documented: bool | None = None
    flags: Mapping[str, bool] = field(default_factory=dict)
    other_removal: bool | None = None
    content_complete: bool | None = None
    content: Mapping[str, bool] | None = None
    points: tuple[Point, ...] = ()
    certificates: tuple[Certificate, ...] | None = None
    inspection_due: date | None = None

    @property
    def due_elsewhere(self) -> date | None:
        """The last day by certificates of another record, where this one may lack some of this revision's."""
        return self.inspection_due if self.certificates is None or self.effective_on is None else None

    @property
    def required(self) -> tuple[Point, ...]:
        """R of the rules: the points that must be isolated and locked before anybody works."""
        return tuple(point for point in self.points if point.required)


class Lock(Struct, frozen=True, kw_only=True):
    """One line of the register of locks and tags."""

    id: str
    owner: str = ""
    kind: Literal["personal", "job", "transfer"] = "personal"
    lockout_only: bool | None = None
    type: str = ""
    checked: date | None = None
    legend: str = ""


class Header(Struct, frozen=True, kw_only=True):
    """What is said of a job as a whole. `answers` are those of a minor servicing, by name."""

    job_class: JobClass = "lockout"
    mode: Mode = "individual"
    procedure: str = ""
    revision: str = ""
    affected: tuple[str, ...] = ()
    crews: int | None = None
    coordinator: str = ""
    task: str = ""
    answers: Mapping[str, bool] = field(default_factory=dict)
    measure: str = ""
    energies: tuple[str, ...] | None = None
    appointed: str = ""
    permit: str = ""


class Event(Struct, frozen=True, kw_only=True):
    """One event as recorded. Which fields mean something depends on the word `ev`.

    `by` is "" where nobody is named. `points` are those named; `all_points` says "all". `places` are points or
    the lock box. `entry` is the ledger's number where the event comes from a ledger. A `late` event is `claimed` for
    a time; one that a ledger took from paper was `entered` when `t` is the paper's time.
    """

    n: int
    t: datetime
    ev: str
    by: str = ""
    points: tuple[str, ...] = ()
    all_points: bool = False
    places: tuple[str, ...] = ()
    lock: str = ""
    tag: bool = False
    extra_measure: str = ""
    legend: str = ""
    result: str = ""
    how: str = ""
    rev: str = ""
    to: tuple[str, ...] = ()
    clear: tuple[str, ...] = ()
    witness: tuple[str, ...] = ()
    owner: str = ""
    person: str = ""
    directed_by: str = ""
    giver: str = ""
    primary: str = ""
    members: tuple[str, ...] = ()
    crews: int | None = None
    coordinator: str = ""
    direction: str = ""
    partner: tuple[str, ...] = ()
    tester_before: bool = False
    tester_after: bool = False
    late: bool = False
    claimed: datetime | None = None
    entered: datetime | None = None
    signer: str = ""
    entry: int | None = None

    @property
    def number(self) -> int:
        """The number that people find the event by: the ledger's entry, else its own."""
        return self.n if self.entry is None else self.entry


class Job(Struct, frozen=True, kw_only=True):
    """One job: its header and its events in the order of their numbers."""

    id: str
    title: str = ""
    header: Header = field(default_factory=Header)
    events: tuple[Event, ...] = ()
    first_n: int = 1

    @property
    def closed(self) -> bool:
        """Whether the record of the job was finished."""
        return any(event.ev == "close" for event in self.events)


class Site(Struct, frozen=True, kw_only=True):
    """What the site sets. None of it can make a finding of the regulation go away."""

    never_exempt: tuple[str, ...] = NEVER_EXEMPT
    job_age_limit: timedelta = timedelta(hours=24)
    inspection_months: int = 12
    strict_inspector: bool = False
    crew_limit: int | None = None
    box_lock_limit: timedelta | None = None
    lock_types: tuple[str, ...] | None = None
    lock_check_months: int | None = None
    partial_verifies: bool = False
    low_voltage_earthing: bool = False


class Record(Struct, frozen=True, kw_only=True):
    """Jobs with the people, procedures and locks that they name.

    `people` are as the record knows them now, `since` all that a ledger's entries said of each, in order: an event
    is judged by the people as they were on record at it. `unread` are parts of the document that mean nothing to
    the audit, as ways to them; `chain_valid` is what the keeper of a hash chain found, None where there is no chain.
    """

    people: Mapping[str, Person] = field(default_factory=dict)
    since: Mapping[str, tuple[PersonSince, ...]] = field(default_factory=dict)
    procedures: Mapping[str, Procedure] = field(default_factory=dict)
    locks: Mapping[str, Lock] | None = None
    jobs: tuple[Job, ...] = ()
    site: Site = field(default_factory=Site)
    profile: str = "US"
    as_of: datetime | None = None
    chain_valid: bool | None = None
    unread: tuple[str, ...] = ()

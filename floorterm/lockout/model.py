"""Lockout as values: points, the job they belong to, and the events that a record is made of.

The event words are those of 29 CFR 1910.147 in plain form; the physical lock is the authority, never this
record.
"""

from collections.abc import Mapping
from datetime import date, datetime
from enum import StrEnum
from typing import Final, Literal

from msgspec import Struct, field

# The lock box of a group, as a place where locks hang: never an isolation point.
BOX: Final = "BOX"
JobClass = Literal["lockout", "minor_servicing", "cord_plug"]
Mode = Literal["individual", "group", "either"]


class Event(StrEnum):
    """What can happen in a lockout, in the order of 29 CFR 1910.147(d) and (e); then (f) and (a)(2)."""

    NOTIFY_BEFORE = "notify_before"
    REVIEW = "review"
    SHUT_DOWN = "shut_down"
    ISOLATE = "isolate"
    LOCK_ON = "lock_on"
    RELEASE = "release"  # of stored energy: on screen it is *relieved*
    VERIFY = "verify"
    MONITOR = "monitor"
    WORK_START = "work_start"
    WORK_END = "work_end"
    INSPECT_AREA = "inspect_area"
    ACCOUNT_PEOPLE = "account_people"
    LOCK_OFF = "lock_off"
    NOTIFY_AFTER = "notify_after"
    RE_ENERGISE = "re_energise"
    RESTART = "restart"
    CLOSE = "close"
    # (f)(1) energised for a test or positioning only
    TEMP_ENERGISE = "temp_energise"
    TEMP_END = "temp_end"
    # (f)(2) outside employers
    CONTRACTOR_EXCHANGE = "contractor_exchange"
    OWN_STAFF_TOLD = "own_staff_told"
    # (f)(3) groups
    ASSIGN_PRIMARY = "assign_primary"
    KEY_IN_BOX = "key_in_box"
    OFFER_VERIFY = "offer_verify"
    # (f)(4) shift and personnel changes
    HAND_OVER = "hand_over"
    # (e)(3), exception: the lock of somebody who is not there
    OWNER_ABSENT_CHECK = "owner_absent_check"
    OWNER_CONTACT_TRY = "owner_contact_try"
    REMOVE_OTHER = "remove_other"
    OWNER_INFORMED = "owner_informed"
    ON_SITE = "on_site"
    # (a)(2): work that needs no lockout under conditions that somebody confirms
    CONFIRM_EXCEPTION = "exception_confirmed"
    UNPLUG = "unplug"
    PLUG_CONTROL = "plug_control"
    PLUG_IN = "plug_in"
    # site policy: somebody who works alone is looked after
    LONE_CHECK = "lone_check"


# Acts that make somebody safer: recorded whatever else is wrong (an order of events that makes no sense is
# shown by the audit afterwards; a person is never kept at work or under a lock by a screen).
NEVER_REFUSED = frozenset({Event.WORK_END, Event.LOCK_OFF})
EMERGENCY: Final = "emergency"  # `how` of a stop, or of a lock that was cut to free somebody
FIVE: Final = ("in_production", "minor", "routine", "repetitive", "integral")  # (a)(2)(ii), note
PLUG_CONTROLS: Final = ("in_hand", "reach_and_sight", "locked")  # (a)(2)(iii)(A) as OSHA reads it


class Point(Struct, frozen=True, kw_only=True):
    """One isolation point of a job: texts by language, energy, device and how isolation is verified."""

    id: str
    name: Mapping[str, str]
    place: Mapping[str, str]
    energies: tuple[str, ...]
    magnitude: str
    device: str
    lockable: bool = True
    required: bool = True
    needs_release: bool = False
    release_how: Mapping[str, str] = field(default_factory=dict)
    reaccumulates: bool = False
    monitor_min: int | None = None
    verify_method: Mapping[str, str] = field(default_factory=dict)
    verify_expect: Mapping[str, str] = field(default_factory=dict)


class Policy(Struct, frozen=True, kw_only=True):
    """What the site sets for its lockouts. It is not part of the regulation and can only be stricter.

    `contractor_duties`: duties of people of outside employers (the duty stands for the firm). `lone_min`: minutes
    within which somebody asks after a person who works alone; None: the site has no such rule.
    """

    never_exempt: tuple[str, ...] = ("screen_change", "head_opening", "die_change", "lye_line_opening")
    job_age_limit_h: int = 24
    crew_limit: int | None = None
    contractor_duties: tuple[str, ...] = ()
    lone_min: int | None = None


class Job(Struct, frozen=True, kw_only=True):
    """One lockout of one piece of work: the procedure revision in force and its points, as they were then.

    `id` is the section of the worksheet that works under it. `inspection_due` is the last day on which the
    newest periodic inspection still counts (29 CFR 1910.147(c)(6)); `changed_on` dates the last change of
    the procedure or its machine, after which people are trained again ((c)(7)(iii)); `retrain` names people, each
    with the day of the newest inspection of it whose deviations name them.
    """

    id: str
    procedure: str
    revision: int
    title: Mapping[str, str]
    machine: Mapping[str, str]
    points: tuple[Point, ...] = ()
    affected_duties: tuple[str, ...] = ()
    inspection_due: date | None = None
    changed_on: date | None = None
    retrain: tuple[tuple[str, date], ...] = ()
    job_class: JobClass = "lockout"
    mode: Mode = "individual"
    crews: int = 1
    other_removal: bool = False  # a written, trained procedure for an absent owner's lock exists
    task: str = ""
    measure: Mapping[str, str] = field(default_factory=dict)  # what protects instead, in a minor servicing
    policy: Policy = field(default_factory=Policy)

    @property
    def required(self) -> tuple[str, ...]:
        """Ids of the points that must be isolated and locked before anybody works (R of the rule table)."""
        return tuple(point.id for point in self.points if point.required)


class LockEvent(Struct, frozen=True, kw_only=True):
    """One event as recorded. `n` is the entry's number: order, never time, decides."""

    n: int
    at: datetime
    event: Event
    by: str
    by_name: str = ""
    points: tuple[str, ...] = ()
    lock: str = ""
    result: str = ""  # verify, monitor: "zero" / "not_zero"; inspect_area, account_people: "ok" / "not_ok"
    # notify_*, own_staff_told: those told, as duty ids or `duty:code`; account_people: codes of those clear;
    # verify: the witness who confirmed it with a PIN; assign_primary: the members; offer_verify, hand_over: to whom;
    # contractor_exchange: the firm; on_site: who is back; lone_check: whom somebody asked after, or the contact
    people: tuple[str, ...] = ()
    how: str = ""  # shut_down, plug_control: in which way; contractor_exchange: given, received, both
    owner: str = ""  # owner_*, remove_other: whose lock it is
    primary: str = ""
    coordinator: str = ""
    crews: int = 0
    directed_by: str = ""  # remove_other: who directs it for the employer

    @property
    def is_emergency(self) -> bool:
        """Whether it records what an emergency did: no screen step comes before a person is free."""
        return self.how == EMERGENCY and self.event in (Event.SHUT_DOWN, Event.REMOVE_OTHER)

    @property
    def is_way_out(self) -> bool:
        """Whether it is never refused: an end of work, an own lock off, an emergency."""
        return self.event in NEVER_REFUSED or self.is_emergency

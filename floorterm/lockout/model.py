"""Lockout as values: points, the job they belong to, and the events that a record is made of.

The event words are those of 29 CFR 1910.147 in plain form; the physical lock is the authority, never this
record.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum


class Event(StrEnum):
    """What can happen in an individual lockout, in the order of 29 CFR 1910.147(d) and (e)."""

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


# Acts that make somebody safer: recorded whatever else is wrong (an order of events that makes no sense is
# shown by the audit afterwards; a person is never kept at work or under a lock by a screen).
NEVER_REFUSED = frozenset({Event.WORK_END, Event.LOCK_OFF})


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
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
    points: tuple[Point, ...]
    affected_duties: tuple[str, ...]
    inspection_due: date | None = None
    changed_on: date | None = None
    retrain: tuple[tuple[str, date], ...] = ()

    @property
    def required(self) -> tuple[str, ...]:
        """Ids of the points that must be isolated and locked before anybody works (R of the rule table)."""
        return tuple(point.id for point in self.points if point.required)


@dataclass(frozen=True, slots=True, kw_only=True)
class LockEvent:
    """One event as recorded. `n` is the entry's number: order, never time, decides."""

    n: int
    at: datetime
    event: Event
    by: str
    by_name: str = ""
    points: tuple[str, ...] = ()
    lock: str = ""
    result: str = ""  # verify, monitor: "zero" / "not_zero"; inspect_area, account_people: "ok" / "not_ok"
    # notify_*: those told, as duty ids or `duty:code`; account_people: codes of those clear;
    # verify: the witness who confirmed it with a PIN
    people: tuple[str, ...] = ()
    how: str = ""

"""The invented days as data: who works at the plant, what runs when, and what goes wrong."""

from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from importlib.resources import files
from typing import Literal

import msgspec
from msgspec import Struct, field

from floorterm.changeover.acts import Cause, Disposal
from floorterm.people import LockoutStatus, Permission


class Character(Struct, frozen=True, kw_only=True):
    """A person of the demo plant."""

    code: str
    name: str
    permission: Permission = Permission.OPERATOR
    duties: tuple[str, ...] = ()
    lockout: LockoutStatus = LockoutStatus.OTHER
    trained_on: date | None = None
    valid_to: date | None = None
    badge: str = ""


class Incident(Struct, frozen=True, kw_only=True):
    """Something that happens when a step is signed (`at`), instead of or after the plain signature.

    `entry` replaces what would be entered (reading, choice, text or kg). `then` happens `wait_min` later:
    "correct" enters `to` with the reason, "repeat" does the section again, "pause" stops for `minutes`,
    "note" writes the reason down, "dispose" decides about the deviation, "explain" says that `to` of its minutes
    were of that `cause`, "abandon" and "redirect" end or turn the work, "stop" leaves it open as it is. The step takes
    `more_min` minutes more; with `paper_min` it was signed on paper and is entered so many minutes later. Incidents
    happen in the first round only.
    """

    at: str
    entry: str = ""
    then: tuple[
        Literal["correct", "repeat", "pause", "note", "dispose", "explain", "abandon", "redirect", "stop"],
        ...,
    ] = ()
    by: str = ""
    to: str = ""
    decision: Disposal = "accept"
    reason: str = ""
    note: str = ""
    minutes: Decimal = Decimal(5)
    wait_min: Decimal = Decimal(2)
    more_min: Decimal = Decimal(0)
    paper_min: Decimal = Decimal(0)
    cause: Cause = "waiting"
    holds: tuple[str, ...] = ()


class Run(Struct, frozen=True, kw_only=True):
    """One piece of work: when it starts, on which line, to which fragrance or by which procedure, and its crew.

    `crew` maps a duty to a person's code; "lockout" is whoever walks the lockout steps. `pace` is the factor on
    the standard minutes (at least 1: nobody is quicker than a dwell).
    """

    start: datetime
    line: str
    crew: Mapping[str, str]
    to: str = ""
    procedure: str = ""
    pace: Decimal = Decimal(1)
    incidents: tuple[Incident, ...] = ()


class OfficeAct(Struct, frozen=True, kw_only=True):
    """Something that is recorded beside the lines, at its moment by a person.

    "inspect" a lockout procedure (the first of `people` is watched, all of them reviewed), "review" more people,
    "correct" a deviation of the newest inspection, "train" one person, "attest" what `jobs`
    leave open of a rule, "decide" about what waits of the works named in `jobs`, "sign_shift" with the text for the
    next one, "take_over_shift"; "take_lot", "fill_lot" since `begun`, "judge_lot": a lot as `sort:name`, with `kg`, the
    share of rework in %, what is known of it (`facts`).
    """

    at: datetime
    by: str
    do: Literal[
        "inspect",
        "review",
        "correct",
        "train",
        "attest",
        "decide",
        "sign_shift",
        "take_over_shift",
        "take_lot",
        "fill_lot",
        "judge_lot",
    ]
    procedure: str = ""
    people: tuple[str, ...] = ()
    found: tuple[str, ...] = ()
    deviation: int = 1
    trained_on: date | None = None
    rule: str = ""
    jobs: tuple[str, ...] = ()
    decision: Disposal = "accept"
    shift: str = ""
    text: str = ""
    line: str = ""
    lot: str = ""
    begun: datetime | None = None
    kg: Decimal | None = None
    share_pct: Decimal | None = None
    facts: Mapping[str, Decimal] = field(default_factory=dict)
    fragrances: tuple[str, ...] = ()


class Scenario(Struct, frozen=True, kw_only=True):
    """Everything that the demo ledger is built from. Times are local to the plant."""

    start: datetime
    show_at: datetime
    pin: str
    administrator: Character
    people: tuple[Character, ...]
    holds: Mapping[str, str]
    holds_by: str
    approved_by: str
    usual: Mapping[str, str] = field(default_factory=dict)
    runs: tuple[Run, ...] = field(default_factory=tuple)
    office: tuple[OfficeAct, ...] = ()


def read_scenario() -> Scenario:
    """The scenario that ships with the program."""
    import yaml  # noqa: PLC0415  only a rebuild reads it

    text = (files("floorterm.demo") / "scenario.yaml").read_text(encoding="utf-8")
    return msgspec.convert(yaml.safe_load(text), Scenario, strict=False)

"""What a file of `procedures/` may say: steps, sections, blocks, lockouts, the sequence of a changeover."""

from collections.abc import Mapping
from typing import Annotated, Literal

from msgspec import Struct, field

from floorterm.languages import by_language
from floorterm.library.lye_data import LyeWork
from floorterm.library.quality_data import MethodSpec
from floorterm.library.shapes import Bounds, Length, Rule
from floorterm.library.words import (
    Day,
    Flag,
    Format,
    Id,
    Number,
    ReadingUnit,
    StepKind,
    StepRef,
    Text,
    Whole,
    unbroken,
)


class Choice(Struct, frozen=True, kw_only=True):
    """One answer of a `choice` step.

    `deviation` raises one; `stops` keeps what comes after waiting for a disposition.
    """

    id: Id
    text: Text
    deviation: Flag = False
    stops: Flag = False


Tells = Literal["noodles", "oil", "colour", "packing", "pallet", "noodles.cure_age_d", "noodles.alkali_pct"]


class StepSpec(Struct, frozen=True, kw_only=True):
    """One step as written. What may be entered is decided by `kind`."""

    id: Id
    kind: StepKind
    text: Text
    why: Text | None = None
    caution: Text | None = None
    ppe: tuple[Text, ...] = ()
    duty: Id
    witness: Id | None = None
    after: tuple[StepRef, ...] | None = None
    needs_lockout: Id | None = None
    critical: Literal["safety", "quality"] | None = None
    standard_min: Annotated[Number, Bounds(ge=0, le=1440)]
    external: Flag = False
    when: Mapping[str, Flag | str] = field(default_factory=dict)
    applies_to: tuple[str, ...] = ()
    expires_min: Annotated[Whole, Bounds(ge=1, le=10080)] | None = None
    reopens: tuple[StepRef, ...] = ()
    # reading
    unit: ReadingUnit | None = None
    low: Number | None = None
    high: Number | None = None
    # a reading that is titrated: mol/L of the monoprotic acid; the burette is entered, % NaOH is computed
    acid_mol_l: Annotated[Number, Bounds(gt=0, le=10)] | None = None
    # a reading that is worked out from what is typed at the bench
    method: MethodSpec | None = None
    # choice
    choices: tuple[Choice, ...] = ()
    # scan: the code expected; may hold {incoming}, {outgoing}, {line}, {tank}
    expect: str | None = None
    # wait: minutes to dwell, counted from the step named (default: the step before)
    dwell_min: Annotated[Number, Bounds(gt=0, le=1440)] | None = None
    since: StepRef | None = None
    # protect: what is put on or made sure of; compose writes these steps for a section with `lye`
    item: Id | None = None
    # what the step tells the changeover, besides being done
    mark: Literal["last_good_outgoing", "first_good_incoming"] | None = None
    # the lot that a text or scan names, or what a reading says of it; for the genealogy
    tells: Tells | None = None
    source: str = ""

    def __post_init__(self) -> None:
        wants: dict[str, tuple[str, ...]] = {
            "reading": ("unit",),
            "choice": ("choices",),
            "scan": ("expect",),
            "wait": ("dwell_min",),
            "protect": ("item",),
        }
        broken = [
            f"{name}: the value that a step of kind {self.kind} needs"
            for name in wants.get(self.kind, ())
            if not getattr(self, name)
        ]
        owners = {
            "unit": "reading", "low": "reading", "high": "reading", "choices": "choice",
            "expect": "scan", "dwell_min": "wait", "since": "wait", "item": "protect",
            "acid_mol_l": "reading", "method": "reading",
        }  # fmt: skip
        for name, kind in owners.items():
            if kind != self.kind and getattr(self, name) not in (None, ()):
                broken.append(f"{name}: nothing, as only a step of kind {kind} has it")
        if self.method is not None and self.acid_mol_l is not None:
            broken.append("method: nothing, as a titration is worked out already")
        named = ("reading",) if self.tells and "." in self.tells else ("text", "scan")
        if self.tells is not None and self.kind not in named:
            broken.append(f"tells: nothing, as only a step of kind {' or '.join(named)} tells that")
        if self.low is not None and self.high is not None and self.low > self.high:
            broken.append(f"low: a number not above high ({self.high})")
        unbroken(broken)


class SectionSpec(Struct, frozen=True, kw_only=True):
    """Steps that belong together.

    With `lockout`, compose puts the energy-control steps around them; with `lye`, the confirmations of protection
    before them.
    """

    id: Id
    title: Text
    lockout: Id | None = None
    lye: LyeWork | None = None
    beside: Flag = False
    after: tuple[StepRef, ...] | None = None
    when: Mapping[str, Flag | str] = field(default_factory=dict)
    applies_to: tuple[str, ...] = ()
    first_article: Flag = False
    steps: Annotated[tuple[StepSpec, ...], Length(least=1)]


class CertifiedDeviation(Struct, frozen=True, kw_only=True):
    """Something that a periodic inspection found, whom it names, and when and how it was corrected."""

    text: str
    persons: tuple[str, ...] = ()
    corrected_on: Day | None = None
    correction: str = ""


class InspectionCertificate(Struct, frozen=True, kw_only=True):
    """A periodic inspection of an energy-control procedure (29 CFR 1910.147(c)(6)).

    `authorized` are the codes of those who were authorised on that day, where somebody wrote them down.
    """

    machine: str
    date: Day
    inspector: str
    users_observed: tuple[str, ...]
    employees: Annotated[tuple[str, ...], Length(least=1)]
    reviewed: tuple[str, ...]
    authorized: tuple[str, ...] | None = None
    deviations: tuple[CertifiedDeviation, ...] = ()


def _only_holds_a_place(value: Text) -> str:
    for text in by_language(value).values():
        if text.casefold().strip(" .:") in _PLACEHOLDERS:
            return "a sentence of the site's own, as 29 CFR 1910.147(c)(4)(ii) asks for one"
    return ""


_PLACEHOLDERS = frozenset(
    {"", "-", "--", "?", "x", "xx", "xxx", "n/a", "na", "none", "tbd", "to be done", "…"}
)
Stated = Annotated[Text, Rule(_only_holds_a_place)]


class LockoutContent(Struct, frozen=True, kw_only=True):
    """What 29 CFR 1910.147(c)(4)(ii) asks a procedure to state; each is a sentence of the site's own."""

    scope: Stated
    purpose: Stated
    authorisation: Stated
    rules_and_techniques: Stated
    enforcement: Stated
    intended_use: Stated
    steps_shut_down_isolate: Stated
    steps_devices_and_responsible: Stated
    how_tested: Stated


class LockoutFile(Struct, frozen=True, kw_only=True):
    """`procedures/*.yaml` with `kind: lockout`: one machine's energy-control procedure.

    `machine_changed_on` dates a change of machine or process that brought a new hazard: people are trained
    again after it, as after a change of the procedure (29 CFR 1910.147(c)(7)(iii)).
    """

    format: Format
    kind: Literal["lockout"]
    id: Id
    title: Text
    lines: tuple[Id, ...]
    machine: Text
    revision: Annotated[Whole, Bounds(ge=1)]
    effective_on: Day
    changed_on: Day
    machine_changed_on: Day | None = None
    points: tuple[Id, ...] = ()
    shut_down: Text
    restart: Text
    other_removal: Flag = False
    # individual locks, a group with a lock box, or either: a group as soon as somebody takes charge of a crew
    mode: Literal["individual", "group", "either"] = "individual"
    crews: Annotated[Whole, Bounds(ge=1, le=20)] = 1
    # work that needs no lockout under the conditions of 29 CFR 1910.147(a)(2); `measure` protects instead
    exception: Literal["minor_servicing", "cord_plug"] | None = None
    task: Id | None = None
    measure: Text | None = None
    content: LockoutContent
    certificates: tuple[InspectionCertificate, ...] = ()

    def __post_init__(self) -> None:
        broken: list[str] = []
        if self.exception is None and not self.points:
            broken.append("points: at least one isolation point")
        if self.exception is not None and self.points:
            broken.append("points: none, as work at an isolation point is no exception from lockout")
        if self.exception == "minor_servicing" and self.measure is None:
            broken.append("measure: what protects instead of a lockout")
        if self.exception is not None and self.task is None:
            broken.append("task: a word for the task, to compare with never_exempt in plant.yaml")
        if self.exception is not None and self.mode != "individual":
            broken.append("mode: individual, as an exception is one person's work")
        if self.crews > 1 and self.mode != "group":
            broken.append("mode: group, as only a group has several crews")
        unbroken(broken)


class BlockFile(Struct, frozen=True, kw_only=True):
    """`procedures/*.yaml` with `kind: block`: sections that a changeover uses."""

    format: Format
    kind: Literal["block"]
    id: Id
    title: Text
    sections: Annotated[tuple[SectionSpec, ...], Length(least=1)]


class AloneFile(Struct, frozen=True, kw_only=True):
    """`procedures/*.yaml` with `kind: alone`: a procedure that stands by itself (eyewash, jam, lye…).

    `eyewash` says that it is the weekly activation or the yearly inspection that lye work waits for.
    """

    format: Format
    kind: Literal["alone"]
    id: Id
    title: Text
    lines: tuple[Id, ...]
    every_days: Annotated[Whole, Bounds(ge=1, le=400)] | None = None
    urgent: Flag = False  # a jam, a spill: first on the list of procedures
    eyewash: Literal["weekly", "yearly"] | None = None
    release_duties: tuple[Id, ...] = ()
    sections: Annotated[tuple[SectionSpec, ...], Length(least=1)]


class SequenceFile(Struct, frozen=True, kw_only=True):
    """`procedures/changeover.yaml`: the blocks of a changeover in order.

    `leave_steps` and `enter_steps` mark where the fragrances' own steps go.
    """

    format: Format
    kind: Literal["changeover"]
    id: Id
    title: Text
    blocks: Annotated[tuple[Id, ...], Length(least=1)]

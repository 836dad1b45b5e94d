"""The plant's own words as validated, frozen values: what the YAML files may say.

One model a kind of file. Units stand in the field names. Cross references (an oil that no table has, a
point that no line has) are checked in `floorterm.library.references`, which sees all files at once.
"""

import re
from collections.abc import Mapping
from datetime import date, time
from decimal import Decimal
from typing import Annotated, Any, Literal
from zoneinfo import available_timezones

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    Strict,
    StringConstraints,
    field_validator,
    model_validator,
)

_NUMBER = re.compile(r"-?(0|[1-9][0-9]{0,11})(\.[0-9]{1,12})?")
_TIME = re.compile(r"([01][0-9]|2[0-3]):[0-5][0-9]")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


def _written_number(value: Any) -> Any:
    """A number as the file says it: digits and a point. "1e3", "012", "1,5" and "1:30" are not guessed at."""
    if isinstance(value, bool) or (isinstance(value, str) and not _NUMBER.fullmatch(value)):
        raise ValueError("a number such as 12 or 0.25")
    return value


def _known_format(value: Any) -> Any:
    if isinstance(value, bool) or value != 1:
        raise ValueError("1, the only format of these files so far")
    return value


def _written_time(value: Any) -> Any:
    if not isinstance(value, time) and not (isinstance(value, str) and _TIME.fullmatch(value)):
        raise ValueError("a time of day such as 06:00")
    return value


def _written_date(value: Any) -> Any:
    if not isinstance(value, date) and not (isinstance(value, str) and _DATE.fullmatch(value)):
        raise ValueError("a date such as 2026-03-31")
    return value


Flag = Annotated[bool, Strict()]  # only true and false, never yes, on or 1
Whole = Annotated[int, Strict()]
Format = Annotated[Literal[1], BeforeValidator(_known_format)]
Number = Annotated[Decimal, BeforeValidator(_written_number)]
Day = Annotated[date, BeforeValidator(_written_date)]
Hour = Annotated[time, BeforeValidator(_written_time)]
Id = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]{0,39}$")]
StepRef = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]*(/[A-Za-z0-9][A-Za-z0-9_-]*)?$")]
Share = Annotated[Number, Field(ge=0, le=1)]
Positive = Annotated[Number, Field(gt=0, le=Decimal("1e6"))]
NotNegative = Annotated[Number, Field(ge=0, le=Decimal("1e6"))]
Evidence = Literal["measured", "estimated", "guessed"]
Device = Literal["disconnect", "breaker", "allpole_switch", "line_valve", "block", "pin", "blind", "plug"]
Energy = Literal[
    "electrical", "pneumatic", "vacuum", "hydraulic", "thermal", "cold", "mechanical", "gravity",
    "material_in_motion", "chemical", "steam",
]  # fmt: skip
Claim = Literal["fragrance_free", "unscented", "organic"]
StepKind = Literal["confirm", "reading", "choice", "text", "scan", "wait", "flush"]
ReadingUnit = Literal[
    "kg", "g", "mg", "t", "L", "mL", "m3", "kg/h", "L/min", "g/cm3", "kg/m3", "%", "ppm", "mg/kg", "mm", "cm", "m", "um",
    "°C", "K", "bar", "mbar", "mbar abs.", "kPa", "Pa", "N", "Nm", "V", "A", "kW", "rpm", "strokes/min", "bars/min",
    "s", "min", "h", "d", "dE00", "pH", "count", "bars", "cartons", "cases", "pallets", "labels", "wraps", "reels",
    "screens", "tools", "dies", "bolts", "locks", "people", "mesh",
]  # fmt: skip


class Model(BaseModel):
    """Frozen, and an unknown key is a fault."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True, coerce_numbers_to_str=True)


class Text(Model):
    """One text in the plant's languages. `es_draft` is a translation that nobody has reviewed yet."""

    en: Annotated[str, StringConstraints(min_length=1, max_length=600)]
    es: Annotated[str, StringConstraints(max_length=600)] | None = None
    es_draft: Annotated[str, StringConstraints(max_length=600)] | None = None

    @model_validator(mode="before")
    @classmethod
    def _plain_string_is_english(cls, value: Any) -> Any:
        return {"en": value} if isinstance(value, str | int) and not isinstance(value, bool) else value

    @field_validator("en", "es", "es_draft")
    @classmethod
    def _one_paragraph(cls, value: str | None) -> str | None:
        if value is not None and "\n" in value:
            raise ValueError("one paragraph (fold a long text with >- rather than |)")
        return value


# --- plant.yaml -------------------------------------------------------------------------------------


class Shift(Model):
    """A shift by its local start; it runs for `hours` and may cross midnight."""

    id: Id
    name: Text
    start: Hour
    hours: Annotated[Whole, Field(ge=1, le=24)]


class Duty(Model):
    """A duty on the floor (line operator, mixer, quality…)."""

    id: Id
    name: Text


class FirstAidTopic(Model):
    """One page of the first-aid screen: what to do, in order, in large letters."""

    id: Id
    title: Text
    lines: Annotated[tuple[Text, ...], Field(min_length=1, max_length=8)]
    source: str


class PinPolicy(Model):
    """When a PIN is asked again inside an open session, and how long a session lasts without a key."""

    again_for: tuple[Literal["critical", "lockout", "witness", "disposition", "release", "every"], ...] = (
        "critical",
        "lockout",
        "witness",
        "disposition",
        "release",
    )
    idle_min: Annotated[Whole, Field(ge=1, le=480)] = 10


class LockoutPolicy(Model):
    """Site policy about lockout; nothing here can make the program laxer than 29 CFR 1910.147."""

    job_age_limit_h: Annotated[Whole, Field(ge=1, le=240)] = 24
    inspection_months: Annotated[Whole, Field(ge=1, le=12)] = 12
    never_exempt: tuple[str, ...] = ("screen_change", "head_opening", "die_change", "lye_line_opening")


class LimitPolicy(Model):
    """Choices behind the residual limit: jurisdiction of the label list, safety factor, mixing."""

    jurisdiction: Literal["EU", "CA", "GB", "US"] = "EU"
    safety_factor: Annotated[Number, Field(ge=1, le=100)] = Decimal(1)
    mixing: Literal["safe", "exact"] = "safe"


class PlantFile(Model):
    """`plant.yaml`: the plant, its time zone, languages, duties, shifts and policies."""

    format: Format
    id: Id
    name: str
    time_zone: str
    languages: tuple[Literal["en", "es"], ...] = ("en", "es")
    emergency_number: str
    emergency_note: Text
    duties: Annotated[tuple[Duty, ...], Field(min_length=1)]
    shifts: Annotated[tuple[Shift, ...], Field(min_length=1)]
    release_duties: tuple[Id, ...] = ("supervisor",)
    pins: PinPolicy = PinPolicy()
    lockout: LockoutPolicy = LockoutPolicy()
    limits: LimitPolicy = LimitPolicy()
    first_aid: Annotated[tuple[FirstAidTopic, ...], Field(min_length=1)]

    @field_validator("time_zone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        if value not in available_timezones():
            raise ValueError("a time-zone name such as America/Denver")
        return value


# --- lines/*.yaml -----------------------------------------------------------------------------------


class UnitSpec(Model):
    """One unit in process order: `plug_kg` of plug flow, then `tanks` stirred cells sharing `mixed_kg`."""

    name: Id
    title: Text
    mixed_kg: NotNegative
    tanks: Annotated[Whole, Field(ge=1, le=60)] = 1
    plug_kg: NotNegative = Decimal(0)
    dead_fraction: Annotated[Number, Field(ge=0, lt=1)] = Decimal(0)
    exchange_ratio: NotNegative = Decimal(0)
    evidence: Evidence
    note: str = ""


class Verification(Model):
    """How isolation of a point is verified: the method, and what must be seen."""

    method: Text
    expect: Text


class IsolationPoint(Model):
    """Where energy is cut off and locked. Push buttons, interlocks and screens are never points (1910.147(b))."""

    id: Id
    name: Text
    machine: str
    place: Text
    energies: Annotated[tuple[Energy, ...], Field(min_length=1)]
    magnitude: str
    device: Device
    lockable: Flag = True
    required: Flag = True
    needs_release: Flag
    release_how: Text | None = None
    reaccumulates: Flag = False
    monitor_min: Annotated[Whole, Field(ge=1, le=480)] | None = None
    verify: Verification

    @model_validator(mode="after")
    def _stored_energy_has_a_way_out(self) -> "IsolationPoint":
        if self.needs_release and self.release_how is None:
            raise ValueError("release_how: a point with stored energy says how it is relieved")
        if self.reaccumulates and self.monitor_min is None:
            raise ValueError("monitor_min: energy that can build up again needs an interval of repeated verification")
        return self


class DosingTank(Model):
    """A fragrance tank. A shared tank keeps `heel_kg` when drained; a dedicated one holds `only` one fragrance."""

    id: Id
    name: Text
    only: Id | None = None
    heel_kg: NotNegative = Decimal(0)
    fill_kg: Positive
    rinse_kg: NotNegative = Decimal(0)


class LineFile(Model):
    """`lines/*.yaml`: units in process order, flash return, dose point, isolation points, tanks, bar."""

    format: Format
    id: Id
    name: Text
    rate_kg_h: Positive
    rate_evidence: Evidence
    units: Annotated[tuple[UnitSpec, ...], Field(min_length=1)]
    flash_fraction: Annotated[Number, Field(ge=0, lt=1)] = Decimal(0)
    flash_to: Id | None = None
    return_kg: NotNegative = Decimal(0)
    dose_at: Id
    slug_g: Positive
    strokes_min: Positive
    cavities: Annotated[Whole, Field(ge=1, le=48)]
    points: Annotated[tuple[IsolationPoint, ...], Field(min_length=1)]
    tanks: Annotated[tuple[DosingTank, ...], Field(min_length=1)]
    affected_duties: tuple[Id, ...]


# --- procedures/*.yaml ------------------------------------------------------------------------------


class Choice(Model):
    """One answer of a `choice` step. `deviation` raises one; `stops` keeps what comes after waiting for a disposition."""

    id: Id
    text: Text
    deviation: Flag = False
    stops: Flag = False


class StepSpec(Model):
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
    standard_min: Annotated[Number, Field(ge=0, le=1440)]
    external: Flag = False
    when: Mapping[str, Flag | str] = Field(default_factory=dict)
    applies_to: tuple[str, ...] = ()
    expires_min: Annotated[Whole, Field(ge=1, le=10080)] | None = None
    reopens: tuple[StepRef, ...] = ()
    # reading
    unit: ReadingUnit | None = None
    low: Number | None = None
    high: Number | None = None
    # choice
    choices: tuple[Choice, ...] = ()
    # scan: the code expected; may hold {incoming}, {outgoing}, {line}, {tank}
    expect: str | None = None
    # wait: minutes to dwell, counted from the step named (default: the step before)
    dwell_min: Annotated[Number, Field(gt=0, le=1440)] | None = None
    since: StepRef | None = None
    # what the step tells the changeover, besides being done
    mark: Literal["last_good_outgoing", "first_good_incoming"] | None = None
    source: str = ""

    @model_validator(mode="after")
    def _kind_has_its_fields(self) -> "StepSpec":
        wants: dict[str, tuple[str, ...]] = {
            "reading": ("unit",),
            "choice": ("choices",),
            "scan": ("expect",),
            "wait": ("dwell_min",),
        }
        for name in wants.get(self.kind, ()):
            if not getattr(self, name):
                raise ValueError(f"{name}: a step of kind {self.kind} needs it")
        owners = {
            "unit": "reading", "low": "reading", "high": "reading", "choices": "choice",
            "expect": "scan", "dwell_min": "wait", "since": "wait",
        }  # fmt: skip
        for name, kind in owners.items():
            if kind != self.kind and name in self.model_fields_set and getattr(self, name) not in (None, ()):
                raise ValueError(f"{name}: only a step of kind {kind} has it")
        if self.low is not None and self.high is not None and self.low > self.high:
            raise ValueError("low: must not be above high")
        return self


class SectionSpec(Model):
    """Steps that belong together. With `lockout`, compose puts the energy-control steps before and after them."""

    id: Id
    title: Text
    lockout: Id | None = None
    beside: Flag = False
    after: tuple[StepRef, ...] | None = None
    when: Mapping[str, Flag | str] = Field(default_factory=dict)
    applies_to: tuple[str, ...] = ()
    first_article: Flag = False
    steps: Annotated[tuple[StepSpec, ...], Field(min_length=1)]


class InspectionCertificate(Model):
    """A periodic inspection of an energy-control procedure (29 CFR 1910.147(c)(6))."""

    machine: str
    date: Day
    inspector: str
    users_observed: tuple[str, ...]
    employees: Annotated[tuple[str, ...], Field(min_length=1)]
    reviewed: tuple[str, ...]


class LockoutContent(Model):
    """What 29 CFR 1910.147(c)(4)(ii) asks a procedure to state; each is a sentence of the site's own."""

    scope: str
    purpose: str
    authorisation: str
    rules_and_techniques: str
    enforcement: str
    intended_use: str
    steps_shut_down_isolate: str
    steps_devices_and_responsible: str
    how_tested: str


class LockoutFile(Model):
    """`procedures/*.yaml` with `kind: lockout`: one machine's energy-control procedure."""

    format: Format
    kind: Literal["lockout"]
    id: Id
    title: Text
    lines: tuple[Id, ...]
    machine: str
    revision: Annotated[Whole, Field(ge=1)]
    effective_on: Day
    changed_on: Day
    points: Annotated[tuple[Id, ...], Field(min_length=1)]
    shut_down: Text
    restart: Text
    other_removal: Flag = False
    content: LockoutContent
    certificates: tuple[InspectionCertificate, ...] = ()


class BlockFile(Model):
    """`procedures/*.yaml` with `kind: block`: sections that a changeover uses."""

    format: Format
    kind: Literal["block"]
    id: Id
    title: Text
    sections: Annotated[tuple[SectionSpec, ...], Field(min_length=1)]


class AloneFile(Model):
    """`procedures/*.yaml` with `kind: alone`: a procedure that stands by itself (eyewash, jam, lye…)."""

    format: Format
    kind: Literal["alone"]
    id: Id
    title: Text
    lines: tuple[Id, ...]
    every_days: Annotated[Whole, Field(ge=1, le=400)] | None = None
    release_duties: tuple[Id, ...] = ()
    sections: Annotated[tuple[SectionSpec, ...], Field(min_length=1)]


class SequenceFile(Model):
    """`procedures/changeover.yaml`: the blocks of a changeover in order; `leave_steps` and `enter_steps` mark
    where the fragrances' own steps go."""

    format: Format
    kind: Literal["changeover"]
    id: Id
    title: Text
    blocks: Annotated[tuple[Id, ...], Field(min_length=1)]


# --- fragrances/*.yaml ------------------------------------------------------------------------------


class OilShare(Model):
    """One oil of a fragrance, by its name in the oil table, as a share of the fragrance."""

    oil: str
    share: Share


class Background(Model):
    """Content of a label item in this bar without any carry-over, kg/kg of finished bar."""

    item: str
    content: Share
    source: str


class Colour(Model):
    """The bar's colour standard (CIE L*a*b*, D65) and a word for it."""

    word: Text
    lab: Annotated[tuple[Number, ...], Field(min_length=3, max_length=3)]


class FragranceFile(Model):
    """`fragrances/*.yaml`: one bar's fragrance: dose, oils, colour, label, claims, tank, its own steps."""

    format: Format
    id: Id
    name: Text
    code: Id
    lines: Annotated[tuple[Id, ...], Field(min_length=1)]
    leave_on: Flag = False
    dose: Share = Decimal(0)
    oils: tuple[OilShare, ...] = ()
    background: tuple[Background, ...] = ()
    colour: Colour
    bar_format: Id
    label: tuple[str, ...] = ()
    claims: tuple[Claim, ...] = ()
    tanks: Mapping[str, str] = Field(default_factory=dict)
    tags: tuple[Id, ...] = ()
    enter: tuple[StepSpec, ...] = ()
    leave: tuple[StepSpec, ...] = ()
    source: str

    @field_validator("oils")
    @classmethod
    def _shares_are_whole(cls, value: tuple[OilShare, ...]) -> tuple[OilShare, ...]:
        total = sum((oil.share for oil in value), Decimal(0))
        if value and abs(total - 1) > Decimal("1e-6"):
            raise ValueError(f"shares that sum to 1 (they sum to {total})")
        return value

    @model_validator(mode="after")
    def _claims_and_dose_fit_the_oils(self) -> "FragranceFile":
        if (self.dose == 0) != (not self.oils):
            raise ValueError("dose: an unscented bar has dose 0 and no oils; a scented one has both")
        if set(self.claims) & {"fragrance_free", "unscented"} and self.oils:
            raise ValueError("claims: a bar with a fragrance cannot claim to have none")
        return self

    @property
    def unscented(self) -> bool:
        """Whether the bar carries no fragrance at all."""
        return not self.oils


ProcedureFile = Annotated[LockoutFile | BlockFile | AloneFile | SequenceFile, Field(discriminator="kind")]


class Library(BaseModel):
    """All of the plant's words, validated, with the digest of the files they came from.

    `folder` is where they were read; `digest` is the SHA-256 over the sorted relative names and bytes of the files
    (`floorterm.library.loading.digest_of`). `files` names the file of each thing: `{"lines/L1": "lines/line-1.yaml"}`.
    """

    model_config = ConfigDict(frozen=True)

    folder: str
    digest: str
    plant: PlantFile
    lines: Mapping[str, LineFile]
    fragrances: Mapping[str, FragranceFile]
    lockouts: Mapping[str, LockoutFile]
    blocks: Mapping[str, BlockFile]
    alone: Mapping[str, AloneFile]
    sequence: SequenceFile
    files: Mapping[str, str] = Field(default_factory=dict)

"""The plant's own words as validated, frozen values: what the YAML files may say.

One model a kind of file. Units stand in the field names. Cross references (an oil that no table has, a
point that no line has) are checked in `floorterm.library.references`, which sees all files at once.
"""

from collections.abc import Mapping
from datetime import date, time
from decimal import Decimal
from typing import Annotated, Any, Literal
from zoneinfo import available_timezones

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, field_validator, model_validator

Id = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]{0,39}$")]
StepRef = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]*(/[A-Za-z0-9][A-Za-z0-9_-]*)?$")]
Share = Annotated[Decimal, Field(ge=0, le=1)]
Positive = Annotated[Decimal, Field(gt=0, le=Decimal("1e6"))]
NotNegative = Annotated[Decimal, Field(ge=0, le=Decimal("1e6"))]
Evidence = Literal["measured", "estimated", "guessed"]
Device = Literal["disconnect", "breaker", "allpole_switch", "line_valve", "block", "pin", "blind", "plug"]
Energy = Literal[
    "electrical", "pneumatic", "vacuum", "hydraulic", "thermal", "cold", "mechanical", "gravity",
    "material_in_motion", "chemical", "steam",
]  # fmt: skip
Claim = Literal["fragrance_free", "unscented", "organic"]
StepKind = Literal["confirm", "reading", "choice", "text", "scan", "wait", "flush"]


class Model(BaseModel):
    """Frozen, and an unknown key is a fault."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)


class Text(Model):
    """One text in the plant's languages. `es_draft` is a translation that nobody has reviewed yet."""

    en: Annotated[str, StringConstraints(min_length=1, max_length=600)]
    es: Annotated[str, StringConstraints(max_length=600)] | None = None
    es_draft: Annotated[str, StringConstraints(max_length=600)] | None = None

    @model_validator(mode="before")
    @classmethod
    def _plain_string_is_english(cls, value: Any) -> Any:
        return {"en": value} if isinstance(value, str) else value


# --- plant.yaml -------------------------------------------------------------------------------------


class Shift(Model):
    """A shift by its local start; it runs for `hours` and may cross midnight."""

    id: Id
    name: Text
    start: time
    hours: Annotated[int, Field(ge=1, le=24)]


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
    idle_min: Annotated[int, Field(ge=1, le=480)] = 10


class LockoutPolicy(Model):
    """Site policy about lockout; nothing here can make the program laxer than 29 CFR 1910.147."""

    job_age_limit_h: Annotated[int, Field(ge=1, le=240)] = 24
    inspection_months: Annotated[int, Field(ge=1, le=12)] = 12
    never_exempt: tuple[str, ...] = ("screen_change", "head_opening", "die_change", "lye_line_opening")


class LimitPolicy(Model):
    """Choices behind the residual limit: jurisdiction of the label list, safety factor, mixing."""

    jurisdiction: Literal["EU", "CA", "GB", "US"] = "EU"
    safety_factor: Annotated[Decimal, Field(ge=1, le=100)] = Decimal(1)
    mixing: Literal["safe", "exact"] = "safe"


class PlantFile(Model):
    """`plant.yaml`: the plant, its time zone, languages, duties, shifts and policies."""

    format: Literal[1]
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
    tanks: Annotated[int, Field(ge=1, le=60)] = 1
    plug_kg: NotNegative = Decimal(0)
    dead_fraction: Annotated[Decimal, Field(ge=0, lt=1)] = Decimal(0)
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
    lockable: bool = True
    required: bool = True
    needs_release: bool
    release_how: Text | None = None
    reaccumulates: bool = False
    monitor_min: Annotated[int, Field(ge=1, le=480)] | None = None
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

    format: Literal[1]
    id: Id
    name: Text
    rate_kg_h: Positive
    rate_evidence: Evidence
    units: Annotated[tuple[UnitSpec, ...], Field(min_length=1)]
    flash_fraction: Annotated[Decimal, Field(ge=0, lt=1)] = Decimal(0)
    flash_to: Id | None = None
    return_kg: NotNegative = Decimal(0)
    dose_at: Id
    slug_g: Positive
    strokes_min: Positive
    cavities: Annotated[int, Field(ge=1, le=48)]
    points: Annotated[tuple[IsolationPoint, ...], Field(min_length=1)]
    tanks: Annotated[tuple[DosingTank, ...], Field(min_length=1)]
    affected_duties: tuple[Id, ...]


# --- procedures/*.yaml ------------------------------------------------------------------------------


class Choice(Model):
    """One answer of a `choice` step. `deviation` raises one; `stops` keeps what comes after waiting for a disposition."""

    id: Id
    text: Text
    deviation: bool = False
    stops: bool = False


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
    standard_min: Annotated[Decimal, Field(ge=0, le=1440)]
    external: bool = False
    when: Mapping[str, bool | str] = Field(default_factory=dict)
    applies_to: tuple[str, ...] = ()
    expires_min: Annotated[int, Field(ge=1, le=10080)] | None = None
    reopens: tuple[StepRef, ...] = ()
    # reading
    unit: str | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    # choice
    choices: tuple[Choice, ...] = ()
    # scan: the code expected; may hold {incoming}, {outgoing}, {line}, {tank}
    expect: str | None = None
    # wait: minutes to dwell, counted from the step named (default: the step before)
    dwell_min: Annotated[Decimal, Field(gt=0, le=1440)] | None = None
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
    beside: bool = False
    after: tuple[StepRef, ...] | None = None
    when: Mapping[str, bool | str] = Field(default_factory=dict)
    applies_to: tuple[str, ...] = ()
    first_article: bool = False
    steps: Annotated[tuple[StepSpec, ...], Field(min_length=1)]


class InspectionCertificate(Model):
    """A periodic inspection of an energy-control procedure (29 CFR 1910.147(c)(6))."""

    machine: str
    date: date
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

    format: Literal[1]
    kind: Literal["lockout"]
    id: Id
    title: Text
    lines: tuple[Id, ...]
    machine: str
    revision: Annotated[int, Field(ge=1)]
    effective_on: date
    changed_on: date
    points: Annotated[tuple[Id, ...], Field(min_length=1)]
    shut_down: Text
    restart: Text
    other_removal: bool = False
    content: LockoutContent
    certificates: tuple[InspectionCertificate, ...] = ()


class BlockFile(Model):
    """`procedures/*.yaml` with `kind: block`: sections that a changeover uses."""

    format: Literal[1]
    kind: Literal["block"]
    id: Id
    title: Text
    sections: Annotated[tuple[SectionSpec, ...], Field(min_length=1)]


class AloneFile(Model):
    """`procedures/*.yaml` with `kind: alone`: a procedure that stands by itself (eyewash, jam, lye…)."""

    format: Literal[1]
    kind: Literal["alone"]
    id: Id
    title: Text
    lines: tuple[Id, ...]
    every_days: Annotated[int, Field(ge=1, le=400)] | None = None
    release_duties: tuple[Id, ...] = ()
    sections: Annotated[tuple[SectionSpec, ...], Field(min_length=1)]


class SequenceFile(Model):
    """`procedures/changeover.yaml`: the blocks of a changeover in order; `leave_steps` and `enter_steps` mark
    where the fragrances' own steps go."""

    format: Literal[1]
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
    lab: Annotated[tuple[Decimal, ...], Field(min_length=3, max_length=3)]


class FragranceFile(Model):
    """`fragrances/*.yaml`: one bar's fragrance: dose, oils, colour, label, claims, tank, its own steps."""

    format: Literal[1]
    id: Id
    name: Text
    code: Id
    lines: Annotated[tuple[Id, ...], Field(min_length=1)]
    leave_on: bool = False
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

    @model_validator(mode="after")
    def _shares_are_whole(self) -> "FragranceFile":
        if (self.dose == 0) != (not self.oils):
            raise ValueError("dose: an unscented bar has dose 0 and no oils; a scented one has both")
        if self.oils and abs(sum(oil.share for oil in self.oils) - 1) > Decimal("1e-6"):
            raise ValueError(f"oils: the shares must sum to 1, they sum to {sum(oil.share for oil in self.oils)}")
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

    `folder` is where they were read; `digest` is the SHA-256 over the sorted relative names and bytes of the files.
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

"""The plant's own words as validated, frozen values: what the YAML files may say.

One model a kind of file. Units stand in the field names. Cross references (an oil that no table has, a
point that no line has) are checked in `floorterm.library.references`, which sees all files at once.
"""

from collections.abc import Mapping
from contextlib import suppress
from decimal import Decimal
from types import MappingProxyType
from typing import Annotated, Literal, TypeVar
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from floorterm.languages import FALLBACK
from floorterm.library.bar_data import (
    BarIndex,
    Colour,
    ColourPolicy,
    Odour,
    OdourPolicy,
    SafetyMaximum,
)
from floorterm.library.flush_data import CalibrationPolicy, CleaningSpec, FlushingSpec, PriceList
from floorterm.library.lot_data import LotPolicy
from floorterm.library.lye_data import LyePolicy, LyeWork
from floorterm.library.plan_data import LinePlan, PlanMachine, PlanPlace
from floorterm.library.procedures import (
    AloneFile,
    BlockFile,
    Choice,
    InspectionCertificate,
    LockoutContent,
    LockoutFile,
    ProcedureFile,
    SectionSpec,
    SequenceFile,
    StepSpec,
)
from floorterm.library.quality_data import BarFormat, MethodSpec, NetContentPolicy
from floorterm.library.record_data import RecordPolicy
from floorterm.library.words import (
    Claim,
    Code,
    Device,
    Energy,
    Evidence,
    Flag,
    Format,
    Hour,
    Id,
    Model,
    NotNegative,
    Number,
    Positive,
    Share,
    Text,
    Whole,
    unbroken,
)

__all__ = [
    "AloneFile",
    "Background",
    "BarFormat",
    "BarIndex",
    "BlockFile",
    "CalibrationPolicy",
    "Choice",
    "CleaningSpec",
    "Colour",
    "ColourPolicy",
    "DosingTank",
    "Duty",
    "FirstAidTopic",
    "FlushingSpec",
    "FragranceFile",
    "InspectionCertificate",
    "IsolationPoint",
    "Library",
    "LimitPolicy",
    "LineFile",
    "LinePlan",
    "LockoutContent",
    "LockoutFile",
    "LockoutPolicy",
    "LyePolicy",
    "LyeWork",
    "MethodSpec",
    "NetContentPolicy",
    "Odour",
    "OdourPolicy",
    "OilShare",
    "PinPolicy",
    "PlanMachine",
    "PlanPlace",
    "PlantFile",
    "PriceList",
    "ProcedureFile",
    "RecordPolicy",
    "SafetyMaximum",
    "SectionSpec",
    "SequenceFile",
    "Shift",
    "StepSpec",
    "Text",
    "UnitSpec",
    "Verification",
]

_NO_ZONES = ("posix", "right", "posixrules")  # beside the zones in the same folder: other ways of counting
_V = TypeVar("_V")

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
    """Site policy about lockout; nothing here can make the program laxer than the jurisdiction's rules.

    `profile` names the jurisdiction whose rules the audit asks for.
    """

    profile: Literal["US", "EU", "UK", "DE", "FR"] = "US"
    job_age_limit_h: Annotated[Whole, Field(ge=1, le=240)] = 24
    inspection_months: Annotated[Whole, Field(ge=1, le=12)] = 12
    never_exempt: tuple[str, ...] = ("screen_change", "head_opening", "die_change", "lye_line_opening")
    crew_limit: Annotated[Whole, Field(ge=2, le=100)] | None = None
    contractor_duties: tuple[
        Id, ...
    ] = ()  # duties of people of outside employers; the duty stands for the firm
    lone_min: Annotated[Whole, Field(ge=1, le=240)] | None = None  # somebody asks after whoever works alone


class LimitPolicy(Model):
    """Choices behind the residual limit: jurisdiction of the label list, safety factor, mixing, colour, odour."""

    jurisdiction: Literal["EU", "CA", "GB", "US"] = "EU"
    safety_factor: Annotated[Number, Field(ge=1, le=100)] = Decimal(1)
    mixing: Literal["safe", "exact"] = "safe"
    colour: ColourPolicy = ColourPolicy()
    odour: OdourPolicy = OdourPolicy()


class PlantFile(Model):
    """`plant.yaml`: the plant, its time zone, languages, duties, shifts and policies."""

    format: Format
    id: Id
    name: str
    time_zone: str
    languages: tuple[Code, ...] = ("en", "es")
    emergency_number: str
    emergency_note: Text
    duties: Annotated[tuple[Duty, ...], Field(min_length=1)]
    shifts: Annotated[tuple[Shift, ...], Field(min_length=1)]
    release_duties: Annotated[tuple[Id, ...], Field(min_length=1)] = ("supervisor",)
    pins: PinPolicy = PinPolicy()
    lockout: LockoutPolicy = LockoutPolicy()
    limits: LimitPolicy = LimitPolicy()
    prices: PriceList | None = None
    calibration: CalibrationPolicy = CalibrationPolicy()
    lye: LyePolicy | None = None
    record: RecordPolicy = RecordPolicy()
    lots: LotPolicy = LotPolicy()
    bar_formats: tuple[BarFormat, ...] = ()
    net_content: NetContentPolicy = NetContentPolicy()
    first_aid: Annotated[tuple[FirstAidTopic, ...], Field(min_length=1)]

    @property
    def written(self) -> tuple[str, ...]:
        """The languages of a worksheet: English, to which every text falls back, and those of the plant."""
        return tuple(dict.fromkeys((FALLBACK, *self.languages)))

    @field_validator("time_zone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        with suppress(OSError, ValueError, KeyError):  # no such file, no zone in it, no name of one
            ZoneInfo(value)
            if value.partition("/")[0] not in _NO_ZONES:
                return value
        raise ValueError("a time-zone name such as America/Denver")


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
    """Where energy is cut off and locked. Push buttons and interlocks are never points (1910.147(b))."""

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
    extra_measure: Text | None = None
    verify: Verification
    at: PlanPlace | None = None

    @model_validator(mode="after")
    def _stored_energy_has_a_way_out(self) -> "IsolationPoint":
        broken = []
        if self.id.upper() == "BOX":
            broken.append("id: another id, as BOX means the lock box of a group")
        if self.needs_release and self.release_how is None:
            broken.append("release_how: how the stored energy of this point is relieved")
        if self.reaccumulates and self.monitor_min is None:
            broken.append("monitor_min: minutes between verifications, as energy can build up again")
        if not self.lockable and self.extra_measure is None:
            broken.append(
                "extra_measure: what is done besides the tag, as the point takes no lock ((c)(3)(ii))"
            )
        return unbroken(self, broken)


class DosingTank(Model):
    """A fragrance tank: shared, with `heel_kg` left when drained, or for `only` one fragrance."""

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
    plan: LinePlan | None = None
    tanks: Annotated[tuple[DosingTank, ...], Field(min_length=1)]
    flushing: FlushingSpec | None = None
    affected_duties: tuple[Id, ...]


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


class FragranceFile(Model):
    """`fragrances/*.yaml`: one bar's fragrance: dose, oils, colour, odour, label, claims, tank, own steps."""

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
    odour: Odour | None = None
    indices: tuple[BarIndex, ...] = ()
    maxima: tuple[SafetyMaximum, ...] = ()
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
        broken = []
        if (self.dose == 0) != (not self.oils):
            broken.append("dose: 0 for a bar without oils, more than 0 for one with oils")
        if set(self.claims) & {"fragrance_free", "unscented"} and self.oils:
            broken.append("claims: no claim of being without fragrance on a bar that has oils")
        if self.odour is not None and not self.oils:
            broken.append("odour: none for a bar without oils")
        return unbroken(self, broken)

    @property
    def unscented(self) -> bool:
        """Whether the bar carries no fragrance at all."""
        return not self.oils


class Library(BaseModel):
    """All of the plant's words, validated, with the digest of the files they came from.

    `folder` is where they were read; `digest` is the SHA-256 over the sorted names and bytes of the files
    (`floorterm.library.loading.digest_of`). `files` names the file of each thing by kind and id
    (`lines/L1`, `fragrances/…`, `lockouts/…`, `blocks/…`, `alone/…`, `plant`, `sequence`).
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

    @field_validator("lines", "fragrances", "lockouts", "blocks", "alone", "files")
    @classmethod
    def _unchangeable(cls, value: Mapping[str, _V]) -> Mapping[str, _V]:
        return MappingProxyType(dict(value))

"""The plant's own words as validated, frozen values: what the YAML files may say.

One model a kind of file. Units stand in the field names. Cross references (an oil that no table has, a
point that no line has) are checked in `floorterm.library.references`, which sees all files at once.
"""

from collections.abc import Mapping
from contextlib import suppress
from decimal import Decimal
from types import MappingProxyType
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from msgspec import Struct, field
from msgspec.structs import force_setattr

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
    SectionSpec,
    SequenceFile,
    StepSpec,
)
from floorterm.library.quality_data import BarFormat, MethodSpec, NetContentPolicy
from floorterm.library.record_data import RecordPolicy
from floorterm.library.shapes import Bounds, Length, Rule
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

# --- plant.yaml -------------------------------------------------------------------------------------


class Shift(Struct, frozen=True, kw_only=True):
    """A shift by its local start; it runs for `hours` and may cross midnight."""

    id: Id
    name: Text
    start: Hour
    hours: Annotated[Whole, Bounds(ge=1, le=24)]


class Duty(Struct, frozen=True, kw_only=True):
    """A duty on the floor (line operator, mixer, quality…)."""

    id: Id
    name: Text


class FirstAidTopic(Struct, frozen=True, kw_only=True):
    """One page of the first-aid screen: what to do, in order, in large letters."""

    id: Id
    title: Text
    lines: Annotated[tuple[Text, ...], Length(least=1, most=8)]
    source: str


class PinPolicy(Struct, frozen=True, kw_only=True):
    """When a PIN is asked again inside an open session, and how long a session lasts without a key."""

    again_for: tuple[Literal["critical", "lockout", "witness", "disposition", "release", "every"], ...] = (
        "critical",
        "lockout",
        "witness",
        "disposition",
        "release",
    )
    idle_min: Annotated[Whole, Bounds(ge=1, le=480)] = 10


class LockoutPolicy(Struct, frozen=True, kw_only=True):
    """Site policy about lockout; nothing here can make the program laxer than the jurisdiction's rules.

    `profile` names the jurisdiction whose rules the audit asks for.
    """

    profile: Literal["US", "EU", "UK", "DE", "FR"] = "US"
    job_age_limit_h: Annotated[Whole, Bounds(ge=1, le=240)] = 24
    inspection_months: Annotated[Whole, Bounds(ge=1, le=12)] = 12
    never_exempt: tuple[str, ...] = ("screen_change", "head_opening", "die_change", "lye_line_opening")
    crew_limit: Annotated[Whole, Bounds(ge=2, le=100)] | None = None
    contractor_duties: tuple[
        Id, ...
    ] = ()  # duties of people of outside employers; the duty stands for the firm
    lone_min: Annotated[Whole, Bounds(ge=1, le=240)] | None = None  # somebody asks after whoever works alone


class LimitPolicy(Struct, frozen=True, kw_only=True):
    """Choices behind the residual limit: jurisdiction of the label list, safety factor, mixing, colour, odour."""

    jurisdiction: Literal["EU", "CA", "GB", "US"] = "EU"
    safety_factor: Annotated[Number, Bounds(ge=1, le=100)] = Decimal(1)
    mixing: Literal["safe", "exact"] = "safe"
    colour: ColourPolicy = ColourPolicy()
    odour: OdourPolicy = OdourPolicy()


def _no_zone(name: str) -> str:
    with suppress(OSError, ValueError, KeyError):  # no such file, no zone in it, no name of one
        ZoneInfo(name)
        if name.partition("/")[0] not in _NO_ZONES:
            return ""
    return "a time-zone name such as America/Denver"


class PlantFile(Struct, frozen=True, kw_only=True):
    """`plant.yaml`: the plant, its time zone, languages, duties, shifts and policies."""

    format: Format
    id: Id
    name: str
    time_zone: Annotated[str, Rule(_no_zone)]
    languages: tuple[Code, ...] = ("en", "es")
    emergency_number: str
    emergency_note: Text
    duties: Annotated[tuple[Duty, ...], Length(least=1)]
    shifts: Annotated[tuple[Shift, ...], Length(least=1)]
    release_duties: Annotated[tuple[Id, ...], Length(least=1)] = ("supervisor",)
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
    first_aid: Annotated[tuple[FirstAidTopic, ...], Length(least=1)]

    @property
    def written(self) -> tuple[str, ...]:
        """The languages of a worksheet: English, to which every text falls back, and those of the plant."""
        return tuple(dict.fromkeys((FALLBACK, *self.languages)))


# --- lines/*.yaml -----------------------------------------------------------------------------------


class UnitSpec(Struct, frozen=True, kw_only=True):
    """One unit in process order: `plug_kg` of plug flow, then `tanks` stirred cells sharing `mixed_kg`."""

    name: Id
    title: Text
    mixed_kg: NotNegative
    tanks: Annotated[Whole, Bounds(ge=1, le=60)] = 1
    plug_kg: NotNegative = Decimal(0)
    dead_fraction: Annotated[Number, Bounds(ge=0, lt=1)] = Decimal(0)
    exchange_ratio: NotNegative = Decimal(0)
    evidence: Evidence
    note: str = ""


class Verification(Struct, frozen=True, kw_only=True):
    """How isolation of a point is verified: the method, and what must be seen."""

    method: Text
    expect: Text


class IsolationPoint(Struct, frozen=True, kw_only=True):
    """Where energy is cut off and locked. Push buttons and interlocks are never points (1910.147(b))."""

    id: Id
    name: Text
    machine: str
    place: Text
    energies: Annotated[tuple[Energy, ...], Length(least=1)]
    magnitude: str
    device: Device
    lockable: Flag = True
    required: Flag = True
    needs_release: Flag
    release_how: Text | None = None
    reaccumulates: Flag = False
    monitor_min: Annotated[Whole, Bounds(ge=1, le=480)] | None = None
    extra_measure: Text | None = None
    verify: Verification
    at: PlanPlace | None = None

    def __post_init__(self) -> None:
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
        unbroken(broken)


class DosingTank(Struct, frozen=True, kw_only=True):
    """A fragrance tank: shared, with `heel_kg` left when drained, or for `only` one fragrance."""

    id: Id
    name: Text
    only: Id | None = None
    heel_kg: NotNegative = Decimal(0)
    fill_kg: Positive
    rinse_kg: NotNegative = Decimal(0)


class LineFile(Struct, frozen=True, kw_only=True):
    """`lines/*.yaml`: units in process order, flash return, dose point, isolation points, tanks, bar."""

    format: Format
    id: Id
    name: Text
    rate_kg_h: Positive
    rate_evidence: Evidence
    units: Annotated[tuple[UnitSpec, ...], Length(least=1)]
    flash_fraction: Annotated[Number, Bounds(ge=0, lt=1)] = Decimal(0)
    flash_to: Id | None = None
    return_kg: NotNegative = Decimal(0)
    dose_at: Id
    slug_g: Positive
    strokes_min: Positive
    cavities: Annotated[Whole, Bounds(ge=1, le=48)]
    points: Annotated[tuple[IsolationPoint, ...], Length(least=1)]
    plan: LinePlan | None = None
    tanks: Annotated[tuple[DosingTank, ...], Length(least=1)]
    flushing: FlushingSpec | None = None
    affected_duties: tuple[Id, ...]


# --- fragrances/*.yaml ------------------------------------------------------------------------------


class OilShare(Struct, frozen=True, kw_only=True):
    """One oil of a fragrance, by its name in the oil table, as a share of the fragrance."""

    oil: str
    share: Share


class Background(Struct, frozen=True, kw_only=True):
    """Content of a label item in this bar without any carry-over, kg/kg of finished bar."""

    item: str
    content: Share
    source: str


def _no_whole(oils: tuple[OilShare, ...]) -> str:
    total = sum((oil.share for oil in oils), Decimal(0))
    off = oils and abs(total - 1) > Decimal("1e-6")
    return f"shares that sum to 1 (they sum to {total})" if off else ""


class FragranceFile(Struct, frozen=True, kw_only=True):
    """`fragrances/*.yaml`: one bar's fragrance: dose, oils, colour, odour, label, claims, tank, own steps."""

    format: Format
    id: Id
    name: Text
    code: Id
    lines: Annotated[tuple[Id, ...], Length(least=1)]
    leave_on: Flag = False
    dose: Share = Decimal(0)
    oils: Annotated[tuple[OilShare, ...], Rule(_no_whole)] = ()
    background: tuple[Background, ...] = ()
    colour: Colour
    odour: Odour | None = None
    indices: tuple[BarIndex, ...] = ()
    maxima: tuple[SafetyMaximum, ...] = ()
    bar_format: Id
    label: tuple[str, ...] = ()
    claims: tuple[Claim, ...] = ()
    tanks: Mapping[str, str] = field(default_factory=dict)
    tags: tuple[Id, ...] = ()
    enter: tuple[StepSpec, ...] = ()
    leave: tuple[StepSpec, ...] = ()
    source: str

    def __post_init__(self) -> None:
        broken = []
        if (self.dose == 0) != (not self.oils):
            broken.append("dose: 0 for a bar without oils, more than 0 for one with oils")
        if set(self.claims) & {"fragrance_free", "unscented"} and self.oils:
            broken.append("claims: no claim of being without fragrance on a bar that has oils")
        if self.odour is not None and not self.oils:
            broken.append("odour: none for a bar without oils")
        unbroken(broken)

    @property
    def unscented(self) -> bool:
        """Whether the bar carries no fragrance at all."""
        return not self.oils


class Library(Struct, frozen=True, kw_only=True):
    """All of the plant's words, validated, with the digest of the files they came from.

    `folder` is where they were read; `digest` is the SHA-256 over the sorted names and bytes of the files
    (`floorterm.library.loading.digest_of`). `files` names the file of each thing by kind and id
    (`lines/L1`, `fragrances/…`, `lockouts/…`, `blocks/…`, `alone/…`, `plant`, `sequence`).
    """

    folder: str
    digest: str
    plant: PlantFile
    lines: Mapping[str, LineFile]
    fragrances: Mapping[str, FragranceFile]
    lockouts: Mapping[str, LockoutFile]
    blocks: Mapping[str, BlockFile]
    alone: Mapping[str, AloneFile]
    sequence: SequenceFile
    files: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Keep mappings that nobody can change."""
        for name in ("lines", "fragrances", "lockouts", "blocks", "alone", "files"):
            force_setattr(self, name, MappingProxyType(dict(getattr(self, name))))

"""What a bar may state besides its oils, and how a plant judges it: colour, odour, claims, health, maxima.

Every group is optional. A figure carries its source and how far that source was read.
"""

from math import isfinite

from msgspec import Struct

from floorterm.flush.errors import LimitInputError, as_number
from floorterm.library.tables import Confidence

Lab = tuple[float, float, float]
Weights = tuple[tuple[float, float, float], ...]

# Linear sRGB primaries to XYZ, one row a band (R, G, B), IEC 61966-2-1 with a D65 white: the white is the sum.
SRGB_BANDS: Weights = (
    (0.4124564, 0.2126729, 0.0193339),
    (0.3575761, 0.7151522, 0.1191920),
    (0.1804375, 0.0721750, 0.9503041),
)


class BarColour(Struct, frozen=True, kw_only=True):
    """The colour of a bar: its standard in CIELAB (D65), and the reflectance measured in bands.

    `bands`: reflectance in (0, 1] by band; `weights`: X, Y and Z of each band at reflectance 1 (default:
    three bands taken as linear sRGB primaries). Raises LimitInputError naming the field.
    """

    bands: tuple[float, ...] = ()
    lab: Lab | None = None
    weights: Weights = SRGB_BANDS
    source: str = ""
    confidence: Confidence = "text-seen"

    def __post_init__(self) -> None:
        if not self.bands and self.lab is None:
            raise LimitInputError("colour", "no_colour")
        for number, band in enumerate(self.bands):
            as_number(LimitInputError, f"colour.bands[{number}]", band, high=1.0, low_open=True)
        if self.bands and len(self.bands) != len(self.weights):
            found, wanted = f"{len(self.bands)}", f"{len(self.weights)}"
            raise LimitInputError("colour.bands", "band_count", found=found, wanted=wanted)
        for place, row in enumerate(self.weights):
            for value in row:
                as_number(LimitInputError, f"colour.weights[{place}]", value)
        if not all(sum(row[axis] for row in self.weights) > 0 for axis in range(3)):
            raise LimitInputError("colour.weights", "no_white")
        for axis, value in zip("Lab", self.lab or (), strict=False):
            if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
                raise LimitInputError(f"colour.lab.{axis}", "not_finite", found=str(value))
        if self.lab is not None:
            as_number(LimitInputError, "colour.lab.L", self.lab[0], high=100.0)


class ColourRule(Struct, frozen=True, kw_only=True):
    """Which CIEDE2000 difference from the incoming standard quality is warned of, and which one limits.

    Defaults: half of observers see 0.8 and accept no more than 1.8 (Paravina et al. 2015, abstract read;
    neighbouring samples in good light): a starting point, to be confirmed on real bars. `straight_line`
    mixes on a straight line in CIELAB, which is far too generous for dark into light; only where asked for.
    """

    warn_de: float = 0.8
    limit_de: float = 1.8
    straight_line: bool = False

    def __post_init__(self) -> None:
        limit = as_number(LimitInputError, "colour.limit_de", self.limit_de, low_open=True)
        as_number(LimitInputError, "colour.warn_de", self.warn_de, low_open=True, high=limit)


class BarOdour(Struct, frozen=True, kw_only=True):
    """Odour activity of a bar: headspace concentration over the odour threshold, no unit.

    Published thresholds of one substance spread over decades: use what a panel measured on real bars.
    """

    activity: float
    source: str = ""
    confidence: Confidence = "text-seen"

    def __post_init__(self) -> None:
        as_number(LimitInputError, "odour.activity", self.activity)


class OdourRule(Struct, frozen=True, kw_only=True):
    """`difference`: relative change of a smell that people notice, about 0.15 to 0.3 (from memory)."""

    difference: float = 0.25

    def __post_init__(self) -> None:
        as_number(LimitInputError, "odour.difference", self.difference, high=1.0, low_open=True)


class Index(Struct, frozen=True, kw_only=True):
    """A mass-weighted index of a bar in 0..1, as natural origin after ISO 16128; `claim`: what the pack says."""

    name: str
    value: float
    claim: float | None = None
    source: str = ""
    confidence: Confidence = "text-seen"

    def __post_init__(self) -> None:
        if not isinstance(self.name, str) or not self.name:
            raise LimitInputError("indices.name", "nameless", found=repr(self.name))
        as_number(LimitInputError, f"indices.{self.name}.value", self.value, high=1.0)
        if self.claim is not None:
            as_number(LimitInputError, f"indices.{self.name}.claim", self.claim, high=1.0)


class Maximum(Struct, frozen=True):
    """The most of a label item that a bar may hold for safety, kg/kg: from the supplier's certificate."""

    item: str
    content: float
    source: str = ""
    confidence: Confidence = "text-seen"


class Active(Struct, frozen=True, kw_only=True):
    """A drug active of the outgoing bar: its mass share (kg/kg), the health-based exposure limit and the
    lowest daily dose in mg a day, each None where nobody has set it.
    """

    name: str
    share: float
    exposure_limit_mg_d: float | None = None
    lowest_dose_mg_d: float | None = None
    source: str = ""
    confidence: Confidence = "text-seen"

    def __post_init__(self) -> None:
        as_number(LimitInputError, "active.share", self.share, high=1.0, low_open=True)
        for field in ("exposure_limit_mg_d", "lowest_dose_mg_d"):
            value = getattr(self, field)
            if value is not None:
                as_number(LimitInputError, f"active.{field}", value, low_open=True)


class NextUse(Struct, frozen=True, kw_only=True):
    """The incoming product where the outgoing one held a drug active: batch in kg, largest use in g a day."""

    batch_kg: float
    largest_daily_g: float

    def __post_init__(self) -> None:
        as_number(LimitInputError, "next_use.batch_kg", self.batch_kg, low_open=True)
        as_number(LimitInputError, "next_use.largest_daily_g", self.largest_daily_g, low_open=True)


class HealthRule(Struct, frozen=True, kw_only=True):
    """How a carried-over drug active is judged (informative; cosmetics' good practice does not ask for it).

    `dose_divisor`: 1000 of the lowest daily dose. `general_mg_kg`: 10 mg/kg. `visible_ug_cm2`: 4 is a
    convention out of early spiking work, published figures run from 0.4 to more than 10. `shared_area_m2`:
    equipment that both products touch; without it the visible rule is not computed.
    """

    dose_divisor: float = 1000.0
    general_mg_kg: float = 10.0
    visible_ug_cm2: float = 4.0
    shared_area_m2: float | None = None

    def __post_init__(self) -> None:
        as_number(LimitInputError, "health.dose_divisor", self.dose_divisor, low=1.0)
        as_number(LimitInputError, "health.general_mg_kg", self.general_mg_kg, low_open=True)
        as_number(LimitInputError, "health.visible_ug_cm2", self.visible_ug_cm2, low_open=True)
        if self.shared_area_m2 is not None:
            as_number(LimitInputError, "health.shared_area_m2", self.shared_area_m2, low_open=True)

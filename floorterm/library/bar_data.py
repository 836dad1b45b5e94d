"""What a fragrance file may say of its bar besides the oils: colour, odour, indices and safety maxima; and how
the plant judges colour and odour.
"""

from decimal import Decimal
from typing import Annotated

from msgspec import Struct

from floorterm.library.shapes import Bounds, Length, Rule
from floorterm.library.words import (
    Evidence,
    Flag,
    NotNegative,
    Number,
    Positive,
    Share,
    Text,
    unbroken,
)

Band = Annotated[Number, Bounds(gt=0, le=1)]


def _no_lightness(lab: tuple[Decimal, ...]) -> str:
    return "" if 0 <= lab[0] <= 100 else "L*, a* and b* with L* from 0 to 100"


class Colour(Struct, frozen=True, kw_only=True):
    """The bar's colour standard (CIE L*a*b*, D65) and a word for it.

    `bands`: reflectance of the bar in red, green and blue, 0 to 1, as linear sRGB primaries; without them
    the flush does not judge the colour.
    """

    word: Text
    lab: Annotated[tuple[Number, ...], Length(least=3, most=3), Rule(_no_lightness)]
    bands: Annotated[tuple[Band, ...], Length(least=3, most=3)] | None = None
    evidence: Evidence = "guessed"
    source: str = ""


class Odour(Struct, frozen=True, kw_only=True):
    """Odour activity of the bar: how many times its headspace can be diluted until it is not smelt."""

    activity: NotNegative
    evidence: Evidence
    source: str


class BarIndex(Struct, frozen=True, kw_only=True):
    """An index of the bar, 0 to 1, by mass (natural origin); `claim` is the least that the pack promises."""

    name: Annotated[str, Length(least=1, most=60)]
    value: Share
    claim: Share | None = None
    evidence: Evidence
    source: str


class SafetyMaximum(Struct, frozen=True, kw_only=True):
    """The most of a label item that this bar may hold, kg/kg of finished bar."""

    item: str
    content: Share
    evidence: Evidence
    source: str


class ColourPolicy(Struct, frozen=True, kw_only=True):
    """Colour difference (CIEDE2000) that is warned of and that limits; `apply: false` leaves the rule out.

    `straight_line` mixes on a straight line in L*a*b*: far too generous from dark to light.
    """

    apply: Flag = True
    warn_de: Positive = Decimal("0.8")
    limit_de: Positive = Decimal("1.8")
    straight_line: Flag = False

    def __post_init__(self) -> None:
        broken = []
        if self.warn_de > self.limit_de:
            broken.append(f"warn_de: at most limit_de, which is {self.limit_de}")
        unbroken(broken)


class OdourPolicy(Struct, frozen=True, kw_only=True):
    """`difference`: relative change of a smell that people notice; `apply: false` leaves the rule out."""

    apply: Flag = True
    difference: Annotated[Number, Bounds(gt=0, le=1)] = Decimal("0.25")

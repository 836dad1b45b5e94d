"""What a fragrance file may say of its bar besides the oils: colour, odour, indices and safety maxima; and how
the plant judges colour and odour.
"""

from decimal import Decimal
from typing import Annotated

from pydantic import Field, StringConstraints, field_validator, model_validator

from floorterm.library.words import (
    Evidence,
    Flag,
    Model,
    NotNegative,
    Number,
    Positive,
    Share,
    Text,
    unbroken,
)

Band = Annotated[Number, Field(gt=0, le=1)]


class Colour(Model):
    """The bar's colour standard (CIE L*a*b*, D65) and a word for it.

    `bands`: reflectance of the bar in red, green and blue, 0 to 1, as linear sRGB primaries; without them
    the flush does not judge the colour.
    """

    word: Text
    lab: Annotated[tuple[Number, ...], Field(min_length=3, max_length=3)]
    bands: Annotated[tuple[Band, ...], Field(min_length=3, max_length=3)] | None = None
    evidence: Evidence = "guessed"
    source: str = ""

    @field_validator("lab")
    @classmethod
    def _lightness(cls, value: tuple[Decimal, ...]) -> tuple[Decimal, ...]:
        if not 0 <= value[0] <= 100:
            raise ValueError("L*, a* and b* with L* from 0 to 100")
        return value


class Odour(Model):
    """Odour activity of the bar: how many times its headspace can be diluted until it is not smelt."""

    activity: NotNegative
    evidence: Evidence
    source: str


class BarIndex(Model):
    """An index of the bar, 0 to 1, by mass (natural origin); `claim` is the least that the pack promises."""

    name: Annotated[str, StringConstraints(min_length=1, max_length=60)]
    value: Share
    claim: Share | None = None
    evidence: Evidence
    source: str


class SafetyMaximum(Model):
    """The most of a label item that this bar may hold, kg/kg of finished bar."""

    item: str
    content: Share
    evidence: Evidence
    source: str


class ColourPolicy(Model):
    """Colour difference (CIEDE2000) that is warned of and that limits; `apply: false` leaves the rule out.

    `straight_line` mixes on a straight line in L*a*b*: far too generous from dark to light.
    """

    apply: Flag = True
    warn_de: Positive = Decimal("0.8")
    limit_de: Positive = Decimal("1.8")
    straight_line: Flag = False

    @model_validator(mode="after")
    def _warned_before_it_limits(self) -> "ColourPolicy":
        broken = []
        if self.warn_de > self.limit_de:
            broken.append(f"warn_de: at most limit_de, which is {self.limit_de}")
        return unbroken(self, broken)


class OdourPolicy(Model):
    """`difference`: relative change of a smell that people notice; `apply: false` leaves the rule out."""

    apply: Flag = True
    difference: Annotated[Number, Field(gt=0, le=1)] = Decimal("0.25")

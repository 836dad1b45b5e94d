"""What a plant says about lots and rework. Every default is common practice, no source."""

from decimal import Decimal
from typing import Annotated

from msgspec import Struct

from floorterm.library.shapes import Bounds
from floorterm.library.words import Number, Whole

_Share = Annotated[Number, Bounds(gt=0, le=100)]


class LotPolicy(Struct, frozen=True, kw_only=True):
    """`carry_holdups`: how many contents of a line must leave it until a lot counts as gone (a well-mixed one then
    keeps exp(-3), 5 %). Rework: the largest share in a batch of the same fragrance and of any other, and its age.
    """

    carry_holdups: Annotated[Number, Bounds(gt=0, le=20)] = Decimal(3)
    own_rework_max_pct: _Share = Decimal(10)
    other_rework_max_pct: _Share = Decimal(2)
    rework_max_age_d: Annotated[Whole, Bounds(ge=1, le=3650)] = 30

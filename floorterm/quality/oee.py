"""OEE by the names of ISO 22400-2 (formulas as a machine-tool communication standard carries them)."""

from msgspec import Struct

from floorterm.quality.errors import QualityError

DEFINITIONS = (
    ("availability", "APT / PBT"),
    ("effectiveness", "PRI * PQ / APT"),
    ("quality_ratio", "GQ / PQ"),
    ("oee", "availability * effectiveness * quality_ratio = GQ * PRI / PBT"),
)


class Oee(Struct, frozen=True):
    """The three ratios and their product. A changeover is inside PBT and outside APT: it lowers availability.

    `suspicious` says that effectiveness is above 1: the planned run time per item is wrong. It is never clipped.
    """

    availability: float
    effectiveness: float
    quality_ratio: float

    @property
    def oee(self) -> float:
        """The product of the three."""
        return self.availability * self.effectiveness * self.quality_ratio

    @property
    def suspicious(self) -> bool:
        """Whether more was made than the planned run time per item allows."""
        return self.effectiveness > 1 + 1e-9


def oee(
    *, planned_busy_min: float, production_min: float, item_min: float, produced: float, good: float
) -> Oee:
    """PBT and APT in minutes, PRI in minutes an item, PQ and GQ in items.

    Raises QualityError where nothing was planned, run or made, or the parts are larger than the whole.
    """
    if min(planned_busy_min, production_min, item_min, produced) <= 0:
        raise QualityError("Without planned time, running time, a time per item and items there is no OEE.")
    if production_min > planned_busy_min or not 0 <= good <= produced:
        raise QualityError("Running time is part of planned time, and good items are part of those produced.")
    return Oee(production_min / planned_busy_min, item_min * produced / production_min, good / produced)

"""What the flush calculation refuses: one family of errors, each naming the field at fault."""

import math
from collections.abc import Sequence
from decimal import Decimal
from numbers import Real

from floorterm.wording import Fact, Say, sentence


class FlushError(ValueError):
    """A figure that no flush can be computed from. `field` names it, `say` is the sentence for people."""

    def __init__(self, field: str, reason: str, **facts: Fact) -> None:
        self.field = field
        self.say = Say(f"flush.error.{reason}", {"field": field, **facts})
        super().__init__(sentence(self.say))


class LineModelError(FlushError):
    """A line model with a number out of range, or a unit name that is unknown or repeated."""


class WashoutInputError(FlushError):
    """A mass, limit, floor or start state that makes no sense for a washout."""


class LimitInputError(FlushError):
    """A bar or a rule that no residual limit can be derived from."""


class TankInputError(FlushError):
    """A dosing tank, a rinse or a target that no rinse plan can be made for."""


class DosingInputError(FlushError):
    """A dose, a pump reading or a run that no dosing check or plan follows from."""


class CapacityInputError(FlushError):
    """A rate, stroke or reject figure that no capacity follows from."""


class QuantityInputError(FlushError):
    """A rate, slug mass or evidence mark that makes no sense for a flush quantity."""


def as_number(
    kind: type[FlushError],
    field: str,
    value: object,
    *,
    low: float = 0.0,
    high: float = math.inf,
    low_open: bool = False,
    high_open: bool = False,
) -> float:
    """The value as a finite float within a range, or an error of `kind` that names the field."""
    if isinstance(value, bool) or not isinstance(value, Real | Decimal):
        raise kind(field, "no_number", found=repr(value))
    number = float(value)
    if not math.isfinite(number):
        raise kind(field, "not_finite", found=str(value))
    if number < low or (low_open and number == low):
        raise kind(field, "too_low" if low_open else "below", found=f"{number:g}", low=f"{low:g}")
    if number > high or (high_open and number == high):
        raise kind(field, "too_high" if high_open else "above", found=f"{number:g}", high=f"{high:g}")
    return number


def one_of(kind: type[FlushError], field: str, value: str, known: Sequence[str]) -> None:
    """Refuse a word that is not one of those known, naming the field and the words."""
    if value not in known:
        raise kind(field, "unknown", found=str(value), known=", ".join(known))

"""What the lye arithmetic refuses: one family of errors, each naming the field at fault."""

import math
from numbers import Real

from floorterm.wording import Fact, Say, sentence


class LyeError(ValueError):
    """A figure that nothing may be computed from. `field` names it, `say` is the sentence for people."""

    def __init__(self, field: str, reason: str, **facts: Fact) -> None:
        self.field = field
        self.say = Say(f"lye.error.{reason}", {"field": field, **facts})
        super().__init__(sentence(self.say))


class OutsideTableError(LyeError):
    """A strength or temperature that no table covers: refused, never extrapolated."""


class DilutionError(LyeError):
    """A dilution that cannot be: no weaker than its stock, no mass, or a vessel that is too small."""


class SolidError(LyeError):
    """A solution from solid that would get too hot for one stage: cool, add in stages, competent person."""


class SpillError(LyeError):
    """A spill or a kit that makes no sense, or a neutraliser that must never be used."""


class ProtectionError(LyeError):
    """An unknown task class, or a condition under which the task must not start at all."""


class TitrationError(LyeError):
    """A titration whose figures give no result."""


class TableError(ValueError):
    """A row of a data table that ships with the code cannot be read; names the file, the row and the column."""


def number(
    kind: type[LyeError], field: str, value: object, *, low: float = -math.inf, low_open: bool = False
) -> float:
    """The value as a finite float, not below `low` (above it with `low_open`), or an error of `kind`."""
    if isinstance(value, bool) or not isinstance(value, Real):
        raise kind(field, "no_number", found=repr(value))
    found = float(value)
    if not math.isfinite(found):
        raise kind(field, "not_finite", found=str(value))
    if found < low or (low_open and found == low):
        raise kind(field, "too_low" if low_open else "below", found=f"{found:g}", low=f"{low:g}")
    return found

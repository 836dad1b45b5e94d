"""A calibration that a person accepts: figures out of check samples as an entry keeps them, and read back."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from math import exp, hypot
from typing import Any

import msgspec
from msgspec import Struct

from floorterm.flush.pool import SPREAD
from floorterm.flush.proposal import Proposal
from floorterm.library.calibrated import CalibratedField, CalibratedValue, Calibration

CALIBRATED = "line.calibrated"
_DIGITS = 6


class AcceptedValue(Struct, frozen=True, kw_only=True):
    """One figure: as it counted until now, as accepted, its standard error and its one-sided bounds."""

    unit: str
    field: CalibratedField
    old: Decimal
    new: Decimal
    se: Decimal | None = None
    low: Decimal
    high: Decimal


class SampleFile(Struct, frozen=True, kw_only=True):
    """A file of check samples by its name and the SHA-256 of its bytes."""

    name: str
    sha256: str


class Acceptance(Struct, frozen=True, kw_only=True):
    """What somebody accepts. `spread`: sd of ln holdup of the next changeover. `before`: the entry accepted
    before, on whose figures this one was computed (0: those of the line file).
    """

    values: tuple[AcceptedValue, ...]
    spread: Decimal
    confidence: Decimal
    factor: Decimal
    changeovers: int
    files: tuple[SampleFile, ...]
    before: int = 0


def acceptance_of(found: Proposal, files: Sequence[SampleFile], before: int = 0) -> Acceptance:
    """A proposal as an entry keeps it: six significant digits, standard errors by the delta method.

    The sd of ln holdup is that of the next changeover where several were pooled; from a single one it is the
    error of its fit and the declared spread between changeovers together.
    """
    last = found.fits[-1]
    if found.pooled is not None:
        sd, next_sd = found.pooled.sd_log, found.pooled.next_sd_log
    else:
        sd, next_sd = last.se_log, hypot(last.se_log, SPREAD)
    return Acceptance(
        values=tuple(
            AcceptedValue(
                unit=one.unit,
                field=one.field,
                old=_short(one.old),
                new=_short(one.new),
                se=None if one.field == "tanks" else _short(one.new * sd),
                low=_short(one.low),
                high=_short(one.high),
            )
            for one in found.values
        ),
        spread=_short(next_sd),
        confidence=_short(found.confidence),
        factor=_short(found.factor if found.pooled is not None else exp(last.log_factor)),
        changeovers=len(found.fits),
        files=tuple(files),
        before=before,
    )


def _short(value: float) -> Decimal:
    """So many digits as the samples can carry, without an exponent."""
    return Decimal(format(Decimal(f"{value:.{_DIGITS}g}"), "f"))


def to_value(accepted: Acceptance) -> dict[str, Any]:
    """The value of the entry: decimals as text."""
    value = msgspec.to_builtins(accepted, str_keys=True)
    for one in value["values"]:
        if one["se"] is None:
            del one["se"]
    assert isinstance(value, dict)
    return value


def calibration_from(n: int, value: Mapping[str, Any]) -> Calibration:
    """The figures that entry `n` accepted. Raises msgspec.ValidationError for a value of another kind."""
    accepted = msgspec.convert(value, Acceptance)
    return Calibration(
        n=n,
        values=tuple(
            CalibratedValue(unit=one.unit, field=one.field, value=one.new) for one in accepted.values
        ),
        spread=accepted.spread,
    )

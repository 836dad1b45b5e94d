"""The last readings alone: a straight line in ln r, and where its upper bound meets the limit (Fieller)."""

import math
from collections.abc import Sequence

from msgspec import Struct

from floorterm.flush.bounds import checked_confidence
from floorterm.flush.calibration_errors import CalibrationError, NotFallingError, SampleError
from floorterm.flush.errors import as_number
from floorterm.flush.samples import RESIDUAL, Samples, refuse_rising
from floorterm.flush.special import student_t_quantile
from floorterm.wording import Say

_LEAST = 3
_SPANS = 2.0
_DECADE = 10.0


class Tail(Struct, frozen=True, kw_only=True):
    """A straight line in ln r through the last readings, and what it promises at a limit (kg of line mass).

    `decay_per_kg`: how fast ln r falls. `rms`: scatter in ln r (n - 2). `m_star_kg`: where the line meets the
    limit; `kg`: where its one-sided upper bound does; `other_kg`: the other root; `reading_kg`: where the
    bound of one future reading does. `says`: what makes the figure doubtful.
    """

    limit: float
    confidence: float
    decay_per_kg: float
    rms: float
    t: float
    m_star_kg: float
    kg: float
    other_kg: float
    reading_kg: float
    says: tuple[Say, ...]


def tail(of: Samples, limit: float, *, confidence: float = 0.95) -> Tail:
    """The flush by the tail alone, where too few readings exist for a fit of the whole curve.

    Right only when one mode of the washout is left: a dead part that only shows later is missed. Raises
    SampleError for fewer than 3 readings, NotFallingError for readings that do not fall, or not by more than
    their scatter (the bound would meet no limit), CalibrationError for limit or confidence.
    """
    wanted = as_number(CalibrationError, "limit", limit, low_open=True, high=1.0, high_open=True)
    level = checked_confidence(confidence)
    readings = of.readings
    n = len(readings)
    if n < _LEAST:
        raise SampleError("samples", "too_few", found=n, least=_LEAST)
    refuse_rising(of)
    masses = [one.m_kg for one in readings]
    logs = [math.log(one.residual) for one in readings]
    mean, level_log = math.fsum(masses) / n, math.fsum(logs) / n
    sxx = math.fsum((m - mean) ** 2 for m in masses)
    slope = math.fsum((m - mean) * (y - level_log) for m, y in zip(masses, logs, strict=True)) / sxx
    squares = math.fsum((y - level_log - slope * (m - mean)) ** 2 for m, y in zip(masses, logs, strict=True))
    variance = squares / (n - 2)
    t = student_t_quantile(level, n - 2)
    noise = t * t * variance
    if slope * slope <= noise / sxx:
        raise NotFallingError(RESIDUAL, "slope_unsure", n=n)
    above = level_log - math.log(wanted)
    low, high = _roots(slope, above, noise / n, noise / sxx)
    _, future = _roots(slope, above, noise * (1.0 + 1.0 / n), noise / sxx)
    return Tail(
        limit=wanted,
        confidence=level,
        decay_per_kg=-slope,
        rms=math.sqrt(variance),
        t=t,
        m_star_kg=mean - above / slope,
        kg=mean + high,
        other_kg=mean + low,
        reading_kg=mean + future,
        says=(*of.says, *_says(masses, readings[-1].residual, wanted, mean + high)),
    )


def _roots(slope: float, above: float, constant: float, growing: float) -> tuple[float, float]:
    """Both u with (above + slope u)^2 = constant + growing u^2, in order."""
    a = slope * slope - growing
    b = slope * above
    root = math.sqrt(max(b * b - a * (above * above - constant), 0.0))
    return (-b - root) / a, (-b + root) / a


def _says(masses: Sequence[float], last: float, limit: float, kg: float) -> list[Say]:
    if kg <= masses[-1]:
        return []
    found = [Say("calibrate.tail_only")]
    if kg - masses[0] > _SPANS * (masses[-1] - masses[0]):
        found.append(Say("calibrate.tail_span", {"kg": f"{kg:.0f}", "last": f"{masses[-1]:g}"}))
    if limit < last / _DECADE:
        found.append(Say("calibrate.tail_decade", {"limit": f"{limit:g}", "last": f"{last:g}"}))
    return found

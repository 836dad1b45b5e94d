"""Area, mean and variance of a tracer pulse: a slug of coloured soap, what leaves the line read against kg.

A pulse through N equal stirred tanks has mean H (behind a plug: plug + H) and variance H^2 / N, so these figures
start a line file. Source: O. Levenspiel, Chemical Reaction Engineering, 3rd ed. (variance mean^2 / N read in
lecture notes).
"""

from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from typing import Literal

from msgspec import Struct

from floorterm.flush.calibration_errors import SampleError
from floorterm.flush.errors import as_number

Rule = Literal["trapezoid", "straight_lines", "simpson"]

_EVEN = 1e-9

Point = tuple[float, float]


class PulseMoments(Struct, frozen=True, kw_only=True):
    """Area (reading x kg), mean (kg) and variance (kg2) of a pulse, by `rule`."""

    area: float
    mean: float
    variance: float
    rule: Rule

    def tanks(self, plug_kg: float = 0.0) -> float:
        """Number of equal tanks of that mean and variance behind a plug; not rounded."""
        return (self.mean - plug_kg) ** 2 / self.variance


def pulse_moments(readings: Sequence[Point], rule: Rule = "straight_lines") -> PulseMoments:
    """Moments of (kg, reading) pairs of one pulse, background taken off, from before the first trace to after
    the last.

    `rule`: "trapezoid" sums the trapezoids of m^k C; "straight_lines" is exact for straight lines between the
    readings; "simpson" needs an even number of steps wherever they are equal. The rules differ most in the
    variance, so it is named beside the figures. Raises SampleError (a value below 0, masses that do not rise,
    fewer than 3 readings, no trace, steps that Simpson's rule cannot take).
    """
    points = [_point(place, one) for place, one in enumerate(readings)]
    if len(points) < 3:
        raise SampleError("readings", "too_few", found=len(points), least=3)
    if any(b <= a for (a, _), (b, _) in pairwise(points)):
        raise SampleError("readings", "pulse_order")
    integrate = _RULES[rule]
    area, first, second = (integrate(points, power) for power in range(3))
    if area <= 0.0:
        raise SampleError("readings", "pulse_none")
    mean = first / area
    return PulseMoments(area=area, mean=mean, variance=second / area - mean * mean, rule=rule)


def _point(place: int, one: Point) -> Point:
    kg = as_number(SampleError, f"readings[{place}].m_kg", one[0])
    return kg, as_number(SampleError, f"readings[{place}].reading", one[1])


def _trapezoid(points: Sequence[Point], power: int) -> float:
    return sum((b - a) * (a**power * c + b**power * d) / 2.0 for (a, c), (b, d) in pairwise(points))


def _straight_lines(points: Sequence[Point], power: int) -> float:
    """The product of m^power, at most squared, and a straight line is a cubic at most: Simpson's rule is exact."""
    total = 0.0
    for (a, c), (b, d) in pairwise(points):
        middle = ((a + b) / 2.0) ** power * (c + d) / 2.0
        total += (b - a) * (a**power * c + 4.0 * middle + b**power * d) / 6.0
    return total


def _simpson(points: Sequence[Point], power: int) -> float:
    """Simpson's rule over pairs of equal steps."""
    if len(points) % 2 == 0:
        raise SampleError("readings", "pulse_steps")
    total = 0.0
    for place in range(0, len(points) - 2, 2):
        (a, ca), (b, cb), (c, cc) = points[place : place + 3]
        if abs((c - b) - (b - a)) > _EVEN * (c - a):
            raise SampleError("readings", "pulse_steps")
        total += (c - a) * (a**power * ca + 4.0 * b**power * cb + c**power * cc) / 6.0
    return total


_RULES: Mapping[Rule, Callable[[Sequence[Point], int], float]] = {
    "trapezoid": _trapezoid,
    "straight_lines": _straight_lines,
    "simpson": _simpson,
}

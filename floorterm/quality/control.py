"""Individuals chart: limits from moving ranges, the four run rules, on minutes by their logarithm.

Limits: NIST/SEMATECH e-Handbook 6.3.2.2, mean +- 3 MR-bar / 1.128. Rules: Western Electric handbook of 1956.
How many values are needed for which rule is this project's own (measured false alarms).
"""

from collections.abc import Sequence
from itertools import pairwise
from math import exp, log
from statistics import fmean

from msgspec import Struct

from floorterm.quality.errors import QualityError

D2 = 1.128  # mean range of two, in sigma
D4 = 3.267  # upper limit of a range of two, in mean ranges
FEWEST = 8
ALL_RULES = 20
FROZEN = 30


class Baseline(Struct, frozen=True):
    """Centre and limits, in the values' unit. `sigma` 0 means that all were equal."""

    count: int
    centre: float
    sigma: float
    lower: float
    upper: float
    mean_range: float
    range_upper: float


class Signal(Struct, frozen=True):
    """Rule 1 to 4, signalled at the point (from 0) that completes it; rule 0: differs where all were equal."""

    at: int
    rule: int


class Chart(Struct, frozen=True):
    """A chart. `standing` is `too_few` (no limits), `trial` (rule 1 only) or `full`.

    `baseline` is in the unit of `values`; where `logarithmic`, centre and limits were made on ln and turned back,
    and `sigma`, `mean_range` and `range_upper` stay on ln.
    """

    values: tuple[float, ...]
    standing: str
    baseline: Baseline | None
    signals: tuple[Signal, ...]
    logarithmic: bool = False


def baseline(values: Sequence[float], gaps: frozenset[int] = frozenset()) -> Baseline:
    """Limits from values in order. No range is taken over a gap; a gap is named by the point that follows it.

    Raises QualityError where no moving range is left.
    """
    ranges = [
        abs(now - before) for at, (before, now) in enumerate(pairwise(values), start=1) if at not in gaps
    ]
    if not ranges:
        raise QualityError("Limits need two values that follow each other.")
    centre, mean_range = fmean(values), fmean(ranges)
    if max(values) == min(values):  # a mean of equal values may differ from them in its last digit
        centre = values[0]
    sigma = mean_range / D2
    return Baseline(
        len(values), centre, sigma, centre - 3 * sigma, centre + 3 * sigma, mean_range, D4 * mean_range
    )


def signals(values: Sequence[float], base: Baseline, *, all_rules: bool = True) -> tuple[Signal, ...]:
    """Every rule at the point that completes it, full windows only; a point on the centre breaks a run of 8."""
    if base.sigma == 0:
        return tuple(Signal(at, 0) for at, value in enumerate(values) if value != base.centre)
    scores = [(value - base.centre) / base.sigma for value in values]
    windows = ((1, 1, 1, 3.0), (2, 3, 2, 2.0), (3, 5, 4, 1.0), (4, 8, 8, 0.0))
    return tuple(
        Signal(at, rule)
        for at in range(len(scores))
        for rule, length, needed, zone in (windows if all_rules else windows[:1])
        if _completes(scores[: at + 1], length, needed, zone)
    )


def _completes(scores: Sequence[float], length: int, needed: int, zone: float) -> bool:
    if len(scores) < length:
        return False
    window = scores[-length:]
    side = 1 if window[-1] > 0 else -1
    return side * window[-1] > zone and sum(side * score > zone for score in window) >= needed


def individuals(
    values: Sequence[float], *, logarithmic: bool = False, gaps: frozenset[int] = frozenset()
) -> Chart:
    """A chart: under 8 values no limits, under 20 trial limits, then all rules; limits of the first 30 at most.

    Raises QualityError for a value that has no logarithm.
    """
    if logarithmic and any(value <= 0 for value in values):
        raise QualityError("A duration on this chart is longer than nothing.")
    kept = tuple(values)
    if len(kept) < FEWEST:
        return Chart(kept, "too_few", None, (), logarithmic)
    scale = tuple(log(value) for value in kept) if logarithmic else kept
    base = baseline(scale[:FROZEN], gaps)
    full = len(kept) >= ALL_RULES
    found = signals(scale, base, all_rules=full)
    return Chart(kept, "full" if full else "trial", _back(base) if logarithmic else base, found, logarithmic)


def _back(base: Baseline) -> Baseline:
    return Baseline(
        base.count, exp(base.centre), base.sigma, exp(base.lower), exp(base.upper), base.mean_range,
        base.range_upper,
    )  # fmt: skip

"""What is a normal duration: median, spread, promise and the line above which a step is long.

Median for plans, 80th percentile for promises, spread as 1.4826 times the median absolute deviation (it equals the
standard deviation where durations are normal). Fewer than eight records of a step between two families with such a
crew fall back on all records of the step, their median shrunk towards the step's by five records' weight on the
logarithm; fewer than eight of the step at all are too few. Eight, five and the 80th percentile are this project's own.
"""

from collections.abc import Sequence
from math import exp, log
from statistics import median, quantiles
from typing import Literal

from msgspec import Struct

from floorterm.quality.control import FEWEST, individuals
from floorterm.timestudy.observed import Observation

MAD_TO_SIGMA = 1.4826
SHRINK = 5
LONG = 1.5  # times the median, while there are too few for a chart

Basis = Literal[
    "own",  # records of this step, these families, this crew
    "step",  # records of this step whatever the fragrances and the crew
    "few",  # too few of either: a median of what there is, no promise
]


class Key(Struct, frozen=True, kw_only=True):
    """What is compared with what: a step between two families with a crew of so many."""

    step: str
    families: tuple[str, str]
    crew: int

    @classmethod
    def of(cls, one: Observation) -> "Key":
        """The key of an observation."""
        return cls(step=one.step, families=one.families, crew=one.crew)


class Normal(Struct, frozen=True, kw_only=True):
    """What usually happens, in minutes. `count` are the key's own records, `count_step` all of the step.

    `promise_min` is None where there are too few; `long_min` is what a live screen calls long.
    """

    basis: Basis
    count: int
    count_step: int
    median_min: float
    spread_min: float
    promise_min: float | None
    long_min: float


def spread(values: Sequence[float]) -> float:
    """1.4826 times the median absolute deviation from the median, in the values' unit."""
    middle = median(values)
    return MAD_TO_SIGMA * median(abs(value - middle) for value in values)


def promise(values: Sequence[float]) -> float:
    """The 80th percentile, on the straight line between the two ranks around it; of one value that value."""
    return values[0] if len(values) == 1 else quantiles(values, n=5, method="inclusive")[3]


def shrunk(own: Sequence[float], overall: float) -> float:
    """The median of few values, drawn towards another as if that had been seen five times more; on the logarithm."""
    if not own:
        return overall
    weight = len(own)
    return exp((weight * log(median(own)) + SHRINK * log(overall)) / (weight + SHRINK))


def normal(key: Key, observations: Sequence[Observation]) -> Normal | None:
    """What is normal for a key, out of what may be learned from; None where there is nothing of the step."""
    every = [one.minutes for one in observations if one.step == key.step and not one.doubt]
    own = [one.minutes for one in observations if Key.of(one) == key and not one.doubt]
    if not every:
        return None
    if len(own) >= FEWEST:
        chart = individuals(own, logarithmic=True)
        assert chart.baseline is not None  # eight values and more have one
        return _normal("own", own, every, median(own), own, chart.baseline.upper)
    middle = shrunk(own, median(every))
    basis: Basis = "step" if len(every) >= FEWEST else "few"
    return _normal(basis, own, every, middle, every, LONG * middle)


def _normal(
    basis: Basis, own: list[float], every: list[float], middle: float, values: list[float], long: float
) -> Normal:
    return Normal(
        basis=basis,
        count=len(own),
        count_step=len(every),
        median_min=middle,
        spread_min=spread(values),
        promise_min=promise(values) if basis != "few" else None,
        long_min=long,
    )

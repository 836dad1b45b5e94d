"""From one changeover to the next: holdup as a spread figure, learnt from past changeovers, weighed by age.

ln of the holdup (or of a factor on it) is taken as normally distributed: a prior from the line file, one
fitted value a changeover, and the spread between changeovers. Conjugate normal rule with a known spread.
"""

import math
from collections.abc import Iterable

from msgspec import Struct

from floorterm.flush.bounds import checked_confidence
from floorterm.flush.calibration_errors import CalibrationError
from floorterm.flush.errors import as_number

PRIOR_SD = 0.15  # declared guess: how well a line file's holdup is known before anybody sampled it
SPREAD = 0.06  # declared guess: sd of ln holdup from one changeover to the next
HALF_LIFE = 20.0  # changeovers after which a fitted value weighs half (tuning value)


class PastHoldup(Struct, frozen=True, kw_only=True):
    """A holdup fitted to one past changeover.

    `age`: changeovers since, 0 for the latest. `se_log`: standard error of its ln (0: not known). `setting`:
    whatever names units, screens, worm speed and fill level; only those of the present setting count.
    """

    holdup_kg: float
    age: float = 0.0
    se_log: float = 0.0
    setting: str = ""

    def __post_init__(self) -> None:
        as_number(CalibrationError, "holdup_kg", self.holdup_kg, low_open=True)
        as_number(CalibrationError, "age", self.age)
        as_number(CalibrationError, "se_log", self.se_log)


class PooledHoldup(Struct, frozen=True, kw_only=True):
    """What is known of the holdup: median in kg, sd of its ln, and the sd of the next changeover's ln.

    `used` past values went in, `dropped` were of another setting; `measured` is False while only the prior
    speaks: assumed, not measured.
    """

    median_kg: float
    sd_log: float
    next_sd_log: float
    used: int
    dropped: int

    @property
    def measured(self) -> bool:
        """Whether any sample stands behind the figure."""
        return self.used > 0

    def next_upper_kg(self, confidence: float = 0.95) -> float:
        """The holdup that the next changeover stays below with a one-sided confidence: for the promise."""
        return self.median_kg * math.exp(normal_quantile(confidence) * self.next_sd_log)


def normal_quantile(confidence: float) -> float:
    """The one-sided quantile of the normal distribution, for a confidence from 0.5 to 0.999."""
    from statistics import NormalDist  # noqa: PLC0415  heavy for what most runs never ask

    return NormalDist().inv_cdf(checked_confidence(confidence))


def pool(
    prior_kg: float,
    past: Iterable[PastHoldup] = (),
    *,
    prior_sd: float = PRIOR_SD,
    spread: float = SPREAD,
    half_life: float = HALF_LIFE,
    setting: str = "",
) -> PooledHoldup:
    """Prior and past changeovers of the same setting as one distribution of ln holdup.

    Each past value weighs 0.5 ** (age / half_life) / (spread^2 + se_log^2); the prior 1 / prior_sd^2. The
    next changeover adds the spread. Raises CalibrationError naming the field.
    """
    centre = as_number(CalibrationError, "prior_kg", prior_kg, low_open=True)
    before = as_number(CalibrationError, "prior_sd", prior_sd, low_open=True)
    between = as_number(CalibrationError, "spread", spread, low_open=True)
    half = as_number(CalibrationError, "half_life", half_life, low_open=True)
    everything = tuple(past)
    used = [one for one in everything if one.setting == setting]
    weights = [0.5 ** (one.age / half) / (between**2 + one.se_log**2) for one in used]
    precision = before**-2 + math.fsum(weights)
    moved = math.fsum(
        weight * math.log(one.holdup_kg / centre) for weight, one in zip(weights, used, strict=True)
    )
    return PooledHoldup(
        median_kg=centre * math.exp(moved / precision),
        sd_log=precision**-0.5,
        next_sd_log=math.sqrt(1.0 / precision + between**2),
        used=len(used),
        dropped=len(everything) - len(used),
    )

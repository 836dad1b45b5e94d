"""While the crew flushes: how much has been pushed, what is left in the bars now, when to stop.

The total that counts towards the requirement is the surely pushed one (`low_kg`): a count, a weight or a
clock read with its tolerance, always on the safe side.
"""

import math
from collections.abc import Iterable, Sequence

from msgspec import Struct

from floorterm.flush.bounds import checked_confidence
from floorterm.flush.calibration_errors import ProgressError
from floorterm.flush.errors import as_number
from floorterm.flush.least_squares import least_squares
from floorterm.flush.pool import PRIOR_SD, normal_quantile
from floorterm.flush.quantity import round_up
from floorterm.flush.samples import Sample
from floorterm.flush.washout import Washout
from floorterm.wording import Say

_SURPRISE = 3.0  # standard deviations: a reading so far off is shown as one that does not fit
_LOG_OF_NOTHING = -700.0


class Pushed(Struct, frozen=True, kw_only=True):
    """kg of line mass since the dose was switched: as read, and the least and most that it can be."""

    kg: float
    low_kg: float
    high_kg: float
    say: Say


def from_bars(bars: int, slug_g: float, *, tolerance: float = 0.0) -> Pushed:
    """Pushed kg from the bar counter: one slug of `slug_g` a bar, right to a share of `tolerance`.

    Bars that were pressed count whether they were good or not. Raises ProgressError naming the field.
    """
    if isinstance(bars, bool) or not isinstance(bars, int) or bars < 0:
        raise ProgressError("bars", "bars", found=repr(bars))
    slug = as_number(ProgressError, "slug_g", slug_g, low_open=True)
    return _pushed(bars * slug / 1000.0, tolerance, "bars", n=bars, slug=f"{slug:g}")


def from_bar_mass(bars: int, bar_g: float, flash_fraction: float, *, tolerance: float = 0.0) -> Pushed:
    """The same from the mass of a bar: its slug weighs bar_g / (1 - flash_fraction)."""
    flash = as_number(ProgressError, "flash_fraction", flash_fraction, high=1.0, high_open=True)
    bar = as_number(ProgressError, "bar_g", bar_g, low_open=True)
    return from_bars(bars, bar / (1.0 - flash), tolerance=tolerance)


def from_weight(kg: float, *, flash_fraction: float | None = None, tolerance: float = 0.0) -> Pushed:
    """Pushed kg from a scale: everything that left the line, or only bars if `flash_fraction` is given."""
    weight = as_number(ProgressError, "kg", kg)
    if flash_fraction is None:
        return _pushed(weight, tolerance, "weight")
    flash = as_number(ProgressError, "flash_fraction", flash_fraction, high=1.0, high_open=True)
    return _pushed(weight / (1.0 - flash), tolerance, "weight_bars", bars=f"{weight:g}")


def from_minutes(
    minutes: float, rate_kg_h: float, *, stops_min: float = 0.0, rate_tolerance: float = 0.05
) -> Pushed:
    """Pushed kg from the clock: minutes less stops, times the rate, right to a share of `rate_tolerance`.

    Raises ProgressError naming the field, also for stops longer than the time.
    """
    time = as_number(ProgressError, "minutes", minutes)
    rate = as_number(ProgressError, "rate_kg_h", rate_kg_h, low_open=True)
    stops = as_number(ProgressError, "stops_min", stops_min)
    if stops > time:
        raise ProgressError("stops_min", "stops", found=f"{stops:g}", minutes=f"{time:g}")
    return _pushed((time - stops) * rate / 60.0, rate_tolerance, "minutes", minutes=f"{time - stops:g}")


def _pushed(kg: float, tolerance: float, how: str, **facts: str | int) -> Pushed:
    share = as_number(ProgressError, "tolerance", tolerance, high=1.0, high_open=True)
    return Pushed(
        kg=kg,
        low_kg=kg * (1.0 - share),
        high_kg=kg * (1.0 + share),
        say=Say(f"calibrate.pushed_{how}", {"kg": f"{kg:.0f}", "percent": f"{share * 100:.3g}", **facts}),
    )


class Progress(Struct, frozen=True, kw_only=True):
    """Pushed against required: `to_go_kg` is rounded up and counts only what was surely pushed."""

    pushed: Pushed
    required_kg: float
    to_go_kg: int
    stop_now: bool
    say: Say


def progress(required_kg: float, pushed: Pushed) -> Progress:
    """Whether the crew may stop diverting, or how many kg are to go. Raises ProgressError naming the field.

    A requirement of math.inf is refused: it is no quantity to push, and flushing never gets there.
    """
    required = as_number(ProgressError, "required_kg", required_kg)
    to_go = round_up(required - pushed.low_kg)
    say = Say("calibrate.stop_now") if to_go == 0 else Say("calibrate.to_go", {"kg": to_go})
    return Progress(pushed=pushed, required_kg=required, to_go_kg=to_go, stop_now=to_go == 0, say=say)


# --- how sure ------------------------------------------------------------------------------------------


class Spread(Struct, frozen=True, kw_only=True):
    """What is known of this changeover's holdup: a factor on the line's, median and sd of its ln.

    All contents are taken to be larger or smaller together, so the curve of a factor f is W(m / f).
    """

    median: float = 1.0
    sd_log: float = PRIOR_SD
    measured: bool = False

    def __post_init__(self) -> None:
        as_number(ProgressError, "median", self.median, low_open=True)
        as_number(ProgressError, "sd_log", self.sd_log)

    def upper(self, confidence: float = 0.95) -> float:
        """The factor that the holdup stays below with a one-sided confidence."""
        return self.median * math.exp(normal_quantile(confidence) * self.sd_log)

    def lower(self, confidence: float = 0.95) -> float:
        """The factor that the holdup stays above with a one-sided confidence."""
        return self.median * math.exp(-normal_quantile(confidence) * self.sd_log)


class LiveResidual(Struct, frozen=True, kw_only=True):
    """Residual fraction in the bars now: by the median, and the band around it (each side one-sided)."""

    kg: float
    residual: float
    low: float
    high: float
    say: Say


def live_residual(
    curve: Washout, pushed: Pushed, spread: Spread | None = None, *, confidence: float = 0.95
) -> LiveResidual:
    """What is left of the outgoing dose in the bars that leave now, with the band of uncertainty.

    The upper edge is the largest holdup with the least that was surely pushed, the lower edge the reverse.
    """
    known = spread or Spread()
    level = checked_confidence(confidence)
    middle = curve.residual(pushed.kg / known.median)
    edges = (
        curve.residual(pushed.high_kg / known.lower(level)),
        curve.residual(pushed.low_kg / known.upper(level)),
    )
    low, high = min(*edges, middle), max(*edges, middle)
    word = "measured" if known.measured else "assumed"
    facts = {name: f"{value * 100:.3g}" for name, value in (("now", middle), ("low", low), ("high", high))}
    return LiveResidual(
        kg=pushed.kg, residual=middle, low=low, high=high, say=Say(f"calibrate.live_{word}", facts)
    )


def live_band(
    curve: Washout,
    masses_kg: Iterable[float],
    spread: Spread | None = None,
    *,
    confidence: float = 0.95,
) -> tuple[LiveResidual, ...]:
    """The band at every mass, for drawing."""
    return tuple(
        live_residual(
            curve,
            Pushed(kg=kg, low_kg=kg, high_kg=kg, say=Say("calibrate.pushed_point", {"kg": f"{kg:.0f}"})),
            spread,
            confidence=confidence,
        )
        for kg in masses_kg
    )


class Learnt(Struct, frozen=True, kw_only=True):
    """What early checks taught about this changeover's holdup. `surprise`: how many sd the farthest reading
    was from what was known before; `says` shows one that does not fit.
    """

    spread: Spread
    surprise: float
    says: tuple[Say, ...]


def learn(curve: Washout, readings: Sequence[Sample], before: Spread, *, relative_error: float) -> Learnt:
    """The holdup of this changeover after check samples: what was known times what the readings say.

    Known before: ln f normal with median and sd of `before` (the next changeover's of the pooled past, or
    the declared guess). A reading r at m: ln r normal around ln W(m / f) with sd `relative_error`. Returned is
    the most probable f with the curvature there: a normal approximation, which kept a 95 % promise in 94.3 % of
    10,000 simulated changeovers. A reading taken before the front says almost nothing and moves almost
    nothing, by itself. Needs a curve that only falls. Raises ProgressError for no reading, a relative
    error that is not above 0, or a reading at or below the floor.
    """
    error = as_number(ProgressError, "relative_error", relative_error, low_open=True)
    if not readings:
        raise ProgressError("readings", "no_readings")
    for one in readings:
        if one.residual <= curve.floor:
            raise ProgressError("residual", "at_floor", found=f"{one.residual:g}", floor=f"{curve.floor:g}")
    if before.sd_log == 0:
        raise ProgressError("sd_log", "too_low", found="0", low="0")

    def log_curve(m_kg: float, log_factor: float) -> float:
        left = curve.residual(m_kg / (before.median * math.exp(log_factor)))
        return math.log(left) if left > 0 else _LOG_OF_NOTHING

    def distances(inner: Sequence[float]) -> list[float]:
        misfits = [(log_curve(one.m_kg, inner[0]) - math.log(one.residual)) / error for one in readings]
        return [inner[0] / before.sd_log, *misfits]

    reach = 8.0 * before.sd_log
    found = least_squares(distances, [0.0], [-reach], [reach])
    sd = sum(row[0] ** 2 for row in found.jacobian) ** -0.5
    step = 1e-4
    surprise = 0.0
    for one in readings:
        slope = (log_curve(one.m_kg, step) - log_curve(one.m_kg, -step)) / (2.0 * step)
        expected = math.hypot(error, slope * before.sd_log)
        surprise = max(surprise, abs(math.log(one.residual) - log_curve(one.m_kg, 0.0)) / expected)
    says = []
    if surprise > _SURPRISE:
        says.append(Say("calibrate.surprise", {"distance": f"{surprise:.1f}"}))
    spread = Spread(median=before.median * math.exp(found.values[0]), sd_log=sd, measured=True)
    return Learnt(spread=spread, surprise=surprise, says=tuple(says))


class Revision(Struct, frozen=True, kw_only=True):
    """The requirement before and after: `planning_kg` by the median, `promise_kg` to be sure."""

    old_kg: float
    planning_kg: float
    promise_kg: float
    say: Say


def revise(
    curve: Washout, limit: float, old_kg: float, spread: Spread, *, confidence: float = 0.95
) -> Revision:
    """The kg required for a limit with what is now known of the holdup. Raises WashoutInputError or
    ProgressError naming the field; the crossing of a factor f is f times that of the curve.
    """
    old = as_number(ProgressError, "old_kg", old_kg)
    level = checked_confidence(confidence)
    m_star = curve.kg_to_reach(limit)
    if math.isinf(m_star):
        raise ProgressError("limit", "never", found=f"{limit:g}")
    promise = m_star * spread.upper(level)
    before, after = round_up(old), round_up(promise)
    word = "more" if after > before else "less" if after < before else "same"
    return Revision(
        old_kg=old,
        planning_kg=m_star * spread.median,
        promise_kg=promise,
        say=Say(
            f"calibrate.revised_{word}",
            {"old": before, "new": after, "kg": abs(after - before), "sure": f"{level * 100:g}"},
        ),
    )

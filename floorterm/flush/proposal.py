"""New figures for a line or one of its units from check samples taken at the end of the line.

The line keeps its structure and only what is asked for moves: one factor on the contents of every unit that
the dose passes, or the stirred content (and tanks) of one unit. A person accepts; nothing is changed here.
"""

import math
from collections.abc import Callable, Sequence
from functools import partial
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from floorterm.flush.bounds import checked_confidence
from floorterm.flush.calibration_errors import CalibrationError, NotIdentifiableError
from floorterm.flush.errors import as_number, one_of
from floorterm.flush.least_squares import Solution, least_squares
from floorterm.flush.model import LineModel
from floorterm.flush.pool import PRIOR_SD, SPREAD, PastHoldup, PooledHoldup, pool
from floorterm.flush.quantity import round_up
from floorterm.flush.roots import falling_crossing
from floorterm.flush.samples import Samples, refuse_unusable
from floorterm.flush.special import student_t_quantile
from floorterm.flush.washout import washout
from floorterm.wording import Say

_E_FOLDS = 2.5  # how far a content may move from the line file: beyond that something else is wrong
_MOST_TANKS = 12
_LOG_OF_NOTHING = -700.0
# Scatter in ln r above which the line's structure hardly describes the samples, and above which figures from
# it would be no better than invented (tuning values).
_MISFIT, _NO_FIT = 0.15, 0.35

LineAt = Callable[[float], LineModel]


class ProposedValue(Struct, frozen=True, kw_only=True):
    """One figure of the line file: as it is, as proposed, and its one-sided bounds below and above."""

    unit: str
    field: Literal["mixed_kg", "plug_kg", "tanks"]
    old: float
    new: float
    low: float
    high: float


class OneFit(Struct, frozen=True, kw_only=True):
    """The factor on the old content that one changeover's samples ask for: ln of it, its error, the scatter."""

    log_factor: float
    se_log: float
    rms: float
    sse: float
    degrees: int


class Proposal(Struct, frozen=True, kw_only=True):
    """What the samples say about a line ("") or a unit. Nothing is accepted by computing it.

    `factor` multiplies the old content; `factor_low` and `factor_high` are its one-sided bounds at
    `confidence`. `pooled` is set where several changeovers were put together: then the bounds hold for the
    *next* changeover; with a single one they know only the scatter of its readings. `line` is the line file's
    model with the proposed figures.
    """

    unit: str
    confidence: float
    factor: float
    factor_low: float
    factor_high: float
    values: tuple[ProposedValue, ...]
    fits: tuple[OneFit, ...]
    pooled: PooledHoldup | None
    old_line: LineModel
    line: LineModel
    line_at: LineAt
    divert_flash: bool
    says: tuple[Say, ...]

    def change(self, limit: float) -> "FlushChange":
        """The flush at a residual limit before and after. Raises CalibrationError for the limit."""
        wanted = as_number(CalibrationError, "limit", limit, low_open=True)

        def reach(line: LineModel) -> float:
            return washout(line).kg_to_reach(wanted)

        proposed, upper = reach(self.line), reach(self.line_at(math.log(self.factor_high)))
        if self.pooled is None and 0.0 < proposed < math.inf:
            upper = max(upper, proposed + self._delta(reach, proposed))
        return FlushChange(limit=wanted, old_kg=reach(self.old_line), proposed_kg=proposed, upper_kg=upper)

    def _delta(self, reach: Callable[[LineModel], float], proposed: float) -> float:
        """T times the standard error of the crossing, from its slope along the factor."""
        step = 1e-4
        only = self.fits[0]
        slope = (reach(self.line_at(only.log_factor + step)) - proposed) / step
        return student_t_quantile(self.confidence, only.degrees) * only.se_log * slope


class FlushChange(Struct, frozen=True, kw_only=True):
    """kg of line mass to flush at a limit: with the old figures, with the proposed ones, and to be sure.

    math.inf where the limit is never reached.
    """

    limit: float
    old_kg: float
    proposed_kg: float
    upper_kg: float

    @property
    def change_kg(self) -> int | None:
        """Whole kg more (or, below zero, less) than today when the upper figure is used; both rounded up.

        None where one of them is never reached.
        """
        if math.isinf(self.upper_kg) or math.isinf(self.old_kg):
            return None
        return round_up(self.upper_kg) - round_up(self.old_kg)


def propose_figures(
    line: LineModel,
    changeovers: Sequence[Samples],
    *,
    unit: str = "",
    confidence: float = 0.95,
    divert_flash: bool = False,
    prior_sd: float = PRIOR_SD,
    spread: float = SPREAD,
) -> Proposal:
    """New figures for the whole line, or for one unit, from one or more changeovers (oldest first).

    Whole line: one factor on mixed_kg and plug_kg of every unit from dose or flash return on; tanks, dead
    shares and the return path stay. One unit: its mixed_kg, and the smallest number of tanks that is not
    significantly worse than the best (rounding down: fewer tanks have the longer tail). `divert_flash`: the
    flash left the line while the samples were taken. Raises SampleError, NotFallingError,
    NotIdentifiableError or CalibrationError naming the field.
    """
    level = checked_confidence(confidence)
    if not changeovers:
        raise CalibrationError("samples", "empty")
    names = [one.name for one in line.units]
    if unit:
        one_of(CalibrationError, "unit", unit, names)
        if line.units[names.index(unit)].mixed_kg == 0:
            raise CalibrationError(f"{unit}.mixed_kg", "nothing_mixed")
    for samples in changeovers:
        refuse_unusable(samples, parameters=2 if unit else 1)
    latest = changeovers[-1]
    tanks = _tanks(line, unit, latest, divert_flash, level) if unit else 0
    at: LineAt = partial(_line_at, line, unit, tanks)
    fits = tuple(_fit(at, samples, divert_flash, 2 if unit else 1) for samples in changeovers)
    pooled = _pool(fits, prior_sd, spread) if len(fits) > 1 else None
    low, middle, high = _bounds(at, latest, fits[-1], pooled, divert_flash, level)
    return Proposal(
        unit=unit,
        confidence=level,
        factor=math.exp(middle),
        factor_low=math.exp(low),
        factor_high=math.exp(high),
        values=_values(line, at(middle), at(low), at(high)),
        fits=fits,
        pooled=pooled,
        old_line=line,
        line=at(middle),
        line_at=at,
        divert_flash=divert_flash,
        says=_says(changeovers, fits, pooled),
    )


def _line_at(line: LineModel, unit: str, tanks: int, log_factor: float) -> LineModel:
    """The line with the moved contents multiplied."""
    factor = math.exp(log_factor)
    first = line.dose_index
    if line.returned_fraction > 0:
        first = min(first, line.flash_index)
    units = []
    for place, one in enumerate(line.units):
        if unit and one.name == unit:
            units.append(replace(one, mixed_kg=one.mixed_kg * factor, tanks=tanks))
        elif not unit and place >= first:
            units.append(replace(one, mixed_kg=one.mixed_kg * factor, plug_kg=one.plug_kg * factor))
        else:
            units.append(one)
    return replace(line, units=tuple(units))


def _misfit(at: LineAt, samples: Samples, divert: bool, log_factor: float) -> list[float]:
    curve = washout(at(log_factor), divert_flash=divert)
    found = []
    for one in samples.readings:
        left = curve.residual(one.m_kg)
        found.append((math.log(left) if left > 0 else _LOG_OF_NOTHING) - math.log(one.residual))
    return found


def _solve(at: LineAt, samples: Samples, divert: bool) -> Solution:
    """The best factor: a coarse look first, because a plug makes the early readings flat."""

    def residuals(inner: Sequence[float]) -> list[float]:
        return _misfit(at, samples, divert, inner[0])

    starts = [k * 0.25 for k in range(-6, 7)]
    start = min(starts, key=lambda x: sum(value * value for value in residuals([x])))
    return least_squares(residuals, [start], [-_E_FOLDS], [_E_FOLDS])


def _fit(at: LineAt, samples: Samples, divert: bool, parameters: int) -> OneFit:
    found = _solve(at, samples, divert)
    if found.held:
        raise NotIdentifiableError("samples", "factor_edge", factor=f"{math.exp(found.values[0]):.3g}")
    degrees = len(samples.readings) - parameters
    try:
        inverse = found.inverse_normal()[0][0]
    except ZeroDivisionError as fault:
        raise NotIdentifiableError("mixed_kg", "not_identifiable") from fault
    if not 0.0 < inverse < 1e12:
        raise NotIdentifiableError("mixed_kg", "not_identifiable")
    variance = found.sse / degrees
    if variance > _NO_FIT**2:
        raise CalibrationError("samples", "misfit", percent=f"{math.sqrt(variance) * 100:.0f}")
    return OneFit(
        log_factor=found.values[0],
        se_log=math.sqrt(variance * inverse),
        rms=math.sqrt(variance),
        sse=found.sse,
        degrees=degrees,
    )


def _tanks(line: LineModel, unit: str, samples: Samples, divert: bool, level: float) -> int:
    """The smallest number of tanks whose squares stay within what scatter allows."""
    tried = {
        tanks: _solve(partial(_line_at, line, unit, tanks), samples, divert).sse
        for tanks in range(1, _MOST_TANKS + 1)
    }
    degrees = len(samples.readings) - 2
    t = student_t_quantile(level, degrees)
    allowed = min(tried.values()) * (1.0 + t * t / degrees) + 1e-18
    return min(tanks for tanks, sse in tried.items() if sse <= allowed)


def _pool(fits: Sequence[OneFit], prior_sd: float, spread: float) -> PooledHoldup:
    past = [
        PastHoldup(holdup_kg=math.exp(one.log_factor), age=len(fits) - 1 - place, se_log=one.se_log)
        for place, one in enumerate(fits)
    ]
    return pool(1.0, past, prior_sd=prior_sd, spread=spread)


def _bounds(
    at: LineAt, samples: Samples, one: OneFit, pooled: PooledHoldup | None, divert: bool, level: float
) -> tuple[float, float, float]:
    """Ln of the factor: one-sided bound below, best, one-sided bound above."""
    if pooled is not None:
        middle = math.log(pooled.median_kg)
        reach = math.log(pooled.next_upper_kg(level)) - middle
        return middle - reach, middle, middle + reach
    t = student_t_quantile(level, one.degrees)
    allowed = one.sse * (1.0 + t * t / one.degrees)

    def spare(sign: float, distance: float) -> float:
        values = _misfit(at, samples, divert, one.log_factor + sign * distance)
        return allowed - sum(value * value for value in values)

    reach = t * one.se_log
    found = []
    for sign in (-1.0, 1.0):
        above = max(reach, 1e-12)
        while spare(sign, above) > 0.0 and above < 2.0 * _E_FOLDS:
            above *= 2.0
        edge = falling_crossing(partial(spare, sign), 0.0, above) if reach > 1e-9 else reach
        found.append(max(edge, reach))
    return one.log_factor - found[0], one.log_factor, one.log_factor + found[1]


def _values(old: LineModel, new: LineModel, low: LineModel, high: LineModel) -> tuple[ProposedValue, ...]:
    """Every figure that moved."""
    found = []
    fields: tuple[Literal["mixed_kg", "plug_kg", "tanks"], ...] = ("mixed_kg", "tanks", "plug_kg")
    for units in zip(old.units, new.units, low.units, high.units, strict=True):
        for field in fields:
            before, after, below, above = (float(getattr(unit, field)) for unit in units)
            moved = before != below or before != above
            if moved:
                found.append(
                    ProposedValue(
                        unit=units[0].name, field=field, old=before, new=after, low=below, high=above
                    )
                )
    return tuple(found)


def _says(
    changeovers: Sequence[Samples], fits: Sequence[OneFit], pooled: PooledHoldup | None
) -> tuple[Say, ...]:
    found = [say for samples in changeovers for say in samples.says]
    for number, one in enumerate(fits, start=1):
        if one.rms > _MISFIT:
            found.append(Say("calibrate.misfit", {"number": number, "percent": f"{one.rms * 100:.0f}"}))
    if pooled is None:
        found.append(Say("calibrate.one_changeover"))
    else:
        found.append(Say("calibrate.pooled", {"n": len(fits), "spread": f"{pooled.next_sd_log * 100:.1f}"}))
    found.append(Say("calibrate.accept"))
    return tuple(found)

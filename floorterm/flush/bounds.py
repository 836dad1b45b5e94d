"""How far to go so that the limit is kept with a stated confidence: from a fit, or from the content alone."""

import math
from collections.abc import Callable, Sequence

from msgspec import Struct
from msgspec.structs import replace

from floorterm.flush.calibration_errors import CalibrationError
from floorterm.flush.errors import as_number
from floorterm.flush.fit import Fit, Problem
from floorterm.flush.least_squares import least_squares
from floorterm.flush.model import LineModel
from floorterm.flush.roots import falling_crossing
from floorterm.flush.special import student_t_quantile
from floorterm.wording import Say

_FARTHEST = 100.0  # times the crossing itself: beyond that the readings bound nothing
_GUESSED_DEAD, _GUESSED_EXCHANGE = 0.1, 0.02


class UpperBound(Struct, frozen=True, kw_only=True):
    """The crossing of a limit and its one-sided upper bound, kg of line mass.

    `delta_kg`: by the delta method (se of the crossing from gradient and whole covariance). `profile_kg`: the
    largest crossing of any curve whose squares stay below SSE (1 + t^2/degrees); math.inf where the readings
    bound nothing. `kg` is the larger. Both know the scatter of these readings only, not how changeovers
    differ from each other.
    """

    limit: float
    confidence: float
    m_star_kg: float
    gradient: tuple[float, ...]
    se_kg: float
    t: float
    delta_kg: float
    profile_kg: float

    @property
    def kg(self) -> float:
        """The larger of both bounds."""
        return max(self.delta_kg, self.profile_kg)


def checked_confidence(value: float) -> float:
    """A one-sided confidence from 0.5 to 0.999. Raises CalibrationError."""
    return as_number(CalibrationError, "confidence", value, low=0.5, high=0.999)


def upper_bound(found: Fit, limit: float, *, confidence: float = 0.95) -> UpperBound:
    """The kg after which the fitted line keeps `limit` with a one-sided confidence.

    A limit of 1 or more needs 0 kg. Raises CalibrationError naming limit or confidence.
    """
    level = checked_confidence(confidence)
    m_star = found.kg_to_reach(limit)
    t = student_t_quantile(level, found.degrees)
    if m_star == 0.0:
        return UpperBound(
            limit=limit,
            confidence=level,
            m_star_kg=0.0,
            gradient=tuple(0.0 for _ in found.fitted),
            se_kg=0.0,
            t=t,
            delta_kg=0.0,
            profile_kg=0.0,
        )
    gradient = _gradient(found, limit)
    variance = sum(
        a * c * b
        for a, row in zip(gradient, found.covariance, strict=True)
        for c, b in zip(row, gradient, strict=True)
    )
    se = math.sqrt(max(variance, 0.0))
    return UpperBound(
        limit=limit,
        confidence=level,
        m_star_kg=m_star,
        gradient=gradient,
        se_kg=se,
        t=t,
        delta_kg=m_star + t * se,
        profile_kg=_profile(found, limit, m_star, t, se),
    )


def _gradient(found: Fit, limit: float) -> tuple[float, ...]:
    """D crossing / d fitted figure, in the figures' own units."""
    step = 1e-5
    inner = found.solution.values
    slopes = []
    for place in range(len(inner)):
        sides = [
            [value + (sign * step if i == place else 0.0) for i, value in enumerate(inner)]
            for sign in (-1.0, 1.0)
        ]
        crossing = [found.problem.crossing_kg(side, limit) for side in sides]
        figure = [found.problem.natural(side)[place] for side in sides]
        slopes.append((crossing[1] - crossing[0]) / (figure[1] - figure[0]))
    return tuple(slopes)


def _profile(found: Fit, limit: float, m_star: float, t: float, se: float) -> float:
    """The largest crossing that the squares allow. The holdup is what the crossing makes it; the rest is free."""
    allowed = found.sse * (1.0 + t * t / found.degrees)
    problem, rest = found.problem, list(found.solution.values[1:])
    low, high = problem.rest_box()

    def misfit(m_kg: float) -> Callable[[Sequence[float]], list[float]]:
        def at(inner: Sequence[float]) -> list[float]:
            holdups = problem.shape.crossing(problem.outer(inner), limit)
            room = max(m_kg - problem.plug_kg(inner), 1e-6 * m_kg)
            return problem.misfit(room / holdups, inner)

        return at

    def spare(m_kg: float) -> float:
        nonlocal rest
        if not rest:
            return allowed - sum(value * value for value in misfit(m_kg)([]))
        best = least_squares(misfit(m_kg), rest, low, high)
        rest = list(best.values)
        return allowed - best.sse

    return largest_allowed(spare, m_star, t * se)


def largest_allowed(spare: Callable[[float], float], m_star: float, stride: float) -> float:
    """Where `spare` runs out above `m_star`, found by doubling a stride; math.inf if it does not."""
    reach = max(stride, 1e-6 * m_star)
    below, above = m_star, m_star + reach
    while spare(above) > 0.0:
        reach *= 2.0
        below, above = above, m_star + reach
        if above > _FARTHEST * m_star:
            return math.inf
    return falling_crossing(spare, below, above)


def interval(found: Fit, name: str, *, confidence: float = 0.95) -> tuple[float, float]:
    """Two-sided interval of a fitted figure, in its own unit, by the profile: all values that some choice of
    the others meets with squares up to SSE (1 + t^2/degrees).

    Keeps its rate where readings are few or scattered and the standard error does not. An end at the edge of
    what is allowed is that edge. Raises CalibrationError for a figure that was not fitted.
    """
    if name not in found.fitted:
        raise CalibrationError(name, "not_fitted")
    t = student_t_quantile(0.5 + checked_confidence(confidence) / 2.0, found.degrees)
    allowed = found.sse * (1.0 + t * t / found.degrees)
    place, best = found.fitted.index(name), found.solution.values
    low, high = found.problem.rest_box()
    box = [(best[0] - 5.0, best[0] + 5.0), *zip(low, high, strict=True)]
    ends = []
    for edge in box[place]:
        rest = [value for i, value in enumerate(best) if i != place]

        def spare(share: float, edge: float = edge, start: list[float] = rest) -> float:
            at = best[place] + share * (edge - best[place])
            return allowed - _least(found.problem, place, at, start, box)

        reach = 1e-3
        while reach < 1.0 and spare(reach) > 0.0:
            reach = min(2.0 * reach, 1.0)
        inside = spare(reach) > 0.0 or edge == best[place]
        share = 1.0 if inside else falling_crossing(spare, 0.0, reach)
        at = [edge if share == 1.0 else best[place] + share * (edge - best[place])]
        ends.append(found.problem.natural([*best[:place], *at, *best[place + 1 :]])[place])
    return min(ends), max(ends)


def _least(
    problem: Problem, place: int, value: float, start: list[float], box: Sequence[tuple[float, float]]
) -> float:
    """The least squares with one inner parameter held; `start` moves along to the best of the others."""

    def residuals(others: Sequence[float]) -> list[float]:
        return problem.residuals([*others[:place], value, *others[place:]])

    if not start:
        return sum(one * one for one in residuals([]))
    others = [edge for i, edge in enumerate(box) if i != place]
    best = least_squares(residuals, start, [low for low, _ in others], [high for _, high in others])
    start[:] = best.values
    return best.sse


class ContentBound(Struct, frozen=True, kw_only=True):
    """A flush that is enough whatever the tanks: from the content alone, nothing measured but weight."""

    mean_kg: float
    kg: float
    say: Say


def content_bound(line: LineModel, limit: float, *, divert_flash: bool = False) -> ContentBound:
    """The kg that keep `limit` on any line of this content without dead parts and bypass.

    mean = (contents times their start fraction + return_kg) / (1 - p) is the mean kg between dose and leaving
    as a bar. `far` is the most that a piece of soap can still have to go on average, wherever it is: the mean
    itself, or that from the flash return on plus the whole return path. Then the integral of W beyond m is at
    most mean exp(-m/far), and as W falls, m_star <= far (1 + ln(mean / (far limit))); also m W <= mean.
    Without a return path and dosed where flash returns this is mean (1 + ln(1/limit)). Raises
    CalibrationError naming a unit with a dead part (the bound does not hold then) or the limit.
    """
    wanted = as_number(CalibrationError, "limit", limit, low_open=True)
    returned = 0.0 if divert_flash else line.returned_fraction
    first = min(line.dose_index, line.flash_index) if returned > 0 else line.dose_index
    for unit in line.units[first:]:
        if unit.mixed_kg * unit.dead_fraction > 0:
            raise CalibrationError(f"{unit.name}.dead_fraction", "dead_unbounded")
    path = line.return_kg if returned > 0 else 0.0
    dosed = sum(unit.content_kg for unit in line.units[line.dose_index :])
    before = sum(unit.content_kg for unit in line.units[first : line.dose_index])
    mean = far = (dosed + returned * before + path) / (1.0 - returned)
    if returned > 0:
        looped = sum(unit.content_kg for unit in line.units[line.flash_index :])
        far = max(mean, (looped + path) / (1.0 - returned) + path / returned)
    kg = 0.0
    if wanted < 1.0:
        kg = min(mean / wanted, far * (1.0 + max(0.0, math.log(mean / (far * wanted)))))
    return ContentBound(
        mean_kg=mean,
        kg=kg,
        say=Say("calibrate.content_bound", {"mean": f"{mean:.1f}", "kg": f"{math.ceil(kg - 1e-9)}"}),
    )


def cautious_line(line: LineModel) -> LineModel:
    """The line as it is to be feared before anybody sampled it: one tank a unit, no plug, dead corners.

    Dead share 0.1 and exchange 0.02 are guesses without a source: every figure from this line is "assumed,
    not measured".
    """
    units = tuple(
        replace(
            unit,
            mixed_kg=unit.content_kg,
            tanks=1,
            plug_kg=0.0,
            dead_fraction=_GUESSED_DEAD,
            exchange_ratio=_GUESSED_EXCHANGE,
        )
        for unit in line.units
    )
    return replace(line, units=units)


def sampling_plan(line: LineModel) -> tuple[float, ...]:
    """Where to take the first check samples: at 1, 2, 3 and 4 times the dosed content, kg of line mass."""
    content = sum(unit.content_kg for unit in line.units[line.dose_index :])
    return tuple(times * content for times in (1.0, 2.0, 3.0, 4.0))

"""Holdup, tanks, plug and dead share of a line from check samples: least squares on ln r.

On ln r because the relative error of a check is roughly the same everywhere. Shape and names are those of a
unit: plug first, then equal stirred tanks that share `holdup_kg`, each with a dead share inside it.
"""

import math
from collections.abc import Sequence
from functools import cached_property
from itertools import pairwise

from msgspec import Struct

from floorterm.flush.calibration_errors import CalibrationError, NotIdentifiableError
from floorterm.flush.errors import as_number
from floorterm.flush.least_squares import Solution, Vector, least_squares
from floorterm.flush.samples import Samples, refuse_unusable
from floorterm.flush.shapes import TANKS_HIGH, TANKS_LOW, DeadTanks, Shape, Tanks, WholeTanks
from floorterm.flush.special import student_t_quantile
from floorterm.wording import Say

HOLDUP, TANKS, PLUG, DEAD, EXCHANGE = "holdup_kg", "tanks", "plug_kg", "dead_fraction", "exchange_ratio"
_DEEP, _DEEP_READINGS = 0.05, 3
_HOLDUP_E_FOLDS = 7.0  # how far the holdup may move from its start
_EXACT = 1e-9  # a scatter below this is rounding, not a reading's error
_OUTLIER = 0.05  # chance of calling any reading of a sound set an outlier
_ABOVE = 1.0  # standardised: a last reading so far above the curve hints at a dead zone (tuning value)
_PLUG_STARTS = (0.0, 0.3, 0.6, 0.9)
_TANKS_BEYOND = 3


class FittedReading(Struct, frozen=True):
    """A reading beside the curve: `standardised` is its distance in ln r over its own standard error.

    `outlier`: so far off that a sound set of this size shows one in 1 of 20 cases (deleted residual against
    Student's t, shared among the readings). It stays in the fit: a person finds out why.
    """

    m_kg: float
    residual: float
    fitted: float
    standardised: float
    outlier: bool


class Problem(Struct, frozen=True, dict=True):
    """What is moved to meet the samples: ln holdup, the shape's own parameters, and the plug if unknown."""

    samples: Samples
    shape: Shape
    known_plug_kg: float | None

    @cached_property
    def scale_kg(self) -> float:
        """The kg that a plug is measured in while it is moved."""
        return max(one.m_kg for one in self.samples.readings)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of what is moved."""
        plug = (PLUG,) if self.known_plug_kg is None else ()
        return (HOLDUP, *self.shape.names, *plug)

    def plug_kg(self, rest: Sequence[float]) -> float:
        """The plug; `rest` is the inner vector without its first part."""
        return rest[-1] * self.scale_kg if self.known_plug_kg is None else self.known_plug_kg

    def outer(self, rest: Sequence[float]) -> tuple[float, ...]:
        """The shape's parameters; `rest` as above."""
        return self.shape.outer(rest[: len(self.shape.names)])

    def misfit(self, holdup_kg: float, rest: Sequence[float]) -> Vector:
        """Ln of the curve less ln of each reading."""
        outer, plug = self.outer(rest), self.plug_kg(rest)
        return [
            self.shape.log_residual(outer, (one.m_kg - plug) / holdup_kg) - math.log(one.residual)
            for one in self.samples.readings
        ]

    def residuals(self, inner: Sequence[float]) -> Vector:
        """The misfit of an inner vector."""
        return self.misfit(math.exp(inner[0]), inner[1:])

    def rest_box(self) -> tuple[list[float], list[float]]:
        """Lowest and highest inner values without those of the holdup."""
        box = [*self.shape.box, *([(0.0, 0.99)] if self.known_plug_kg is None else [])]
        return [low for low, _ in box], [high for _, high in box]

    def natural(self, inner: Sequence[float]) -> tuple[float, ...]:
        """An inner vector as people know it, in the order of `names`."""
        plug = (self.plug_kg(inner[1:]),) if self.known_plug_kg is None else ()
        return (math.exp(inner[0]), *self.outer(inner[1:]), *plug)

    def crossing_kg(self, inner: Sequence[float], limit: float) -> float:
        """Kg after which the curve stays at the limit or below."""
        return self.plug_kg(inner[1:]) + math.exp(inner[0]) * self.shape.crossing(
            self.outer(inner[1:]), limit
        )


class Fit(Struct, frozen=True, dict=True):
    """A curve fitted to the samples of one changeover.

    `fitted` names what was fitted; `covariance` has its order (kg, kg2 and the like). `sse` is the sum of
    squares in ln r, `degrees` the degrees of freedom of the scatter. `says`: what a person must know.
    """

    holdup_kg: float
    tanks: float
    plug_kg: float
    dead_fraction: float
    exchange_ratio: float
    fitted: tuple[str, ...]
    covariance: tuple[tuple[float, ...], ...]
    sse: float
    degrees: int
    readings: tuple[FittedReading, ...]
    says: tuple[Say, ...]
    problem: Problem
    solution: Solution

    @property
    def rms(self) -> float:
        """Scatter of the readings in ln r."""
        return math.sqrt(self.sse / self.degrees)

    def standard_error(self, name: str) -> float:
        """Standard error of a fitted figure, in its own unit; 0 for one that was set."""
        if name not in self.fitted:
            return 0.0
        place = self.fitted.index(name)
        return math.sqrt(self.covariance[place][place])

    def correlation(self, one: str, other: str) -> float:
        """Correlation of two fitted figures. Raises CalibrationError for one that was not fitted."""
        for name in (one, other):
            if name not in self.fitted:
                raise CalibrationError(name, "not_fitted")
        i, j = self.fitted.index(one), self.fitted.index(other)
        both = self.standard_error(one) * self.standard_error(other)
        return self.covariance[i][j] / both if both else 0.0

    def residual(self, kg: float) -> float:
        """Residual fraction of the fitted curve after `kg` of line mass."""
        mass = as_number(CalibrationError, "kg", kg)
        inner = self.solution.values[1:]
        holdups = (mass - self.plug_kg) / self.holdup_kg
        return math.exp(self.problem.shape.log_residual(self.problem.outer(inner), holdups))

    def kg_to_reach(self, limit: float) -> float:
        """Kg of line mass after which the fitted curve stays at `limit` or below; 0.0 for a limit of 1."""
        wanted = as_number(CalibrationError, "limit", limit, low_open=True)
        return 0.0 if wanted >= 1.0 else self.problem.crossing_kg(self.solution.values, wanted)


def fit(of: Samples, *, plug_kg: float | None = 0.0, tanks: int | None = None, dead: bool = False) -> Fit:
    """The curve that meets the samples best.

    `plug_kg`: known plug, or None to fit it too. `tanks`: a whole number, or None to fit N as a real number
    (with `dead`: to choose the whole number that meets them best, which costs a degree of freedom). `dead`:
    fit a dead share and its exchange. Raises SampleError and NotFallingError for samples that cannot be
    fitted, NotIdentifiableError for figures that these samples say nothing about, each naming the field.
    """
    if plug_kg is not None:
        as_number(CalibrationError, PLUG, plug_kg)
    if tanks is not None and (isinstance(tanks, bool) or not isinstance(tanks, int) or tanks < 1):
        raise CalibrationError(TANKS, "tanks", found=repr(tanks))
    parameters = 1 + (tanks is None) + 2 * dead + (plug_kg is None)
    refuse_unusable(of, parameters=parameters)
    if plug_kg is not None and plug_kg >= of.readings[-1].m_kg:
        raise CalibrationError(PLUG, "plug_beyond", found=f"{plug_kg:g}", last=f"{of.readings[-1].m_kg:g}")
    if dead:
        return _with_dead(of, plug_kg, tanks, parameters)
    shape = Tanks() if tanks is None else WholeTanks(tanks)
    return _finish(*_best(Problem(of, shape, plug_kg)), parameters)


def whole_tanks(found: Fit) -> Fit:
    """The same samples with N rounded down to a whole number and the holdup fitted again.

    Down, because fewer tanks have the longer tail; a fit below 1 becomes 1. N still counts as fitted.
    """
    whole = max(1, math.floor(found.tanks + 1e-9))
    known = found.problem.known_plug_kg
    problem = Problem(found.problem.samples, WholeTanks(whole), known)
    return _finish(*_best(problem), 2 + (known is None))


def moments(of: Samples, plug_kg: float) -> tuple[float, float]:
    """Holdup and N from the area under the readings (straight lines, an exponential tail): a start value.

    H = area under W - plug, N = (mean - plug)^2 / variance.
    """
    points = [(0.0, 1.0), *([(plug_kg, 1.0)] if plug_kg > 0 else [])]
    points += [(one.m_kg, one.residual) for one in of.readings if one.m_kg > plug_kg]
    area = second = 0.0
    for (a, wa), (b, wb) in pairwise(points):
        area += (b - a) * (wa + wb) / 2.0
        second += (b - a) * (a * wa + b * wb)
    (a, wa), (b, wb) = points[-2:]
    decay = math.log(wa / wb) / (b - a) if b > a and wa > wb else 3.0 / b
    area += wb / decay
    second += 2.0 * wb * (b + 1.0 / decay) / decay
    holdup = max(area - plug_kg, 0.05 * area)
    variance = second - area * area
    tanks = holdup * holdup / variance if variance > 0 else TANKS_HIGH
    return holdup, min(max(tanks, TANKS_LOW), TANKS_HIGH)


# --- how ---------------------------------------------------------------------------------------------


def _best(problem: Problem, shape_start: tuple[float, ...] | None = None) -> tuple[Problem, Solution]:
    """The best solution from the moments, or from several plugs where the plug is unknown."""
    known = problem.known_plug_kg
    front = max((one.m_kg for one in problem.samples.readings if one.residual > 0.5), default=0.0)
    plugs = [known] if known is not None else [share * front for share in _PLUG_STARTS]
    found = []
    for plug in plugs:
        holdup, tanks = moments(problem.samples, plug)
        outer = shape_start or ((tanks,) if problem.shape.names else ())
        start = [math.log(holdup), *problem.shape.inner(outer)]
        low, high = problem.rest_box()
        if known is None:
            start.append(plug / problem.scale_kg)
        found.append(
            least_squares(
                problem.residuals,
                start,
                [start[0] - _HOLDUP_E_FOLDS, *low],
                [start[0] + _HOLDUP_E_FOLDS, *high],
            )
        )
    return problem, min(found, key=lambda one: one.sse)


def _with_dead(of: Samples, plug_kg: float | None, tanks: int | None, parameters: int) -> Fit:
    deep = of.deep(_DEEP)
    if deep < _DEEP_READINGS:
        raise NotIdentifiableError(DEAD, "dead_few", found=deep, least=_DEEP_READINGS, deep=f"{_DEEP:g}")
    if tanks is None:
        # a dead share hides tanks: the plain fit has too few
        plain = math.exp(_best(Problem(of, Tanks(), plug_kg))[1].values[1])
        choice = range(1, min(int(TANKS_HIGH), math.ceil(plain) + _TANKS_BEYOND) + 1)
    else:
        choice = range(tanks, tanks + 1)
    tried = [_best(Problem(of, DeadTanks(whole), plug_kg), (0.1, 0.03)) for whole in choice]
    problem, solution = min(tried, key=lambda one: one[1].sse)
    if {1, 2} & set(solution.held):
        raise NotIdentifiableError(DEAD, "dead_edge")
    return _finish(problem, solution, parameters)


def _finish(problem: Problem, solution: Solution, parameters: int) -> Fit:
    """Everything that follows from a solution: covariance, standardised residuals, warnings."""
    degrees = len(problem.samples.readings) - parameters
    try:
        inverse = solution.inverse_normal()
    except ZeroDivisionError:
        inverse = []
    broken = [name for i, name in enumerate(problem.names) if not inverse or not 0.0 < inverse[i][i] < 1e12]
    if broken:
        raise NotIdentifiableError(broken[-1], "not_identifiable")
    variance = solution.sse / degrees
    natural = problem.natural(solution.values)
    stretch = [_stretch(problem, solution.values, i) for i in range(len(natural))]
    covariance = tuple(
        tuple(variance * stretch[i] * inverse[i][j] * stretch[j] for j in range(len(natural)))
        for i in range(len(natural))
    )
    readings = _readings(problem, solution, inverse, degrees)
    values = dict(zip(problem.names, natural, strict=True))
    tanks = getattr(problem.shape, "tanks", None)
    return Fit(
        holdup_kg=values[HOLDUP],
        tanks=values[TANKS] if tanks is None else float(tanks),
        plug_kg=problem.plug_kg(solution.values[1:]),
        dead_fraction=values.get(DEAD, 0.0),
        exchange_ratio=values.get(EXCHANGE, 0.0),
        fitted=problem.names,
        covariance=covariance,
        sse=solution.sse,
        degrees=degrees,
        readings=readings,
        says=(*problem.samples.says, *_says(problem, solution, readings)),
        problem=problem,
        solution=solution,
    )


def _stretch(problem: Problem, inner: Sequence[float], place: int) -> float:
    """D natural / d inner of one parameter; each depends on its own inner value only."""
    step = 1e-5
    below, above = (
        problem.natural([value + (sign * step if i == place else 0.0) for i, value in enumerate(inner)])
        for sign in (-1.0, 1.0)
    )
    return (above[place] - below[place]) / (2.0 * step)


def _readings(
    problem: Problem, solution: Solution, inverse: list[Vector], degrees: int
) -> tuple[FittedReading, ...]:
    readings = problem.samples.readings
    scatter = math.sqrt(solution.sse / degrees)
    size = len(inverse)
    far = math.inf
    if degrees > 1:
        far = student_t_quantile(1.0 - _OUTLIER / (2.0 * len(readings)), degrees - 1)
    found = []
    for one, misfit, row in zip(readings, solution.residuals, solution.jacobian, strict=True):
        leverage = sum(row[i] * inverse[i][j] * row[j] for i in range(size) for j in range(size))
        own = scatter * math.sqrt(max(1.0 - leverage, 0.0))
        standardised = -misfit / own if own > _EXACT else 0.0
        rest = degrees - standardised**2
        deleted = standardised * math.sqrt((degrees - 1) / rest) if rest > 0 else math.inf
        found.append(
            FittedReading(
                one.m_kg, one.residual, one.residual * math.exp(misfit), standardised, abs(deleted) > far
            )
        )
    return tuple(found)


def _says(problem: Problem, solution: Solution, readings: tuple[FittedReading, ...]) -> list[Say]:
    found = [
        Say(
            "calibrate.outlier",
            {
                "kg": f"{one.m_kg:g}",
                "read": f"{one.residual * 100:.3g}",
                "fitted": f"{one.fitted * 100:.3g}",
                "distance": f"{abs(one.standardised):.1f}",
            },
        )
        for one in readings
        if one.outlier
    ]
    for place in solution.held:
        value = problem.natural(solution.values)[place]
        found.append(Say("calibrate.at_edge", {"figure": problem.names[place], "value": f"{value:.3g}"}))
    if TANKS in problem.names and problem.natural(solution.values)[problem.names.index(TANKS)] < 1.0:
        found.append(Say("calibrate.below_one_tank"))
    last = readings[-1]
    if last.standardised > _ABOVE and DEAD not in problem.names:
        found.append(Say("calibrate.last_above", {"kg": f"{last.m_kg:g}"}))
    return found

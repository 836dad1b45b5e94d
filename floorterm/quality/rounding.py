"""Rounding as quality records need it: in Decimal, by a named rule, once."""

from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal


def rounded(value: Decimal, places: int) -> Decimal:
    """To a number of places, a half to the even neighbour (rule A of ISO 80000-1, from memory)."""
    return value.quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN)


def rounded_up(value: Decimal, step: Decimal) -> Decimal:
    """To the next multiple of a step, never down (76/211/EEC Annex I 2.4: percent values up to 0.1 g)."""
    return (value / step).to_integral_value(ROUND_CEILING) * step

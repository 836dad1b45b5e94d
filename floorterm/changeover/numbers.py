"""Floats of the calculations as Decimals of an entry."""

from decimal import Decimal


def decimal(number: float) -> Decimal:
    """A float as a Decimal with the digits that it needs to be read back exactly."""
    return Decimal(repr(number))

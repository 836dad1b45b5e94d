"""What people of the demo read off an instrument where the scenario says nothing."""

from decimal import ROUND_HALF_EVEN, Decimal

from floorterm.changeover.worksheet import Step


def middle_reading(step: Step) -> str:
    """The middle of the limits, with as many decimals as they carry, or one more where the middle needs it."""
    low, high = step.low, step.high
    if low is None and high is None:
        return "1"
    if low is None or high is None:
        return str(high if low is None else low)
    middle = (low + high) / 2
    places = max(-_exponent(low), -_exponent(high), 0)
    if middle != middle.quantize(Decimal(1).scaleb(-places)):
        places += 1
    return str(middle.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_EVEN))


def _exponent(number: Decimal) -> int:
    exponent = number.as_tuple().exponent
    return exponent if isinstance(exponent, int) else 0

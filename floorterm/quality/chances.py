"""Chances of counts: binomial and without replacement. Exact sums over `math.comb`, no approximation."""

from math import comb

from floorterm.quality.errors import QualityError


def binomial(n: int, k: int, share: float) -> float:
    """Chance of exactly k bad among n, each bad with chance `share`."""
    return float(comb(n, k)) * share**k * (1 - share) ** (n - k)


def at_most(n: int, k: int, share: float) -> float:
    """Chance of at most k bad among n. Raises QualityError for a share outside 0 to 1 or a negative n."""
    if n < 0 or not 0 <= share <= 1:
        raise QualityError("The share that is bad lies between 0 and 1, and the sample is not negative.")
    return min(1.0, sum(binomial(n, one, share) for one in range(min(k, n) + 1)))


def at_most_of_lot(lot: int, bad: int, n: int, k: int) -> float:
    """Chance of at most k bad among n drawn without replacement from a lot with so many bad."""
    if not 0 <= bad <= lot or not 0 <= n <= lot:
        raise QualityError("Sample and bad pieces are at most the lot.")
    ways = sum(comb(bad, one) * comb(lot - bad, n - one) for one in range(min(k, bad, n) + 1))
    return ways / comb(lot, n)

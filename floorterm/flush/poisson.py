"""Poisson weights of uniformization: every term positive, no cancellation, nothing cut off on the left.

Source of the method: A. Jensen (1953) and W. Grassmann (1977), W(m) = sum over k of Poisson(k; L m) v_k.
"""

from collections.abc import Sequence
from functools import lru_cache
from operator import mul

from msgspec import Struct

# Relative to the largest weight. The left side goes down to the smallest number that still counts: in a deep
# tail the few first terms are the whole answer.
_RIGHT, _LEFT = 1e-21, 1e-290


class Weights(Struct, frozen=True):
    """Poisson(k; mean) for k = first, first + 1, … (all others are negligible)."""

    first: int
    values: tuple[float, ...]

    @property
    def terms(self) -> int:
        """How many terms v_0, v_1, … a sum needs."""
        return self.first + len(self.values)

    def sum_over(self, terms: Sequence[float]) -> float:
        """The weighted sum of terms v_0, v_1, …, of which at least `self.terms` are given."""
        total: float = sum(map(mul, self.values, terms[self.first : self.terms]))
        return total


@lru_cache(maxsize=128)
def weights(mean: float) -> Weights:
    """The weights for a mean >= 0, by recurrence from the largest one, then normalised."""
    mode = int(mean)
    rising = [1.0]
    weight, k = 1.0, mode
    while weight > _RIGHT:
        k += 1
        weight *= mean / k
        rising.append(weight)
    falling = []
    weight = 1.0
    for k in range(mode, 0, -1):
        weight *= k / mean
        if weight < _LEFT:
            break
        falling.append(weight)
    whole = falling[::-1] + rising
    total = sum(whole)
    return Weights(mode - len(falling), tuple([value / total for value in whole]))

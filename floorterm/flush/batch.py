"""A batch amalgamator ahead of the line: each batch is mixed with the heel of the one before.

Batch k enters the next unit with the fraction (g / (g + B))^k, constant within the batch. The line behind is
linear, so its answer to this staircase is a sum of its washouts, each begun one batch later; every term is
positive.
"""

from functools import cached_property
from math import inf, isinf

from msgspec import Struct

from floorterm.flush.errors import WashoutInputError, as_number
from floorterm.flush.model import LineModel
from floorterm.flush.roots import falling_crossing
from floorterm.flush.washout import Washout, washout

_NOTHING_MORE = 1e-18
_MOST_BATCHES = 100_000


class BatchWashout(Struct, frozen=True, kw_only=True, dict=True):
    """The residual behind a batch amalgamator; made by `batch_washout`. 0 kg: the first new batch enters.

    `batch_kg`: new soap of a batch; `heel_kg`: what stays from the batch before. Masses in kg of line mass.
    """

    line: LineModel
    batch_kg: float
    heel_kg: float
    divert_flash: bool

    @property
    def heel_share(self) -> float:
        """Share of the batch before in a batch: heel / (heel + batch)."""
        return self.heel_kg / (self.heel_kg + self.batch_kg)

    @property
    def every_kg(self) -> float:
        """Line mass between two batches: the amalgamator feeds only what returned flash leaves room for."""
        returned = 0.0 if self.divert_flash else self.line.returned_fraction
        flow = 1.0 - returned if self.line.flash_index > 0 else 1.0
        return self.batch_kg / flow

    def batch(self, number: int) -> float:
        """Outgoing fraction of a batch, counted from 1 for the first new one. Raises WashoutInputError."""
        if isinstance(number, bool) or not isinstance(number, int) or number < 1:
            raise WashoutInputError("number", "tanks", found=repr(number))
        return self.heel_share**number

    def residual(self, kg: float) -> float:
        """Fraction of the outgoing dose at the outlet after `kg`. Raises WashoutInputError."""
        mass = as_number(WashoutInputError, "kg", kg)
        share, every = self.heel_share, self.every_kg
        total, before, number = 0.0, 1.0, 0
        while number * every <= mass and (number == 0 or before > _NOTHING_MORE * total):
            now = before * share
            total += (before - now) * self._behind.residual(mass - number * every)
            before, number = now, number + 1
        return min(1.0, total + before)

    def kg_to_reach(self, limit: float) -> float:
        """Line mass in kg from which the residual stays at or below a limit > 0 (it only falls).

        The batch of the crossing is found first: the curve has a kink wherever a batch begins. inf where a
        heel of no end of batches would be needed.
        """
        wanted = as_number(WashoutInputError, "limit", limit, low_open=True)
        if wanted >= 1.0 or self.residual(0.0) <= wanted:
            return 0.0
        high = 1
        while self.residual(high * self.every_kg) > wanted:
            high *= 2
            if high > _MOST_BATCHES:
                return inf
        low = high // 2
        while high - low > 1:
            middle = (low + high) // 2
            if self.residual(middle * self.every_kg) > wanted:
                low = middle
            else:
                high = middle
        every = self.every_kg
        return falling_crossing(lambda at: self.residual(at) - wanted, low * every, high * every)

    def batches_to_reach(self, limit: float) -> float:
        """How many new batches have begun to enter when the limit is kept; inf if never."""
        kg = self.kg_to_reach(limit)
        return inf if isinf(kg) else float(int(kg // self.every_kg) + 1)

    @cached_property
    def _behind(self) -> Washout:
        return washout(self.line, divert_flash=self.divert_flash)


def batch_washout(
    line: LineModel, *, batch_kg: float, heel_kg: float, divert_flash: bool = False
) -> BatchWashout:
    """The washout of a line fed by a batch amalgamator (which is not one of the line's units).

    The amalgamator is dosed, so the dose enters at the first unit. Raises WashoutInputError naming the field
    for a batch that is not above 0, a heel below 0, a dose elsewhere, or flash that returns to the first unit
    (it would have to enter the batches: divert it, or name the unit behind that it returns to).
    """
    batch = as_number(WashoutInputError, "batch_kg", batch_kg, low_open=True)
    heel = as_number(WashoutInputError, "heel_kg", heel_kg)
    if line.dose_index > 0:
        raise WashoutInputError("dose_at", "batch_dose", found=str(line.dose_at))
    if line.returned_fraction and line.flash_index == 0 and not divert_flash:
        raise WashoutInputError("flash_to", "batch_flash", found=str(line.flash_to))
    return BatchWashout(line=line, batch_kg=batch, heel_kg=heel, divert_flash=divert_flash)

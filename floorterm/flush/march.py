"""How far one may step along a curve that is not monotone without stepping over anything.

Whatever has passed a stirred cell of rate r never falls faster than exp(-r m), and neither does what later
cells and plugs make of it: x(m - d) <= x(m) exp(r d) (x' >= -r x, kept by every causal weighing that is never
negative). Behind the slowest cell of the loop this bounds the whole curve as soon as the soap that lay behind
that cell is out. Where no bound helps, steps are small behind every arrival of soap that a plug has kept
together.
"""

from math import log

from msgspec import Struct

from floorterm.flush.layout import Cell, Layout

_STEPS_AN_E_FOLD = 300.0
_LEAST = 1e-290
# share of a limit that soap from behind the slowest cell may still make up
REST = 1e-3


class Pace(Struct, frozen=True):
    """Masses in kg. `arrivals`: when soap from behind or before a plug first reaches the outlet, ascending from
    0; they come again every `round_kg` (0: never). `slow_kg`: 1/rate of the slowest cell that all returned
    flash passes, in unit `slow_unit` (-1: no such cell).
    """

    arrivals: tuple[float, ...]
    round_kg: float
    stride: float
    slow_kg: float
    slow_unit: int

    def last_arrival(self, kg: float) -> float:
        """The last arrival before a mass > 0."""
        return max(self._again(at, kg) for at in self.arrivals if at < kg)

    def _again(self, at: float, kg: float) -> float:
        """The last time before a mass that an arrival comes again."""
        if not self.round_kg:
            return at
        rounds = int((kg - at) / self.round_kg)
        found = at + rounds * self.round_kg
        return found if found < kg else at + (rounds - 1) * self.round_kg

    def step(self, kg: float) -> float:
        """A step that no rise can hide in at a mass > 0: what came long ago has been spread out on its way."""
        return max(self.stride, (kg - self.last_arrival(kg)) / _STEPS_AN_E_FOLD)

    def back(self, kg: float, found: float, limit: float, quiet_kg: float) -> float:
        """The next mass to look at before `kg`, where the residual is `found` and not above the limit.

        `quiet_kg`: from where on what lay behind the slowest cell is at most `REST` of the limit.
        """
        left = max(self.last_arrival(kg), kg - self.step(kg))
        room = limit * (1.0 - REST)
        if self.slow_kg and found < room and kg > quiet_kg:
            left = min(left, max(quiet_kg, kg - self.slow_kg * log(room / max(found, _LEAST))))
        return left


def pace(plan: Layout, content_kg: float) -> Pace:
    """How to march along the curves of a layout."""
    lengths = [_length(cell) for cell in plan.cells] + [plug.delay for plug in plan.plugs]
    slowest = max(
        range(plan.loop_cell, len(plan.cells)), key=lambda i: (_length(plan.cells[i]), i), default=None
    )
    arrivals = {0.0, *(plan.delay_from(plug.unit) for plug in plan.plugs)}
    if plan.return_delay:
        arrivals.add(plan.delay_from(plan.loop_unit) + plan.return_delay)
    return Pace(
        arrivals=tuple(sorted(arrivals)),
        # behind a cell nothing is narrow any more
        round_kg=plan.loop_delay if slowest is None else 0.0,
        stride=min(lengths, default=max(content_kg, 1.0)) / 4.0,
        slow_kg=0.0 if slowest is None else _length(plan.cells[slowest]),
        slow_unit=-1 if slowest is None else plan.cells[slowest].unit,
    )


def _length(cell: Cell) -> float:
    return cell.active_kg / (cell.flow + cell.exchange)

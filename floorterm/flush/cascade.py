"""The stirred cells of a line as a uniformized linear system, and what each round of the flash adds.

`Cascade` holds the coefficients of P = I + A/L (L = largest rate). A `Level` follows, step by step, how
much of each cell's content the outlet will show: the row vector e_last P^s, once per line, shared by every
mass, limit and start. Where nothing delays the returned flash it stands in the matrix itself (`closed`);
where a plug or a conveyor delays it, level k tells what leaves after exactly k rounds (a sum over passes,
exact).
"""

from collections.abc import Sequence
from math import fsum
from operator import mul

from msgspec import Struct

from floorterm.flush.layout import Layout
from floorterm.flush.poisson import weights

# Beyond so many steps repeated squaring of the step matrix is cheaper than single steps (stiff lines).
_MANY_STEPS = 4000.0
_MATRIX_AT_MOST = 150

Row = list[float]


class Dead(Struct, frozen=True):
    """The dead part of the cell `cell`, at place `place` of the state; shares moved per step."""

    cell: int
    place: int
    to_active: float
    to_dead: float


class Cascade(Struct, frozen=True):
    """Coefficients per step. `feed[i]` couples cell i into cell i + 1 (0 for the last).

    A state lists the cells, then the dead parts; `back` couples the outlet into the cell `loop_cell`.
    """

    rate: float
    stay: Row
    feed: Row
    dead: tuple[Dead, ...]
    back: float
    loop_cell: int
    closed: bool

    @property
    def cells(self) -> int:
        """Number of stirred cells."""
        return len(self.stay)

    @property
    def size(self) -> int:
        """Length of the state: cells and dead parts."""
        return len(self.stay) + len(self.dead)

    def outlet(self) -> Row:
        """The row vector that reads the last cell."""
        row = [0.0] * self.size
        if self.cells:
            row[self.cells - 1] = 1.0
        return row

    def step(self, row: Row, driven: float = 0.0) -> Row:
        """One step of the row vector: row P, plus what the round before (`driven`) brings."""
        cells = len(self.stay)
        after = row[1:cells]
        after.append(0.0)
        new = [s * x + f * y for s, x, f, y in zip(self.stay, row, self.feed, after, strict=False)]
        if self.closed:
            driven = row[self.loop_cell]
        new[-1] += self.back * driven
        if self.dead:
            for part in self.dead:
                new[part.cell] += part.to_dead * row[part.place]
            new += [
                part.to_active * row[part.cell] + (1.0 - part.to_dead) * row[part.place] for part in self.dead
            ]
        return new


def cascade(plan: Layout, *, closed: bool) -> Cascade:
    """The uniformized system of a layout that has at least one cell.

    `closed`: flows as they are, the returned flash in the matrix. Otherwise every coupling carries the whole
    flow and the caller weighs each round with its probability (1 - p) p^k.
    """
    cells = plan.cells
    rates = [(cell.flow + cell.exchange) / cell.active_kg for cell in cells]
    rates += [cell.exchange / cell.dead_kg for cell in cells if cell.dead_kg > 0]
    rate = max(rates)
    feed = []
    for index, cell in enumerate(cells[1:], start=1):
        inflow = cells[index - 1].flow if closed else cell.flow
        feed.append(inflow / (cell.active_kg * rate))
    dead = tuple(
        Dead(
            index,
            len(cells) + place,
            cell.exchange / (cell.active_kg * rate),
            cell.exchange / (cell.dead_kg * rate),
        )
        for place, (index, cell) in enumerate((i, c) for i, c in enumerate(cells) if c.dead_kg > 0)
    )
    back = 0.0
    if plan.p > 0 and plan.loop_cell < len(cells):
        target = cells[plan.loop_cell]
        back = (plan.p if closed else target.flow) / (target.active_kg * rate)
    stay = [max(0.0, 1.0 - (cell.flow + cell.exchange) / (cell.active_kg * rate)) for cell in cells]
    return Cascade(rate, stay, [*feed, 0.0], dead, back, plan.loop_cell if back else 0, closed and back > 0)


class Level:
    """What leaves the line after exactly k rounds of the flash (in a closed system: after any).

    `starts` are states; `series[i][s]` is what `starts[i]` shows at the outlet after s steps, extended at
    need. Where levels are stacked the first start must be the mask of the loop's cells: the level above
    adds these up.
    """

    def __init__(self, system: Cascade, starts: Sequence[Row], below: "Level | None" = None) -> None:
        self._system = system
        self._starts = starts
        self._below = below
        self._row = system.outlet() if below is None else [0.0] * system.size
        self._steps = 0
        self._powers: list[list[Row]] = []
        self.entry: Row = [self._row[system.loop_cell]]
        self.series: list[Row] = [[sum(map(mul, start, self._row))] for start in starts]
        # what the loop's cells show in all rounds below, summed
        self.looped: Row = [0.0 if below is None else below.looped[0] + below.series[0][0]]

    def extend(self, steps: int) -> None:
        """Follow the system so far that every series has at least `steps` terms."""
        if self._steps + 1 >= steps:
            return
        below, system, row = self._below, self._system, self._row
        if below is not None:
            below.extend(steps)
        loop = system.loop_cell
        for s in range(self._steps, steps - 1):
            row = system.step(row, below.entry[s] if below is not None else 0.0)
            self.entry.append(row[loop])
            for start, series in zip(self._starts, self.series, strict=True):
                series.append(sum(map(mul, start, row)))
            self.looped.append(0.0 if below is None else below.looped[s + 1] + below.series[0][s + 1])
        self._row, self._steps = row, steps - 1

    def shown(self, start: int, kg: float) -> float:
        """What `starts[start]` shows at the outlet after `kg` of line mass."""
        system = self._system
        mean = system.rate * kg
        enough = max(_MANY_STEPS, 12.0 * system.size**2)
        if self._below is None and mean > enough and system.size <= _MATRIX_AT_MOST:
            return fsum(map(mul, self._starts[start], self._far(mean)))
        chosen = weights(mean)
        self.extend(chosen.terms)
        return chosen.sum_over(self.series[start])

    def surviving(self, tail: int, kg: float) -> float:
        """Survival of the cells in the mask `tail` and of k rounds, after `kg` of line mass."""
        if kg <= 0:
            return 1.0
        if self._below is None:
            return self.shown(tail, kg)
        chosen = weights(self._system.rate * kg)
        self.extend(chosen.terms)
        return chosen.sum_over(self.series[tail]) + chosen.sum_over(self.looped)

    def _far(self, mean: float) -> Row:
        """The row vector after `mean` steps on average, by squaring exp(A/L) (all entries positive)."""
        system = self._system
        whole = int(mean)
        row = _spread(system, system.outlet(), mean - whole)
        if not self._powers:
            unit_rows = ([float(i == j) for j in range(system.size)] for i in range(system.size))
            self._powers.append([_spread(system, unit, 1.0) for unit in unit_rows])
        for bit in range(whole.bit_length()):
            if bit == len(self._powers):
                last = self._powers[-1]
                self._powers.append([_times(line, last) for line in last])
            if whole >> bit & 1:
                row = _times(row, self._powers[bit])
        return row


def _spread(system: Cascade, row: Row, mean: float) -> Row:
    """The row vector times exp(A mean / L), by its Poisson sum."""
    chosen = weights(mean)
    total = [0.0] * system.size
    for index in range(chosen.terms):
        if index >= chosen.first:
            weight = chosen.values[index - chosen.first]
            total = [sum_ + weight * x for sum_, x in zip(total, row, strict=True)]
        row = system.step(row)
    return total


def _times(row: Row, matrix: list[Row]) -> Row:
    total = [0.0] * len(row)
    for x, line in zip(row, matrix, strict=True):
        if x:
            total = [sum_ + x * y for sum_, y in zip(total, line, strict=True)]
    return total

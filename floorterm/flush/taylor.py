"""One short stretch of a row of stirred cells whose inlet is a polynomial: the answer is one too.

Equations per kg as in `layout`. The terms follow from each other (Taylor series): the term k + 1 of a cell is
its balance of terms k, divided by k + 1.
"""

from collections.abc import Sequence

from msgspec import Struct

from floorterm.flush.layout import Cell
from floorterm.flush.pieces import horner

ORDER = 18  # with a stretch of 0.7 / rate what is left out is below 1e-13 of the largest cell
_STRETCH = 0.7

Terms = Sequence[float]


def longest_stretch(cells: Sequence[Cell]) -> float:
    """The longest stretch in kg on which the series is as good as exact; endless without cells."""
    rates = [(cell.flow + cell.exchange) / cell.active_kg for cell in cells]
    rates += [cell.exchange / cell.dead_kg for cell in cells if cell.dead_kg > 0]
    return _STRETCH / max(rates) if rates else float("inf")


class Join(Struct, frozen=True):
    """Where returned flash meets the flow: at the cell of index `cell`, `share` of its inflow.

    `back` are the terms of the returned flash; None where it is the outlet itself, without delay.
    """

    cell: int
    share: float
    back: Terms | None


class Row(Struct, frozen=True):
    """Active and dead fractions of a row of cells (a dead part that no cell has stands at 0)."""

    active: tuple[float, ...]
    dead: tuple[float, ...]


def series(cells: Sequence[Cell], row: Row, inlet: Terms, join: Join | None = None) -> list[list[float]]:
    """Terms of the row: result[k] lists term k of every active part, then of every dead part."""
    count = len(cells)
    through = [cell.flow / cell.active_kg for cell in cells]
    dead = [
        (j, cell.exchange / cell.active_kg, cell.exchange / cell.dead_kg)
        for j, cell in enumerate(cells)
        if cell.dead_kg > 0
    ]
    x, y = list(row.active), list(row.dead)
    found = [x + y]
    for k in range(ORDER):
        before = [inlet[k] if k < len(inlet) else 0.0, *x[:-1]]
        if join is not None and join.cell < count:
            back = x[-1] if join.back is None else (join.back[k] if k < len(join.back) else 0.0)
            before[join.cell] = (1.0 - join.share) * before[join.cell] + join.share * back
        new = [rate * (come - held) for rate, come, held in zip(through, before, x, strict=True)]
        new_dead = [0.0] * count
        for j, to_active, to_dead in dead:
            new[j] += to_active * (y[j] - x[j])
            new_dead[j] = to_dead * (x[j] - y[j])
        x = [value / (k + 1) for value in new]
        y = [value / (k + 1) for value in new_dead]
        found.append(x + y)
    return found


def after(terms: Sequence[Sequence[float]], length: float) -> Row:
    """The row at the end of a stretch."""
    count = len(terms[0]) // 2
    values = [horner([term[j] for term in terms], length) for j in range(2 * count)]
    return Row(tuple(values[:count]), tuple(values[count:]))


def ceiling(cells: Sequence[Cell], row: Row, inlet: float, join: Join | None = None) -> float:
    """What the outlet of a row can never exceed again, fed with at most `inlet`.

    `join.back` holds one figure, a bound of the returned flash. Method: levels that are no lower than every
    part now, and that the balances would only let fall, stay above every later state (the system is
    monotone); a dead part lifts its cell no higher than its exchange allows.
    """
    level = inlet
    for j, cell in enumerate(cells):
        if join is not None and join.cell == j:
            level = _joined(level, join)
        x, y = row.active[j], row.dead[j]
        if cell.dead_kg > 0 and y > level:
            ratio = cell.exchange / cell.flow
            level = (level + ratio * y) / (1.0 + ratio)
        level = max(x, level)
    if join is not None and join.cell >= len(cells):
        level = _joined(level, join)
    return level


def _joined(level: float, join: Join) -> float:
    back = join.back[0] if join.back is not None else level
    return (1.0 - join.share) * level + join.share * back

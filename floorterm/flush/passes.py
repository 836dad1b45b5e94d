"""The residual of a line from its start state: which soap reaches the outlet when, round by round.

A kg at the nose was dosed a while ago and has been round k times with probability (1 - p) p^k, hence from
the steady start W(m) = sum over k of (1 - p) p^k S_k(m - D_k), S_k the survival of the first pass and k
rounds, D_k their delays (exact; E. B. Nauman, B. A. Buffham, Mixing in Continuous Flow Systems, 1983, from
memory, re-derived). From any other start the content of every cell, plug and conveyor is followed alike and
added up (it is linear).
"""

from collections.abc import Mapping
from functools import lru_cache
from threading import RLock
from typing import Protocol

from msgspec import Struct

from floorterm.flush.cascade import Level, Row, cascade
from floorterm.flush.layout import Layout

_NOTHING_MORE = 1e-18


class Contents(Struct, frozen=True):
    """Outgoing fraction of the soap in one unit when the dose is switched."""

    active: float
    dead: float
    plug: float


class Response(Protocol):
    """The outgoing fraction at the outlet, without any floor, for kg of line mass > 0."""

    def at(self, kg: float) -> float:
        """The fraction after `kg` of line mass."""
        ...


class Rounds:
    """Levels of a cascade, made when asked for; one level serves all rounds where the loop has no cells."""

    def __init__(self, plan: Layout, starts: list[Row], *, closed: bool) -> None:
        self._system = cascade(plan, closed=closed)
        self._starts = starts
        self._levels = [Level(self._system, starts)]
        self._empty_loop = plan.loop_cell >= len(plan.cells)
        self.lock = RLock()  # the levels grow when asked for, and washouts of the same line share them

    def level(self, k: int) -> Level:
        """The level of k rounds."""
        if self._empty_loop:
            return self._levels[0]
        while len(self._levels) <= k:
            self._levels.append(Level(self._system, self._starts, self._levels[-1]))
        return self._levels[k]


def mask(plan: Layout, from_cell: int) -> Row:
    """1 in the active and dead parts of the cells from one on, 0 before."""
    dead = [1.0 if i >= from_cell else 0.0 for i, cell in enumerate(plan.cells) if cell.dead_kg > 0]
    return [1.0 if i >= from_cell else 0.0 for i in range(len(plan.cells))] + dead


def filled(plan: Layout, contents: Mapping[int, Contents]) -> Row:
    """The state of the cells from the contents of their units."""
    active = [contents[cell.unit].active for cell in plan.cells]
    return active + [contents[cell.unit].dead for cell in plan.cells if cell.dead_kg > 0]


class Stirred:
    """Nothing but stirred cells: plugs only shift the mass, the flash returns at once or not at all."""

    def __init__(self, plan: Layout, state: Row, shift: float) -> None:
        self._shift = shift
        self._level = Level(cascade(plan, closed=True), [state])

    def at(self, kg: float) -> float:
        """The fraction after `kg` of line mass."""
        return self._level.shown(0, max(0.0, kg - self._shift))


@lru_cache(maxsize=256)
def _steady_rounds(plan: Layout, dose_cell: int) -> Rounds:
    """Made once for a line: pairs with another floor, another limit or traces of a third follow the same soap."""
    return Rounds(plan, [mask(plan, plan.loop_cell), mask(plan, dose_cell)], closed=False)


class SteadyRounds:
    """Steady start, with a plug or a conveyor in the loop of the flash."""

    def __init__(self, plan: Layout, dose_unit: int, scale: float) -> None:
        self._plan = plan
        self._scale = scale
        self._first_delay = plan.delay_from(dose_unit)
        dose_cell = sum(cell.unit < dose_unit for cell in plan.cells)
        self._rounds: Rounds | None = None
        if plan.cells:
            self._rounds = _steady_rounds(plan, dose_cell)

    def at(self, kg: float) -> float:
        """The fraction after `kg` of line mass."""
        if self._rounds is None:
            return self._summed(kg)
        with self._rounds.lock:
            return self._summed(kg)

    def _summed(self, kg: float) -> float:
        p, delay = self._plan.p, self._plan.loop_delay
        total, share, k = 0.0, 1.0, 0
        while (left := kg - self._first_delay - k * delay) > 0:
            if self._rounds is not None:
                total += (1.0 - p) * share * self._rounds.level(k).surviving(1, left)
            share *= p
            k += 1
            if share < _NOTHING_MORE * total:
                break
        return self._scale * (total + share)


class _Source(Struct, frozen=True):
    """Soap that starts somewhere: a state, or a mask behind a plug; its delay to the outlet, its weight.

    `length` is the delay of a plug that empties itself into that mask, None for cells.
    """

    start: int
    delay: float
    weight: float
    length: float | None


class AnyStart:
    """Any start state: cells, plugs and the return conveyor are followed one by one."""

    def __init__(self, plan: Layout, contents: Mapping[int, Contents], conveyor: float) -> None:
        self._plan = plan
        self._closed = plan.loop_delay == 0
        self._starts: list[Row] = [mask(plan, plan.loop_cell)]
        self._sources: list[_Source] = []
        self._add_cells(contents)
        for plug in plan.plugs:
            if contents[plug.unit].plug:
                weight = contents[plug.unit].plug * self._share(plug.unit)
                self._add_plug(plug.before, plan.delay_after(plug.unit), plug.delay, weight)
        if plan.return_delay > 0 and conveyor:
            self._add_plug(
                plan.loop_cell, plan.delay_from(plan.loop_unit), plan.return_delay, conveyor * plan.p
            )
        self._rounds = Rounds(plan, self._starts, closed=self._closed) if plan.cells else None

    def at(self, kg: float) -> float:
        """The fraction after `kg` of line mass."""
        p, round_delay = self._plan.p, self._plan.loop_delay
        total, share, k = 0.0, 1.0, 0
        while any(kg - source.delay - k * round_delay >= 0 for source in self._sources):
            for source in self._sources:
                total += share * source.weight * self._seen(source, k, kg - source.delay - k * round_delay)
            if self._closed:
                break
            share *= p
            k += 1
            if share < _NOTHING_MORE * abs(total):
                break
        return total

    def _share(self, unit: int) -> float:
        """What unrolled couplings leave out: soap from before the loop is joined by the returned flash."""
        return 1.0 - self._plan.p if not self._closed and unit < self._plan.loop_unit else 1.0

    def _add_cells(self, contents: Mapping[int, Contents]) -> None:
        """One source for all cells that no plug parts."""
        state = filled(self._plan, contents)
        units = [cell.unit for cell in self._plan.cells]
        units += [cell.unit for cell in self._plan.cells if cell.dead_kg > 0]
        places = [(self._plan.delay_after(unit), self._share(unit)) for unit in units]
        for place in dict.fromkeys(places):
            part = [x if own == place else 0.0 for own, x in zip(places, state, strict=True)]
            if any(part):
                self._starts.append(part)
                self._sources.append(_Source(len(self._starts) - 1, *place, None))

    def _add_plug(self, before: int, delay: float, length: float, weight: float) -> None:
        self._starts.append(mask(self._plan, before))
        self._sources.append(_Source(len(self._starts) - 1, delay, weight, length))

    def _seen(self, source: _Source, k: int, left: float) -> float:
        if left < 0 or (self._rounds is None and source.length is None):
            return 0.0
        if source.length is None:
            assert self._rounds is not None
            return self._rounds.level(k).shown(source.start, left)
        return self._surviving(source.start, k, left - source.length) - self._surviving(source.start, k, left)

    def _surviving(self, start: int, k: int, left: float) -> float:
        """Survival behind a plug; nothing survives where no cell stands behind it."""
        if left <= 0:
            return 1.0
        return self._rounds.level(k).surviving(start, left) if self._rounds is not None else 0.0


def response(
    plan: Layout,
    *,
    dose_unit: int,
    steady: bool,
    contents: Mapping[int, Contents],
    conveyor: float,
    scale: float,
) -> Response:
    """The cheapest exact way to follow a start state; `scale` is the full dose (1 without a floor)."""
    behind_only = all(
        not value
        for unit, content in contents.items()
        if unit < dose_unit
        for value in (content.active, content.dead, content.plug)
    )
    if steady and plan.loop_delay > 0:
        return SteadyRounds(plan, dose_unit, scale)
    if plan.cells and (not plan.plugs or (steady and (behind_only or plan.p > 0))) and plan.loop_delay == 0:
        shift = plan.delay_from(dose_unit) if steady else 0.0
        return Stirred(plan, filled(plan, contents), shift)
    return AnyStart(plan, contents, conveyor)

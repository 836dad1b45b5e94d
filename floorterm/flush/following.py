"""A line followed stretch by stretch while its flash is off, then on again.

Downstream of the flash return the flow is 1 kg per kg whether flash returns or not, so nothing there changes
with time but what enters. Each cell gets a clock of its own, late by the plugs before it: the plugs between
cells vanish and one delay is left, that of a whole round (all plugs of the loop and the return conveyor).
What was delayed is a polynomial already found, so the series of `taylor` carries on exactly, kinks included.
"""

from copy import copy
from math import inf

from floorterm.flush.errors import WashoutInputError, as_number
from floorterm.flush.layout import layout
from floorterm.flush.model import LineModel
from floorterm.flush.pieces import Piece, area, first_at_most, highest_from, last_above
from floorterm.flush.taylor import Join, Row, Terms, after, ceiling, longest_stretch, series
from floorterm.flush.washout import Start, UnitStart, washout

_MOST_PIECES = 60_000
_SLIVER = 1e-12
_LOOK_EVERY = 8
_ROUNDS = 6


class Followed:
    """The residual of a line whose flash is diverted from 0 kg on and returned from `resume_kg` on.

    `resume_kg` None: never returned again; 0: returned all the time. `emptied`: the return conveyor was
    emptied while flash was diverted; until it has filled again fresh feed makes up the difference. Otherwise
    it holds soap of the full outgoing dose, which enters when flash returns. `start` as in `washout`.
    """

    def __init__(
        self,
        line: LineModel,
        *,
        resume_kg: float | None = None,
        emptied: bool = False,
        start: Start | None = None,
    ) -> None:
        washout(line, start=start)  # refuses what makes no sense, naming the field
        resume = inf if resume_kg is None else as_number(WashoutInputError, "resume_kg", resume_kg)
        off, on = layout(line, diverted=True), layout(line, diverted=False)
        self._p = on.p
        self._cells_off, self._cells_on = off.cells, on.cells
        self._entry = on.loop_cell
        self._stretch = longest_stretch(off.cells)
        self._plugs_kg = sum(plug.delay for plug in off.plugs if plug.unit >= on.loop_unit)
        self._return_delay = on.return_delay
        self._back_from = resume + on.return_delay
        self._on_from = self._back_from if emptied else resume
        if self._p == 0:
            self._on_from = self._back_from = inf
        fractions = {place: _fractions(line, place, start) for place in range(len(line.units))}
        self._active = [fractions[cell.unit][0] for cell in off.cells]
        self._dead = [fractions[cell.unit][1] if cell.dead_kg > 0 else 0.0 for cell in off.cells]
        # what joins the moving part one after the other, last unit first: a cell (None) or a plug
        self._ahead: list[tuple[float, float] | None] = []
        for index in range(len(off.cells) + 1):
            self._ahead += [
                (plug.delay, fractions[plug.unit][2]) for plug in off.plugs if plug.before == index
            ]
            self._ahead += [None] if index < len(off.cells) else []
        self._first = len(off.cells)
        self._row = Row((), ())
        self._left: float | None = None
        self._loop_plugs = sum(plug.unit >= on.loop_unit for plug in off.plugs)
        self._clock = 0.0 if self._loop_plugs == 0 else -self._plugs_kg
        self._delayed = 0
        self._pieces: list[Piece] = []

    def residual(self, kg: float) -> float:
        """Fraction of the outgoing dose at the outlet after `kg`. Raises WashoutInputError."""
        mass = as_number(WashoutInputError, "kg", kg)
        self._cover(mass)
        low, high = 0, len(self._pieces) - 1
        while low < high:
            middle = (low + high) // 2
            if self._pieces[middle].end < mass:
                low = middle + 1
            else:
                high = middle
        return min(1.0, max(0.0, self._pieces[low].at(mass)))

    def first_reach(self, limit: float) -> float:
        """The first kg at which the residual is at or below a limit > 0; inf where that is out of reach."""
        wanted = as_number(WashoutInputError, "limit", limit, low_open=True)
        seen = 0
        while seen < _MOST_PIECES:
            found = first_at_most(self._pieces[seen:], wanted)
            if found is not None:
                return found
            seen = len(self._pieces)
            for _ in range(_LOOK_EVERY):
                self._go_on()
        return inf

    def kg_to_reach(self, limit: float) -> float:
        """The last crossing of a limit > 0, kg: later the residual stays at or below; inf out of reach."""
        wanted = as_number(WashoutInputError, "limit", limit, low_open=True)
        return last_above(self._pieces, wanted) if self._settle(wanted) else inf

    def highest(self, from_kg: float) -> tuple[float, float]:
        """(kg, residual) of the highest point at or after a mass."""
        mass = as_number(WashoutInputError, "from_kg", from_kg)
        self._cover(mass)
        best, seen = highest_from(self._pieces, mass), len(self._pieces)
        while self._bound() > best[1] and len(self._pieces) < _MOST_PIECES:
            for _ in range(_LOOK_EVERY):
                self._go_on()
            later = (piece.highest() for piece in self._pieces[seen:])
            best, seen = max((best, *later), key=lambda found: found[1]), len(self._pieces)
        return best

    def resumed(self, kg: float, *, emptied: bool) -> "Followed":
        """The same line with its flash back from `kg` on, sharing what was followed before that."""
        if self._clock > kg or self._p == 0:
            raise WashoutInputError("resume_kg", "below", found=f"{kg:g}", low=f"{self._clock:g}")
        other = copy(self)
        other._pieces, other._ahead = list(self._pieces), list(self._ahead)
        other._back_from = kg + self._return_delay
        other._on_from = other._back_from if emptied else kg
        return other

    def followed_until(self, kg: float) -> "Followed":
        """The line itself, followed as far as can be before the flow that enters at `kg`."""
        while self._clock + self._longest() < kg:
            self._go_on()
        return self

    def area(self, low_kg: float, high_kg: float) -> float:
        """Integral of the residual between two masses, kg of full outgoing soap."""
        low = as_number(WashoutInputError, "low_kg", low_kg)
        high = as_number(WashoutInputError, "high_kg", high_kg, low=low)
        self._cover(high)
        return area(self._pieces, low, high)

    # --- how -------------------------------------------------------------------------------------

    def _cover(self, kg: float) -> None:
        while not self._pieces or self._pieces[-1].end <= kg:
            self._go_on()

    def _settle(self, limit: float) -> bool:
        """Go on until the residual can never be above the limit again."""
        while self._bound() > limit:
            if len(self._pieces) >= _MOST_PIECES:
                return False
            for _ in range(_LOOK_EVERY):
                self._go_on()
        return True

    def _bound(self) -> float:
        """What the residual can never exceed again behind the last piece."""
        ahead = [0.0, *self._active[: self._first], *self._dead[: self._first]]
        inlet = max((*ahead, *(plug[1] for plug in self._ahead if plug is not None)))
        cells = self._cells_off[self._first :]
        if self._back_from == inf:
            return ceiling(cells, self._row, inlet)
        held = 1.0 if self._clock < self._back_from and self._on_from < self._back_from else 0.0
        for piece in reversed(self._pieces):
            if piece.end <= self._clock - self._return_delay:
                break
            held = max(held, piece.highest()[1])

        def level(back: float) -> float:
            joined = ceiling(cells, self._row, inlet, Join(self._entry - self._first, self._p, (back,)))
            # as long as flash is still diverted, what comes from upstream enters undiluted
            return max(joined, ceiling(cells, self._row, inlet)) if self._clock < self._on_from else joined

        # flash is never above what it held and what will come out; no more than p of it comes round again
        back = max(held, level(0.0) / (1.0 - self._p))
        for _ in range(_ROUNDS):
            back = max(held, level(back))
        return level(back)

    def _go_on(self) -> None:
        """One stretch more."""
        while self._ahead and self._ahead[-1] is None:
            self._ahead.pop()
            self._first -= 1
            self._row = Row(
                (self._active[self._first], *self._row.active), (self._dead[self._first], *self._row.dead)
            )
        plug = self._ahead[-1] if self._ahead else None
        inlet = plug[1] if plug is not None else 0.0
        if plug is not None and self._left is None:
            self._left = plug[0]
        on = self._clock >= self._on_from
        upstream = 1.0 - self._p if on else 1.0
        back, end = self._returned(on)
        ends = [end, self._clock + self._longest()]
        ends += [at for at in (self._on_from, self._back_from) if at > self._clock >= 0.0]
        stage_end = inf if self._left is None else self._clock + self._left / upstream
        end = min(*ends, stage_end)
        self._push(inlet, on, back, end)
        if self._left is not None:
            self._left -= (end - self._clock) * upstream
        self._clock = end
        if self._left is not None and end == stage_end:
            self._ahead.pop()
            self._left = None
            if self._loop_plugs:
                self._loop_plugs -= 1
                if self._loop_plugs == 0:
                    self._clock = 0.0  # the plugs of the loop are out: no rounding carried on

    def _longest(self) -> float:
        """The longest stretch; where no cell moves, a stretch of any length is exact."""
        return self._stretch if self._stretch < inf else max(self._plugs_kg + self._return_delay, 1.0)

    def _returned(self, on: bool) -> tuple[Terms | None, float]:
        """Terms of the flash that joins now (None: the outlet itself, without delay) and up to where."""
        if not on:
            return (0.0,), inf
        if self._clock < self._back_from:
            return (1.0,), self._back_from
        if self._plugs_kg + self._return_delay == 0:
            return None, inf
        kg = self._clock - self._return_delay
        sliver = _SLIVER * (1.0 + abs(kg))
        while self._pieces[self._delayed].end - kg <= sliver:
            self._delayed += 1
        piece = self._pieces[self._delayed]
        offset = kg - piece.start
        terms = piece.terms if abs(offset) <= sliver else piece.from_offset(offset)
        return terms, piece.end + self._return_delay

    def _push(self, inlet: float, on: bool, back: Terms | None, end: float) -> None:
        """Record what comes out until `end` and move the cells there."""
        length = end - self._clock
        cells = (self._cells_on if on else self._cells_off)[self._first :]
        entry = self._entry - self._first
        terms: Terms = (inlet,)
        rows: list[list[float]] = []
        if cells:
            rows = series(cells, self._row, terms, Join(entry, self._p, back) if on and entry >= 0 else None)
            terms = [row[len(cells) - 1] for row in rows]
        if on and self._entry >= len(self._cells_off) and back is not None:  # a loop without cells
            long = max(len(terms), len(back))
            fresh, old = ([*part, *[0.0] * (long - len(part))] for part in (terms, back))
            terms = [(1.0 - self._p) * x + self._p * y for x, y in zip(fresh, old, strict=True)]
        start = self._pieces[-1].end if self._pieces else 0.0
        self._pieces.append(Piece(start, length, tuple(terms)))
        if cells:
            self._row = after(rows, length)


def _fractions(line: LineModel, place: int, start: Start | None) -> tuple[float, float, float]:
    """Start fractions of a unit: active, dead, plug."""
    steady = line.steady_fraction(place)
    given = (start or {}).get(line.units[place].name)
    if given is None:
        return steady, steady, steady
    if not isinstance(given, UnitStart):
        return float(given), steady, float(given)
    active, dead, plug = (
        steady if part is None else float(part) for part in (given.active, given.dead, given.plug)
    )
    return active, dead, plug

"""Run the line out to its heels, fill it again with new soap, then push.

New soap fills the first unit and mixes with its heel, overflows into the second when the first is full, and
so on. A unit that fills gains what the unit before gives and loses nothing. 0 kg: the last unit begins to
deliver. Flash does not return while this lasts.
"""

from collections.abc import Mapping, Sequence
from itertools import pairwise
from math import inf

from msgspec import Struct

from floorterm.flush.errors import WashoutInputError, as_number, one_of
from floorterm.flush.layout import Cell, layout
from floorterm.flush.model import LineModel
from floorterm.flush.pieces import Piece, area, first_at_most, highest_from, last_above
from floorterm.flush.taylor import Row, after, ceiling, longest_stretch, series
from floorterm.flush.washout import UnitStart

_MOST_PIECES = 60_000


class _Vessel(Struct, frozen=True):
    """A unit while it fills: its cells, plug, kg that take part, kg of heel among them, start fractions."""

    cells: tuple[Cell, ...]
    plug_kg: float
    room_kg: float
    heel_kg: float
    steady: float

    @property
    def fill_kg(self) -> float:
        return self.room_kg - self.heel_kg

    def filled(self, x: float) -> Row:
        """Its cells just filled to a fraction; dead parts keep their soap."""
        dead = tuple(self.steady if cell.dead_kg > 0 else 0.0 for cell in self.cells)
        return Row((x,) * len(self.cells), dead)


class RunOut:
    """A line run out to `heels` and filled again. Masses in kg of line mass; made by `run_out`."""

    def __init__(self, line: LineModel, heels: Mapping[str, float]) -> None:
        self.line = line
        self.heels = dict(heels)
        self._vessels = _vessels(line, heels)
        self._names = tuple(unit.name for unit in line.units if unit.content_kg > 0)
        self._horizon = max(4.0 * line.content_kg, 1.0) + self.fill_kg
        self._follow()

    @property
    def fill_kg(self) -> float:
        """New soap to fill the line again, and as much old soap run out before, kg."""
        return sum(vessel.fill_kg for vessel in self._vessels)

    @property
    def fractions(self) -> tuple[float, ...]:
        """Mean outgoing fraction of each unit with content when the whole line is full, sealed parts apart."""
        return self._fractions

    @property
    def never_above(self) -> dict[str, UnitStart]:
        """A start state at 0 kg that no part of the line is above: what a unit was filled with, or a unit before
        it, lifted by what its dead parts can give; dead parts keep their soap.
        """
        highest, found = 0.0, {}
        for name, vessel, x in zip(self._names, self._vessels, self._filled, strict=True):
            highest = max(x, ceiling(vessel.cells, vessel.filled(x), highest))
            found[name] = UnitStart(active=highest, plug=highest)
        return found

    def residual(self, kg: float) -> float:
        """Fraction of the outgoing dose at the outlet after `kg`. Raises WashoutInputError."""
        mass = as_number(WashoutInputError, "kg", kg)
        while self._pieces[-1].end <= mass:
            self._longer()
        found = next(piece for piece in self._pieces if piece.end >= mass)
        return min(1.0, max(0.0, found.at(mass)))

    def kg_to_reach(self, limit: float) -> float:
        """The last crossing of a limit > 0, kg after the line is full; inf out of reach."""
        wanted = as_number(WashoutInputError, "limit", limit, low_open=True)
        while self._bound > wanted:
            if len(self._pieces) > _MOST_PIECES:
                return inf
            self._longer()
        return last_above(self._pieces, wanted)

    def first_reach(self, limit: float) -> float:
        """The first kg at which the residual is at or below a limit > 0, kg after the line is full."""
        self.kg_to_reach(limit)
        found = first_at_most(self._pieces, limit)
        return inf if found is None else found

    @property
    def peak(self) -> tuple[float, float]:
        """(kg, residual) of the highest point."""
        while self._bound > highest_from(self._pieces, 0.0)[1] and len(self._pieces) <= _MOST_PIECES:
            self._longer()
        return highest_from(self._pieces, 0.0)

    def new_soap_kg(self, limit: float) -> float:
        """New soap used until bars are good: the fill and the push, kg. Compare this with a plain flush."""
        return self.fill_kg + self.kg_to_reach(limit)

    # --- how -------------------------------------------------------------------------------------

    def _longer(self) -> None:
        self._horizon *= 2.0
        self._follow()

    def _follow(self) -> None:
        """Unit after unit: what each gives from the moment it is full up to the horizon."""
        given: list[Piece] = [Piece(0.0, self._horizon, (0.0,))]
        held: list[tuple[_Vessel, float, float, list[Piece], list[Piece]]] = []
        begins, bound = 0.0, 0.0
        for number, vessel in enumerate(self._vessels):
            full = begins + (vessel.fill_kg if number else 0.0)
            brought = area(given, begins, full) if number else 0.0
            x = (vessel.heel_kg * vessel.steady + brought) / vessel.room_kg if vessel.room_kg else 0.0
            inlet = _cut(given, full)
            if vessel.plug_kg:
                moved = [Piece(p.start + vessel.plug_kg, p.length, p.terms) for p in inlet]
                inlet = [Piece(full, vessel.plug_kg, (x,)), *moved]
            before = given
            given, row = _through(vessel.cells, vessel.filled(x), inlet)
            bound = ceiling(vessel.cells, row, bound)  # plugs hold nothing that no cell before gave
            held.append((vessel, x, full, before, given))
            begins = full
        self._fractions = tuple(
            _mean(vessel, x, area(came, full, begins), area(gone, full, begins))
            for vessel, x, full, came, gone in held
        )
        self._filled = tuple(x for _, x, *_ in held)
        self._pieces = [Piece(p.start - begins, p.length, p.terms) for p in _cut(given, begins)]
        self._bound = bound


def run_out(line: LineModel, heels: Mapping[str, float]) -> RunOut:
    """Run a line out to heels, refill it, push.

    `heels`: by unit name, the share of its content that stays (1: not emptied, also where a unit is not
    named). Dead parts keep their soap, so a heel is never less than they hold. Which worms may be run empty
    is for the site to say. Raises WashoutInputError for an unknown unit or a heel outside [0, 1].
    """
    names = [unit.name for unit in line.units]
    for name, heel in heels.items():
        one_of(WashoutInputError, "heels", name, names)
        as_number(WashoutInputError, f"heels.{name}", heel, high=1.0)
    return RunOut(line, heels)


def _vessels(line: LineModel, heels: Mapping[str, float]) -> tuple[_Vessel, ...]:
    plan = layout(line, diverted=True)
    found = []
    for place, unit in enumerate(line.units):
        if unit.content_kg == 0:
            continue
        cells = tuple(cell for cell in plan.cells if cell.unit == place)
        room = unit.plug_kg + sum(cell.active_kg for cell in cells)
        left = max(0.0, unit.content_kg * float(heels.get(unit.name, 1.0)) - (unit.content_kg - room))
        found.append(_Vessel(cells, unit.plug_kg, room, min(left, room), line.steady_fraction(place)))
    return tuple(found)


def _cut(pieces: Sequence[Piece], from_kg: float) -> list[Piece]:
    """The pieces from a mass on."""
    found = []
    for piece in pieces:
        if piece.end <= from_kg:
            continue
        start = max(piece.start, from_kg)
        found.append(Piece(start, piece.end - start, piece.from_offset(start - piece.start)))
    return found


def _through(cells: Sequence[Cell], row: Row, inlet: Sequence[Piece]) -> tuple[list[Piece], Row]:
    """What a row of cells gives for an inlet, and how it stands in the end."""
    if not cells:
        return list(inlet), row
    longest = longest_stretch(cells)
    found = []
    for piece in inlet:
        parts = max(1, -int(-piece.length // longest))
        marks = [piece.start + piece.length * k / parts for k in range(parts)]
        for start, end in pairwise((*marks, piece.end)):
            rows = series(cells, row, piece.from_offset(start - piece.start))
            found.append(Piece(start, end - start, tuple(terms[len(cells) - 1] for terms in rows)))
            row = after(rows, end - start)
    return found, row


def _mean(vessel: _Vessel, x: float, came: float, gone: float) -> float:
    """Mean fraction of a unit, sealed parts apart, by what it held when full, what came and what went."""
    dead = sum(cell.dead_kg for cell in vessel.cells)
    whole = vessel.room_kg + dead
    return (x * vessel.room_kg + vessel.steady * dead + came - gone) / whole if whole else 0.0

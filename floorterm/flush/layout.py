"""A line taken apart into stirred cells and plugs, as the linear system sees them.

Per kg of line mass m, for the active fraction x and the dead fraction y of a cell with flow q:
    active dx/dm = q (x_before - x) + e q (y - x)        dead dy/dm = e q (x - y)
"""

from msgspec import Struct

from floorterm.flush.model import LineModel, Unit

# A dead part that exchanges this fast is as good as stirred: without it W changes by about d^2/e, relatively.
_AS_GOOD_AS_STIRRED = 1e-12


class Cell(Struct, frozen=True):
    """A stirred cell of a unit: kg active, kg dead (0: none, or sealed), flow and exchange per kg."""

    unit: int
    active_kg: float
    dead_kg: float
    flow: float
    exchange: float


class Plug(Struct, frozen=True):
    """Plug flow in the unit at `unit`, before the cell of index `before`; `delay` in kg of line mass."""

    unit: int
    before: int
    delay: float


class Layout(Struct, frozen=True):
    """Cells and plugs in order. From `loop_cell` on they see the returned flash; `p` is 0 if none returns."""

    cells: tuple[Cell, ...]
    plugs: tuple[Plug, ...]
    loop_unit: int
    loop_cell: int
    p: float
    return_delay: float

    @property
    def loop_delay(self) -> float:
        """Delay of one round of the flash, cells apart, kg of line mass; 0 if none returns."""
        if self.p == 0:
            return 0.0
        return self.return_delay + sum(plug.delay for plug in self.plugs if plug.unit >= self.loop_unit)

    def delay_after(self, unit: int) -> float:
        """Plug delay between the stirred part of a unit and the end of the line, kg of line mass."""
        return sum(plug.delay for plug in self.plugs if plug.unit > unit)

    def delay_from(self, unit: int) -> float:
        """Plug delay from the entry of a unit to the end of the line, kg of line mass."""
        return sum(plug.delay for plug in self.plugs if plug.unit >= unit)


def _cells(place: int, unit: Unit, flow: float) -> tuple[Cell, ...]:
    if unit.mixed_kg == 0:
        return ()
    whole = unit.mixed_kg / unit.tanks
    dead = whole * unit.dead_fraction
    exchange = unit.exchange_ratio * flow
    active = whole - dead
    if exchange == 0:
        dead = 0.0
    elif unit.dead_fraction**2 <= _AS_GOOD_AS_STIRRED * unit.exchange_ratio:
        active, dead, exchange = whole, 0.0, 0.0
    return (Cell(place, active, dead, flow, exchange),) * unit.tanks


def layout(line: LineModel, *, diverted: bool, from_unit: int = 0) -> Layout:
    """The cells and plugs of a line from a unit on, with flash returned or diverted."""
    p = 0.0 if diverted else line.returned_fraction
    loop = line.flash_index if p > 0 else 0
    cells: list[Cell] = []
    plugs: list[Plug] = []
    loop_cell = 0
    for place, unit in enumerate(line.units):
        if place < from_unit:
            continue
        if place == loop:
            loop_cell = len(cells)
        flow = 1.0 - p if place < loop else 1.0
        if unit.plug_kg > 0:
            plugs.append(Plug(place, len(cells), unit.plug_kg / flow))
        cells.extend(_cells(place, unit, flow))
    return Layout(tuple(cells), tuple(plugs), loop, loop_cell, p, line.return_kg / p if p > 0 else 0.0)

"""Brute force: soap cut into parcels, passed from vessel to vessel; shares nothing with the program.

Each parcel meets every cell in turn. Within a parcel the inlet is constant, so a cell (with its dead part)
is a small linear system solved by a matrix exponential, and the parcel leaves with its mean. Second order in
the parcel size, so two sizes extrapolate to about 1e-7.
"""

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import expm

from floorterm.flush import LineModel


@dataclass
class Vessel:
    """One cell: fractions active and dead, and its answers to a parcel by flow."""

    active_kg: float
    dead_kg: float
    ratio: float
    x: float
    y: float

    def passing(self, mass: float) -> np.ndarray:
        """(x, y, inlet) -> (x, y, outlet mean) for a parcel of `mass` kg through the cell."""
        a = np.zeros((4, 4))  # x, y, inlet, integral of x
        a[0, 0], a[0, 2], a[3, 0] = -1 / self.active_kg, 1 / self.active_kg, 1.0
        if self.dead_kg:
            a[0, 0] -= self.ratio / self.active_kg
            a[0, 1] += self.ratio / self.active_kg
            a[1, 0], a[1, 1] = self.ratio / self.dead_kg, -self.ratio / self.dead_kg
        moved = expm(a * mass)
        return np.array([moved[0, :3], moved[1, :3], moved[3, :3] / mass])


def simulate(
    model: LineModel,
    delta: float,
    count: int,
    *,
    off_until: int | None = None,
    emptied: bool = False,
    start: Sequence[tuple[float, float, float]] | None = None,
    inlet: Callable[[int], float] | None = None,
) -> list[float]:
    """Outlet means, one per parcel of `delta` kg of line mass.

    Flash is diverted for `off_until` parcels (None: for ever; 0: never). `start`: active, dead and plug
    fraction of each unit. `inlet(j)`: fraction of parcel j fed to the first unit. Every delay must be a
    whole number of parcels.
    """
    p = model.returned_fraction
    flash = model.flash_index
    units = []
    for place, unit in enumerate(model.units):
        steady = model.steady_fraction(place)
        active, dead, plug = start[place] if start else (steady, steady, steady)
        h = unit.mixed_kg / unit.tanks
        ratio = unit.exchange_ratio
        dead_kg = h * unit.dead_fraction if ratio else 0.0
        cells = [
            Vessel(h * (1 - unit.dead_fraction), dead_kg, ratio, active, dead)
            for _ in range(unit.tanks if unit.mixed_kg else 0)
        ]
        flow = 1 - p if off_until == 0 and place < flash else 1.0
        parcels_ = unit.plug_kg / (delta * flow)
        assert abs(parcels_ - round(parcels_)) < 1e-9
        units.append((cells, deque([plug] * round(parcels_)), {}))
    waiting = model.return_kg / p / delta if p else 0.0
    assert abs(waiting - round(waiting)) < 1e-9
    conveyor: deque[float] = deque([] if emptied else [1.0] * round(waiting))
    found = []
    for j in range(count):
        on = off_until is not None and j >= off_until and p > 0
        back = conveyor.popleft() if on and len(conveyor) >= max(1, round(waiting)) else None
        x = inlet(j) if inlet else 0.0
        for place, (cells, queue, answers) in enumerate(units):
            mass = delta * (1 - p) if back is not None and place < flash else delta
            if place == flash and back is not None:
                x = (1 - p) * x + p * back
            if queue:
                queue.append(x)
                x = queue.popleft()
            for cell in cells:
                if mass not in answers:
                    answers[mass] = cell.passing(mass).tolist()
                (a, b, c), (d, e, f), (g, h, i) = answers[mass]
                old_x, old_y = cell.x, cell.y
                cell.x, cell.y = a * old_x + b * old_y + c * x, d * old_x + e * old_y + f * x
                x = g * old_x + h * old_y + i * x
        if on:
            conveyor.append(x)
        found.append(x)
    return found


def means(run: Callable[[float], list[float]], delta: float) -> list[float]:
    """Means over stretches of `delta` kg, extrapolated from parcels of that size and of half of it."""
    coarse, fine = run(delta), run(delta / 2)
    halves = [(fine[2 * j] + fine[2 * j + 1]) / 2 for j in range(len(coarse))]
    return [half + (half - whole) / 3 for whole, half in zip(coarse, halves, strict=True)]

"""Lines for the tests of the washout: named ones of the worked checks, and random ones."""

from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np
from hypothesis import strategies as st
from numpy.polynomial.legendre import leggauss

from floorterm.flush import LineModel, Unit


def line(*units: dict[str, Any], **fields: Any) -> LineModel:
    """A line whose units are called u1, u2, … in process order."""
    return LineModel(
        units=tuple(Unit(name=f"u{place}", **unit) for place, unit in enumerate(units, start=1)), **fields
    )


def t6() -> LineModel:
    """Mixer, refiner, plodder, vacuum box; the flash is not returned."""
    return line(
        {"mixed_kg": 90},
        {"mixed_kg": 48, "tanks": 2, "plug_kg": 15, "dead_fraction": 0.06, "exchange_ratio": 0.04},
        {"mixed_kg": 75, "tanks": 3, "plug_kg": 30, "dead_fraction": 0.10, "exchange_ratio": 0.025},
        {"mixed_kg": 12},
        flash_fraction=0.15,
    )


def t11(**fields: Any) -> LineModel:
    """90/1, 70/2, 110/3 kg/tanks."""
    return line({"mixed_kg": 90}, {"mixed_kg": 70, "tanks": 2}, {"mixed_kg": 110, "tanks": 3}, **fields)


@st.composite
def lines(
    draw: st.DrawFn, *, dead: bool = True, plug: bool = True, flash: bool = True, most: int = 5
) -> LineModel:
    """Random lines; with `plug` and `flash` the loop may hold plugs and a conveyor."""
    units = []
    for _ in range(draw(st.integers(1, most))):
        stagnant = draw(st.sampled_from((0.0, 0.0, 0.05, 0.2))) if dead else 0.0
        units.append(
            {
                "mixed_kg": draw(st.floats(15.0, 200.0)),
                "tanks": draw(st.integers(1, 4)),
                "plug_kg": draw(st.sampled_from((0.0, 0.0, 8.0, 35.0))) if plug else 0.0,
                "dead_fraction": stagnant,
                "exchange_ratio": draw(st.floats(0.005, 0.2)) if stagnant else 0.0,
            }
        )
    names = [f"u{place}" for place in range(1, len(units) + 1)]
    p = draw(st.sampled_from((0.0, 0.1, 0.18, 0.35))) if flash else 0.0
    return line(
        *units,
        flash_fraction=p,
        flash_to=draw(st.sampled_from(names)) if p else None,
        return_kg=draw(st.sampled_from((0.0, 12.0))) if p and plug else 0.0,
        dose_at=draw(st.sampled_from(names)),
    )


def kinks(model: LineModel) -> list[float]:
    """Where a washout from the steady state has kinks: the delays of the first pass and of the rounds
    behind it.
    """
    p = model.returned_fraction
    flash = model.flash_index if p else 0
    first = sum(
        unit.plug_kg / (1 - p if place < flash else 1)
        for place, unit in enumerate(model.units)
        if place >= model.dose_index
    )
    around = sum(unit.plug_kg for place, unit in enumerate(model.units) if place >= flash)
    around += model.return_kg / p if p else 0.0
    return [first + k * around for k in range(18)]


def integral(value: Callable[[float], float], model: LineModel, end: float) -> float:
    """Integral over 0..end by Gauss-Legendre panels, fine behind every kink and coarser later."""
    nodes, weights = leggauss(9)
    scale = min(unit.mixed_kg / unit.tanks for unit in model.units)
    marks = {0.0, end, *np.linspace(0, min(end, 4 * model.content_kg), 12)}
    marks |= set(np.geomspace(model.content_kg, max(end, model.content_kg), 12))
    for kink in kinks(model):
        marks |= {kink + scale * step for step in (0.0, 1.0, 3.0, 8.0, 20.0)}
    total = 0.0
    for low, high in pairwise(sorted(float(mark) for mark in marks if 0 <= mark <= end)):
        half = (high - low) / 2
        total += half * sum(w * value(low + half * (1 + x)) for x, w in zip(nodes, weights, strict=True))
    return total

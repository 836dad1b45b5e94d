"""Random lines against methods that share nothing with the program: integrator, transforms, parcels."""

import math
from collections import deque

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from floorterm.flush import LineModel, UnitStart, washout
from tests.flush.washout_lines import integral, line, lines

ODE = settings(max_examples=40, deadline=None)
SLOW = settings(max_examples=15, deadline=None)


def kg_balance(model: LineModel, *, divert: bool) -> tuple[np.ndarray, np.ndarray]:
    """The kg balance of every cell written out as x' = A x, and the start before the switch. No plugs."""
    p = 0.0 if divert or model.flash_to is None else model.flash_fraction
    names = [unit.name for unit in model.units]
    flash, dose = names.index(model.flash_to or names[0]), names.index(model.dose_at or names[0])
    owner: list[int] = []
    for place, unit in enumerate(model.units):
        owner += [place] * unit.tanks
    cells = len(owner)
    a, x0 = np.zeros((2 * cells, 2 * cells)), np.zeros(2 * cells)
    for j, place in enumerate(owner):
        unit = model.units[place]
        q = 1 - p if place < flash else 1.0
        h = unit.mixed_kg / unit.tanks
        active, dead = h * (1 - unit.dead_fraction), h * unit.dead_fraction
        a[j, j] -= q / active
        if j:
            before = 1 - p if place == flash and owner[j - 1] != place else q
            a[j, j - 1] += before / active
        if place == flash and (j == 0 or owner[j - 1] != place):
            a[j, cells - 1] += p / active
        if dead:
            e = unit.exchange_ratio * q
            a[j, j] -= e / active
            a[j, cells + j] += e / active
            a[cells + j, j] += e / dead
            a[cells + j, cells + j] -= e / dead
        steady = (
            1.0 if place >= dose else (model.flash_fraction if model.flash_to and place >= flash else 0.0)
        )
        x0[j] = x0[cells + j] = steady
    return a, x0


def integrated(a: np.ndarray, x0: np.ndarray, masses: list[float]) -> list[float]:
    """The last active cell at the masses, by an explicit Runge-Kutta method of order 8 (scipy, DOP853).

    Each stretch is integrated to its end: the method's interpolation inside a step is of lower order.
    """
    values, x, start = [], x0, 0.0
    for kg in masses:
        found = solve_ivp(lambda _, x: a @ x, (start, kg), x, method="DOP853", rtol=3e-13, atol=1e-24)
        assert found.success
        x, start = found.y[:, -1], kg
        values.append(float(x[len(x) // 2 - 1]))
    return values


def masses_of(model: LineModel) -> list[float]:
    return [share * model.content_kg for share in (0.05, 0.3, 0.8, 1.5, 3.0, 6.0)]


@ODE
@given(lines(plug=False, most=12), st.booleans())
def test_residuals_agree_with_a_general_integrator(model: LineModel, divert: bool) -> None:
    curve, masses = washout(model, divert_flash=divert), masses_of(model)
    for kg, expected in zip(masses, integrated(*kg_balance(model, divert=divert), masses), strict=True):
        if expected > 1e-9:
            assert curve.residual(kg) == pytest.approx(expected, rel=1e-8)


@ODE
@given(lines(plug=False), st.data())
def test_residuals_from_any_start_agree_with_a_general_integrator(
    model: LineModel, data: st.DataObject
) -> None:
    a, x0 = kg_balance(model, divert=False)
    start, cell = {}, 0
    for unit in model.units:
        x = data.draw(st.floats(0.0, 1.0))
        start[unit.name] = x
        x0[cell : cell + unit.tanks] = x  # a number leaves the dead parts as they were
        cell += unit.tanks
    curve, masses = washout(model, start=start), masses_of(model)
    for kg, expected in zip(masses, integrated(a, x0, masses), strict=True):
        if expected > 1e-9:
            assert curve.residual(kg) == pytest.approx(expected, rel=1e-8)


@SLOW
@given(lines(plug=False), st.data())
def test_the_last_crossing_agrees_with_a_general_integrator(model: LineModel, data: st.DataObject) -> None:
    """The integrator's value at the crossing is the limit, and nothing later is above it."""
    a, x0 = kg_balance(model, divert=False)
    start, cell = {}, 0
    for unit in model.units:
        x = data.draw(st.sampled_from((0.0, 0.05, 1.0)))
        start[unit.name] = UnitStart(active=x, dead=x)
        for j in range(cell, cell + unit.tanks):
            x0[j] = x0[j + len(x0) // 2] = x
        cell += unit.tanks
    crossing = washout(model, start=start).kg_to_reach(0.02)
    end = crossing + 3 * model.content_kg
    later = [crossing + (end - crossing) * k / 400 for k in range(1, 401)]
    values = integrated(a, x0, [max(crossing, 1e-9), *later])
    assert max(values[1:]) <= 0.02 * (1 + 1e-9)
    if crossing > 0:
        assert values[0] == pytest.approx(0.02, rel=1e-7)
    else:
        assert max(values) <= 0.02


def transform(model: LineModel, s: float, *, divert: bool) -> float:
    """Laplace transform of W by transfer functions: plugs exp(-s t), cells 1/(1 + s t), flash a geometric
    sum.

    O. Levenspiel, Chemical Reaction Engineering, 3rd ed. (from memory); flash as in E. B. Nauman,
    B. A. Buffham, Mixing in Continuous Flow Systems, 1983 (from memory): G = (1 - p) F / (1 - p L).
    """
    p = 0.0 if divert or model.flash_to is None else model.flash_fraction
    names = [unit.name for unit in model.units]
    flash, dose = names.index(model.flash_to or names[0]), names.index(model.dose_at or names[0])
    first, loop = 1.0, math.exp(-s * model.return_kg / p) if p else 1.0
    for place, unit in enumerate(model.units):
        q = 1 - p if place < flash else 1.0
        h = unit.mixed_kg / unit.tanks
        active, dead = h * (1 - unit.dead_fraction), h * unit.dead_fraction
        held = s * active / q
        if dead and unit.exchange_ratio:
            held += s * dead / q / (1 + s * dead / (unit.exchange_ratio * q))
        passed = math.exp(-s * unit.plug_kg / q) / (1 + held) ** unit.tanks
        if place >= dose:
            first *= passed
        if place >= flash:
            loop *= passed
    if divert and dose > flash and model.flash_to is not None:
        raise AssertionError("the start of a diverted line with an upstream hopper is no step")
    return (1 - (1 - p) * first / (1 - p * loop)) / s


@SLOW
@given(lines(most=4), st.floats(1.5, 6.0))
def test_lines_with_plugs_in_the_loop_have_the_transform_of_their_transfer_functions(
    model: LineModel, sharpness: float
) -> None:
    curve, s = washout(model), sharpness / model.content_kg
    got = integral(lambda m: curve.residual(m) * math.exp(-s * m), model, 32 / s)
    assert got == pytest.approx(transform(model, s, divert=False), rel=1e-8)


@SLOW
@given(lines(most=5), st.booleans())
def test_a_start_written_out_equals_the_steady_state_on_random_lines(model: LineModel, divert: bool) -> None:
    """Two ways through the program: every cell, plug and conveyor followed by itself, or the sum over
    passes.
    """
    steady = {
        unit.name: UnitStart(active=x, dead=x, plug=x)
        for unit, x in zip(model.units, map(model.steady_fraction, range(len(model.units))), strict=True)
    }
    short, long = washout(model, divert_flash=divert), washout(model, divert_flash=divert, start=steady)
    for kg in (0.0, *masses_of(model)):
        if short.residual(kg) > 1e-9:
            assert long.residual(kg) == pytest.approx(short.residual(kg), rel=1e-9)


Unit_ = tuple[
    float, int, int, float, float
]  # mixed kg, tanks, plug in parcels, start of the cells, of the plug


def parcels(units: list[Unit_], p: float, flash: int, back: int, delta: float, count: int) -> list[float]:
    """Brute force: the soap cut into parcels of `delta` kg of line mass; outlet means, one per parcel.

    Each parcel meets every cell in turn: x = in + (x - in) exp(-delta/h), leaving its mean.
    """
    cells = [[start] * tanks for _, tanks, _, start, _ in units]
    queues = [deque([start] * plug) for _, _, plug, _, start in units]
    conveyor = deque([1.0] * back)
    found = []
    for _ in range(count):
        x = 0.0
        for place, (mixed, tanks, _, _, _) in enumerate(units):
            mass = delta * (1 - p) if place < flash else delta
            if place == flash and p:
                x = (1 - p) * x + p * conveyor.popleft()
            if queues[place]:
                queues[place].append(x)
                x = queues[place].popleft()
            for j in range(tanks if mixed else 0):
                h = mixed / tanks
                gone = -math.expm1(-mass / h)
                held = cells[place][j]
                cells[place][j] = held + (x - held) * gone
                x = x + (held - x) * gone * h / mass
        if p:
            conveyor.append(x)
        found.append(x)
    return found


@pytest.mark.parametrize("flash", [0, 1])
@pytest.mark.parametrize("stripped", [False, True])
def test_plugs_and_conveyor_in_the_loop_agree_with_parcels_from_any_start(flash: int, stripped: bool) -> None:
    """Parcels of 1 and 0.5 kg, read at their middle and extrapolated: second order, so to about 1e-6."""
    p, back_kg = 0.2, 12.0
    start = [(0.3, 0.9), (1.0, 0.1), (0.0, 1.0)] if stripped else [(1.0, 1.0)] * 3

    def units(delta: float) -> list[Unit_]:
        upstream = 1 - p if flash else 1.0
        plugs = [round(24 / (delta * upstream)), round(0 / delta), round(30 / delta)]
        mixed = [(80.0, 1), (120.0, 3), (60.0, 2)]
        return [(*m, plug, *s) for m, plug, s in zip(mixed, plugs, start, strict=True)]

    model = line(
        {"plug_kg": 24, "mixed_kg": 80},
        {"mixed_kg": 120, "tanks": 3},
        {"plug_kg": 30, "mixed_kg": 60, "tanks": 2},
        flash_fraction=p,
        flash_to=f"u{flash + 1}",
        return_kg=back_kg,
        dose_at="u1",
    )
    named = {f"u{i + 1}": UnitStart(active=x, plug=y) for i, (x, y) in enumerate(start)}
    curve = washout(model, start=named)
    values = {}
    for delta in (1.0, 0.5, 0.25):
        values[delta] = parcels(
            units(delta), p, flash, round(back_kg / p / delta), delta, round(1500 / delta)
        )
    for kg in (100.25, 333.25, 700.25, 1400.25):
        at = {delta: _middle(found, delta, kg) for delta, found in values.items()}
        extrapolated = at[0.25] + (at[0.25] - at[0.5]) / 3
        assert curve.residual(kg) == pytest.approx(extrapolated, rel=3e-6)


def _middle(found: list[float], delta: float, kg: float) -> float:
    """Value at a mass, by a parabola through the middles of the three nearest parcels."""
    j = min(max(round(kg / delta - 0.5), 1), len(found) - 2)
    t = kg / delta - 0.5 - j
    a, b, c = found[j - 1 : j + 2]
    return b + t * (c - a) / 2 + t * t * (c - 2 * b + a) / 2

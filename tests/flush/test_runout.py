"""Run out to heels, refill, push."""

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from floorterm.flush import LineModel, WashoutInputError, washout
from floorterm.flush.runout import run_out
from tests.flush.washout_lines import line

FEW = settings(max_examples=20, deadline=None)


def three() -> LineModel:
    return line({"mixed_kg": 120}, {"mixed_kg": 70}, {"mixed_kg": 100})


HEELS = {"u1": 0.08, "u2": 0.20, "u3": 0.30}


def test_three_units_run_out_to_their_heels() -> None:
    """Worked figures: kg balances by a Runge-Kutta pair at 1e-12 and, independently, a 30-digit matrix
    exponential.
    """
    found = run_out(three(), HEELS)
    assert found.fill_kg == pytest.approx(236.4)
    assert found.fractions == pytest.approx((0.02799501993, 0.1152849606, 0.4217065037), rel=5e-10)
    assert found.residual(60) == pytest.approx(0.2686708912, rel=5e-10)
    assert found.residual(200) == pytest.approx(0.08739810092, rel=5e-10)
    assert found.kg_to_reach(0.02) == pytest.approx(376.5282419, rel=5e-10)
    assert found.kg_to_reach(0.002) == pytest.approx(648.6290072, rel=5e-10)
    assert washout(three()).kg_to_reach(0.02) == pytest.approx(740.7335525, rel=5e-10)
    assert found.new_soap_kg(0.02) == pytest.approx(612.93, abs=0.005)
    assert found.peak == (0.0, pytest.approx(0.4217065037, rel=5e-10))
    assert found.first_reach(0.02) == pytest.approx(376.5282419, rel=5e-10)


def test_two_units_by_hand() -> None:
    """Unit 1 (A kg) starts at its heel g and gives g exp(-m/A) while unit 2 fills: gained
    g A (1 - exp(-F/A)).
    """
    a, b, g, h = 80.0, 50.0, 0.1, 0.25
    found = run_out(line({"mixed_kg": a}, {"mixed_kg": b}), {"u1": g, "u2": h})
    fill = b * (1 - h)
    first = g * math.exp(-fill / a)
    second = (h * b + g * a * (1 - math.exp(-fill / a))) / b
    assert found.fractions == pytest.approx((first, second), rel=1e-12)
    m = 90.0  # two unequal stirred tanks from these starts
    exact = second * math.exp(-m / b) + first * a / (a - b) * (math.exp(-m / a) - math.exp(-m / b))
    assert found.residual(m) == pytest.approx(exact, rel=1e-11)


def filled_in_parcels(model: LineModel, heels: list[float], delta: float, count: int) -> list[float]:
    """Parcels of `delta` kg, one vessel after the other; a vessel that is not full keeps what comes."""
    cells = [
        {"kg": u.mixed_kg, "cells": [0.0] * u.tanks, "old": u.mixed_kg * g, "full": False}
        for u, g in zip(model.units, heels, strict=True)
    ]
    rooms = [round(u.mixed_kg * (1 - g) / delta) for u, g in zip(model.units, heels, strict=True)]
    found: list[float] = []
    while len(found) < count:
        x = 0.0
        for place, vessel in enumerate(cells):
            if not vessel["full"]:
                vessel["old"] += x * delta
                rooms[place] -= 1
                if rooms[place] == 0:
                    vessel["full"] = True
                    vessel["cells"] = [vessel["old"] / vessel["kg"]] * len(vessel["cells"])
                break
            h = vessel["kg"] / len(vessel["cells"])
            for j, held in enumerate(vessel["cells"]):
                gone = -math.expm1(-delta / h)
                vessel["cells"][j] = held + (x - held) * gone
                x = x + (held - x) * gone * h / delta
        else:
            found.append(x)
    return found


@FEW
@given(st.data())
def test_filling_agrees_with_parcels(data: st.DataObject) -> None:
    """Brute force, extrapolated from parcels of 1 and 0.5 kg."""
    units, heels = [], []
    for _ in range(data.draw(st.integers(1, 4))):
        tanks = data.draw(st.integers(1, 3))
        units.append({"mixed_kg": data.draw(st.sampled_from((40, 60, 120))) * tanks, "tanks": tanks})
        heels.append(data.draw(st.sampled_from((0.05, 0.1, 0.25, 0.5))))
    model = line(*units)
    found = run_out(model, {f"u{i}": g for i, g in enumerate(heels, start=1)})
    coarse, fine = (filled_in_parcels(model, heels, d, round(400 / d)) for d in (1.0, 0.5))
    for j in (0, 20, 133, 399):
        half = (fine[2 * j] + fine[2 * j + 1]) / 2
        mean = sum(w * found.residual(j + x) for x, w in _GAUSS)
        assert mean == pytest.approx(half + (half - coarse[j]) / 3, rel=2e-6)


_GAUSS = ((0.5 - math.sqrt(0.6) / 2, 5 / 18), (0.5, 8 / 18), (0.5 + math.sqrt(0.6) / 2, 5 / 18))


def test_units_that_nobody_names_are_not_emptied() -> None:
    """Nothing emptied: a plain flush."""
    found = run_out(three(), {})
    plain = washout(three())
    assert found.fill_kg == 0.0
    assert found.fractions == (1.0, 1.0, 1.0)
    for kg in (0.0, 100.0, 900.0):
        assert found.residual(kg) == pytest.approx(plain.residual(kg), rel=1e-10)
    assert found.kg_to_reach(0.02) == pytest.approx(740.7335525, rel=5e-10)


def test_a_line_emptied_to_nothing_starts_clean() -> None:
    found = run_out(three(), dict.fromkeys(("u1", "u2", "u3"), 0.0))
    assert found.fill_kg == 290.0
    assert found.kg_to_reach(0.001) == 0.0
    assert found.residual(50.0) == 0.0


def test_dead_parts_keep_their_soap_and_hold_back_the_heel() -> None:
    """By hand: 100 kg with 20 kg dead, emptied: 80 kg fill; the dead part gives off its soap later."""
    model = line({"mixed_kg": 100, "dead_fraction": 0.2, "exchange_ratio": 0.05})
    found = run_out(model, {"u1": 0.0})
    assert found.fill_kg == pytest.approx(80.0)
    assert found.fractions == pytest.approx((0.2,))
    assert found.residual(0.0) == 0.0
    assert found.peak[1] > 0.03
    plain = washout(model, start={"u1": 0.0})
    for kg in (5.0, 60.0, 400.0):
        assert found.residual(kg) == pytest.approx(plain.residual(kg), rel=1e-10)


def test_plugs_are_filled_like_the_rest() -> None:
    """By hand: 30 kg of plug at the mean of heel and fill, then the unit's own tank from the same."""
    model = line({"plug_kg": 30, "mixed_kg": 60})
    found = run_out(model, {"u1": 0.2})
    assert found.fill_kg == pytest.approx(72.0)
    assert found.residual(25.0) == pytest.approx(0.2)
    assert found.residual(90.0) == pytest.approx(0.2 * math.exp(-60 / 60), rel=1e-12)


@FEW
@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.floats(0.0, 0.5))
def test_a_smaller_heel_never_needs_more(first: float, second: float, less: float) -> None:
    big = run_out(three(), {"u1": first, "u2": second, "u3": 0.5})
    small = run_out(three(), {"u1": first * less, "u2": second, "u3": 0.5})
    assert small.kg_to_reach(0.01) <= big.kg_to_reach(0.01) * (1 + 1e-9)
    assert all(0.0 <= x <= 1.0 for x in big.fractions)


@FEW
@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_no_part_is_above_the_start_state_given_for_other_calculations(a: float, b: float, c: float) -> None:
    found = run_out(three(), {"u1": a, "u2": b, "u3": c})
    above = washout(three(), start=found.never_above)
    for kg in (1.0, 80.0, 300.0, 900.0):
        assert found.residual(kg) <= above.residual(kg) * (1 + 1e-9) + 1e-15


@pytest.mark.parametrize(
    ("heels", "field"),
    [
        ({"u9": 0.1}, "heels"),
        ({"u1": -0.1}, "heels.u1"),
        ({"u1": 1.1}, "heels.u1"),
        ({"u2": math.nan}, "heels.u2"),
    ],
)
def test_a_run_out_names_the_field_it_refuses(heels: dict[str, Any], field: str) -> None:
    with pytest.raises(WashoutInputError) as caught:
        run_out(three(), heels)
    assert caught.value.field == field

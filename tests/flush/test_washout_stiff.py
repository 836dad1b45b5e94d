"""Stiff lines, and curves with features far narrower than the mass at which they appear."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import expm

from floorterm.flush import LineModel, UnitStart, washout
from tests.flush.test_washout_integrator import kg_balance
from tests.flush.washout_lines import line


@st.composite
def stiff_lines(draw: st.DrawFn) -> LineModel:
    """A cell from 10 g to 1 kg beside one of about 1 t, one to three others, flash and dead parts."""
    masses = [draw(st.floats(0.01, 1.0)), draw(st.floats(800.0, 1500.0))]
    masses += draw(st.lists(st.floats(1.0, 300.0), min_size=0, max_size=2))
    units = []
    for mass in draw(st.permutations(masses)):
        dead = draw(st.sampled_from((0.0, 0.0, 0.1)))
        exchange = draw(st.floats(0.01, 0.2)) if dead else 0.0
        tanks = draw(st.integers(1, 2))
        units.append({"mixed_kg": mass, "tanks": tanks, "dead_fraction": dead, "exchange_ratio": exchange})
    p = draw(st.sampled_from((0.0, 0.18)))
    names = [f"u{place}" for place in range(1, len(units) + 1)]
    return line(*units, flash_fraction=p, flash_to=draw(st.sampled_from(names)) if p else None)


def exact(model: LineModel, start: dict[str, float] | None = None) -> tuple[np.ndarray, np.ndarray, int]:
    """x' = A x, the start, and the place of the outlet; dead parts keep their steady start."""
    a, x = kg_balance(model, divert=False)
    owner = [unit.name for unit in model.units for _ in range(unit.tanks)]
    for place, name in enumerate(owner):
        if start and name in start:
            x[place] = start[name]
    return a, x, len(owner) - 1


@settings(max_examples=15, deadline=None)
@given(stiff_lines(), st.sampled_from((0.05, 0.002)))
def test_stiff_lines_agree_with_a_matrix_exponential(model: LineModel, limit: float) -> None:
    """Dense matrix exponential (scipy): residual and last crossing to 1e-9 relative."""
    a, x, outlet = exact(model)
    curve = washout(model)
    kg = curve.kg_to_reach(limit)
    assert (expm(a * kg) @ x)[outlet] == pytest.approx(limit, rel=1e-9)
    assert curve.residual(0.6 * kg) == pytest.approx((expm(a * 0.6 * kg) @ x)[outlet], rel=1e-9)


@settings(max_examples=10, deadline=None)
@given(stiff_lines(), st.data())
def test_the_last_crossing_and_the_peak_of_stiff_lines_agree_with_a_scan(
    model: LineModel, data: st.DataObject
) -> None:
    """Brute force: matrix exponentials at 150 masses from 1 g on, evenly in the logarithm."""
    start = {unit.name: data.draw(st.sampled_from((0.0, 0.02, 0.3, 1.0))) for unit in model.units}
    a, x, outlet = exact(model, start)
    limit = data.draw(st.sampled_from((0.3, 0.01)))
    curve = washout(model, start=start)
    kg = curve.kg_to_reach(limit)
    masses = np.geomspace(1e-3, 30.0 * model.content_kg, 150)
    seen = [(float(m), float((expm(a * m) @ x)[outlet])) for m in masses]
    assert all(value <= limit * (1 + 1e-9) for m, value in seen if m >= kg)
    if kg > 0:
        assert (expm(a * kg) @ x)[outlet] == pytest.approx(limit, rel=1e-9)
    assert curve.peak[1] >= max(value for _, value in seen) * (1 - 1e-9)


def test_a_narrow_pulse_behind_a_long_plug_is_not_stepped_over() -> None:
    """0.3 kg of dirty soap behind 500 kg of clean plug: 0 until 500 kg, then exp(-(m - 500) / 0.3)."""
    model = line({"mixed_kg": 0.3}, {"plug_kg": 500})
    curve = washout(model, start={"u1": 1.0, "u2": 0.0})
    assert curve.residual(499.0) == 0.0
    assert curve.kg_to_reach(0.5) == pytest.approx(500 + 0.3 * math.log(2), rel=1e-12)
    assert curve.peak == pytest.approx((500.0, 1.0), rel=1e-6)


def test_a_narrow_pulse_through_one_more_small_cell_is_found_with_its_peak() -> None:
    """Two cells 0.3 and 0.4 kg around the plug: (0.3 / 0.1) (exp(-s / 0.4) - exp(-s / 0.3)) x 1, s = m - 500;
    its highest point at s = ln(0.4 / 0.3) / (1 / 0.3 - 1 / 0.4).
    """
    curve = washout(
        line({"mixed_kg": 0.3}, {"plug_kg": 500}, {"mixed_kg": 0.4}), start={"u1": 1.0, "u2": 0.0, "u3": 0.0}
    )

    def pulse(s: float) -> float:
        return 3.0 * (math.exp(-s / 0.4) - math.exp(-s / 0.3))

    top = math.log(0.4 / 0.3) / (1 / 0.3 - 1 / 0.4)
    assert curve.peak == pytest.approx((500 + top, pulse(top)), rel=1e-8)
    assert pulse(curve.kg_to_reach(0.3) - 500) == pytest.approx(0.3, rel=1e-9)
    assert curve.kg_to_reach(0.3) > 500 + top
    assert curve.kg_to_reach(0.32) == 0.0


def test_plugs_alone_in_the_loop_bring_a_pulse_back_round_after_round() -> None:
    """One dirty plug of 2 kg among 400 kg of clean ones; half of what leaves returns: 1, 0.5, 0.25 ... of it, 402 kg
    apart; the third pulse ends at 398 + 2 + 2 x 402 kg.
    """
    model = line({"plug_kg": 2}, {"plug_kg": 400}, flash_fraction=0.5, flash_to="u1")
    curve = washout(model, start={"u1": 1.0, "u2": 0.0})
    assert curve.residual(401.0) == 1.0
    assert curve.residual(803.0) == pytest.approx(0.5)
    assert curve.kg_to_reach(0.2) == pytest.approx(402 + 2 * 402, rel=1e-9)
    assert curve.kg_to_reach(0.3) == pytest.approx(402 + 402, rel=1e-9)


def test_soap_of_a_plug_that_a_large_unit_spreads_is_followed_to_its_end() -> None:
    """500 kg of plug at half dose, ahead of 1,200 kg of clean soap: by the balance of one tank,
    x(500) = 0.5 (1 - exp(-500 / 1200)), then it decays; 0.3 kg of full dose more come in at 500 kg.
    """
    curve = washout(
        line({"mixed_kg": 0.3}, {"plug_kg": 500}, {"mixed_kg": 1200}),
        start={"u1": UnitStart(active=1.0), "u2": 0.5, "u3": 0.0},
    )
    at_500 = 0.5 * (1 - math.exp(-500 / 1200))
    assert curve.residual(500.0) == pytest.approx(at_500, rel=1e-9)

    def after(s: float) -> float:
        return at_500 * math.exp(-s / 1200) + 0.3 / (1200 - 0.3) * (math.exp(-s / 1200) - math.exp(-s / 0.3))

    assert after(curve.kg_to_reach(0.02) - 500) == pytest.approx(0.02, rel=1e-9)

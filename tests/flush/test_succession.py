"""Several fragrances in a row: one state vector each."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import expm

from floorterm.flush import LineModel, WashoutInputError, washout
from floorterm.flush.succession import succession
from tests.flush.test_washout_integrator import kg_balance
from tests.flush.washout_lines import line, lines, t11

FEW = settings(max_examples=20, deadline=None)


def by_state_vectors(model: LineModel, runs: list[float], kg: float) -> list[float]:
    """Each fragrance's own state, dosed or not, through every stretch by matrix exponentials (scipy)."""
    a, full = kg_balance(model, divert=False)
    size = len(full)
    steady = a @ full  # what a full dose adds per kg is what keeps this state standing
    states = [full.copy(), *(np.zeros(size) for _ in range(len(runs) + 1))]
    for dosed, length in enumerate([*runs, kg], start=1):
        wide = np.zeros((size + 1, size + 1))
        wide[:size, :size], wide[:size, size] = a, -steady
        moved = expm(wide * length)
        states = [
            moved[:size, :size] @ state + (moved[:size, size] if number == dosed else 0.0)
            for number, state in enumerate(states)
        ]
    return [float(state[size // 2 - 1]) for state in states]


@FEW
@given(
    lines(plug=False, most=4),
    st.lists(st.floats(5.0, 700.0), min_size=0, max_size=3),
    st.floats(1.0, 600.0),
)
def test_shares_agree_with_one_state_vector_a_fragrance(
    model: LineModel, runs: list[float], kg: float
) -> None:
    names = [f"f{number}" for number in range(len(runs) + 2)]
    shares = succession(model, names, runs).shares(kg)
    expected = by_state_vectors(model, runs, kg)
    assert [shares[name] for name in names] == pytest.approx(expected, rel=1e-7, abs=1e-11)
    assert sum(shares.values()) == pytest.approx(1.0, abs=1e-12)


def test_multiplying_residuals_would_be_wrong() -> None:
    """By hand, one tank of 100 kg: after 200 kg of the second and 150 kg of the third the first is at
    exp(-3.5); in a train the product of the two residuals is several times too high.
    """
    tank = succession(line({"mixed_kg": 100}), ("a", "b", "c"), (200.0,))
    assert tank.shares(150.0)["a"] == pytest.approx(np.exp(-3.5))
    assert tank.shares(150.0)["b"] == pytest.approx(np.exp(-1.5) - np.exp(-3.5))
    train = succession(t11(), ("a", "b", "c"), (200.0,)).shares(150.0)["a"]
    product = washout(t11()).residual(200.0) * washout(t11()).residual(150.0)
    assert product > 1.4 * train


def test_a_fragrance_that_comes_twice_counts_once() -> None:
    found = succession(t11(), ("a", "b", "a"), (300.0,))
    shares = found.shares(200.0)
    assert set(shares) == {"a", "b"}
    assert sum(shares.values()) == pytest.approx(1.0)


@FEW
@given(lines(most=4), st.floats(5.0, 800.0), st.floats(0.002, 0.3), st.floats(0.002, 0.3))
def test_every_limit_holds_from_the_crossing_on(model: LineModel, run: float, a: float, b: float) -> None:
    found = succession(model, ("old", "middle", "new"), (run,))
    kg = found.kg_to_reach({"old": a, "middle": b})
    for more in (0.0, 1.0, 30.0, 200.0, 900.0):
        shares = found.shares(kg + more)
        assert shares["old"] <= a * (1 + 1e-6)
        assert shares["middle"] <= b * (1 + 1e-6)
    if kg > 1:
        before = found.shares(kg - 1e-3)
        assert before["old"] > a * (1 - 1e-2) or before["middle"] > b * (1 - 1e-2)


def test_two_old_fragrances_share_the_room_that_one_rule_leaves() -> None:
    """One tank by hand: a run of 200 kg leaves old and middle in the ratio e^-2 : 1 - e^-2 for ever, so
    e^(-m/100) (e^-2 / 0.01 + (1 - e^-2) / 0.05) = 1 at the crossing; each at its own limit comes earlier.
    """
    found = succession(line({"mixed_kg": 100}), ("old", "middle", "new"), (200.0,))
    limits = {"old": 0.01, "middle": 0.05}
    kg = found.kg_to_reach_together(limits)
    assert kg == pytest.approx(100 * np.log(np.exp(-2) / 0.01 + (1 - np.exp(-2)) / 0.05), rel=1e-9)
    assert kg > found.kg_to_reach(limits)
    assert found.kg_to_reach_together({}) == 0.0


@FEW
@given(lines(most=4), st.floats(5.0, 800.0), st.floats(0.002, 0.3), st.floats(0.002, 0.3))
def test_together_never_needs_less_than_each_alone(model: LineModel, run: float, a: float, b: float) -> None:
    found = succession(model, ("old", "middle", "new"), (run,))
    kg = found.kg_to_reach_together({"old": a, "middle": b})
    assert kg >= found.kg_to_reach({"old": a, "middle": b}) * (1 - 1e-6)
    for more in (0.0, 30.0, 400.0):
        shares = found.shares(kg + more)
        assert shares["old"] / a + shares["middle"] / b <= 1 + 1e-6


def test_a_short_run_behind_a_plug_comes_later() -> None:
    """By hand: 50 kg of plug; 20 kg of the middle one come out between 30 and 50 kg, then never again."""
    found = succession(line({"plug_kg": 50}), ("old", "middle", "new"), (20.0,))
    assert [found.shares(kg)["middle"] for kg in (10.0, 40.0, 60.0)] == [0.0, 1.0, 0.0]
    assert found.kg_to_reach({"middle": 0.5}) == pytest.approx(50.0)
    assert found.kg_to_reach({"old": 0.5}) == pytest.approx(30.0)


@pytest.mark.parametrize(
    ("names", "runs", "field"),
    [
        (("a",), (), "fragrances"),
        (("a", "b"), (5.0,), "runs_kg"),
        (("a", "b", "c"), (), "runs_kg"),
        (("a", "b", "c"), (-5.0,), "runs_kg[0]"),
    ],
)
def test_a_succession_names_the_field_it_refuses(names: Any, runs: Any, field: str) -> None:
    with pytest.raises(WashoutInputError) as caught:
        succession(t11(), names, runs)
    assert caught.value.field == field


def test_limits_name_fragrances_that_can_fall() -> None:
    found = succession(t11(), ("a", "b", "c"), (300.0,))
    for limits in ({"d": 0.1}, {"c": 0.1}, {"a": 0.0}):
        with pytest.raises(WashoutInputError):
            found.kg_to_reach(limits)
    with pytest.raises(WashoutInputError, match="divert_flash"):
        succession(t11(flash_fraction=0.18, flash_to="u1", dose_at="u2"), ("a", "b"), (), divert_flash=True)

"""A batch amalgamator on a heel ahead of the line."""

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from floorterm.flush import LineModel, WashoutInputError, washout
from floorterm.flush.batch import batch_washout
from tests.flush.parcels import means, simulate
from tests.flush.washout_lines import line, lines, t11

FEW = settings(max_examples=20, deadline=None)


def behind() -> LineModel:
    return line({"mixed_kg": 50, "tanks": 2}, {"mixed_kg": 110, "tanks": 3})


def test_batches_of_150_kg_on_a_heel_of_25() -> None:
    """Worked figures: kg balances by a Runge-Kutta pair at 1e-12 and, independently, a 30-digit matrix
    exponential, batch after batch.
    """
    found = batch_washout(behind(), batch_kg=150, heel_kg=25)
    assert [found.batch(k) for k in (1, 2, 3)] == pytest.approx(
        [0.1428571429, 0.02040816327, 0.002915451895], rel=5e-10
    )
    for kg, expected in {
        100: 0.8196308003,
        150: 0.5662764925,
        300: 0.1201747235,
        600: 0.002769300131,
    }.items():
        assert found.residual(kg) == pytest.approx(expected, rel=5e-10)
    assert found.kg_to_reach(0.02) == pytest.approx(445.8924268, rel=5e-10)
    assert found.kg_to_reach(0.002) == pytest.approx(624.8455601, rel=5e-10)
    assert found.batches_to_reach(0.02) == 3  # 445.9 kg lie in the third batch
    assert found.batches_to_reach(0.002) == 5


def test_without_a_heel_the_feed_is_clean_at_once() -> None:
    found, plain = batch_washout(behind(), batch_kg=150, heel_kg=0), washout(behind())
    for kg in (0.0, 100.0, 700.0):
        assert found.residual(kg) == pytest.approx(plain.residual(kg), rel=1e-12)
    assert found.kg_to_reach(0.001) == pytest.approx(plain.kg_to_reach(0.001), rel=1e-9)


def test_ever_smaller_batches_become_one_more_stirred_tank() -> None:
    """By hand: (g/(g+B))^(m/B) -> exp(-m/g) for B -> 0."""
    found = batch_washout(behind(), batch_kg=0.05, heel_kg=25)
    tank = washout(line({"mixed_kg": 25}, {"mixed_kg": 50, "tanks": 2}, {"mixed_kg": 110, "tanks": 3}))
    assert found.residual(200.0) == pytest.approx(tank.residual(200.0), rel=2e-3)


@FEW
@given(lines(plug=False, most=3), st.sampled_from((20, 60, 150)), st.floats(0.0, 60.0))
def test_batches_agree_with_parcels(model: LineModel, batch: int, heel: float) -> None:
    """Brute-force parcels with the staircase as feed, extrapolated from 0.5 and 0.25 kg."""
    plain = LineModel(units=model.units)
    found = batch_washout(plain, batch_kg=batch, heel_kg=heel)
    share = heel / (heel + batch)

    def run(delta: float) -> list[float]:
        return simulate(
            plain, delta, round(500 / delta), inlet=lambda j: share ** (int(j * delta // batch) + 1)
        )

    halves = means(run, 0.5)
    parcel = [(halves[2 * j] + halves[2 * j + 1]) / 2 for j in range(500)]
    for j in (9, 75, 149, 150, 311, 499):
        mean = sum(w * found.residual(j + x) for x, w in _GAUSS)
        assert mean == pytest.approx(parcel[j], rel=1e-6, abs=1e-10)


_GAUSS = tuple(
    (0.5 + x / 2, w / 2) for x, w in ((-math.sqrt(0.6), 5 / 9), (0.0, 8 / 9), (math.sqrt(0.6), 5 / 9))
)


@FEW
@given(lines(most=4), st.floats(5.0, 300.0), st.floats(0.0, 80.0), st.floats(1e-4, 0.9))
def test_the_residual_falls_and_meets_the_limit(
    model: LineModel, batch: float, heel: float, limit: float
) -> None:
    fed = LineModel(
        units=model.units,
        flash_fraction=model.flash_fraction,
        flash_to=model.flash_to,
        return_kg=model.return_kg,
    )
    divert = fed.flash_index == 0
    found = batch_washout(fed, batch_kg=batch, heel_kg=heel, divert_flash=divert)
    kg = found.kg_to_reach(limit)
    assert found.residual(kg) <= limit * (1 + 1e-9)
    assert found.residual(kg * (1 - 1e-6)) >= limit * (1 - 1e-4)
    assert found.residual(kg + 13.0) <= found.residual(kg) * (1 + 1e-9)
    plain = washout(fed, divert_flash=divert)
    assert kg >= plain.kg_to_reach(limit) * (1 - 1e-9)


def test_a_batch_lasts_longer_where_flash_fills_part_of_the_line() -> None:
    model = line({"mixed_kg": 40}, {"mixed_kg": 90}, flash_fraction=0.2, flash_to="u2")
    assert batch_washout(model, batch_kg=100, heel_kg=10).every_kg == pytest.approx(125.0)
    assert batch_washout(model, batch_kg=100, heel_kg=10, divert_flash=True).every_kg == 100.0


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"batch_kg": 0.0}, "batch_kg"),
        ({"batch_kg": -5.0}, "batch_kg"),
        ({"heel_kg": -0.1}, "heel_kg"),
        ({"heel_kg": math.inf}, "heel_kg"),
        ({"line": t11(flash_fraction=0.18, flash_to="u1")}, "flash_to"),
        ({"line": line({"mixed_kg": 9}, {"mixed_kg": 9}, dose_at="u2")}, "dose_at"),
    ],
)
def test_a_batch_names_the_field_it_refuses(fields: dict[str, Any], field: str) -> None:
    with pytest.raises(WashoutInputError) as caught:
        batch_washout(**{"line": behind(), "batch_kg": 150.0, "heel_kg": 25.0, **fields})
    assert caught.value.field == field


@pytest.mark.parametrize("bad", [0, -1, 1.0, True])
def test_batches_are_counted_from_one(bad: Any) -> None:
    with pytest.raises(WashoutInputError, match="number"):
        batch_washout(behind(), batch_kg=150, heel_kg=25).batch(bad)


def test_limits_above_the_start_need_nothing() -> None:
    found = batch_washout(behind(), batch_kg=150, heel_kg=25)
    assert found.kg_to_reach(1.0) == 0.0
    with pytest.raises(WashoutInputError, match="limit"):
        found.kg_to_reach(0.0)

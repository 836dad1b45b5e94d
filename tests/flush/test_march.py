"""Steps along a curve that is not monotone: always back, never over an arrival, never over what is proven."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from floorterm.flush.layout import layout
from floorterm.flush.march import pace
from tests.flush.washout_lines import line


def test_arrivals_are_the_ends_and_beginnings_of_plugs_and_of_the_conveyor() -> None:
    """By hand: behind the second plug 0, before it 30, before the first 50 kg; the conveyor of 10 kg at p 0.2 holds
    50 kg of line mass and enters before the second plug.
    """
    model = line(
        {"plug_kg": 20, "mixed_kg": 60},
        {"plug_kg": 30, "mixed_kg": 90, "tanks": 3},
        flash_fraction=0.2,
        flash_to="u2",
        return_kg=10,
    )
    found = pace(layout(model, diverted=False), model.content_kg)
    assert found.arrivals == pytest.approx((0.0, 30.0, 30.0 + 20.0 / 0.8, 80.0))
    assert (found.slow_unit, found.slow_kg, found.round_kg) == (1, 30.0, 0.0)
    assert found.stride == 6.25  # a quarter of 25 kg, the plug of 20 kg at 0.8 of the flow


@given(
    st.floats(1e-6, 1e7),
    st.floats(0.01, 400.0),
    st.floats(0.0, 400.0),
    st.sampled_from((0.05, 0.3, 0.5, 0.9)),
)
def test_a_step_always_leads_back_and_never_over_an_arrival(
    kg: float, first: float, second: float, p: float
) -> None:
    """Nothing but plugs in the loop: arrivals come again with every round."""
    model = line({"plug_kg": first}, {"plug_kg": second}, flash_fraction=p, flash_to="u1", return_kg=1)
    found = pace(layout(model, diverted=False), model.content_kg)
    left = found.back(kg, 0.0, 0.5, 0.0)
    assert 0.0 <= left < kg
    assert found.last_arrival(kg) <= left
    assert kg - found.last_arrival(kg) <= found.round_kg * (1 + 1e-9) + 1e-9


@given(st.floats(1.0, 1e5), st.floats(1e-12, 0.49))
def test_behind_the_slowest_cell_a_curve_is_jumped_back_as_far_as_its_slope_allows(
    kg: float, found: float
) -> None:
    """x(m - d) <= x(m) exp(d / 100): a tank of 100 kg before one of 1 kg."""
    model = line({"mixed_kg": 100}, {"mixed_kg": 1})
    marching = pace(layout(model, diverted=False), model.content_kg)
    left = marching.back(kg, found, 0.5, 0.0)
    steepest = found * 2.718281828459045 ** ((kg - left) / 100)
    assert left == 0.0 or steepest <= 0.5 * (1 + 1e-9) or kg - left <= marching.step(kg) * (1 + 1e-9)

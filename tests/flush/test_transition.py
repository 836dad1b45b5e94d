"""Both sides of a transition, counted in bars and cartons."""

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from floorterm.flush import LineModel, QuantityInputError, WashoutInputError, washout
from floorterm.flush.following import Followed
from floorterm.flush.transition import count_bars, transition, whole_cartons, worst_bar
from tests.flush.washout_lines import line, lines, t6, t11

FEW = settings(max_examples=20, deadline=None)


def test_the_soap_between_two_fragrances() -> None:
    """Worked figures: kg balances by a Runge-Kutta pair at 1e-12 and, independently, a 30-digit matrix
    exponential.
    """
    found = transition(t6(), incoming_in_outgoing=0.03, outgoing_in_incoming=0.02)
    assert found.last_kg == pytest.approx(123.4956659, rel=5e-10)
    assert found.first_kg == pytest.approx(580.4828566, rel=5e-10)
    assert found.between_kg == pytest.approx(456.9871907, rel=5e-10)
    assert found.bars_kg == pytest.approx(388.4391121, rel=5e-10)
    assert found.mean_outgoing == pytest.approx(0.3170471123, rel=5e-10)


def test_where_both_sides_overlap_nothing_is_diverted() -> None:
    found = transition(t6(), incoming_in_outgoing=0.6, outgoing_in_incoming=0.5)
    assert (found.between_kg, found.bars_kg, found.mean_outgoing) == (0.0, 0.0, 0.0)
    assert found.first_kg < found.last_kg
    assert count_bars(found.last_kg, found.first_kg, 125.0).diverted == 0


@FEW
@given(lines(most=4), st.just(0.0) | st.floats(1e-3, 0.5), st.floats(0.001, 0.4), st.booleans())
def test_the_mean_is_the_area_under_the_curve(model: LineModel, a: float, b: float, divert: bool) -> None:
    """Against an adaptive quadrature (QUADPACK by scipy) of the washout computed the other way."""
    found = transition(model, incoming_in_outgoing=a, outgoing_in_incoming=b, divert_flash=divert)
    curve = washout(model, divert_flash=divert)
    assert found.last_kg == pytest.approx(curve.kg_to_reach(1 - a), rel=1e-8, abs=1e-8)
    assert found.first_kg == pytest.approx(curve.kg_to_reach(b), rel=1e-8)
    if found.between_kg > 1:
        area, _ = quad(curve.residual, found.last_kg, found.first_kg, limit=400, epsrel=1e-9)
        assert found.mean_outgoing == pytest.approx(area / found.between_kg, rel=1e-5)
        assert b <= found.mean_outgoing <= 1 - a + 1e-9


def test_a_carried_residual_brings_the_first_bar_later_and_lifts_the_mean() -> None:
    plain = transition(t6(), incoming_in_outgoing=0.03, outgoing_in_incoming=0.02)
    carried = transition(t6(), incoming_in_outgoing=0.03, outgoing_in_incoming=0.02, carried=0.01)
    assert carried.first_kg > plain.first_kg
    assert carried.last_kg > plain.last_kg  # part of what comes is outgoing by itself
    never = transition(t6(), incoming_in_outgoing=0.03, outgoing_in_incoming=0.02, carried=0.02)
    assert never.first_kg == math.inf
    assert never.mean_outgoing == 0.0


def test_bars_are_counted_from_the_unrounded_mass() -> None:
    """By hand: 880.5534144 kg x 0.82 / 0.125 kg = 5776.43 -> 5,777 bars; bar 5,778 is the first accepted
    (5,780 from the rounded 881 kg would be the wrong order).
    """
    found = count_bars(0.0, 880.5534144, 125 / 0.82)
    assert (found.diverted, found.first_incoming, found.last_outgoing) == (5777, 5778, 0)


def test_starts_are_rounded_down_and_ends_up() -> None:
    """By hand with slugs of 0.1 kg: 12.34 kg is 123 whole bars, 58.01 kg takes 581 with it."""
    found = count_bars(12.34, 58.01, 100.0)
    assert (found.last_outgoing, found.first_incoming, found.diverted) == (123, 582, 458)
    exact = count_bars(1.0, 2.0, 100.0)
    assert (exact.last_outgoing, exact.first_incoming, exact.diverted) == (10, 21, 10)


def test_the_worst_accepted_bar_is_the_first_one_at_its_leading_edge() -> None:
    model = t11(flash_fraction=0.18, flash_to="u1")
    worst = worst_bar(Followed(model, resume_kg=0.0), 0.02, 125 / 0.82)
    assert worst is not None
    assert worst.number == 5778
    assert worst.residual == pytest.approx(washout(model).residual(5777 * 0.125 / 0.82), rel=1e-10)
    assert 0 < worst.margin < 2e-5


def test_where_the_residual_rises_later_the_peak_is_the_worst_bar() -> None:
    """The stripped train starts at 0.05 and climbs to 0.4289426275 at 125.7913441 kg (worked figures by a
    Runge-Kutta pair and a matrix exponential); at a limit of 0.43 no bar is diverted, that one is the worst.
    """
    worst = worst_bar(Followed(t11(), start={"u1": 0.10, "u3": 0.05}), 0.43, 100.0)
    assert worst is not None
    assert worst.number == 1258
    assert worst.residual == pytest.approx(0.4289426275, rel=5e-10)
    assert worst.margin == pytest.approx(0.43 - 0.4289426275, rel=1e-6)


def test_a_carton_that_straddles_the_mark_is_diverted_whole() -> None:
    assert [whole_cartons(bars, 72) for bars in (0, 1, 72, 73, 5777)] == [0, 1, 1, 2, 81]


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"incoming_in_outgoing": 1.0}, "incoming_in_outgoing"),
        ({"incoming_in_outgoing": -0.1}, "incoming_in_outgoing"),
        ({"outgoing_in_incoming": 0.0}, "limit"),
        ({"carried": 1.0}, "floor"),
    ],
)
def test_a_transition_names_the_field_it_refuses(fields: dict[str, Any], field: str) -> None:
    with pytest.raises(WashoutInputError) as caught:
        transition(t6(), **{"incoming_in_outgoing": 0.03, "outgoing_in_incoming": 0.02, **fields})
    assert caught.value.field == field


@pytest.mark.parametrize("bad", [0.0, -1.0, math.inf])
def test_a_slug_has_a_mass(bad: float) -> None:
    with pytest.raises(QuantityInputError, match="slug_g"):
        count_bars(0.0, 100.0, bad)


@pytest.mark.parametrize(("bars", "per"), [(-1, 72), (10, 0), (1.5, 72), (10, True)])
def test_cartons_are_whole(bars: Any, per: Any) -> None:
    with pytest.raises(QuantityInputError):
        whole_cartons(bars, per)


def test_a_limit_that_is_never_kept_has_no_worst_bar() -> None:
    corner = line({"mixed_kg": 9, "dead_fraction": 0.2, "exchange_ratio": 1e-9})
    assert worst_bar(Followed(corner), 1e-12, 100.0) is None

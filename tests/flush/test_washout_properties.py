"""What must hold on every line, whatever its figures."""

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from floorterm.flush import LineModel, UnitStart, washout
from tests.flush.washout_lines import integral, line, lines

FEW = settings(max_examples=30, deadline=None)


@FEW
@given(lines(), st.floats(0.0, 1500.0), st.floats(0.01, 300.0))
def test_from_the_steady_state_the_residual_never_rises(model: LineModel, kg: float, more: float) -> None:
    """Every cell falls monotonically from the steady start, with or without returned flash."""
    curve = washout(model)
    assert curve.residual(kg + more) <= curve.residual(kg) + 1e-12


@FEW
@given(lines(), st.floats(1e-6, 0.9))
def test_the_crossing_is_where_the_residual_meets_the_limit(model: LineModel, limit: float) -> None:
    curve = washout(model)
    kg = curve.kg_to_reach(limit)
    assert curve.residual(kg) <= limit
    assert curve.residual(kg * (1 - 1e-9)) >= limit * (1 - 1e-6)


@settings(max_examples=10, deadline=None)
@given(lines(most=3))
def test_what_leaves_is_what_the_line_held(model: LineModel) -> None:
    """(1 - p) times the area under W = sum of content times start fraction + return path (kg balance)."""
    curve = washout(model)
    held = sum(unit.content_kg * model.steady_fraction(place) for place, unit in enumerate(model.units))
    area = integral(curve.residual, model, curve.kg_to_reach(1e-9))
    assert (1 - model.returned_fraction) * area == pytest.approx(held + model.return_kg, rel=1e-6)


@FEW
@given(lines(dead=False), st.floats(1.0, 8.0))
def test_the_content_alone_bounds_the_washout(model: LineModel, multiple: float) -> None:
    """W(m) <= exp(1 - m/mu) for m >= mu: no dead parts, dosed where flash returns, mu = content / (1 - p).

    Derivation: a kg that has not left yet has on average at most mu to go, so the area beyond t is at most
    mu exp(-t/mu). A kg that lies at the start of a return path has its whole delay more to go, so with a
    path of return_kg (delay return_kg / p) mu is (content + return_kg / p) / (1 - p).
    """
    loop = LineModel(
        units=model.units,
        flash_fraction=model.flash_fraction,
        flash_to=model.units[0].name if model.flash_to else None,
        return_kg=model.return_kg,
        dose_at=model.units[0].name,
    )
    p = loop.returned_fraction
    mu = (loop.content_kg + (loop.return_kg / p if p else 0.0)) / (1 - p)
    curve = washout(loop)
    assert curve.residual(multiple * mu) <= math.exp(1 - multiple) * (1 + 1e-9)
    assert curve.kg_to_reach(0.02) <= mu * (1 + math.log(50)) * (1 + 1e-9)


def test_a_long_return_path_breaks_the_bound_that_counts_only_its_content() -> None:
    """5 kg stirred, p 0.1, 12 kg on the way back: until 120 kg have passed a tenth of the feed is old soap.

    By hand: the conveyor moves 0.1 kg a kg, so it brings full dose until 120 kg; mu from contents alone is
    17 / 0.9 = 18.9 kg and would promise exp(1 - 75.6/18.9) = 0.0498 where 0.1 comes out.
    """
    curve = washout(line({"mixed_kg": 5}, flash_fraction=0.1, flash_to="u1", return_kg=12))
    assert curve.residual(4 * 17 / 0.9) == pytest.approx(0.1, rel=1e-5)
    assert math.exp(1 - 4) < 0.05


def test_the_content_bound_of_the_worked_train() -> None:
    """90/1, 70/2, 110/3 at 0.02: bound 1617.4 kg with p 0.18 and 1326.2 without; truth 880.6 and 580.3."""
    for p, expected in ((0.18, 1617.4), (0.0, 1326.2)):
        assert 270 / (1 - p) * (1 + math.log(50)) == pytest.approx(expected, abs=0.1)


@FEW
@given(lines(), st.floats(0.1, 3.0), st.data())
def test_no_start_ever_stands_above_the_full_line(
    model: LineModel, share: float, data: st.DataObject
) -> None:
    """Less outgoing soap at the start never gives more at the outlet (all couplings are positive)."""
    start = {
        unit.name: UnitStart(active=x * model.steady_fraction(i), plug=x * model.steady_fraction(i))
        for i, unit in enumerate(model.units)
        for x in (data.draw(st.floats(0.0, 1.0)),)
    }
    kg = share * model.content_kg
    assert washout(model, start=start).residual(kg) <= washout(model).residual(kg) + 1e-12


@settings(max_examples=10, deadline=None)
@given(lines(most=3), st.data())
def test_after_the_last_crossing_nothing_stands_above_the_limit(
    model: LineModel, data: st.DataObject
) -> None:
    start = {unit.name: data.draw(st.sampled_from((0.0, 0.1, 1.0))) for unit in model.units}
    curve = washout(model, start=start)
    kg = curve.kg_to_reach(0.05)
    for step in range(60):
        later = kg + step * model.content_kg / 20
        assert curve.residual(later) <= 0.05 * (1 + 1e-9)
    assert kg == 0.0 or curve.residual(kg * (1 - 1e-7)) > 0.05 * (1 - 1e-3)
    peak_kg, peak = curve.peak
    assert all(curve.residual(k * model.content_kg / 50) <= peak * (1 + 1e-6) for k in range(200))
    assert curve.residual(peak_kg) <= peak


@FEW
@given(lines(), st.floats(0.0005, 0.2), st.floats(0.0, 1500.0))
def test_a_floor_lifts_the_whole_curve(model: LineModel, floor: float, kg: float) -> None:
    """r(m) = f + (1 - f) W(m)."""
    expected = floor + (1 - floor) * washout(model).residual(kg)
    assert washout(model, floor=floor).residual(kg) == pytest.approx(expected, rel=1e-12)


@FEW
@given(lines(plug=False), st.floats(0.001, 0.1), st.floats(1.0, 1500.0), st.floats(0.0, 1.0))
def test_a_floor_under_any_start_is_a_superposition(
    model: LineModel, floor: float, kg: float, x: float
) -> None:
    """The feed's own share adds f (1 - W) of the steady line to what the start gives."""
    start = {unit.name: x for unit in model.units}
    expected = washout(model, start=start).residual(kg) + floor * (1 - washout(model).residual(kg))
    assume(expected <= 1.0)
    assert washout(model, floor=floor, start=start).residual(kg) == pytest.approx(expected, abs=1e-12)


def test_the_place_of_a_plug_does_not_matter_without_returned_flash() -> None:
    early = washout(line({"plug_kg": 40, "mixed_kg": 90}, {"mixed_kg": 60, "tanks": 2}))
    late = washout(line({"mixed_kg": 90}, {"plug_kg": 40, "mixed_kg": 60, "tanks": 2}))
    for kg in (20.0, 100.0, 400.0):
        assert early.residual(kg) == pytest.approx(late.residual(kg), rel=1e-12)


def test_units_without_content_change_nothing() -> None:
    with_empty = line({}, {"mixed_kg": 90}, {}, {"mixed_kg": 60}, {}, flash_fraction=0.2, flash_to="u3")
    plain = line({"mixed_kg": 90}, {"mixed_kg": 60}, flash_fraction=0.2, flash_to="u2")
    for kg in (0.0, 50.0, 500.0):
        assert washout(with_empty).residual(kg) == pytest.approx(washout(plain).residual(kg), rel=1e-12)

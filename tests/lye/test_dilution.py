"""Mass balance of a dilution: worked checks, guards, and what must hold for every one."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from floorterm.lye import (
    DilutionError,
    LyeError,
    OutsideTableError,
    check_vessel,
    density,
    dilute,
    mass_pct_of,
)


def test_100_kg_of_10_percent_from_50_percent() -> None:
    """D1. Hand reckoning with the published densities: 20.00 kg (13.11 L) and 80.00 kg (80.14 L) give 90.18 L,
    not the 93.26 L that go in. 0.1 % on masses, 0.3 % on volumes."""
    made = dilute(50, 10, total_kg=100)
    assert made.stock_kg == pytest.approx(20.0, rel=1e-3)
    assert made.water_kg == pytest.approx(80.0, rel=1e-3)
    assert made.stock_l == pytest.approx(13.11, rel=3e-3)
    assert made.water_l == pytest.approx(80.14, rel=3e-3)
    assert made.total_l == pytest.approx(90.18, rel=3e-3)
    assert made.parts_l == pytest.approx(93.26, rel=3e-3)


def test_200_litres_of_20_percent_from_50_percent() -> None:
    """D2. Hand reckoning with the published densities; the parts add to 5.3 % more than the 200 L obtained."""
    made = dilute(50, 20, total_l=200)
    assert made.total_kg == pytest.approx(243.84, rel=1e-3)
    assert made.naoh_kg == pytest.approx(48.77, rel=1e-3)
    assert made.stock_kg == pytest.approx(97.54, rel=1e-3)
    assert made.water_kg == pytest.approx(146.30, rel=1e-3)
    assert made.stock_l == pytest.approx(63.95, rel=3e-3)
    assert made.water_l == pytest.approx(146.57, rel=3e-3)
    assert made.parts_l is not None
    assert made.parts_l / made.total_l == pytest.approx(1.0526, abs=5e-4)


def test_a_volume_rule_would_put_in_a_quarter_too_much() -> None:
    """Hand reckoning: 80 L of 50 % topped up to 200 L is 122.0 kg of stock, 61.0 kg NaOH, 305 g/L, about 24 %."""
    stock_kg = 80 * density(50)
    assert stock_kg == pytest.approx(122.0, abs=0.1)
    assert stock_kg / 2 / 200 * 1000 == pytest.approx(305, abs=0.5)
    assert mass_pct_of(305) == pytest.approx(24, abs=0.2)
    assert stock_kg / dilute(50, 20, total_l=200).stock_kg == pytest.approx(1.25, abs=0.005)


def test_solid_is_stock_of_100_percent_without_a_volume() -> None:
    made = dilute(100, 20, total_kg=100)
    assert made.solid
    assert made.stock_kg == made.naoh_kg == pytest.approx(20)
    assert made.stock_l is None
    assert made.parts_l is None


@given(
    st.floats(0.1, 50), st.floats(0.01, 0.999), st.floats(0.1, 20_000), st.floats(10, 100), st.floats(10, 100)
)
def test_mass_and_lye_are_conserved(
    stock: float, part: float, total: float, stock_c: float, water_c: float
) -> None:
    made = dilute(stock, stock * part, total_kg=total, stock_c=stock_c, water_c=water_c)
    assert made.stock_kg + made.water_kg == pytest.approx(made.total_kg, rel=1e-12)
    assert made.stock_kg * stock / 100 == pytest.approx(made.naoh_kg, rel=1e-9)
    assert made.naoh_kg == pytest.approx(total * stock * part / 100, rel=1e-9)
    assert made.stock_kg > 0
    assert made.water_kg > 0


@given(st.floats(0.5, 49), st.floats(1, 5000))
def test_asking_for_litres_gives_those_litres(target: float, litres: float) -> None:
    assert dilute(50, target, total_l=litres).total_l == pytest.approx(litres, rel=1e-9)


@given(st.floats(10, 50), st.floats(0.02, 0.98))
def test_volumes_never_add_up_at_one_temperature(stock: float, part: float) -> None:
    """Contraction of mixing, up to 5.3 % by the published densities; interpolation may hide the last per mille."""
    made = dilute(stock, stock * part, total_kg=100)
    assert made.parts_l is not None
    assert made.total_l * 0.999 < made.parts_l < made.total_l * 1.06


@pytest.mark.parametrize(("stock", "target"), [(50, 50), (20, 30), (50, 0), (50, -1), (30, 30.0001), (0, 0)])
def test_a_target_that_is_not_weaker_than_its_stock_is_refused(stock: float, target: float) -> None:
    with pytest.raises(LyeError):
        dilute(stock, target, total_kg=100)


@pytest.mark.parametrize("stock", [50.5, 73, 99.9, 101])
def test_stock_stronger_than_the_tables_is_refused(stock: float) -> None:
    with pytest.raises(OutsideTableError) as caught:
        dilute(stock, 10, total_kg=100)
    assert caught.value.field == "stock"


@pytest.mark.parametrize(
    "amount", [{"total_kg": 0.0}, {"total_kg": -1.0}, {"total_l": 0.0}, {}, {"total_kg": 1.0, "total_l": 1.0}]
)
def test_no_mass_or_two_amounts_are_refused(amount: dict[str, float]) -> None:
    with pytest.raises(DilutionError):
        dilute(50, 10, **amount)  # type: ignore[arg-type]


@pytest.mark.parametrize("field", ["stock_c", "water_c", "measured_at_c"])
@pytest.mark.parametrize("value", [9.0, 101.0])
def test_a_temperature_outside_the_tables_is_refused(field: str, value: float) -> None:
    with pytest.raises(OutsideTableError) as caught:
        dilute(50, 10, total_kg=100, **{field: value})  # type: ignore[arg-type]
    assert caught.value.field == field


def test_a_vessel_must_hold_the_batch_while_it_is_hot() -> None:
    """Published density of 10 % at 20 C: 90.18 L; at 33 C the batch is larger, so 90.5 L do not do."""
    made = dilute(50, 10, total_kg=100)
    with pytest.raises(DilutionError):
        check_vessel(made, 90.1, 20)
    with pytest.raises(DilutionError):
        check_vessel(made, 90.5, 33)
    check_vessel(made, 92, 33)

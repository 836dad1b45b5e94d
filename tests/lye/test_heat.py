"""Mean temperatures: worked checks, an independent root finder, the maximum along the path, the site's limit."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from floorterm.lye import (
    DilutionError,
    OutsideTableError,
    SolidError,
    dilute,
    enthalpy,
    estimate,
    judge,
    lye_into_water,
    mix,
    solid_into_water,
)


@pytest.mark.parametrize(
    ("stock_kg", "stock_pct", "stock_c", "water_kg", "water_c", "h_mix", "worked", "exact"),
    [
        pytest.param(40, 50, 30, 60, 20, 176.5, 50.0, 50.02, id="T1"),
        pytest.param(60, 50, 30, 40, 20, 223.2, 58.5, 58.49, id="T2"),
        pytest.param(20, 50, 30, 80, 20, 129.9, 34.8, 34.75, id="T3"),
        pytest.param(60, 50, 50, 40, 40, 295.8, 78.6, 78.61, id="T4"),
        pytest.param(31.25, 32, 25, 68.75, 20, 92.7, 25.1, 24.97, id="T5"),
    ],
)
def test_mixing_temperature_of_solutions(
    stock_kg: float,
    stock_pct: float,
    stock_c: float,
    water_kg: float,
    water_c: float,
    h_mix: float,
    worked: float,
    exact: float,
) -> None:
    """`h_mix` (kJ/kg) and `worked`: hand reckoning on the enthalpy table, +-1.5 C. `exact`: correlation of Olsson,
    Jernqvist and Aly in an open-source library with Brent's root finder, +-1.5 C as well."""
    found = mix(stock_pct, stock_kg, stock_c, water_kg, water_c)
    held = stock_kg * enthalpy(stock_pct, stock_c) + water_kg * enthalpy(0, water_c)
    assert held / (stock_kg + water_kg) == pytest.approx(h_mix, abs=0.051)
    assert found == pytest.approx(worked, abs=0.1)
    assert found == pytest.approx(exact, abs=1.5)


@pytest.mark.parametrize(
    ("stock", "target", "stock_c", "water_c", "exact"),
    [
        (45, 13.2, 30, 30, 44.4), (20, 15.6, 25, 12, 22.4), (25, 5.3, 35, 15, 19.3), (40, 22, 40, 15, 43.3),
        (20, 14, 35, 20, 30.8), (25, 21.3, 35, 15, 33.4), (20, 5.1, 40, 25, 28.8), (25, 5.6, 20, 15, 16.5),
        (25, 22.2, 25, 15, 25.1), (32, 11.5, 25, 30, 32.9), (50, 31.2, 30, 15, 56.4), (40, 13.5, 30, 25, 37.1),
        (25, 21.7, 30, 12, 28.8), (32, 11.1, 40, 30, 37.7), (20, 11.9, 30, 12, 22.6), (32, 12.6, 30, 25, 31.7),
        (50, 17.2, 35, 25, 51.3), (50, 10.9, 30, 12, 29.2), (50, 19.1, 35, 12, 44.7), (45, 34.5, 30, 25, 49.7),
        (45, 36.6, 35, 12, 48.3), (50, 11.1, 30, 12, 29.5), (25, 21.6, 35, 20, 34.4), (45, 17.2, 40, 20, 44.9),
    ],
)  # fmt: skip
def test_mixing_temperature_keeps_to_the_correlation_off_the_grid(
    stock: float, target: float, stock_c: float, water_c: float, exact: float
) -> None:
    """Twenty-four drawn cases, recomputed with an open-source library of the correlation and Brent's root finder."""
    assert lye_into_water(stock, target, stock_c, water_c).end_c == pytest.approx(exact, abs=1.5)


def test_the_hottest_target_lies_mid_range_not_at_the_most_dilute() -> None:
    """Worked on the enthalpy table: 30 % is hotter than 20 %, and 20 % than 10 %."""
    at = {target: lye_into_water(50, target, 30, 20).end_c for target in (10, 20, 30, 45)}
    assert at[30] > at[20] > at[10]
    assert at[30] > at[45]


def test_a_strong_target_passes_a_hotter_point_on_the_way() -> None:
    """Path by an open-source library of the correlation: 58.7 C near 32 %, 45.6 C at 44 %."""
    heat = lye_into_water(50, 44, 30, 20)
    assert heat.end_c == pytest.approx(45.6, abs=1.5)
    assert heat.peak_c == pytest.approx(58.7, abs=1.5)
    assert 28 <= heat.peak_pct <= 34
    assert heat.peak_c - heat.end_c > 10


@given(st.floats(10, 50), st.floats(0.02, 0.99), st.floats(12, 45), st.floats(12, 40))
def test_the_maximum_of_the_path_is_at_least_the_end_and_the_water(
    stock: float, part: float, stock_c: float, water_c: float
) -> None:
    heat = lye_into_water(stock, stock * part, stock_c, water_c)
    assert heat.peak_c >= heat.end_c
    assert heat.peak_c >= heat.path[0][1] == pytest.approx(water_c, abs=1e-6)
    steps = [w for w, _ in heat.path]
    assert steps[-1] == pytest.approx(stock * part)
    assert all(0 < after - before <= 1 for before, after in pairwise(steps))


@given(st.floats(10, 50), st.floats(0.02, 0.99), st.floats(12, 40), st.floats(0, 5), st.floats(0, 5))
def test_hotter_parts_never_give_a_cooler_batch(
    stock: float, part: float, start: float, more_stock: float, more_water: float
) -> None:
    cool = lye_into_water(stock, stock * part, start, start)
    hot = lye_into_water(stock, stock * part, start + more_stock, start + more_water)
    assert hot.end_c >= cool.end_c - 1e-6
    assert hot.peak_c >= cool.peak_c - 1e-6


@given(st.floats(5, 50), st.floats(10, 40))
def test_nothing_mixed_in_changes_nothing(stock: float, stock_c: float) -> None:
    assert mix(stock, 10, stock_c, 0, 20) == pytest.approx(stock_c, abs=1e-6)


@pytest.mark.parametrize(
    ("target", "worked"), [pytest.param(5, 34.0, id="T6"), pytest.param(20, 80.3, id="T7")]
)
def test_temperature_of_a_solution_from_solid(target: float, worked: float) -> None:
    """Hand reckoning: heat of solution -44.51 kJ/mol (CRC Handbook after Parker), heat capacity 3.98 and 3.69
    kJ/(kg K); water of 20 C. With the full enthalpy scale the second lies between 79 and 80.5 C."""
    assert solid_into_water(target, 20).end_c == pytest.approx(worked, abs=0.3)


def test_the_heat_capacity_of_water_would_be_too_low_by_seven_degrees() -> None:
    """Hand reckoning: 20 + 22257 / (100 * 4.18) = 73.2 C, on the unsafe side."""
    assert solid_into_water(20, 20).end_c - 73.2 == pytest.approx(7.1, abs=0.3)


@pytest.mark.parametrize("target", [25.01, 30, 49])
def test_more_than_25_percent_from_solid_is_refused(target: float) -> None:
    """Hand reckoning: 30 % would come to about 100 to 105 C."""
    with pytest.raises(SolidError) as caught:
        solid_into_water(target, 20)
    assert "stages" in str(caught.value)
    assert "competent person" in str(caught.value)


def test_an_estimate_from_solid_above_90_c_is_refused_below_25_percent_too() -> None:
    with pytest.raises(SolidError):
        solid_into_water(22, 38)
    with pytest.raises(SolidError):
        solid_into_water(25, 20)
    assert solid_into_water(22, 20).peak_c < 90


@given(st.floats(0.5, 20), st.floats(10, 20), st.floats(0, 5))
def test_more_solid_or_hotter_water_is_never_cooler(target: float, water_c: float, more: float) -> None:
    assert solid_into_water(target, water_c + more).end_c >= solid_into_water(target, water_c).end_c
    heat = solid_into_water(target, water_c)
    assert heat.peak_c == heat.end_c


def test_a_weak_stock_in_water_at_the_edge_of_the_tables_gives_no_figure() -> None:
    """Diluting 10 % cools a little (apparent molar enthalpy below that of infinite dilution): under 10 C, refused."""
    with pytest.raises(OutsideTableError):
        lye_into_water(10, 5, 10, 10)


def test_a_path_that_leaves_the_tables_gives_no_figure() -> None:
    with pytest.raises(OutsideTableError):
        lye_into_water(50, 30, 95, 90)
    with pytest.raises(OutsideTableError):  # the end alone would be inside
        lye_into_water(50, 48, 90, 95)


def test_strengths_and_temperatures_outside_the_tables_are_refused() -> None:
    for arguments in ((51, 10, 20, 20), (50, 10, 9, 20), (50, 10, 20, 101), (50, 10, 20, 4)):
        with pytest.raises(OutsideTableError):
            lye_into_water(*arguments)
    for target in (50, 0):
        with pytest.raises(DilutionError):
            lye_into_water(50, target, 20, 20)
    with pytest.raises(DilutionError):
        solid_into_water(0, 20)


def _keys(made_of: tuple[float, float, float, float], limit_c: float | None = None) -> tuple[str, list[str]]:
    stock, target, stock_c, water_c = made_of
    made = dilute(stock, target, total_kg=100, stock_c=stock_c, water_c=water_c)
    judged = judge(made, estimate(made), limit_c=limit_c)
    return judged.verdict, [say.key.rsplit(".", 1)[-1] for say in judged.reasons]


def test_above_the_sites_limit_is_a_stop_with_advice() -> None:
    """Default limit of 60 C for plastic vessels and hoses: a site default, common practice, no source."""
    made = dilute(50, 30, total_kg=100, stock_c=50, water_c=30)
    judged = judge(made, estimate(made))
    assert judged.verdict == "stop"
    assert [say.key for say in judged.advice] == [
        "lye.advice.stage",
        "lye.advice.cool",
        "lye.advice.smaller",
        "lye.advice.colder",
    ]


def test_within_five_degrees_of_the_limit_is_a_warning_and_never_a_permission() -> None:
    """30 % from 50 % at 30 C comes to 58.5 C."""
    assert _keys((50, 30, 30, 20)) == ("warning", ["near_limit"])
    assert _keys((50, 30, 30, 20), limit_c=58) == ("stop", ["above_limit"])
    assert _keys((50, 30, 30, 20), limit_c=63) == ("warning", ["near_limit"])
    assert _keys((50, 30, 30, 20), limit_c=64) == ("below_limit", ["below_limit"])


def test_exactly_five_degrees_below_the_limit_is_a_warning_and_exactly_at_it_no_stop() -> None:
    """The stock is the hottest here, so the figure is exact; T > limit stops, T within 5 C of it warns."""
    assert _keys((50, 2, 40, 20), limit_c=45) == ("warning", ["near_limit"])
    assert _keys((50, 2, 40, 20), limit_c=45.01) == ("below_limit", ["below_limit"])
    assert _keys((50, 2, 40, 20), limit_c=40) == ("warning", ["near_limit"])


def test_rounding_never_says_that_a_figure_stands_above_itself() -> None:
    made = dilute(50, 2, total_kg=100, stock_c=60.3, water_c=20)
    (reason,) = judge(made, estimate(made), limit_c=60).reasons
    assert (reason.key, reason.facts["hottest"], reason.facts["limit"]) == (
        "lye.judge.above_limit",
        "60.3",
        "60",
    )


def test_water_into_lye_would_pass_the_hot_region_though_the_end_is_mild() -> None:
    """Enthalpy table: 20 kg of 50 % at 30 C and 80 kg of water at 20 C end at 34.8 C in either order; with the
    water going in, the batch passes 30 % (13.3 kg in) at 58.5 C. The mean never relaxes the order."""
    passing = mix(50, 20, 30, 20 * 50 / 30 - 20, 20)
    assert passing == pytest.approx(58.5, abs=0.1)
    assert lye_into_water(50, 10, 30, 20).peak_c == pytest.approx(34.8, abs=0.1)


def test_the_hottest_point_of_the_path_is_judged_not_the_end() -> None:
    """44 % ends at 45.6 C but passes 58.7 C."""
    assert _keys((50, 44, 30, 20), limit_c=55) == ("stop", ["above_limit"])


def test_hot_stock_counts_in_the_hose_though_the_batch_stays_cool() -> None:
    assert _keys((50, 2, 70, 15)) == ("stop", ["above_limit"])


def test_hot_water_never_takes_lye() -> None:
    """Handling guides: cool or lukewarm (27 to 38 C), none accepts hot; read."""
    assert _keys((50, 2, 20, 38))[0] != "stop"
    assert _keys((50, 2, 20, 39)) == ("stop", ["water_hot"])


def test_cold_strong_stock_may_block_a_line() -> None:
    """50 % crystallises at about 11 to 12 C, 40 % at about 15 C (correlation; trade knowledge)."""
    assert _keys((50, 2, 11, 15)) == ("warning", ["may_freeze"])
    assert _keys((40, 2, 15, 15)) == ("warning", ["may_freeze"])
    assert _keys((50, 2, 20, 15)) == ("below_limit", ["below_limit"])

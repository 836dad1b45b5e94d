"""Worked figures of washouts, each computed outside this program.

Source of every figure without another one: kg balances by an explicit Runge-Kutta pair at a tolerance of
1e-12 and, independently, by a matrix exponential or series with 30 to 40 digits; both agree to 1e-10
relative.
"""

import math
from typing import Any

import pytest

from floorterm.flush import LineModel, UnitStart, washout
from tests.flush.washout_lines import line, t6, t11

RELATIVE = 5e-10  # the figures are printed with ten digits
HOPPER_MIXER_PLODDER = ({"mixed_kg": 160}, {"mixed_kg": 90}, {"mixed_kg": 110, "tanks": 3})

CHECKS: dict[str, tuple[LineModel, dict[str, Any], dict[float, float], dict[float, float]]] = {
    "1 one tank": (
        line({"mixed_kg": 260}),
        {},
        {200: 0.4633693692, 400: 0.2147111723},
        {0.02: 1017.125981},
    ),
    "2 three equal tanks": (
        line({"mixed_kg": 330, "tanks": 3}),
        {},
        {330: 0.4231900811, 990: 0.006232195106},
        {0.05: 692.5372984, 0.01: 924.6541606},
    ),
    "3 unequal tanks": (
        line({"mixed_kg": 90}, {"mixed_kg": 140}, {"mixed_kg": 45}),
        {},
        {300: 0.3562723779, 900: 0.006499554333},
        {0.02: 739.4685021, 0.001: 1164.311325},
    ),
    "4 nearly equal tanks, where partial fractions in doubles give -1.6e14": (
        line(*({"mixed_kg": 70 * (1 + k * 1e-8)} for k in range(5))),
        {},
        {300: 0.5732006826, 1200: 0.0001652017931},
        {0.001: 1035.590466},
    ),
    "5 a plug, then three tanks": (
        line({"plug_kg": 55, "mixed_kg": 165, "tanks": 3}),
        {},
        {55: 1.0, 150: 0.7500070779, 500: 0.01281064177},
        {0.03: 439.1094655, 0.005: 565.0585649},
    ),
    "6 a whole train": (
        t6(),
        {},
        {
            120: 0.9753358419,
            250: 0.4842802868,
            600: 0.01650050740,
            1500: 2.733193445e-6,
            4000: 1.33666369e-16,
        },
        {0.05: 487.6917971, 0.01: 650.9010718, 0.001: 886.5571528},
    ),
    "7 one tank with a dead part": (
        line({"mixed_kg": 200, "dead_fraction": 0.12, "exchange_ratio": 0.04}),
        {},
        {150: 0.4340196005, 600: 0.05305439053, 2000: 0.003033661942},
        {0.02: 928.3069172, 0.002: 2262.997161},
    ),
    "8 dead parts that govern the tail": (
        line(
            {"mixed_kg": 120, "tanks": 2, "dead_fraction": 0.15, "exchange_ratio": 0.015},
            {"mixed_kg": 90, "tanks": 2, "dead_fraction": 0.10, "exchange_ratio": 0.03},
        ),
        {},
        {250: 0.2448107390, 700: 0.01767813925, 2500: 0.0007595202899},
        {0.01: 957.7553667, 0.001: 2330.963106},
    ),
    "9 a sealed dead part": (
        line({"mixed_kg": 180, "dead_fraction": 0.10}),
        {},
        {300: 0.1569462558},
        {0.02: 633.7477269},
    ),
    "10 one tank, flash returned": (
        line({"mixed_kg": 260}, flash_fraction=0.15, flash_to="u1"),
        {},
        {400: 0.2704434371},
        {0.02: 1196.618802},
    ),
    "11 a train, flash returned to the first unit": (
        t11(flash_fraction=0.18, flash_to="u1"),
        {},
        {150: 0.8856449214, 400: 0.2586840014, 1000: 0.01059350196},
        {0.02: 880.5534144, 0.002: 1313.350111},
    ),
    "12 the same, flash diverted for the whole flush": (
        t11(flash_fraction=0.18, flash_to="u1"),
        {"divert_flash": True},
        {150: 0.8605981122, 400: 0.1340041122, 1000: 0.0001922860249},
        {0.02: 580.3419490, 0.002: 789.0915846},
    ),
    "13 plug and conveyor in the loop": (
        line({"plug_kg": 70, "mixed_kg": 210, "tanks": 3}, flash_fraction=0.2, flash_to="u1", return_kg=10),
        {},
        {60: 1.0, 200: 0.7722204256, 500: 0.1990616916, 1200: 0.009548520616},
        {0.02: 1029.855321, 0.002: 1559.743608},
    ),
    "14 dose downstream of the return": (
        line(*HOPPER_MIXER_PLODDER, flash_fraction=0.18, flash_to="u1", dose_at="u2"),
        {},
        {100: 0.8657420923, 300: 0.2980873708, 900: 0.02939832225},
        {0.02: 1005.169767, 0.002: 1633.760767},
    ),
    "15 dose at the hopper, flash to the mixer": (
        line(*HOPPER_MIXER_PLODDER, flash_fraction=0.18, flash_to="u2", dose_at="u1"),
        {},
        {100: 0.9830661813, 300: 0.6620577182, 900: 0.05612990891},
        {0.02: 1118.152877, 0.002: 1587.863568},
    ),
    "16 deep tail, where one minus the cumulated fraction gives 0 in doubles": (
        line({"mixed_kg": 480, "tanks": 24}),
        {},
        {240: 0.998527120818, 480: 0.472849720548, 1000: 1.60203839096e-5, 2000: 1.86182450677e-20},
        {1e-6: 1096.58966375},
    ),
}


@pytest.mark.parametrize("check", CHECKS)
def test_residuals_of_the_worked_checks(check: str) -> None:
    model, how, residuals, _ = CHECKS[check]
    curve = washout(model, **how)
    for kg, expected in residuals.items():
        assert curve.residual(kg) == pytest.approx(expected, rel=RELATIVE)


@pytest.mark.parametrize("check", CHECKS)
def test_crossings_of_the_worked_checks(check: str) -> None:
    model, how, _, crossings = CHECKS[check]
    curve = washout(model, **how)
    for limit, expected in crossings.items():
        assert curve.kg_to_reach(limit) == pytest.approx(expected, rel=RELATIVE)


@pytest.mark.parametrize("check", CHECKS)
def test_a_start_that_is_written_out_gives_the_same_as_the_steady_state(check: str) -> None:
    """The general way, which follows every cell, plug and conveyor, against the short one."""
    model, how, residuals, crossings = CHECKS[check]
    steady = {
        unit.name: UnitStart(active=x, dead=x, plug=x)
        for unit, x in zip(model.units, map(model.steady_fraction, range(len(model.units))), strict=True)
    }
    curve = washout(model, start=steady, **how)
    for kg, expected in residuals.items():
        assert curve.residual(kg) == pytest.approx(expected, rel=RELATIVE)
    limit, expected = next(iter(crossings.items()))
    assert curve.kg_to_reach(limit) == pytest.approx(expected, rel=RELATIVE)


def test_check_7_decays_with_its_slower_rate_in_the_end() -> None:
    """Decay rates 0.005996572687 and 0.001579184888 per kg (roots of the quadratic of one cell with a dead
    part).
    """
    curve = washout(CHECKS["7 one tank with a dead part"][0])
    slope = math.log(curve.residual(9000) / curve.residual(10000)) / 1000
    assert slope == pytest.approx(0.001579184888, rel=1e-9)
    # W = A exp(-a m) + B exp(-b m) with B from the tail: what is left at the start falls with the faster rate
    b = 0.001579184888
    amplitude = curve.residual(10000) * math.exp(b * 10000)
    fast = math.log(
        (curve.residual(100) - amplitude * math.exp(-b * 100))
        / (curve.residual(200) - amplitude * math.exp(-b * 200))
    )
    assert fast / 100 == pytest.approx(0.005996572687, rel=1e-6)


def test_check_8_extending_the_slope_of_the_front_promises_far_too_little() -> None:
    """A line in ln W through 350 and 500 kg promises 0.001 at 1035.9 kg; the truth is 2331.0 kg."""
    curve = washout(CHECKS["8 dead parts that govern the tail"][0])
    slope = math.log(curve.residual(500) / curve.residual(350)) / 150
    promised = 350 + math.log(0.001 / curve.residual(350)) / slope
    assert promised == pytest.approx(1035.9, abs=0.05)
    assert curve.kg_to_reach(0.001) == pytest.approx(2331.0, abs=0.05)


def test_check_9_18_kg_stay_in_the_sealed_part() -> None:
    assert washout(CHECKS["9 a sealed dead part"][0]).trapped_kg == pytest.approx(18.0)
    assert washout(t6()).trapped_kg == 0.0


def test_check_10_returned_flash_costs_one_tank_no_bars() -> None:
    """More line mass, the same bars: 1017.125981 kg, as without flash (check 1 / 0.85)."""
    curve = washout(CHECKS["10 one tank, flash returned"][0])
    assert curve.bars_kg(curve.kg_to_reach(0.02)) == pytest.approx(1017.125981, rel=RELATIVE)


def test_checks_11_and_12_diverting_the_flash_saves_bars_and_mass() -> None:
    """722.0537998 kg of bars with returned flash; diverted 475.8803982 kg of bars and 104.4615508 kg of
    flash.
    """
    model = t11(flash_fraction=0.18, flash_to="u1")
    returned, diverted = washout(model), washout(model, divert_flash=True)
    assert returned.bars_kg(returned.kg_to_reach(0.02)) == pytest.approx(722.0537998, rel=RELATIVE)
    kg = diverted.kg_to_reach(0.02)
    assert diverted.bars_kg(kg) == pytest.approx(475.8803982, rel=RELATIVE)
    assert kg - diverted.bars_kg(kg) == pytest.approx(104.4615508, rel=RELATIVE)


def test_check_14_the_hopper_starts_with_the_share_of_the_flash() -> None:
    model = CHECKS["14 dose downstream of the return"][0]
    assert [model.steady_fraction(place) for place in range(3)] == [0.18, 1.0, 1.0]


def test_flash_that_leaves_the_line_washes_out_as_if_there_were_none() -> None:
    """The train of check 6: its flash is not returned; bars are 0.85 of the line mass all the same.

    m_last at 0.97 123.4956659, m_first at 0.02 580.4828566, between them 388.4391121 kg of bars.
    """
    curve = washout(t6())
    last, first = curve.kg_to_reach(0.97), curve.kg_to_reach(0.02)
    assert (last, first) == pytest.approx((123.4956659, 580.4828566), rel=RELATIVE)
    assert curve.bars_kg(first) - curve.bars_kg(last) == pytest.approx(388.4391121, rel=RELATIVE)


def test_stripped_units_start_good_and_turn_bad() -> None:
    """90 % of unit 1 and 95 % of unit 3 replaced: the first crossing is worthless, the last one counts."""
    curve = washout(t11(), start={"u1": 0.10, "u3": 0.05})
    assert curve.residual(0) == pytest.approx(0.05)
    assert curve.residual(40) == pytest.approx(0.1377246366, rel=RELATIVE)
    assert curve.residual(120) == pytest.approx(0.4275908719, rel=RELATIVE)
    assert curve.residual(300) == pytest.approx(0.09644502786, rel=RELATIVE)
    assert curve.peak == pytest.approx((125.7913441, 0.4289426275), rel=1e-7)
    assert curve.kg_to_reach(0.02) == pytest.approx(415.5619255, rel=RELATIVE)
    assert curve.kg_to_reach(0.002) == pytest.approx(592.1913997, rel=RELATIVE)


@pytest.mark.parametrize(
    ("floor", "at_700", "crossing"),
    [
        (0.01176470588, 0.06342918488, math.inf),
        (0.002352941176, 0.05450946283, 1525.013954),
        (0.0004705882353, 0.05272551842, 1269.121227),
    ],
)
def test_a_feed_that_carries_a_residual_itself(floor: float, at_700: float, crossing: float) -> None:
    """A shared tank with heel 2.5 kg after one, two and three rinses of 10 kg and a fill of 40 kg; limit
    0.003.
    """
    curve = washout(t11(flash_fraction=0.18, flash_to="u1"), floor=floor)
    assert curve.residual(700) == pytest.approx(at_700, rel=RELATIVE)
    assert curve.kg_to_reach(0.003) == pytest.approx(crossing, rel=RELATIVE)

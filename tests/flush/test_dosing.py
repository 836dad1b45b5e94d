"""Fragrance dosing and the capacity of a line: arithmetic of masses that can be redone by hand beside each case.

Tolerances (2 % at set-up, 5 % alarm, 1 % scatter) are common practice, no source.
"""

from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from floorterm.flush import CapacityInputError, DosingInputError
from floorterm.flush.capacity import capacity, flash_of_excess, flush_minutes
from floorterm.flush.dosing import (
    consumption,
    corrected_setting,
    density_error,
    dose_on_base,
    drawdown,
    returned_fraction,
    run_need,
    warmer_density,
    wrong_mass_error,
)
from floorterm.flush.tank import Tank, tank_floor
from floorterm.wording import sentence

# --- pump ---------------------------------------------------------------------------------------------


def test_a_drawdown_within_tolerance() -> None:
    """500 ml at 0.920 kg/l in 95.6 s = 17.3222 kg/h against 1,440 kg/h at 1.2 % = 17.280: +0.2441 %."""
    found = drawdown(0.5, 0.920, [95.6], 1440 * 0.012)
    assert found.mean_kg_h == pytest.approx(17.3222, abs=5e-5)
    assert 100 * found.deviation == pytest.approx(0.2441, abs=5e-5)
    assert (found.verdict, found.scatter, found.new_setting) == ("within", None, None)


def test_a_slow_pump_gets_a_new_setting() -> None:
    """100.0 s at 62.0 %: 16.5600 kg/h, -4.1667 %, new setting 64.696 %."""
    found = drawdown(0.5, 0.920, [100.0], 17.280, setting=62.0)
    assert found.mean_kg_h == pytest.approx(16.5600)
    assert 100 * found.deviation == pytest.approx(-4.1667, abs=5e-5)
    assert found.new_setting == pytest.approx(64.696, abs=5e-4)
    assert found.verdict == "adjust"


def test_three_runs_and_their_scatter() -> None:
    """95.6, 96.1, 95.2 s: mean 17.3164 kg/h, coefficient of variation 0.4713 % with n - 1."""
    found = drawdown(0.5, 0.920, [95.6, 96.1, 95.2], 17.280)
    assert found.mean_kg_h == pytest.approx(17.3164, abs=5e-5)
    assert found.scatter is not None
    assert 100 * found.scatter == pytest.approx(0.4713, abs=5e-5)
    assert found.verdict == "within"


def test_scattered_runs_are_found_out_before_anything_is_set() -> None:
    assert drawdown(0.5, 0.92, [95.6, 99.0, 92.0], 17.28).verdict == "unsteady"


def test_a_pump_that_is_far_off_is_an_alarm() -> None:
    assert drawdown(0.5, 0.92, [105.0], 17.28).verdict == "alarm"


@given(st.floats(1, 100), st.floats(0.5, 50), st.floats(0.5, 50))
def test_the_new_setting_gives_the_wanted_rate(setting: float, found: float, wanted: float) -> None:
    assert corrected_setting(setting, found, wanted) / setting * found == pytest.approx(wanted)


def test_a_heavier_oil_at_the_old_setting() -> None:
    """1.045 instead of 0.845 kg/l: +23.669 %."""
    assert 100 * density_error(0.845, 1.045) == pytest.approx(23.669, abs=5e-4)


def test_a_warmer_oil_is_lighter() -> None:
    """20 to 30 C at 7.8e-4 kg/l per K on 0.920 kg/l: -0.8478 %."""
    assert 100 * density_error(0.920, warmer_density(0.920, 7.8e-4, 10)) == pytest.approx(-0.8478, abs=5e-5)


# --- consumption and bases ----------------------------------------------------------------------------


def test_a_consumption_that_is_no_proof_of_an_error() -> None:
    """186.4 to 41.9 kg over 11,980 kg: 1.20618 %, +0.5147 %, uncertainty 0.5369 % (0.2 kg a reading, 0.5 %)."""
    found = consumption(186.4, 41.9, 11980, 0.012)
    assert 100 * found.dose == pytest.approx(1.20618, abs=5e-6)
    assert 100 * found.deviation == pytest.approx(0.5147, abs=5e-5)
    assert 100 * found.uncertainty == pytest.approx(0.5369, abs=5e-5)
    assert not found.proven


def test_a_consumption_that_proves_one() -> None:
    found = consumption(186.4, 31.9, 11980, 0.012)
    assert found.proven
    assert found.deviation > 0.07


def test_an_addition_counts_and_is_a_reading_too() -> None:
    found = consumption(86.4, 41.9, 11980, 0.012, added_kg=100)
    assert found.used_kg == pytest.approx(144.5)
    assert found.uncertainty == pytest.approx(sqrt(3 * (0.2 / 144.5) ** 2 + 0.005**2))


def test_a_dose_on_finished_mass_is_more_on_the_base() -> None:
    """0.012 / 0.988 = 1.21457 %; 150 kg of noodles take 1.82186 kg."""
    assert 100 * dose_on_base(0.012) == pytest.approx(1.21457, abs=5e-6)
    assert 150 * dose_on_base(0.012) == pytest.approx(1.82186, abs=5e-6)


def test_dosing_on_the_extruded_mass_doses_the_flash_again() -> None:
    """1,728 instead of 1,440 kg/h: +20 %."""
    assert wrong_mass_error(1728, 1440) == pytest.approx(0.20)


def test_a_heel_is_a_constant_share_of_the_dose() -> None:
    """4 kg under 60 kg: 6.250 %; one rinse of 10 kg 1.7857 %, two 0.5102 %."""
    tank = Tank(heel=4, fill=60, largest_charge=10)
    found = [100 * tank_floor(tank, 10, rinses) for rinses in (0, 1, 2)]
    assert found == pytest.approx([6.250, 1.7857, 0.5102], abs=5e-5)


# --- one run ------------------------------------------------------------------------------------------


def _run(good: float = 4500, tank: float = 30, first: float = 800, last: float = 240):
    return run_need(good, 0.20, 0.02, 0.012, 0.95, m_first_kg=first, m_last_kg=last, tank_l=tank, heel_l=2.5)


def test_when_to_stop_the_dose_and_the_tank() -> None:
    """Need 4,500 kg of good bars: R 0.216; stop at 6299.795918 kg; fresh 5111.84 kg; 61.34208 kg of fragrance =
    64.57061053 L; still to fill 37.07061053 L.
    """
    found = _run()
    assert found.returned_fraction == pytest.approx(0.216)
    assert found.stop_dosing_kg == pytest.approx(6299.795918, abs=5e-7)
    assert found.fresh_kg == pytest.approx(5111.84)
    assert found.fragrance_kg == pytest.approx(61.34208)
    assert found.fragrance_l == pytest.approx(64.57061053, abs=5e-9)
    assert found.still_to_fill_l == pytest.approx(37.07061053, abs=5e-9)
    assert found.left_over_l == 0.0


def test_a_full_tank_leaves_some_over() -> None:
    found = _run(tank=100)
    assert found.still_to_fill_l == 0.0
    assert found.left_over_l == pytest.approx(100 - 2.5 - 64.57061053)


def test_a_run_shorter_than_its_own_flush_is_refused() -> None:
    with pytest.raises(DosingInputError, match="shorter than its own flush") as fault:
        _run(good=100)
    assert fault.value.field == "good_bars_kg"


@given(st.floats(1000, 50000), st.floats(0, 0.3), st.floats(0, 0.1))
def test_fresh_feed_and_good_bars_balance(good: float, flash: float, rejects: float) -> None:
    """What is dosed after the flush, with what the train gives back at the end, is what is sold."""
    found = run_need(good, flash, rejects, 0.012, 0.95, m_first_kg=500, m_last_kg=100)
    assert (found.stop_dosing_kg - 500 + 100) * (1 - found.returned_fraction) == pytest.approx(good)
    assert found.fresh_kg == pytest.approx(500 + good - 100 * (1 - found.returned_fraction))


# --- capacity -----------------------------------------------------------------------------------------


def _capacity(wrapper: float = 160, strokes: float = 38):
    return capacity(
        strokes_min=strokes,
        cavities=4,
        plodder_kg_h=1400,
        flash_fraction=flash_of_excess(0.25),
        bar_g=125,
        wrapper_min=wrapper,
        rejects=0.02,
    )


def test_the_plodder_governs_and_the_stamper_is_next() -> None:
    """38 x 4 = 152; 1,400 kg/h at p 0.2 and 125 g = 149.3333333; less 2 % 146.3466667; wrapper 160."""
    found = _capacity()
    assert flash_of_excess(0.25) == pytest.approx(0.2)
    assert found.stamper_min == 152
    assert found.plodder_min == pytest.approx(149.3333333, abs=5e-8)
    assert found.good_min == pytest.approx(146.3466667, abs=5e-8)
    assert found.line_kg_h == pytest.approx(1400)
    assert found.returned_fraction == pytest.approx(0.216)
    assert found.order == ("plodder", "stamper", "wrapper")
    assert found.governing == "plodder"


def test_where_another_unit_governs_the_line_runs_at_its_rate() -> None:
    found = _capacity(wrapper=98)
    assert found.governing == "wrapper"
    assert found.line_kg_h == pytest.approx(98 / 0.98 * 0.125 * 60 / 0.8)
    assert _capacity(strokes=30).governing == "stamper"


def test_minutes_of_a_flush_are_line_mass_over_line_rate() -> None:
    """880.5534 kg at 1,500 kg/h: 35.22 min."""
    assert flush_minutes(880.5534, 1500) == pytest.approx(35.22, abs=5e-3)


# --- refusals -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("make", "kind", "field"),
    [
        (lambda: drawdown(0, 0.9, [1], 1), DosingInputError, "volume_l"),
        (lambda: drawdown(1, 0.9, [], 1), DosingInputError, "seconds"),
        (lambda: drawdown(1, 0.9, [10, 0], 1), DosingInputError, "seconds[1]"),
        (lambda: drawdown(1, 0.9, [10], 1, setup=0.1), DosingInputError, "setup"),
        (lambda: consumption(10, 20, 100, 0.01), DosingInputError, "end_kg"),
        (lambda: consumption(20, 10, 0, 0.01), DosingInputError, "soap_kg"),
        (lambda: dose_on_base(1.0), DosingInputError, "dose"),
        (lambda: warmer_density(0.9, 0.1, 100), DosingInputError, "density_kg_l"),
        (lambda: returned_fraction(1.0, 0), DosingInputError, "flash_fraction"),
        (lambda: _run(tank=1), DosingInputError, "heel_l"),
        (lambda: _capacity(wrapper=0), CapacityInputError, "wrapper_min"),
        (lambda: flash_of_excess(-0.1), CapacityInputError, "excess"),
        (lambda: flush_minutes(100, 0), CapacityInputError, "line_kg_h"),
        (
            lambda: capacity(
                strokes_min=1, cavities=0, plodder_kg_h=1, flash_fraction=0, bar_g=1, wrapper_min=1
            ),
            CapacityInputError,
            "cavities",
        ),
    ],
)
def test_figures_that_make_no_sense_are_refused_by_field(make, kind: type[Exception], field: str) -> None:
    with pytest.raises(kind) as fault:
        make()
    assert fault.value.field == field
    assert field in sentence(fault.value.say, "es")

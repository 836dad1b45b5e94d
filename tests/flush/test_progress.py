"""While flushing: pushed kg on the safe side, the live residual, and what an early check teaches."""

import math
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from floorterm.flush import LineModel, Unit, washout
from floorterm.flush.calibration_errors import ProgressError
from floorterm.flush.pool import PastHoldup, pool
from floorterm.flush.progress import (
    Pushed,
    Spread,
    from_bar_mass,
    from_bars,
    from_minutes,
    from_weight,
    learn,
    live_band,
    live_residual,
    progress,
    revise,
)
from floorterm.flush.samples import Sample
from floorterm.wording import LANGUAGES, sentence
from tests.flush.washout_lines import t11

CURVE = washout(t11(flash_fraction=0.18, flash_to="u1"))
ONE_TANK = washout(LineModel(units=(Unit(name="tank", mixed_kg=260),)))
REQUIRED = 880.5534144  # worked: this line at 0.02


def test_the_worked_count_of_bars_is_the_first_that_reaches_the_required_kg() -> None:
    """Worked: 880.5534 kg at 125 g a bar and 0.18 flash are 5,777 bars."""
    assert progress(REQUIRED, from_bar_mass(5777, 125.0, 0.18)).stop_now
    before = progress(REQUIRED, from_bar_mass(5776, 125.0, 0.18))
    assert not before.stop_now
    assert before.to_go_kg == 1


def test_bars_weight_and_clock_come_to_the_same_kg() -> None:
    """By hand: 1,000 slugs of 150 g are 150 kg; 120 kg of bars at 0.2 flash; 6 min at 1,500 kg/h."""
    ways = (
        from_bars(1000, 150.0),
        from_bar_mass(1000, 120.0, 0.2),
        from_weight(150.0),
        from_weight(120.0, flash_fraction=0.2),
        from_minutes(8.5, 1500.0, stops_min=2.5, rate_tolerance=0.0),
    )
    for pushed in ways:
        assert (pushed.kg, pushed.low_kg, pushed.high_kg) == pytest.approx((150.0, 150.0, 150.0))


def test_a_clock_counts_with_its_rates_tolerance_and_without_the_stops() -> None:
    """By hand: 30 min at 1,200 kg/h are 600 kg, at 5 % from 570 to 630; 580 kg are not yet sure."""
    pushed = from_minutes(40.0, 1200.0, stops_min=10.0, rate_tolerance=0.05)
    assert (pushed.kg, pushed.low_kg, pushed.high_kg) == pytest.approx((600.0, 570.0, 630.0))
    assert progress(580.0, pushed).to_go_kg == 10
    assert progress(570.0, pushed).stop_now


@given(st.floats(0, 5000), st.floats(0, 5000), st.floats(0, 0.3))
def test_the_crew_is_told_to_stop_only_when_the_surely_pushed_kg_suffice(
    required: float, weight: float, tolerance: float
) -> None:
    found = progress(required, from_weight(weight, tolerance=tolerance))
    assert found.stop_now == (found.pushed.low_kg >= required - 1e-9)
    assert found.to_go_kg >= required - found.pushed.low_kg - 1e-9
    assert found.to_go_kg <= max(0.0, required - found.pushed.low_kg) + 1.0


def test_every_sentence_can_be_said() -> None:
    says = [
        progress(880.2, from_bars(1, 150.0)).say,
        progress(0.0, from_bars(0, 150.0)).say,
        from_bars(1, 150.0).say,
        from_bars(3434, 150.0).say,
        from_weight(10.0).say,
        from_weight(10.0, flash_fraction=0.2).say,
        from_minutes(10.0, 1500.0).say,
        live_residual(CURVE, from_weight(400.0)).say,
        live_residual(CURVE, from_weight(400.0), Spread(measured=True)).say,
        *(revise(CURVE, 0.02, old, Spread()).say for old in (1.0, 9999.0)),
    ]
    for language in LANGUAGES:
        assert all(sentence(say, language) for say in says)
    assert sentence(says[0]) == "881 kg to go."
    assert sentence(says[1]).startswith("Required kg reached: stop diverting now")
    assert "assumed, not measured" in sentence(says[7])
    assert "assumed" not in sentence(says[8])


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: from_bars(-1, 150.0), "bars"),
        (lambda: from_bars(True, 150.0), "bars"),
        (lambda: from_bars(2, 0.0), "slug_g"),
        (lambda: from_bars(2, 150.0, tolerance=1.0), "tolerance"),
        (lambda: from_bar_mass(2, 120.0, 1.0), "flash_fraction"),
        (lambda: from_weight(math.nan), "kg"),
        (lambda: from_minutes(5.0, 1500.0, stops_min=6.0), "stops_min"),
        (lambda: from_minutes(5.0, 0.0), "rate_kg_h"),
        (lambda: progress(math.inf, from_weight(1.0)), "required_kg"),
        (lambda: learn(CURVE, [], Spread(), relative_error=0.05), "readings"),
        (lambda: learn(CURVE, [Sample(1, 0.5)], Spread(), relative_error=0.0), "relative_error"),
        (lambda: learn(CURVE, [Sample(1, 0.5)], Spread(sd_log=0.0), relative_error=0.1), "sd_log"),
        (
            lambda: learn(washout(t11(), floor=0.02), [Sample(900, 0.02)], Spread(), relative_error=0.1),
            "residual",
        ),
        (lambda: revise(washout(t11(), floor=0.02), 0.02, 10.0, Spread()), "limit"),
        (lambda: Spread(median=0.0), "median"),
    ],
)
def test_what_makes_no_sense_is_refused_with_its_field(call: object, field: str) -> None:
    with pytest.raises(ProgressError) as caught:
        call()  # type: ignore[operator]
    assert caught.value.field == field


# --- the band -------------------------------------------------------------------------------------------


def test_the_band_of_one_tank_is_its_closed_form() -> None:
    """Closed form: W = exp(-m / (f H)), f log-normal; 95 % one-sided on each side."""
    z = float(stats.norm.ppf(0.95))
    found = live_residual(ONE_TANK, from_weight(400.0, tolerance=0.02), Spread(median=1.1, sd_log=0.06))
    assert found.residual == pytest.approx(math.exp(-400 / (1.1 * 260)), rel=1e-9)
    assert found.high == pytest.approx(math.exp(-392 / (1.1 * 260 * math.exp(z * 0.06))), rel=1e-9)
    assert found.low == pytest.approx(math.exp(-408 / (1.1 * 260 * math.exp(-z * 0.06))), rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(st.floats(0, 3000), st.floats(0.0, 0.3), st.floats(0.5, 0.99))
def test_the_live_residual_lies_in_its_band(kg: float, sd: float, confidence: float) -> None:
    (found,) = live_band(CURVE, [kg], Spread(sd_log=sd), confidence=confidence)
    assert 0.0 <= found.low <= found.residual <= found.high <= 1.0


def test_the_band_covers_changeovers_at_the_stated_rate() -> None:
    """Simulation, seed 3: holdups drawn from the spread; 95 % on each side, three standard deviations."""
    rng, spread, runs = random.Random(3), Spread(sd_log=0.07), 3000
    band = live_residual(ONE_TANK, from_weight(700.0), spread)
    drawn = [math.exp(-700 / (260 * math.exp(rng.gauss(0, 0.07)))) for _ in range(runs)]
    assert sum(one <= band.high for one in drawn) / runs == pytest.approx(0.95, abs=0.012)
    assert sum(one >= band.low for one in drawn) / runs == pytest.approx(0.95, abs=0.012)


# --- an early check -------------------------------------------------------------------------------------


def grid_posterior(readings: list[Sample], before: Spread, error: float) -> tuple[float, float]:
    """Mean and sd of ln f by Bayes' rule on a fine grid, one tank of 260 kg."""
    x = np.linspace(-6 * before.sd_log, 6 * before.sd_log, 20_001) + math.log(before.median)
    log_density = stats.norm.logpdf(x, math.log(before.median), before.sd_log)
    for one in readings:
        log_density += stats.norm.logpdf(math.log(one.residual), -one.m_kg / (260 * np.exp(x)), error)
    weight = np.exp(log_density - log_density.max())
    mean = float(np.average(x, weights=weight))
    return mean, math.sqrt(float(np.average((x - mean) ** 2, weights=weight)))


@pytest.mark.parametrize("readings", [[Sample(500, 0.2)], [Sample(300, 0.36), Sample(600, 0.13)]])
def test_what_is_learnt_agrees_with_bayes_rule_on_a_grid(readings: list[Sample]) -> None:
    before = Spread(median=1.0, sd_log=0.08)
    found = learn(ONE_TANK, readings, before, relative_error=0.05)
    mean, sd = grid_posterior(readings, before, 0.05)
    assert math.log(found.spread.median) == pytest.approx(mean, abs=0.05 * sd)
    assert found.spread.sd_log == pytest.approx(sd, rel=0.03)
    assert found.spread.measured


def test_a_sharp_reading_decides_and_a_vague_one_changes_nothing() -> None:
    """Closed form: one tank, r = exp(-m / (f H)), so f = m / (H ln(1/r))."""
    sharp = learn(ONE_TANK, [Sample(520, math.exp(-2 / 1.1))], Spread(sd_log=0.2), relative_error=1e-4)
    assert sharp.spread.median == pytest.approx(1.1, rel=1e-4)
    assert sharp.spread.sd_log < 1e-3
    vague = learn(ONE_TANK, [Sample(520, 0.05)], Spread(sd_log=0.06), relative_error=50.0)
    assert vague.spread.median == pytest.approx(1.0, abs=1e-3)
    assert vague.spread.sd_log == pytest.approx(0.06, rel=1e-3)


def test_a_reading_before_the_front_teaches_almost_nothing() -> None:
    plug = washout(LineModel(units=(Unit(name="a", plug_kg=100, mixed_kg=165, tanks=3),)))
    before = Spread(sd_log=0.07)
    found = learn(plug, [Sample(60, 0.99)], before, relative_error=0.05)
    assert found.spread.median == pytest.approx(1.0, abs=1e-6)
    assert found.spread.sd_log == pytest.approx(0.07, rel=1e-6)


def test_an_early_check_moves_the_remaining_kg_and_makes_them_surer() -> None:
    """A line 12 % larger than thought, from the pooled past; the check says so, the requirement grows."""
    past = pool(1.0, [PastHoldup(holdup_kg=1.0)] * 3)
    before = Spread(median=past.median_kg, sd_log=past.next_sd_log, measured=True)
    reading = Sample(450, CURVE.residual(450 / 1.12))
    after = learn(CURVE, [reading], before, relative_error=0.04)
    assert 1.05 < after.spread.median < 1.12
    assert after.spread.sd_log < before.sd_log
    planned = revise(CURVE, 0.02, REQUIRED, after.spread)
    assert planned.planning_kg == pytest.approx(REQUIRED * after.spread.median, rel=1e-9)
    assert planned.promise_kg == pytest.approx(REQUIRED * after.spread.upper(0.95), rel=1e-9)
    assert planned.promise_kg > REQUIRED * 1.12
    assert planned.say.key == "calibrate.revised_more"
    assert not after.says


def test_a_check_that_fits_nothing_is_shown() -> None:
    found = learn(CURVE, [Sample(700, 0.5)], Spread(sd_log=0.07), relative_error=0.05)
    assert found.surprise > 3
    assert "Take another" in sentence(found.says[0])


def test_the_promise_after_a_check_is_kept_at_the_stated_rate() -> None:
    """Simulation, seed 13: holdups from the spread, one noisy check each; 95 % one-sided."""
    rng, before, runs = random.Random(13), Spread(sd_log=0.1), 500
    kept = 0
    for _ in range(runs):
        factor = math.exp(rng.gauss(0, 0.1))
        read = math.exp(-450 / (260 * factor)) * math.exp(rng.gauss(0, 0.05))
        after = learn(ONE_TANK, [Sample(450, min(read, 0.99))], before, relative_error=0.05)
        kept += revise(ONE_TANK, 0.02, 0.0, after.spread).promise_kg >= 260 * factor * math.log(50)
    assert 0.92 < kept / runs < 0.98


def test_pushed_kg_are_plain_values() -> None:
    assert from_bars(10, 100.0) == from_bars(10, 100.0)
    assert isinstance(from_bars(10, 100.0), Pushed)

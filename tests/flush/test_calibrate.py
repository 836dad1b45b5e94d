"""Calibration against worked figures, a general optimiser, scipy's distributions, and simulated readings.

Worked figures: closed forms and two optimisers that agree to 8 digits, computed outside this program. The
readings behind them are invented.
"""

import math
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from scipy import optimize, special, stats

from floorterm.flush import LineModel, Unit, washout
from floorterm.flush.calibrate import (
    CalibrationError,
    Fit,
    NotFallingError,
    NotIdentifiableError,
    PastHoldup,
    SampleError,
    Samples,
    cautious_line,
    content_bound,
    fit,
    interval,
    pool,
    propose_figures,
    samples,
    sampling_plan,
    tail,
    upper_bound,
    whole_tanks,
)
from floorterm.flush.fit import moments
from floorterm.flush.special import log_gamma_q, student_t_above, student_t_quantile
from floorterm.wording import sentence
from tests.flush.washout_lines import t11

KG = (150, 220, 300, 380, 460, 560, 700)
READ = (0.93, 0.70, 0.415, 0.212, 0.104, 0.0405, 0.0092)
WORKED = samples(tuple(zip(KG, READ, strict=True)))
PLUG = 80.0
LINE = t11(flash_fraction=0.18, flash_to="u1")
TAIL = samples(((520, 0.0420), (640, 0.0205), (760, 0.0094), (900, 0.0041), (1050, 0.00172)))


def log_curve(m: np.ndarray, holdup: float, tanks: float, plug: float) -> np.ndarray:
    """ln Q(N, N (m - plug) / H) by scipy."""
    return np.log(special.gammaincc(tanks, tanks * np.maximum(m - plug, 0) / holdup))


def noisy(
    rng: random.Random, kg: tuple[float, ...], holdup: float, tanks: float, plug: float, sd: float
) -> Samples:
    """Readings of N tanks with a relative error, by scipy's incomplete gamma function."""
    clean = np.exp(log_curve(np.array(kg, dtype=float), holdup, tanks, plug))
    return samples(
        tuple((m, min(0.999, float(r) * math.exp(rng.gauss(0, sd)))) for m, r in zip(kg, clean, strict=True))
    )


# --- special functions ----------------------------------------------------------------------------------


@given(st.floats(0.5, 60.0), st.floats(1e-6, 300.0))
def test_the_incomplete_gamma_function_agrees_with_scipy(a: float, x: float) -> None:
    expected = float(special.gammaincc(a, x))
    if expected > 1e-290:
        assert math.exp(log_gamma_q(a, x)) == pytest.approx(expected, rel=1e-12)


def test_the_incomplete_gamma_function_goes_on_where_floats_end() -> None:
    """Closed form: Q(1, x) = exp(-x); Q(3, x) = exp(-x) (1 + x + x^2/2)."""
    assert log_gamma_q(1.0, 2000.0) == pytest.approx(-2000.0, rel=1e-15)
    x = 1500.0
    assert log_gamma_q(3.0, x) == pytest.approx(-x + math.log(1 + x + x * x / 2), rel=1e-14)
    assert log_gamma_q(2.0, 0.0) == log_gamma_q(2.0, -5.0) == 0.0


@given(st.integers(1, 200), st.floats(0.5, 0.9999))
def test_quantiles_of_students_t_agree_with_scipy(degrees: int, probability: float) -> None:
    found = student_t_quantile(probability, degrees)
    assert found == pytest.approx(float(stats.t.ppf(probability, degrees)), rel=1e-9, abs=1e-12)
    assert student_t_above(found, degrees) == pytest.approx(1 - probability, rel=1e-9)


# --- fit ------------------------------------------------------------------------------------------------


def test_the_worked_fit_to_eight_digits() -> None:
    """Worked: H 216.179174, N 2.919469, rms 0.0175973546, se 1.086791 and 0.04369477, correlation 0.92988.

    Gauss-Newton steps with 40 digits (mpmath, run once): H 216.17917444836, N 2.91946907039, rms
    0.017597354644733, se 1.0867907550 and 0.04369477912 (the worked figure is cut, not rounded), correlation
    0.92987954240.
    """
    found = fit(WORKED, plug_kg=PLUG)
    assert found.holdup_kg == pytest.approx(216.179174, abs=5.1e-7)
    assert found.tanks == pytest.approx(2.919469, abs=5.1e-7)
    assert found.rms == pytest.approx(0.0175973546, abs=5.1e-11)
    assert found.standard_error("holdup_kg") == pytest.approx(1.086791, abs=5.1e-7)
    assert found.standard_error("tanks") == pytest.approx(0.04369477, abs=1e-8)
    assert found.correlation("holdup_kg", "tanks") == pytest.approx(0.92988, abs=5.1e-6)
    assert (found.holdup_kg, found.tanks) == pytest.approx((216.17917444836, 2.91946907039), rel=1e-8)
    assert found.rms == pytest.approx(0.017597354644733, rel=1e-12)
    errors = (found.standard_error("holdup_kg"), found.standard_error("tanks"))
    assert errors == pytest.approx((1.0867907550, 0.04369477912), rel=1e-7)
    assert found.standard_error("plug_kg") == 0.0
    assert found.degrees == 5
    assert not found.says
    assert found.residual(PLUG) == 1.0
    assert found.residual(found.kg_to_reach(0.01)) == pytest.approx(0.01, rel=1e-10)


@pytest.mark.parametrize("plug", [PLUG, 0.0, 40.0, None])
def test_the_fit_and_its_covariance_agree_with_a_general_optimiser(plug: float | None) -> None:
    """scipy's curve_fit on ln r with scipy's incomplete gamma function."""
    m, y = np.array(KG, dtype=float), np.log(READ)
    if plug is None:
        values, covariance = optimize.curve_fit(
            log_curve, m, y, p0=(200, 3, 90), xtol=1e-15, ftol=1e-15, gtol=1e-15
        )
    else:
        values, covariance = optimize.curve_fit(
            lambda m, h, n: log_curve(m, h, n, plug), m, y, p0=(250, 4), xtol=1e-15, ftol=1e-15, gtol=1e-15
        )
    found = fit(WORKED, plug_kg=plug)
    assert (found.holdup_kg, found.tanks) == pytest.approx(tuple(values[:2]), rel=1e-6)
    if plug is None:
        assert found.plug_kg == pytest.approx(values[2], rel=1e-6)
    assert np.allclose(np.array(found.covariance), covariance, rtol=1e-4)


@settings(max_examples=30, deadline=None)
@given(st.floats(40, 2000), st.floats(0.8, 20.0), st.floats(0.0, 0.6))
def test_readings_without_error_give_their_figures_back(holdup: float, tanks: float, share: float) -> None:
    plug = share * holdup
    kg = tuple(plug + x * holdup for x in (0.4, 0.7, 0.95, 1.2, 1.6, 2.0, 2.6))
    clean = np.exp(log_curve(np.array(kg), holdup, tanks, plug))
    pairs = tuple((m, float(r)) for m, r in zip(kg, clean, strict=True) if 1e-14 < r < 1 - 1e-9)
    found = fit(samples(pairs), plug_kg=plug)
    assert found.holdup_kg == pytest.approx(holdup, rel=1e-6)
    assert found.tanks == pytest.approx(tanks, rel=1e-6)


def test_moments_of_a_fine_grid_are_the_holdup_and_the_tanks() -> None:
    """Closed form of N equal tanks: area H, variance H^2 / N."""
    kg = np.arange(1.0, 2500.0, 1.0)
    clean = np.exp(log_curve(kg, 300.0, 3.0, 0.0))
    pairs = tuple((float(m), float(r)) for m, r in zip(kg, clean, strict=True) if r < 1)
    holdup, tanks = moments(samples(pairs), 0.0)
    assert holdup == pytest.approx(300.0, rel=1e-3)
    assert tanks == pytest.approx(3.0, rel=5e-3)


def test_whole_tanks_are_rounded_down_and_the_holdup_is_fitted_again() -> None:
    found = whole_tanks(fit(WORKED, plug_kg=PLUG))
    m, y = np.array(KG, dtype=float), np.log(READ)
    values, _ = optimize.curve_fit(lambda m, h: log_curve(m, h, 2, PLUG), m, y, p0=(200,), xtol=1e-14)
    assert found.tanks == 2.0
    assert found.holdup_kg == pytest.approx(values[0], rel=1e-7)
    assert found.degrees == 5
    assert found.kg_to_reach(0.002) > fit(WORKED, plug_kg=PLUG).kg_to_reach(0.002)


# --- dead share -----------------------------------------------------------------------------------------

DEAD_UNIT = Unit(name="unit", plug_kg=40, mixed_kg=200, tanks=3, dead_fraction=0.12, exchange_ratio=0.04)
DEAD_KG = (100, 150, 200, 260, 320, 400, 500, 650, 900, 1300)


def dead_readings(rng: random.Random, sd: float) -> Samples:
    curve = washout(LineModel(units=(DEAD_UNIT,)))
    return samples(tuple((m, curve.residual(m) * math.exp(rng.gauss(0, sd))) for m in DEAD_KG))


def test_a_dead_share_is_recovered_where_the_tail_was_read() -> None:
    found = fit(dead_readings(random.Random(7), 0.0), plug_kg=40.0, dead=True)
    assert found.tanks == 3
    assert found.holdup_kg == pytest.approx(200, rel=1e-6)
    assert found.dead_fraction == pytest.approx(0.12, rel=1e-5)
    assert found.exchange_ratio == pytest.approx(0.04, rel=1e-5)


def test_a_dead_share_from_noisy_readings_lies_within_its_errors() -> None:
    found = fit(dead_readings(random.Random(1), 0.02), plug_kg=40.0, dead=True)
    for name, true in (("holdup_kg", 200.0), ("dead_fraction", 0.12), ("exchange_ratio", 0.04)):
        assert abs(getattr(found, name) - true) < 3.5 * found.standard_error(name), name
    assert found.degrees == len(DEAD_KG) - 4
    bound = upper_bound(found, 0.002)
    assert bound.kg > washout(LineModel(units=(DEAD_UNIT,))).kg_to_reach(0.002)


def test_a_last_reading_above_the_curve_is_told_as_the_sign_of_a_dead_zone() -> None:
    plain = fit(dead_readings(random.Random(1), 0.02), plug_kg=40.0)
    assert "calibrate.last_above" in [say.key for say in plain.says]


def test_a_dead_share_needs_three_deep_readings() -> None:
    """The worked readings hold two below 0.05."""
    with pytest.raises(NotIdentifiableError, match=r"dead_fraction: 2 readings below 0\.05") as caught:
        fit(WORKED, plug_kg=PLUG, dead=True)
    assert caught.value.field == "dead_fraction"


def test_a_dead_share_that_the_readings_do_not_show_is_refused() -> None:
    kg = (100.0, 160.0, 220.0, 300.0, 400.0, 500.0, 620.0, 740.0)
    clean = np.exp(log_curve(np.array(kg), 220.0, 3.0, 0.0))
    with pytest.raises(NotIdentifiableError) as caught:
        fit(samples(tuple(zip(kg, map(float, clean), strict=True))), dead=True)
    assert caught.value.field in ("dead_fraction", "exchange_ratio")


# --- outliers -------------------------------------------------------------------------------------------


def test_an_outlier_is_shown_and_stays_in() -> None:
    kg = (100.0, 150.0, 200.0, 260.0, 330.0, 400.0, 480.0, 560.0, 650.0)
    sound = noisy(random.Random(3), kg, 220.0, 3.0, 0.0, 0.02)
    wrong = [(one.m_kg, one.residual * (2.0 if one.m_kg == 330 else 1.0)) for one in sound.readings]
    found = fit(samples(tuple(wrong)))
    assert [one.m_kg for one in found.readings if one.outlier] == [330.0]
    assert len(found.readings) == len(kg)
    assert [say.key for say in found.says if say.facts.get("kg") == "330"] == ["calibrate.outlier"]
    assert not any(one.outlier for one in fit(sound).readings)


def test_standardised_residuals_are_those_of_the_hat_matrix() -> None:
    """Definition: residual / (s sqrt(1 - leverage)), leverage from J (J'J)^-1 J', here by numpy."""
    found = fit(WORKED, plug_kg=PLUG)
    m = np.array(KG, dtype=float)
    columns = []
    for place in range(2):
        step = [1e-4 if i == place else 0.0 for i in range(2)]
        up = log_curve(m, found.holdup_kg + step[0], found.tanks + step[1], PLUG)
        down = log_curve(m, found.holdup_kg - step[0], found.tanks - step[1], PLUG)
        columns.append((up - down) / 2e-4)
    jacobian = np.array(columns).T
    leverage = np.diag(jacobian @ np.linalg.inv(jacobian.T @ jacobian) @ jacobian.T)
    misfit = np.log(READ) - log_curve(m, found.holdup_kg, found.tanks, PLUG)
    expected = misfit / (found.rms * np.sqrt(1 - leverage))
    assert np.allclose([one.standardised for one in found.readings], expected, rtol=1e-5, atol=1e-6)


def test_one_in_twenty_sound_sets_shows_an_outlier() -> None:
    rng = random.Random(20)
    sets = [noisy(rng, tuple(range(100, 700, 60)), 220.0, 3.0, 0.0, 0.03) for _ in range(400)]
    share = sum(any(one.outlier for one in fit(one).readings) for one in sets) / len(sets)
    assert 0.02 < share < 0.085  # 0.05 give or take three standard deviations of 400 draws


# --- upper bound ----------------------------------------------------------------------------------------


def test_the_worked_upper_bound() -> None:
    """Worked at 0.002: m_star 838.7382329, gradient (3.509766, -122.4964), se 2.286671, t 2.015048, delta
    843.345986, profile 843.391044. With 40 digits (mpmath, run once): m_star 838.738232661.
    """
    bound = upper_bound(fit(WORKED, plug_kg=PLUG), 0.002)
    assert bound.m_star_kg == pytest.approx(838.7382329, rel=1e-9)
    assert bound.m_star_kg == pytest.approx(838.738232661, rel=1e-10)
    assert bound.gradient == pytest.approx((3.509766, -122.4964), rel=2e-7)
    assert bound.se_kg == pytest.approx(2.286671, abs=5.1e-7)
    assert bound.t == pytest.approx(2.015048, abs=5.1e-7)
    assert bound.delta_kg == pytest.approx(843.345986, abs=1e-6)
    assert bound.profile_kg == pytest.approx(843.391044, abs=1e-6)
    assert bound.kg == bound.profile_kg


def test_the_bound_uses_the_whole_covariance() -> None:
    """Worked: without the correlation the standard error would be 6.5725 instead of 2.286671."""
    found = fit(WORKED, plug_kg=PLUG)
    bound = upper_bound(found, 0.002)
    a, b = (
        slope * found.standard_error(name) for slope, name in zip(bound.gradient, found.fitted, strict=True)
    )
    assert math.hypot(a, b) == pytest.approx(6.5725, abs=5.1e-5)
    together = a * a + b * b + 2 * a * b * found.correlation("holdup_kg", "tanks")
    assert bound.se_kg == pytest.approx(math.sqrt(together), rel=1e-9)


def test_the_profile_agrees_with_a_brute_force_scan() -> None:
    """The largest crossing of all curves on a fine ring of equal squares, by scipy's functions."""
    found = fit(WORKED, plug_kg=PLUG)
    bound = upper_bound(found, 0.002)
    m, y = np.array(KG, dtype=float), np.log(READ)
    allowed = found.sse * (1 + bound.t**2 / found.degrees)

    def squares(holdup: float, tanks: float) -> float:
        return float(np.sum((log_curve(m, holdup, tanks, PLUG) - y) ** 2))

    most = 0.0
    for tanks in np.linspace(found.tanks - 0.12, found.tanks + 0.12, 601):
        best = optimize.minimize_scalar(lambda h, n=tanks: squares(h, n), bounds=(200, 232), method="bounded")
        if best.fun < allowed:
            edge = optimize.brentq(lambda h, n=tanks: squares(h, n) - allowed, best.x, 260)
            most = max(most, PLUG + edge * float(special.gammainccinv(tanks, 0.002)) / tanks)
    assert bound.profile_kg == pytest.approx(most, rel=1e-6)


def test_intervals_by_the_profile_agree_with_a_brute_force_scan() -> None:
    """Ends of H: where the least squares over N, by scipy's bounded search, leave what t allows."""
    found = fit(WORKED, plug_kg=PLUG)
    m, y = np.array(KG, dtype=float), np.log(READ)
    t = float(stats.t.ppf(0.975, found.degrees))
    allowed = found.sse * (1 + t * t / found.degrees)

    def least(holdup: float) -> float:
        best = optimize.minimize_scalar(
            lambda n: float(np.sum((log_curve(m, holdup, n, PLUG) - y) ** 2)),
            bounds=(2, 4),
            method="bounded",
            options={"xatol": 1e-10},
        )
        return float(best.fun) - allowed

    expected = (optimize.brentq(least, 205, found.holdup_kg), optimize.brentq(least, found.holdup_kg, 228))
    assert interval(found, "holdup_kg") == pytest.approx(expected, rel=1e-7)
    with pytest.raises(CalibrationError, match="plug_kg"):
        interval(found, "plug_kg")


def test_a_plug_that_leans_on_nothing_does_not_make_the_others_look_sure() -> None:
    """The second set of seed 21: the best plug is 0, the true one 80 kg; the rates stand in the benchmark."""
    rng = random.Random(21)
    noisy(rng, KG, 216.0, 2.9, PLUG, 0.1)
    found = fit(noisy(rng, KG, 216.0, 2.9, PLUG, 0.1), plug_kg=None)
    assert found.plug_kg == 0.0
    assert "calibrate.at_edge" in [say.key for say in found.says]
    assert found.standard_error("plug_kg") > 40.0
    for name, true in (("holdup_kg", 216.0), ("tanks", 2.9), ("plug_kg", PLUG)):
        low, high = interval(found, name)
        assert low <= true <= high, name
    assert interval(found, "plug_kg")[0] == 0.0


def test_a_limit_of_one_needs_no_flush_and_bad_limits_are_refused() -> None:
    found = fit(WORKED, plug_kg=PLUG)
    assert upper_bound(found, 1.0).kg == 0.0
    for limit, confidence, field in (
        (0.0, 0.95, "limit"),
        (0.1, 0.3, "confidence"),
        (0.1, 1.0, "confidence"),
    ):
        with pytest.raises(CalibrationError) as caught:
            upper_bound(found, limit, confidence=confidence)
        assert caught.value.field == field


# --- coverage -------------------------------------------------------------------------------------------


def test_intervals_of_simulated_readings_cover_at_the_stated_rate() -> None:
    """Simulation, seed 11: 95 % two-sided for H and N, 95 % one-sided for the crossing. Bands: three
    standard deviations of the binomial. The long form stands among the benchmarks.
    """
    rng = random.Random(11)
    kg = tuple(float(m) for m in KG)
    runs, bounded = 600, 100
    inside = {"holdup_kg": 0, "tanks": 0}
    above = 0
    holdups = []
    true = {"holdup_kg": 216.0, "tanks": 2.9}
    crossing = PLUG + 216.0 * float(special.gammainccinv(2.9, 0.002)) / 2.9
    for run in range(runs):
        found = fit(noisy(rng, kg, 216.0, 2.9, PLUG, 0.03), plug_kg=PLUG)
        holdups.append(found.holdup_kg)
        wide = float(stats.t.ppf(0.975, found.degrees))
        for name in inside:
            inside[name] += abs(getattr(found, name) - true[name]) < wide * found.standard_error(name)
        if run < bounded:
            above += upper_bound(found, 0.002).kg >= crossing
    assert sum(holdups) / runs == pytest.approx(216.0, rel=3e-3)
    for name, count in inside.items():
        assert 0.923 < count / runs < 0.977, name
    assert above / bounded > 0.885
    assert above / bounded < 1.0


# --- tail -----------------------------------------------------------------------------------------------


def test_the_worked_tail() -> None:
    """Worked, closed form by Fieller: decay 0.006055454959, rms 0.02844562223, point 1250.193827, t
    2.353363435, safe 1264.065804, other root 1236.988489, one future reading 1268.008371.
    """
    found = tail(TAIL, 0.0005)
    assert found.decay_per_kg == pytest.approx(0.006055454959, abs=5.1e-13)
    assert found.rms == pytest.approx(0.02844562223, abs=5.1e-12)
    assert found.m_star_kg == pytest.approx(1250.193827, abs=5.1e-7)
    assert found.t == pytest.approx(2.353363435, abs=5.1e-10)
    assert found.kg == pytest.approx(1264.065804, abs=5.1e-7)
    assert found.other_kg == pytest.approx(1236.988489, abs=5.1e-7)
    assert found.reading_kg == pytest.approx(1268.008371, abs=5.1e-7)
    assert [say.key for say in found.says] == ["calibrate.tail_only"]


def test_the_line_agrees_with_scipys_regression() -> None:
    m = [one.m_kg for one in TAIL.readings]
    line = stats.linregress(m, [math.log(one.residual) for one in TAIL.readings])
    found = tail(TAIL, 0.0005)
    assert -found.decay_per_kg == pytest.approx(line.slope, rel=1e-10)
    assert found.m_star_kg == pytest.approx((math.log(0.0005) - line.intercept) / line.slope, rel=1e-10)


def test_far_promises_of_a_tail_are_told() -> None:
    keys = [say.key for say in tail(TAIL, 0.00001).says]
    assert keys == ["calibrate.tail_only", "calibrate.tail_span", "calibrate.tail_decade"]
    assert not tail(TAIL, 0.01).says


def test_a_straight_line_through_the_front_misses_a_dead_zone() -> None:
    """Worked: 120/2 with d 0.15, e 0.015, then 90/2 with d 0.10, e 0.03; the line through 350 and 500 kg
    promises 0.001 at 1035.9 kg, the truth is 2330.963106 kg.
    """
    curve = washout(
        LineModel(
            units=(
                Unit(name="a", mixed_kg=120, tanks=2, dead_fraction=0.15, exchange_ratio=0.015),
                Unit(name="b", mixed_kg=90, tanks=2, dead_fraction=0.10, exchange_ratio=0.03),
            )
        )
    )
    found = tail(samples(tuple((m, curve.residual(m)) for m in (350, 350, 500, 500))), 0.001)
    assert found.m_star_kg == pytest.approx(1035.9, abs=0.05)
    assert curve.kg_to_reach(0.001) == pytest.approx(2330.963106, rel=1e-9)
    assert found.says


def test_tails_that_promise_nothing_are_refused() -> None:
    with pytest.raises(SampleError, match="2 usable readings; at least 3"):
        tail(Samples(TAIL.readings[:2]), 0.001)
    with pytest.raises(NotFallingError, match="do not fall by more than their scatter") as caught:
        tail(samples(((500, 0.03), (600, 0.004), (700, 0.02), (800, 0.01))), 0.001)
    assert caught.value.field == "residual"
    with pytest.raises(NotFallingError):
        tail(samples(((500, 0.01), (600, 0.02), (700, 0.03))), 0.001)
    with pytest.raises(CalibrationError, match="limit"):
        tail(TAIL, 1.0)


def test_the_bound_of_a_tail_covers_at_the_stated_rate() -> None:
    """Simulation, seed 5: straight lines with an error of 0.05 in ln r; 95 % one-sided."""
    rng = random.Random(5)
    runs, true = 3000, (math.log(0.05) - math.log(0.001)) / 0.006 + 500
    above = refused = 0
    for _ in range(runs):
        pairs = [(m, 0.05 * math.exp(-0.006 * (m - 500) + rng.gauss(0, 0.05))) for m in range(500, 1001, 100)]
        try:
            above += tail(samples(tuple(pairs)), 0.001).kg >= true
        except NotFallingError:
            refused += 1
    assert refused == 0
    assert 0.938 < above / runs < 0.962


# --- pooling --------------------------------------------------------------------------------------------


def test_the_worked_pooling_of_three_changeovers() -> None:
    """Worked: prior 270 and 0.15, holdups 251, 258, 247 with spread 0.06: 252.842932, 0.0337526370; next
    0.0688421419; one-sided 95 % 283.157625.
    """
    found = pool(270.0, [PastHoldup(holdup_kg=kg) for kg in (251, 258, 247)], prior_sd=0.15, spread=0.06)
    assert found.median_kg == pytest.approx(252.842932, abs=5.1e-7)
    assert found.sd_log == pytest.approx(0.0337526370, abs=5.1e-11)
    assert found.next_sd_log == pytest.approx(0.0688421419, abs=5.1e-11)
    assert found.next_upper_kg(0.95) == pytest.approx(283.157625, abs=5.1e-7)
    assert found.measured


def test_without_samples_the_prior_speaks_and_says_so() -> None:
    found = pool(270.0)
    assert found.median_kg == pytest.approx(270.0)
    assert not found.measured


def test_pooling_is_bayes_rule() -> None:
    """Against the product of densities on a fine grid, by numpy."""
    grid = np.linspace(math.log(150), math.log(450), 200_001)
    log_density = stats.norm.logpdf(grid, math.log(270), 0.15)
    for kg in (251, 258, 247):
        log_density += stats.norm.logpdf(math.log(kg), grid, math.hypot(0.06, 0.02))
    weight = np.exp(log_density - log_density.max())
    mean = np.average(grid, weights=weight)
    found = pool(270.0, [PastHoldup(holdup_kg=kg, se_log=0.02) for kg in (251, 258, 247)])
    assert math.log(found.median_kg) == pytest.approx(mean, rel=1e-9)
    assert found.sd_log == pytest.approx(math.sqrt(np.average((grid - mean) ** 2, weights=weight)), rel=1e-6)


def test_old_changeovers_weigh_half_after_twenty_and_another_setting_counts_for_nothing() -> None:
    """Two at age 20 weigh as one at age 0 (tuning value of this program)."""
    aged = pool(270.0, [PastHoldup(holdup_kg=250, age=20)] * 2)
    assert aged.median_kg == pytest.approx(pool(270.0, [PastHoldup(holdup_kg=250)]).median_kg, rel=1e-12)
    assert aged.sd_log == pytest.approx(pool(270.0, [PastHoldup(holdup_kg=250)]).sd_log, rel=1e-12)
    changed = pool(270.0, [PastHoldup(holdup_kg=250, setting="old screen")], setting="new screen")
    assert (changed.used, changed.dropped, changed.measured) == (0, 1, False)
    assert changed.median_kg == pytest.approx(270.0)


@pytest.mark.parametrize(
    ("field", "given"), [("prior_kg", 0.0), ("prior_sd", 0.0), ("spread", -1.0), ("half_life", 0.0)]
)
def test_figures_that_pool_nothing_are_refused(field: str, given: float) -> None:
    arguments = {"prior_kg": 270.0, field: given}
    with pytest.raises(CalibrationError) as caught:
        pool(**arguments)
    assert caught.value.field == field


# --- without samples ------------------------------------------------------------------------------------


def test_the_worked_bounds_from_content_alone() -> None:
    """Worked: T11 at 0.02: 1617.4 with p 0.18 returned, 1326.2 diverted."""
    found = content_bound(LINE, 0.02)
    assert found.kg == pytest.approx(1617.4, abs=0.051)
    assert content_bound(LINE, 0.02, divert_flash=True).kg == pytest.approx(1326.2, abs=0.051)
    assert "Not measured" in sentence(found.say)
    assert "1618 kg" in sentence(found.say)
    assert content_bound(LINE, 1.0).kg == 0.0


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.floats(1, 200), st.integers(1, 6), st.floats(0, 100)), min_size=1, max_size=5),
    st.floats(0.0, 0.5),
    st.data(),
)
def test_the_bound_from_content_holds_on_every_line_without_dead_parts(
    parts: list[tuple[float, int, float]], p: float, data: st.DataObject
) -> None:
    units = tuple(
        Unit(name=f"u{i}", mixed_kg=mixed, tanks=tanks, plug_kg=plug)
        for i, (mixed, tanks, plug) in enumerate(parts)
    )
    names = [unit.name for unit in units]
    line = (
        LineModel(
            units=units,
            flash_fraction=p,
            flash_to=data.draw(st.sampled_from(names)),
            return_kg=data.draw(st.floats(0, 30)) if p > 0.01 else 0.0,
            dose_at=data.draw(st.sampled_from(names)),
        )
        if p > 0.01
        else LineModel(units=units, dose_at=data.draw(st.sampled_from(names)))
    )
    limit = data.draw(st.sampled_from([0.5, 0.1, 0.02, 0.001]))
    assert washout(line).kg_to_reach(limit) <= content_bound(line, limit).kg * (1 + 1e-9)


def test_a_long_return_path_needs_more_than_the_mean_says() -> None:
    """One tank of 1 kg, 1 kg on the return path at p 0.125 (8 kg of delay): mean (1 + ln 10) = 7.55 kg would
    be less than the crossing of 0.1 at 8.91 kg, because soap on the path has more to go than the mean.
    """
    line = LineModel(units=(Unit(name="a", mixed_kg=1.0),), flash_fraction=0.125, flash_to="a", return_kg=1.0)
    found = content_bound(line, 0.1)
    crossing = washout(line).kg_to_reach(0.1)
    assert found.mean_kg * (1 + math.log(10)) < crossing < found.kg


def test_with_a_dead_part_the_content_bounds_nothing() -> None:
    line = LineModel(units=(Unit(name="plodder", mixed_kg=100, dead_fraction=0.1, exchange_ratio=0.02),))
    with pytest.raises(CalibrationError, match=r"plodder\.dead_fraction"):
        content_bound(line, 0.02)


def test_the_cautious_line_asks_for_more_and_samples_stand_at_one_to_four_contents() -> None:
    line = LINE
    assert washout(cautious_line(line)).kg_to_reach(0.02) > washout(line).kg_to_reach(0.02)
    assert cautious_line(line).content_kg == pytest.approx(line.content_kg)
    assert sampling_plan(line) == pytest.approx((270.0, 540.0, 810.0, 1080.0))


# --- proposal -------------------------------------------------------------------------------------------

LINE_KG = (100.0, 180.0, 260.0, 350.0, 450.0, 600.0, 800.0)


def readings_of(line: LineModel, rng: random.Random, sd: float, *, divert: bool = False) -> Samples:
    curve = washout(line, divert_flash=divert)
    return samples(tuple((m, min(0.999, curve.residual(m) * math.exp(rng.gauss(0, sd)))) for m in LINE_KG))


def larger(line: LineModel, factor: float, only: str = "") -> LineModel:
    units = tuple(
        replace(unit, mixed_kg=unit.mixed_kg * factor, plug_kg=unit.plug_kg * factor)
        if not only or unit.name == only
        else unit
        for unit in line.units
    )
    return replace(line, units=units)


@pytest.mark.parametrize("divert", [False, True])
def test_a_line_that_is_larger_than_its_file_is_found_out(divert: bool) -> None:
    rng = random.Random(2)
    true = larger(LINE, 1.2)
    found = propose_figures(LINE, [readings_of(true, rng, 0.0, divert=divert)], divert_flash=divert)
    assert found.factor == pytest.approx(1.2, rel=1e-8)
    change = found.change(0.02)
    assert change.old_kg == pytest.approx(880.5534144, rel=1e-9)
    assert change.proposed_kg == pytest.approx(1.2 * 880.5534144, rel=1e-7)
    assert change.change_kg == math.ceil(1.2 * 880.5534144) - 881
    assert found.values[0].old == LINE.units[0].mixed_kg


def test_a_noisy_proposal_has_its_factor_between_its_bounds_and_the_flush_on_the_safe_side() -> None:
    found = propose_figures(LINE, [readings_of(larger(LINE, 0.9), random.Random(4), 0.03)])
    assert found.factor_low < found.factor < found.factor_high
    change = found.change(0.002)
    assert change.upper_kg > change.proposed_kg
    assert [say.key for say in found.says] == ["calibrate.one_changeover", "calibrate.accept"]


def test_the_factor_and_its_error_agree_with_a_general_optimiser() -> None:
    """scipy's least_squares on the same readings; se from its own derivative."""
    read = readings_of(larger(LINE, 1.1), random.Random(8), 0.05)

    def misfit(x: np.ndarray) -> np.ndarray:
        curve = washout(larger(LINE, math.exp(float(x[0]))))
        return np.array([math.log(curve.residual(one.m_kg) / one.residual) for one in read.readings])

    best = optimize.least_squares(misfit, [0.0], jac="3-point", xtol=1e-14, ftol=1e-14, gtol=1e-14)
    found = propose_figures(LINE, [read])
    (only,) = found.fits
    assert only.log_factor == pytest.approx(best.x[0], abs=1e-7)
    scatter = 2 * best.cost / (len(LINE_KG) - 1)
    assert only.rms == pytest.approx(math.sqrt(scatter), rel=1e-6)
    assert only.se_log == pytest.approx(math.sqrt(scatter / (best.jac**2).sum()), rel=1e-5)


def test_one_unit_alone_gets_its_content_and_the_fewest_tanks_that_fit() -> None:
    name = LINE.units[2].name
    read = readings_of(larger(LINE, 1.4, name), random.Random(6), 0.0)
    found = propose_figures(LINE, [read], unit=name)
    assert found.factor == pytest.approx(1.4, rel=1e-6)
    assert found.line.units[2].tanks == LINE.units[2].tanks
    assert {one.unit for one in found.values} == {name}
    noisy_read = readings_of(larger(LINE, 1.4, name), random.Random(6), 0.08)
    assert propose_figures(LINE, [noisy_read], unit=name).line.units[2].tanks <= LINE.units[2].tanks


def test_several_changeovers_are_pooled_with_the_line_file_and_the_newest_weighs_most() -> None:
    rng = random.Random(9)
    old, new = (readings_of(larger(LINE, factor), rng, 0.0) for factor in (0.9, 1.1))
    found = propose_figures(LINE, [old, new])
    expected = pool(1.0, [PastHoldup(holdup_kg=0.9, age=1), PastHoldup(holdup_kg=1.1)])
    assert found.factor == pytest.approx(expected.median_kg, rel=1e-6)
    assert found.factor_high == pytest.approx(expected.next_upper_kg(0.95), rel=1e-6)
    assert propose_figures(LINE, [new, old]).factor < found.factor
    assert "calibrate.pooled" in [say.key for say in found.says]


def test_readings_that_this_line_cannot_make_give_no_figures() -> None:
    pairs = ((100.0, 0.5), (180.0, 0.02), (260.0, 0.4), (350.0, 0.01), (450.0, 0.1))
    with pytest.raises(CalibrationError, match="misses the readings by"):
        propose_figures(LINE, [samples(pairs)])


def test_a_content_far_beyond_the_file_is_refused() -> None:
    curve = washout(larger(LINE, 30.0))
    pairs = tuple((m, curve.residual(m)) for m in (4000.0, 6000.0, 8000.0, 12000.0))
    with pytest.raises(NotIdentifiableError, match="times the content in the line file"):
        propose_figures(LINE, [samples(pairs)])


@pytest.mark.parametrize(
    ("unit", "given", "field"),
    [("plodder-9", 1, "unit"), ("", 0, "samples")],
)
def test_proposals_for_nothing_are_refused(unit: str, given: int, field: str) -> None:
    with pytest.raises(CalibrationError) as caught:
        propose_figures(LINE, [readings_of(LINE, random.Random(1), 0.0)] * given, unit=unit)
    assert caught.value.field == field


def test_proposals_refuse_what_a_fit_refuses() -> None:
    with pytest.raises(NotFallingError):
        propose_figures(LINE, [samples(((100, 0.2), (200, 0.4), (300, 0.6), (400, 0.8)))])


def test_the_bounds_of_a_proposal_cover_at_the_stated_rate() -> None:
    """Simulation, seed 12: 95 % one-sided for the factor; three standard deviations of the binomial."""
    rng, runs = random.Random(12), 60
    small = LineModel(units=(Unit(name="a", mixed_kg=90, plug_kg=20), Unit(name="b", mixed_kg=110, tanks=3)))
    true = larger(small, 1.1)
    covered = 0
    for _ in range(runs):
        found = propose_figures(small, [readings_of(true, rng, 0.05)])
        covered += found.factor_high >= 1.1
    assert 0.86 < covered / runs <= 1.0


def test_a_fit_is_a_value_that_can_be_asked_again() -> None:
    found = fit(WORKED, plug_kg=PLUG)
    assert isinstance(found, Fit)
    with pytest.raises(CalibrationError, match="plug_kg"):
        found.correlation("plug_kg", "tanks")
    with pytest.raises(CalibrationError, match="tanks"):
        fit(WORKED, tanks=0)
    with pytest.raises(CalibrationError, match="plug_kg"):
        fit(WORKED, plug_kg=900.0)

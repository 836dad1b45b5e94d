"""Washouts against closed forms of textbooks, with scipy's special functions as the outside."""

import math

import pytest
from numpy.polynomial.legendre import leggauss
from scipy.special import gammaincc

from floorterm.flush import curve, washout
from tests.flush.washout_lines import line


@pytest.mark.parametrize("tanks", [1, 2, 5, 60])
@pytest.mark.parametrize("kg", [1.0, 90.0, 300.0, 700.0])
def test_equal_tanks_follow_the_incomplete_gamma_function(tanks: int, kg: float) -> None:
    """N tanks in series: W = Q(N, N m / H) (O. Levenspiel, Chemical Reaction Engineering, from memory)."""
    expected = gammaincc(tanks, tanks * kg / 250.0)
    assert washout(line({"mixed_kg": 250, "tanks": tanks})).residual(kg) == pytest.approx(expected, rel=1e-11)


def test_two_unequal_tanks_follow_their_partial_fractions() -> None:
    """W = (h1 exp(-m/h1) - h2 exp(-m/h2)) / (h1 - h2), two stirred tanks in series (mass balance)."""
    model = washout(line({"mixed_kg": 120}, {"mixed_kg": 45}))
    for kg in (10.0, 200.0, 1500.0):
        expected = (120 * math.exp(-kg / 120) - 45 * math.exp(-kg / 45)) / 75
        assert model.residual(kg) == pytest.approx(expected, rel=1e-11)


def test_the_variance_of_equal_tanks_is_mean_squared_over_n() -> None:
    """Levenspiel's tanks in series (lecture notes): variance = mean^2 / N, from the area under m W(m)."""
    model, nodes, weights = washout(line({"mixed_kg": 150, "tanks": 4})), *leggauss(200)
    kg = 750.0 * (nodes + 1)  # over 0..1500 kg, where W is below 1e-13
    values = [model.residual(float(m)) for m in kg]
    mean = 750.0 * sum(w * v for w, v in zip(weights, values, strict=True))
    second = 2 * 750.0 * sum(w * v * m for w, v, m in zip(weights, values, kg, strict=True))
    assert mean == pytest.approx(150.0, rel=1e-10)
    assert second - mean**2 == pytest.approx(150.0**2 / 4, rel=1e-9)


def test_rounds_of_flash_through_a_plug_follow_their_series_of_gamma_functions() -> None:
    """W = sum of (1-p) p^k Q(N(k+1), N z/H) with z = m - D_k; single unit of N equal cells behind a plug."""
    plug, mixed, tanks, p, back = 40.0, 160.0, 3, 0.25, 15.0
    model = washout(
        line(
            {"plug_kg": plug, "mixed_kg": mixed, "tanks": tanks},
            flash_fraction=p,
            flash_to="u1",
            return_kg=back,
        )
    )
    for kg in (30.0, 41.0, 250.0, 800.0, 2500.0):
        expected, k = 0.0, 0
        while (left := kg - plug - k * (plug + back / p)) > 0:
            expected += (1 - p) * p**k * gammaincc(tanks * (k + 1), tanks * left / mixed)
            k += 1
        expected += p**k
        assert model.residual(kg) == pytest.approx(expected, rel=1e-11)


def test_nothing_but_plugs_leaves_in_steps() -> None:
    """A plug holds everything back until it has moved out; each round of flash brings p of it again."""
    plain = washout(line({"plug_kg": 30}, {"plug_kg": 20}))
    assert [plain.residual(kg) for kg in (0.0, 50.0, 50.001)] == [1.0, 1.0, 0.0]
    assert plain.kg_to_reach(0.5) == pytest.approx(50.0)
    looped = washout(line({"plug_kg": 50}, flash_fraction=0.2, flash_to="u1", return_kg=10))
    assert [looped.residual(kg) for kg in (50.0, 99.0, 101.0, 201.0)] == pytest.approx([1.0, 0.2, 0.2, 0.04])
    assert looped.kg_to_reach(0.1) == pytest.approx(150.0)


def test_loops_without_cells_or_without_anything() -> None:
    """The only stirred cell stands before the loop: each round repeats its curve one delay later."""
    p, h = 0.2, 80.0
    model = washout(
        line({"mixed_kg": h}, {"plug_kg": 25}, flash_fraction=p, flash_to="u2", return_kg=5, dose_at="u1")
    )
    for kg in (20.0, 60.0, 200.0):
        expected, k = 0.0, 0
        while (left := kg - 25 - k * 50) > 0:
            expected += (1 - p) * p**k * math.exp(-(1 - p) * left / h)
            k += 1
        assert model.residual(kg) == pytest.approx(expected + p**k, rel=1e-11)
    empty = washout(line({}, {"mixed_kg": 70}, {}))
    assert empty.residual(70) == pytest.approx(math.exp(-1), rel=1e-12)
    nothing = washout(line({}))
    assert (nothing.residual(0), nothing.residual(1), nothing.kg_to_reach(0.5)) == (1.0, 0.0, 0.0)


def test_a_plug_that_stands_clean_delays_the_soap_behind_it() -> None:
    """A stirred unit of 100 kg behind which 40 kg of plug were replaced: 0, then exp(-(m - 40)/100)."""
    curve_ = washout(line({"mixed_kg": 100}, {"plug_kg": 40}), start={"u2": 0.0})
    assert [curve_.residual(kg) for kg in (0.0, 39.0)] == [0.0, 0.0]
    assert curve_.residual(90.0) == pytest.approx(math.exp(-0.5), rel=1e-11)
    assert curve_.kg_to_reach(0.1) == pytest.approx(40 + 100 * math.log(10), rel=1e-9)
    assert curve_.peak == pytest.approx((40.0, 1.0), abs=0.1)


def test_a_clean_line_climbs_to_what_its_feed_carries() -> None:
    model = washout(line({"mixed_kg": 100}), floor=0.01, start={"u1": 0.0})
    assert model.residual(100.0) == pytest.approx(0.01 * (1 - math.exp(-1)), rel=1e-9)
    assert model.peak == (math.inf, 0.01)
    assert model.kg_to_reach(0.02) == 0.0


def test_a_stiff_line_is_answered_right() -> None:
    """A cell of 0.2 kg beside 2 t: W = (h1 exp(-m/h1) - h2 exp(-m/h2)) / (h1 - h2)."""
    model = washout(line({"mixed_kg": 2000}, {"mixed_kg": 0.2}))
    crossing = model.kg_to_reach(1e-6)
    assert crossing == pytest.approx(2000 * math.log(1e6 * 2000 / 1999.8), rel=1e-9)
    assert model.residual(20000.0) == pytest.approx(math.exp(-10) * 2000 / 1999.8, rel=1e-9)


def test_a_dead_part_that_hardly_exchanges_is_never_given_a_huge_number() -> None:
    model = line({"mixed_kg": 100, "dead_fraction": 0.1, "exchange_ratio": 1e-9})
    assert washout(model).kg_to_reach(1e-11) == math.inf


def test_a_dead_part_that_exchanges_at_once_is_as_good_as_stirred() -> None:
    model = line({"mixed_kg": 100, "dead_fraction": 0.2, "exchange_ratio": 1e12})
    assert washout(model).residual(250) == pytest.approx(math.exp(-2.5), rel=1e-9)


def test_a_curve_is_read_at_even_steps() -> None:
    model = washout(line({"mixed_kg": 260}))
    points = curve(model, 400.0, 5)
    assert [kg for kg, _ in points] == [0.0, 100.0, 200.0, 300.0, 400.0]
    assert [r for _, r in points] == [model.residual(kg) for kg, _ in points]

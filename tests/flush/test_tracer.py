"""Published tracer tests and flow fields: what books print, and what this program makes of it."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from floorterm.flush import pulse_moments, samples, tail, upper_bound, washout
from floorterm.flush.calibrate import SampleError, fit
from floorterm.flush.shapes import TANKS_HIGH
from tests.flush.washout_lines import line

LEVENSPIEL = tuple(zip(range(0, 40, 5), (0, 3, 5, 5, 4, 2, 1, 0), strict=True))
COURSE = tuple(zip(range(0, 40, 5), (0, 0, 0, 5, 10, 5, 0, 0), strict=True))
FOGLER = tuple(
    zip((*range(11), 12, 14), (0, 1, 5, 8, 10, 8, 6, 4, 3, 2.2, 1.5, 0.6, 0), strict=True)
)  # min; the axis only sets the unit of mean and variance


def test_levenspiels_pulse_has_a_mean_of_15_minutes() -> None:
    """O. Levenspiel, Chemical Reaction Engineering, example 11.1 (read in a companion notebook): area 100, mean
    15 printed; variance 47.5 and N 4.7368 recomputed by the same sums.
    """
    found = pulse_moments(LEVENSPIEL, "trapezoid")
    assert (found.area, found.mean, found.variance) == pytest.approx((100.0, 15.0, 47.5), rel=1e-12)
    assert found.tanks() == pytest.approx(4.7368, abs=5e-5)


def test_a_course_example_has_a_mean_of_20_seconds_and_a_variance_that_depends_on_the_rule() -> None:
    """A university course (read): F(15, 20, 25) = 0.125, 0.5, 0.875 and mean 20 s; variance 12.5 by the sums,
    16.6667 for straight lines, both recomputed: hence the rule beside the figure.
    """
    by_sums, by_lines = pulse_moments(COURSE, "trapezoid"), pulse_moments(COURSE)
    assert (by_sums.mean, by_sums.variance) == pytest.approx((20.0, 12.5), rel=1e-12)
    assert (by_lines.mean, by_lines.variance) == pytest.approx((20.0, 50.0 / 3.0), rel=1e-12)
    assert (by_sums.rule, by_lines.rule) == ("trapezoid", "straight_lines")
    for seconds, out in ((15, 0.125), (20, 0.5), (25, 0.875)):
        so_far = tuple(one for one in COURSE if one[0] <= seconds)
        assert pulse_moments(so_far).area / by_lines.area == pytest.approx(out, rel=1e-12)


def test_foglers_pulse_has_the_published_mean_and_variance() -> None:
    """H. S. Fogler, Elements of Chemical Reaction Engineering, examples 13-1 and 13-2 (from memory, the table was
    not seen): published area 50.0, mean 5.15, variance 6.1; recomputed 50.0333, 5.15523, 6.10848 by Simpson's rule
    on both parts, 50.65, 5.12734, 5.95121 by trapezoids.
    """
    found = pulse_moments(FOGLER, "simpson")
    assert found.area == pytest.approx(50.0, abs=0.05)
    assert found.mean == pytest.approx(5.15, abs=0.01)
    assert found.variance == pytest.approx(6.1, abs=0.02)
    assert (found.area, found.mean, found.variance) == pytest.approx((50.0333, 5.15523, 6.10848), rel=1e-5)
    coarse = pulse_moments(FOGLER, "trapezoid")
    assert (coarse.area, coarse.mean, coarse.variance) == pytest.approx((50.65, 5.12734, 5.95121), rel=1e-5)


@pytest.mark.parametrize("tanks", [1, 3, 6])
def test_the_pulse_of_a_line_of_equal_tanks_gives_its_holdup_and_tanks_back(tanks: int) -> None:
    """Closed form: mean plug + H, variance H^2 / N. The pulse is the difference of the washout a step later."""
    curve = washout(line({"plug_kg": 40, "mixed_kg": 200, "tanks": tanks}))
    step = 2.0
    read = [
        (kg, max(0.0, curve.residual(kg) - curve.residual(kg + step)))
        for kg in (step * k for k in range(2500))
    ]
    found = pulse_moments(read)
    assert found.mean == pytest.approx(240.0, rel=1e-2)
    assert found.variance == pytest.approx(200.0**2 / tanks, rel=1e-2)
    assert found.tanks(plug_kg=40.0 - step / 2) == pytest.approx(tanks, rel=1e-2)


@given(st.floats(0.1, 50.0), st.floats(0.1, 100.0), st.floats(0.0, 1000.0))
def test_moments_follow_the_units_of_their_axes(scale: float, height: float, shift: float) -> None:
    moved = [(shift + scale * kg, height * reading) for kg, reading in LEVENSPIEL]
    found, plain = pulse_moments(moved), pulse_moments(LEVENSPIEL)
    assert found.area == pytest.approx(plain.area * scale * height, rel=1e-9)
    assert found.mean == pytest.approx(shift + scale * plain.mean, rel=1e-9)
    assert found.variance == pytest.approx(scale**2 * plain.variance, rel=1e-6, abs=1e-6)


@pytest.mark.parametrize(
    ("read", "rule", "field"),
    [
        (((0, 0), (5, 1)), "trapezoid", "readings"),
        (((0, 0), (5, 1), (5, 0)), "trapezoid", "readings"),
        (((0, 0), (5, 0), (9, 0)), "straight_lines", "readings"),
        (((0, 0), (5, -1), (9, 0)), "straight_lines", "readings[1].reading"),
        (((0, 0), (math.nan, 1), (9, 0)), "straight_lines", "readings[1].m_kg"),
        (((0, 0), (5, 1), (9, 0)), "simpson", "readings"),
        (((0, 0), (5, 1), (10, 1), (15, 0)), "simpson", "readings"),
    ],
)
def test_a_pulse_names_what_it_refuses(read, rule, field: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(SampleError) as caught:
        pulse_moments(read, rule)
    assert caught.value.field == field


# --- a worm with laminar flow: how much any number of tanks can underrate a tail -------------------------


def screw_point(x: float) -> tuple[float, float]:
    """(t / mean, F) of a single screw's laminar melt channel for x in (2/3, 1).

    G. Pinto, Z. Tadmor, Polym. Eng. Sci. 10 (1970) 279 (paper from memory; formula recomputed from the flow field).
    """
    root = math.sqrt(1 + 2 * x - 3 * x * x)
    c = (1 - x + root) / 2
    ux, uc = abs(x * (2 - 3 * x)), abs(c * (2 - 3 * c))
    w = uc / (ux + uc)
    time = 0.5 / (3 * x * (1 - x) * w + 3 * c * (1 - c) * (1 - w))
    return time, (3 * x * x - 1 + (x - 1) * root) / 2


def screw_washout(time: float) -> float:
    """1 - F at a time in means, by bisection in x (time rises with x)."""
    if time <= 0.75:
        return 1.0
    low, high = 2 / 3 + 1e-12, 1 - 1e-15
    for _ in range(200):
        middle = (low + high) / 2
        if screw_point(middle)[0] < time:
            low = middle
        else:
            high = middle
    return 1.0 - screw_point(low)[1]


def screw_time(washout_: float) -> float:
    low, high = 0.75, 1e4
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if screw_washout(middle) > washout_ else (low, middle)
    return high


def test_the_laminar_screw_as_published() -> None:
    """Worked from the flow field: x 0.7 and 0.99; W(1), W(2), W(3); times of 0.01 and 0.001; shortest 0.75 of the
    mean; F agrees with 3 (x^2 - c^2) - 2 (x^3 - c^3).
    """
    assert screw_point(0.7) == pytest.approx((0.7519481336, 0.09034523859), rel=1e-9)
    assert screw_point(0.99) == pytest.approx((2.065870241, 0.9691537571), rel=1e-9)
    assert [screw_washout(t) for t in (1, 2, 3)] == pytest.approx(
        (0.23696668, 0.033446518, 0.01260662), rel=1e-7
    )
    assert (screw_time(0.01), screw_time(0.001)) == pytest.approx((3.3171676, 9.5682918), rel=1e-6)
    assert screw_point(2 / 3 + 1e-9)[0] == pytest.approx(0.75, abs=1e-6)
    for x in (0.7, 0.8, 0.95):
        c = (1 - x + math.sqrt(1 + 2 * x - 3 * x * x)) / 2
        assert screw_point(x)[1] == pytest.approx(3 * (x * x - c * c) - 2 * (x**3 - c**3), rel=1e-10)


def test_a_fit_to_the_front_of_a_laminar_screw_promises_far_too_little() -> None:
    """No finite number of tanks has a tail like 1 / (12 t^2): a warning about dead corners, not the model."""
    front = [(200.0 * t, screw_washout(t)) for t in (0.8, 0.9, 1.0, 1.2, 1.5, 1.8, 2.2)]
    found = fit(samples(front), plug_kg=0.75 * 200)
    assert 0 < found.tanks < TANKS_HIGH
    promised = upper_bound(found, 0.001).kg
    assert promised < 0.75 * 200 * screw_time(0.001)


def test_a_straight_tail_of_a_laminar_screw_is_no_straight_line() -> None:
    """The decay read between 2 and 3 means promises 0.001 long before its true place, 9.568 means."""
    read = [(200.0 * t, screw_washout(t)) for t in (2.0, 2.25, 2.5, 2.75, 3.0)]
    assert tail(samples(read), 0.001).kg < 0.75 * 200 * screw_time(0.001)

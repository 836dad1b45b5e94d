"""Sampling by attributes: MIL-STD-105E, tables I and II-A; characteristics reckoned apart."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from floorterm.quality import (
    Plan,
    QualityError,
    at_most_of_lot,
    chance_by_guessing,
    code_letter,
    differs,
    least_right,
    share_at,
    single_normal,
)


@pytest.mark.parametrize(
    ("lot", "letters"),
    [(2, "AAB"), (8, "AAB"), (9, "ABC"), (90, "CEF"), (91, "DFG"), (280, "EGH"), (1200, "GJK"), (3200, "HKL"),
     (14400, "KMN"), (500000, "MPQ"), (500001, "NQR")],
)  # fmt: skip
def test_code_letters(lot: int, letters: str) -> None:
    assert "".join(code_letter(lot, level) for level in ("I", "II", "III")) == letters


@pytest.mark.parametrize(
    ("lot", "aql", "n", "accept"),
    [(100, "1.0", 13, 0), (100, "1.5", 32, 1), (200, "0.65", 20, 0), (60, "2.5", 20, 1), (8, "4.0", 3, 0),
     (14400, "2.5", 315, 14), (4000, "1.0", 200, 5), (600000, "4.0", 315, 21)],
)  # fmt: skip
def test_an_arrow_changes_the_sample_as_well_as_the_count(lot: int, aql: str, n: int, accept: int) -> None:
    found = single_normal(lot, aql)
    assert (found.n, found.accept, found.reject) == (n, accept, accept + 1)


def test_a_lot_no_larger_than_its_sample_is_inspected_whole() -> None:
    found = single_normal(18, "1.0")  # code letter C: 13 pieces by its arrow
    assert (found.n, found.everything) == (13, False)
    found = single_normal(10, "1.0")
    assert (found.n, found.everything) == (10, True)
    with pytest.raises(QualityError):
        single_normal(100, "3.0")


@pytest.mark.parametrize(
    ("n", "accept", "at_95", "at_50", "at_10"),
    [(13, 0, 0.3938, 5.1922, 16.2322), (50, 1, 0.7154, 3.3340, 7.5581), (80, 3, 1.7257, 4.5708, 8.1603),
     (80, 5, 3.3165, 7.0581, 11.2850), (125, 3, 1.1003, 2.9298, 5.2663), (125, 5, 2.1108, 4.5240, 7.2932),
     (200, 5, 1.3144, 2.8303, 4.5879), (200, 7, 2.0057, 3.8282, 5.8153), (315, 10, 1.9705, 3.3832, 4.8490),
     (315, 14, 2.9579, 4.6516, 6.3275)],
)  # fmt: skip
def test_what_a_plan_lets_through(n: int, accept: int, at_95: float, at_50: float, at_10: float) -> None:
    """Exact: the share at chance P is the (1 - P) point of the beta distribution, here scipy's."""
    for wanted, expected in ((0.95, at_95), (0.5, at_50), (0.1, at_10)):
        found = 100 * share_at(Plan(n, accept).chance, wanted)
        assert found == pytest.approx(expected, abs=1e-4)
        assert found == pytest.approx(100 * stats.beta.ppf(1 - wanted, accept + 1, n - accept), rel=1e-9)


def test_200_with_5_by_binomial_and_from_a_lot() -> None:
    """Reckoned apart with scipy's binomial and hypergeometric distributions."""
    plan = Plan(200, 5)
    shares = [plan.chance(share) for share in (0.01, 0.02, 0.03, 0.05)]
    assert shares == pytest.approx([0.9840, 0.7867, 0.4432, 0.0623], abs=5e-5)
    assert at_most_of_lot(4000, 100, 200, 5) == pytest.approx(0.61612, abs=5e-6)
    assert plan.chance(0.025) == pytest.approx(0.61597, abs=5e-6)


def test_no_bad_bar_among_twenty_says_little() -> None:
    """Hand reckoning: 0.95 to the power of n."""
    for n, chance in ((13, 0.5133), (20, 0.3585), (32, 0.1937)):
        assert Plan(n, 0).chance(0.05) == pytest.approx(chance, abs=5e-5)


@given(st.integers(1, 60), st.integers(0, 5), st.floats(0, 0.5), st.floats(0, 0.5))
def test_a_worse_lot_is_never_accepted_more_often(n: int, accept: int, one: float, other: float) -> None:
    plan = Plan(n, accept)
    assert plan.chance(min(one, other)) >= plan.chance(max(one, other)) - 1e-12


@pytest.mark.parametrize(
    ("answers", "at_5_pct", "at_1_pct"),
    [
        (6, 5, 6),
        (12, 8, 9),
        (15, 9, 10),
        (18, 10, 12),
        (24, 13, 15),
        (30, 15, 17),
        (36, 18, 20),
        (48, 22, 25),
    ],
)
def test_the_triangle_tests_least_right_answers(answers: int, at_5_pct: int, at_1_pct: int) -> None:
    """The form of the table in ISO 4120 (text from memory); each limit is checked with scipy's binomial too."""
    for risk, least in ((0.05, at_5_pct), (0.01, at_1_pct)):
        assert least_right(answers, risk) == least
        assert stats.binom.sf(least - 1, answers, 1 / 3) <= risk < stats.binom.sf(least - 2, answers, 1 / 3)


def test_two_noses_can_show_nothing_at_five_pct() -> None:
    """Hand reckoning: both right by guessing is 1/9, three of three 1/27."""
    assert least_right(2) is None
    assert not differs(2, 2)
    assert chance_by_guessing(2, 2) == pytest.approx(1 / 9)
    assert differs(3, 3)
    with pytest.raises(QualityError):
        differs(3, 4)

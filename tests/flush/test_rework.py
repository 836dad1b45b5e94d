"""What diverted soap can be worked into, and how it builds up."""

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from floorterm.flush import QuantityInputError
from floorterm.flush.rework import (
    BuildUp,
    ReworkItem,
    feed_residual,
    largest_foreign_share,
    limit_left,
    rework_share,
)

P = ReworkItem(name="P", limit=100, rework=420, own=20)
Q = ReworkItem(name="Q", limit=100, rework=260)
R = ReworkItem(name="R", limit=500, rework=950, own=410)  # named on the label: only its hard cap


def test_three_items_and_the_strength() -> None:
    """Worked figures in mg/kg: P 0.2, Q 0.3846153846, R 0.1666666667, strength 0.88 -> 0.12 (closed forms)."""
    assert [item.largest_share for item in (P, Q, R)] == pytest.approx([0.2, 0.3846153846, 0.1666666667])
    found = rework_share((P, Q, R), min_strength=0.88)
    assert (found.share, found.governs) == (pytest.approx(0.12), "strength")
    topped = rework_share((P, Q, R), min_strength=0.88, topped_up=True)
    assert (topped.share, topped.governs) == (pytest.approx(0.1666666667), "R")
    assert topped.say.facts == {"item": "R", "percent": "16.66"}  # rounded down


def test_rework_below_the_limit_is_not_limited_and_a_broken_formula_takes_none() -> None:
    free = rework_share((ReworkItem(name="P", limit=100, rework=100, own=99),))
    assert (free.share, free.governs, free.say.key) == (1.0, "", "strategies.rework.free")
    broken = rework_share((ReworkItem(name="P", limit=100, rework=50, own=101), Q))
    assert (broken.share, broken.deviation) == (0.0, ("P",))
    assert broken.say.key == "strategies.rework.deviation"
    site = rework_share((Q,), site_share=0.02)
    assert (site.share, site.governs) == (0.02, "site")


@given(st.floats(0, 500), st.floats(0, 1000), st.floats(0, 500))
def test_the_largest_share_just_keeps_the_limit(limit: float, rework: float, own: float) -> None:
    """content = own + share (rework - own)."""
    share = ReworkItem(name="P", limit=limit, rework=rework, own=own).largest_share
    assert 0.0 <= share <= 1.0
    if own <= limit:
        assert own + share * (rework - own) <= limit * (1 + 1e-9) + 1e-9
    if 0 < share < 1:
        assert own + share * (rework - own) == pytest.approx(limit, abs=1e-9)


def test_the_mean_of_a_transition_feeds_the_floor_of_the_next() -> None:
    """By hand: 2 % of soap at 31.7 % outgoing carry 0.634 %."""
    assert feed_residual(0.02, 0.3170471123) == pytest.approx(0.006340942246)


def test_flush_soap_taken_up_again_and_again() -> None:
    """Worked figures: outgoing 1.2 % with 85 % eugenol (0.0102), flush soap at r 0.3 (0.00306) taken at 2 %,
    own rework 10 %: 6.120e-5, 6.732e-5, 6.7932e-5, limit 6.800e-5 (geometric sum).
    """
    build = BuildUp(own_share=0.10, foreign=0.02 * 0.00306)
    assert [build.after(n) for n in (1, 2, 3)] == pytest.approx([6.120e-5, 6.732e-5, 6.7932e-5])
    assert build.limit == pytest.approx(6.800e-5)
    assert build.limit < 1e-4


def test_the_largest_flush_share_and_what_it_leaves_of_the_limit() -> None:
    """Worked figures: 1e-4 x 0.9 / 0.00306 = 2.9412 %; (1e-4 - 6.8e-5) / 0.0102 = 0.0031373, not 0.0098039."""
    assert largest_foreign_share(1e-4, 0.00306, own_share=0.10) == pytest.approx(0.029412, abs=5e-7)
    assert limit_left(1e-4, 6.8e-5, 0.0102) == pytest.approx(0.0031373, abs=5e-8)
    assert limit_left(1e-4, 0.0, 0.0102) == pytest.approx(0.0098039, abs=5e-8)


def test_dosing_the_whole_mass_lifts_the_strength() -> None:
    """Worked figures: 15 % own rework, 1.2 % on the whole mass: 1.38, 1.407 … 1.41176 %."""
    build = BuildUp(own_share=0.15, foreign=0.012)
    assert [build.after(n) for n in (2, 3)] == pytest.approx([0.0138, 0.01407])
    assert build.strength(0.012) == pytest.approx(0.0141176, abs=5e-8)


def test_how_often_soap_goes_round() -> None:
    """Worked figures: own share 12 %: twice or more 1.44 %, three times 0.1728 %, mean passes 0.13636."""
    build = BuildUp(own_share=0.12)
    assert build.passed(2) == pytest.approx(0.0144)
    assert build.passed(3) == pytest.approx(0.001728)
    assert build.mean_passes == pytest.approx(0.13636, abs=5e-6)


@given(st.floats(0.0, 0.95), st.floats(0.0, 1e-3), st.integers(1, 60))
def test_the_build_up_is_the_recurrence(rho: float, foreign: float, batches: int) -> None:
    content = 0.0
    for _ in range(batches):
        content = foreign + rho * content
    build = BuildUp(own_share=rho, foreign=foreign)
    assert build.after(batches) == pytest.approx(content, rel=1e-9, abs=1e-15)
    assert build.after(batches) <= build.limit * (1 + 1e-12)


def test_nothing_is_left_where_the_bar_spends_it_all() -> None:
    assert largest_foreign_share(1e-4, 0.01, own=1e-4) == 0.0
    assert largest_foreign_share(1e-4, 0.0) == 1.0
    assert limit_left(1e-4, 2e-4, 0.01) == 0.0
    assert limit_left(1e-4, 0.0, 0.0) == 1.0


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: ReworkItem(name="P", limit=-1, rework=1), "P.limit"),
        (lambda: ReworkItem(name="P", limit=1, rework=math.nan), "P.rework"),
        (lambda: rework_share((Q,), min_strength=1.2), "min_strength"),
        (lambda: rework_share((Q,), site_share=-0.1), "site_share"),
        (lambda: BuildUp(own_share=1.0), "own_share"),
        (lambda: BuildUp(own_share=0.1, foreign=-1.0), "foreign"),
        (lambda: BuildUp(own_share=0.1).after(0), "batches"),
        (lambda: BuildUp(own_share=0.1).passed(-1), "times"),
        (lambda: feed_residual(1.1, 0.3), "share"),
        (lambda: feed_residual(0.1, 1.3), "mean_outgoing"),
    ],
)
def test_rework_names_the_field_it_refuses(make: Any, field: str) -> None:
    with pytest.raises(QuantityInputError) as caught:
        make()
    assert caught.value.field == field

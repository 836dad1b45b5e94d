"""Strip and clean chosen units."""

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from floorterm.flush import LineModel, WashoutInputError, washout
from floorterm.flush.clean import Cleaning, rank_cleanings, removed_kg, start_after, strip
from tests.flush.washout_lines import line, lines, t11

FEW = settings(max_examples=20, deadline=None)
BOTH = (
    Cleaning(unit="u1", removed_share=0.90, minutes=20),
    Cleaning(unit="u3", removed_share=0.95, minutes=25),
)


def test_two_units_of_the_train_stripped() -> None:
    """Worked figures: kg balances by a Runge-Kutta pair at 1e-12 and, independently, a 30-digit matrix
    exponential; peak position to 1e-6 kg.
    """
    found = strip(t11(), BOTH, 0.02)
    assert found.m_star_kg == pytest.approx(415.5619255, rel=5e-10)
    assert (found.peak_kg, found.peak) == (
        pytest.approx(125.7913441, abs=1e-6),
        pytest.approx(0.4289426275, rel=5e-10),
    )
    assert strip(t11(), BOTH, 0.002).m_star_kg == pytest.approx(592.1913997, rel=5e-10)
    assert found.saved_kg == pytest.approx(580.3419490 - 415.5619255, rel=1e-9)
    assert found.removed_kg == pytest.approx(0.90 * 90 + 0.95 * 110)
    assert found.minutes == 45


def test_the_first_crossing_is_worthless() -> None:
    """At 0.06 the line starts good (0.05) and turns bad; only the last crossing counts."""
    found = strip(t11(), BOTH, 0.06)
    assert found.first_kg == 0.0
    assert found.m_star_kg > 300
    assert [say.key for say in found.say] == ["strategies.clean.turns_bad"]


def test_units_are_ranked_by_kg_saved_in_a_cleaning_minute() -> None:
    """Each alone, run again by the other way through the program."""
    ranked = rank_cleanings(t11(), BOTH, 0.02)
    assert [worth.cleaning.unit for worth in ranked] == ["u1", "u3"]
    plain = washout(t11()).kg_to_reach(0.02)
    first, second = ranked
    assert first.saved_kg == pytest.approx(plain - washout(t11(), start={"u1": 0.1}).kg_to_reach(0.02))
    assert second.saved_kg == pytest.approx(
        plain - washout(t11(), start={"u3": 0.05}).kg_to_reach(0.02), abs=1e-6
    )
    assert first.kg_per_min == pytest.approx(first.saved_kg / 20)


def with_corner() -> LineModel:
    return line(
        {"mixed_kg": 100, "dead_fraction": 0.1, "exchange_ratio": 0.02, "plug_kg": 10}, {"mixed_kg": 60}
    )


def test_dead_parts_count_only_where_somebody_says_they_were_scraped() -> None:
    """By hand: 110 kg with 10 kg dead: 0.9 of 100 or of 110 kg taken out."""
    closed = (Cleaning(unit="u1", removed_share=0.9),)
    open_ = (Cleaning(unit="u1", removed_share=0.9, scraped=True),)
    assert removed_kg(with_corner(), closed) == pytest.approx(90.0)
    assert removed_kg(with_corner(), open_) == pytest.approx(99.0)
    left, scraped = strip(with_corner(), closed, 0.005), strip(with_corner(), open_, 0.005)
    assert scraped.m_star_kg < left.m_star_kg
    assert left.say[0].key == "strategies.clean.not_scraped"
    assert scraped.say[0].key == "strategies.clean.scraped"
    assert start_after(with_corner(), closed)["u1"].dead is None


def test_units_ahead_of_the_dose_hold_less_to_begin_with() -> None:
    """A hopper that only returned flash reaches starts with p of the dose: 0.18 x 0.5."""
    model = t11(flash_fraction=0.18, flash_to="u1", dose_at="u2")
    assert start_after(model, (Cleaning(unit="u1", removed_share=0.5),))["u1"].active == pytest.approx(0.09)


@FEW
@given(lines(most=4), st.floats(0.0, 1.0), st.floats(0.002, 0.3))
def test_cleaning_never_needs_more_and_agrees_with_the_washout(
    model: LineModel, share: float, limit: float
) -> None:
    cleanings = tuple(Cleaning(unit=unit.name, removed_share=share) for unit in model.units[::2])
    found = strip(model, cleanings, limit)
    assert found.saved_kg >= -1e-6
    curve = washout(model, divert_flash=True, start=start_after(model, cleanings))
    assert found.m_star_kg == pytest.approx(curve.kg_to_reach(limit), rel=1e-8, abs=1e-6)
    assert curve.residual(found.peak_kg) == pytest.approx(found.peak, rel=1e-9, abs=1e-12)
    looked = [curve.residual(model.content_kg * (k / 60) ** 2) for k in range(150)]
    assert found.peak >= max(looked) * (1 - 1e-9)


@pytest.mark.parametrize("bad", [-0.1, 1.01, math.nan, "most"])
def test_a_removed_share_is_a_fraction(bad: Any) -> None:
    with pytest.raises(WashoutInputError) as caught:
        Cleaning(unit="u1", removed_share=bad)
    assert caught.value.field == "u1.removed_share"


def test_cleanings_name_what_they_refuse() -> None:
    with pytest.raises(WashoutInputError, match="unit"):
        strip(t11(), (Cleaning(unit="u9", removed_share=0.5),), 0.02)
    with pytest.raises(WashoutInputError, match="unit"):
        strip(t11(), (BOTH[0], BOTH[0]), 0.02)
    with pytest.raises(WashoutInputError, match="minutes"):
        rank_cleanings(t11(), (Cleaning(unit="u1", removed_share=0.5),), 0.02)
    with pytest.raises(WashoutInputError, match="minutes"):
        Cleaning(unit="u1", removed_share=0.5, minutes=-1)


def test_a_feed_that_carries_the_limit_cannot_be_cleaned_away() -> None:
    assert strip(t11(), BOTH, 0.02, floor=0.02).m_star_kg == math.inf

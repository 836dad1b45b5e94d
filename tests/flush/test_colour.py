"""The colour rule: difference, bands, mixing and the first residue that shows.

Pairs: Sharma, Wu, Dalal, Color Res. Appl. 30 (2005) 21-30, Table 1. The worked mixes are
figures of a separate script (scan and bisection), not of this code; one crossing is met by scipy's root finder.
"""

import csv
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from scipy.optimize import brentq

from floorterm.flush import (
    Bar,
    BarColour,
    ColourRule,
    LimitInputError,
    LineModel,
    Rules,
    Unit,
    flush_quantity,
    reasoning,
    residual_limit,
)
from floorterm.flush.colour import (
    absorption_ratio,
    ciede2000,
    first_above,
    kubelka_munk,
    lab_of,
    reflectance_of,
    share_by_bands,
    share_on_line,
)
from floorterm.wording import sentence

EU = Rules(on=date(2026, 11, 25))
LIGHT, BROWN, PINK = (0.80, 0.78, 0.70), (0.10, 0.06, 0.04), (0.78, 0.55, 0.50)
with (Path(__file__).parents[1] / "data" / "ciede2000_pairs.csv").open(encoding="utf-8") as file:
    PAIRS = [{name: float(text) for name, text in row.items()} for row in csv.DictReader(file)]


def painted(name: str, *bands: float) -> Bar:
    return Bar(name=name, colour=BarColour(bands=bands, source=f"measured on {name}"))


# --- the difference -----------------------------------------------------------------------------------


def test_there_are_34_published_pairs() -> None:
    assert len(PAIRS) == 34


@pytest.mark.parametrize("pair", PAIRS, ids=lambda pair: f"{pair['pair']:.0f}")
def test_a_published_pair_is_met_in_both_directions(pair: dict[str, float]) -> None:
    """Sharma, Wu, Dalal (2005), Table 1: within the rounding of its fourth decimal."""
    first, second = ((pair[f"L{n}"], pair[f"a{n}"], pair[f"b{n}"]) for n in (1, 2))
    assert ciede2000(first, second) == pytest.approx(pair["delta_e_2000"], abs=5e-5)
    assert ciede2000(second, first) == pytest.approx(pair["delta_e_2000"], abs=5e-5)


LABS = st.tuples(st.floats(0, 100), st.floats(-80, 80), st.floats(-80, 80))


@given(LABS, LABS)
def test_a_difference_is_symmetric_and_nothing_differs_from_itself(
    first: tuple[float, float, float], second: tuple[float, float, float]
) -> None:
    there, back = ciede2000(first, second), ciede2000(second, first)
    assert there >= 0
    assert there == pytest.approx(back, rel=1e-6, abs=1e-9)
    assert ciede2000(first, first) == 0


# --- bands and mixing ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bands", "lab"), [(LIGHT, (90.71, -0.98, 5.52)), (BROWN, (31.13, 6.36, 11.05)), ((1, 1, 1), (100, 0, 0))]
)
def test_bands_are_linear_srgb_primaries_under_their_own_white(
    bands: tuple[float, ...], lab: tuple[float, float, float]
) -> None:
    """Matrix of IEC 61966-2-1, white = sum of the bands; redone by hand from the matrix."""
    assert lab_of(bands) == pytest.approx(lab, abs=0.005)


def test_other_bands_take_their_own_weights() -> None:
    """Two bands, one of them the whole of Y: L of a reflectance of 0.5 is 116 * 0.5^(1/3) - 16 = 76.07."""
    weights = ((1.0, 1.0, 0.0), (0.0, 0.0, 1.0))
    lightness, a, _ = lab_of((0.5, 1.0), weights)
    assert lightness == pytest.approx(76.0693, abs=1e-4)
    assert a == pytest.approx(0, abs=1e-12)
    assert share_by_bands((0.5, 1.0), (0.1, 1.0), 1.8, weights) < 0.2


@given(st.floats(1e-6, 1.0))
def test_absorption_and_reflectance_are_inverse(reflectance: float) -> None:
    """Kubelka-Munk: K/S = (1 - R)^2 / (2R) and R = 1 + K/S - sqrt((K/S)^2 + 2 K/S)."""
    assert reflectance_of(absorption_ratio(reflectance)) == pytest.approx(reflectance, rel=1e-7)


def test_half_a_mix_has_the_mean_absorption() -> None:
    """K/S of 0.5 is 0.25, of 1 is 0; their mean 0.125 reflects 1.125 - sqrt(0.015625 + 0.25) = 0.609612."""
    assert kubelka_munk((1.0,), (0.5,), 0.5) == pytest.approx((0.609612,), abs=1e-6)


# --- the first residue that shows ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("incoming", "outgoing", "whole", "warn", "limit", "line_warn", "line_limit"),
    [
        (LIGHT, BROWN, 52.671, 0.0010649, 0.0026223, 0.020507, 0.045843),
        (LIGHT, PINK, 14.827, 0.025038, 0.058458, 0.046616, 0.104506),
        (BROWN, LIGHT, 52.671, 0.071123, 0.151035, None, None),
    ],
    ids=["brown into white", "pink into white", "white into brown"],
)
def test_worked_mixes(
    incoming: tuple[float, ...],
    outgoing: tuple[float, ...],
    whole: float,
    warn: float,
    limit: float,
    line_warn: float | None,
    line_limit: float | None,
) -> None:
    """Computed apart from this code by scan and bisection; five digits as noted there."""
    here, there = lab_of(incoming), lab_of(outgoing)
    assert ciede2000(here, there) == pytest.approx(whole, abs=5e-4)
    assert share_by_bands(incoming, outgoing, 0.8) == pytest.approx(warn, rel=5e-5)
    assert share_by_bands(incoming, outgoing, 1.8) == pytest.approx(limit, rel=5e-5)
    if line_warn is not None and line_limit is not None:
        assert share_on_line(here, there, 0.8) == pytest.approx(line_warn, rel=5e-5)
        assert share_on_line(here, there, 1.8) == pytest.approx(line_limit, rel=5e-5)


def test_worked_straight_line() -> None:
    """Lab (88, 1, 8) to (62, 10, 24): computed apart from this code, as above."""
    here, there = (88.0, 1.0, 8.0), (62.0, 10.0, 24.0)
    assert ciede2000(here, there) == pytest.approx(22.318, abs=5e-4)
    for limit, share in ((0.8, 0.034424), (1.0, 0.043073), (1.8, 0.077834)):
        assert share_on_line(here, there, limit) == pytest.approx(share, abs=5e-7)


def test_the_crossing_agrees_with_a_general_root_finder() -> None:
    """scipy's Brent on the same difference, bracketed by hand."""

    def over(share: float) -> float:
        return ciede2000(lab_of(LIGHT), lab_of(kubelka_munk(LIGHT, BROWN, share))) - 1.8

    assert share_by_bands(LIGHT, BROWN, 1.8) == pytest.approx(brentq(over, 1e-6, 0.1, xtol=1e-15), rel=1e-9)


def test_the_first_crossing_counts_where_the_difference_comes_back() -> None:
    """A difference that shows between 2 % and 4 % and again from 60 % on: 2 %."""
    assert first_above(lambda r: 2.0 if 0.02 < r < 0.04 or r > 0.6 else 0.0, 1.8) == pytest.approx(
        0.02, rel=1e-9
    )


def test_bars_of_nearly_one_colour_need_no_flush() -> None:
    limit = residual_limit(painted("a", 0.80, 0.78, 0.70), painted("b", 0.801, 0.779, 0.70), EU)
    assert [(one.limit, one.reason) for one in limit.candidates] == [(1.0, "free")]
    assert limit.governing is None


# --- in the residual limit ----------------------------------------------------------------------------


def test_the_colour_is_a_candidate_with_its_data_and_source() -> None:
    limit = residual_limit(painted("brown", *BROWN), painted("white", *LIGHT), EU)
    assert limit.governing == ("colour", "delta_e_2000")
    assert limit.value == pytest.approx(0.0026223, rel=5e-5)
    one = limit.decisive
    assert one is not None
    data = {datum.name: datum.value for datum in one.data}
    assert data["warn_residue"] == pytest.approx(0.0010649, rel=5e-5)
    assert data["method"] == "kubelka_munk"
    assert data["outgoing_band_1"] == 0.10
    assert "measured on brown" in one.source
    assert "measured on white" in one.source


def test_dark_to_light_costs_far_more_than_light_to_dark() -> None:
    there = residual_limit(painted("brown", *BROWN), painted("white", *LIGHT), EU)
    back = residual_limit(painted("white", *LIGHT), painted("brown", *BROWN), EU)
    assert back.value > 50 * there.value


def test_a_straight_line_is_taken_only_where_asked_for_and_says_that_it_is_too_generous() -> None:
    old = Bar(name="brown", colour=BarColour(lab=(62.0, 10.0, 24.0)))
    new = Bar(name="white", colour=BarColour(lab=(88.0, 1.0, 8.0)))
    plain = residual_limit(old, new, EU)
    assert plain.candidates == ()
    assert [note.key for note in plain.notes] == ["limits.note.colour_not_judged"]
    asked = residual_limit(old, new, replace(EU, colour=ColourRule(straight_line=True)))
    assert asked.value == pytest.approx(0.077834, abs=5e-7)
    assert "far too much" in sentence(asked.notes[0])


def test_what_was_not_judged_reaches_the_crew_as_a_warning() -> None:
    old, new = painted("brown", *BROWN), Bar(name="white", colour=BarColour(lab=(90.0, 0.0, 5.0)))
    line = LineModel(units=(Unit(name="mixer", mixed_kg=100),))
    quantity = flush_quantity(line, residual_limit(old, new, EU), 1000, 100)
    assert any("colour was not judged" in sentence(warning) for warning in quantity.warnings)


def test_bars_of_one_standard_need_no_bands() -> None:
    same = BarColour(lab=(90.0, 0.0, 5.0))
    limit = residual_limit(Bar(name="a", colour=same), Bar(name="b", colour=same), EU)
    assert (limit.candidates, limit.notes) == ((), ())


def test_bands_that_contradict_their_standard_are_told() -> None:
    new = Bar(name="white", colour=BarColour(bands=LIGHT, lab=(80.0, 0.0, 5.0)))
    limit = residual_limit(painted("brown", *BROWN), new, EU)
    assert [note.key for note in limit.notes] == ["limits.note.bands_and_lab"]


def test_a_plant_may_leave_the_colour_out() -> None:
    limit = residual_limit(painted("brown", *BROWN), painted("white", *LIGHT), replace(EU, colour=None))
    assert (limit.value, limit.candidates) == (1.0, ())


def test_the_chain_of_reasoning_speaks_of_the_colour_in_both_languages() -> None:
    limit = residual_limit(painted("brown", *BROWN), painted("white", *LIGHT), EU)
    english = " ".join(sentence(say) for say in reasoning(limit))
    assert "52.67 dE00" in english
    assert "0.26 %" in english
    assert "El color decide" in " ".join(sentence(say, "es") for say in reasoning(limit))


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (BarColour, "colour"),
        (lambda: BarColour(bands=(0.5, 0.0, 0.5)), "colour.bands[1]"),
        (lambda: BarColour(bands=(0.5, 1.2, 0.5)), "colour.bands[1]"),
        (lambda: BarColour(bands=(0.5, 0.5)), "colour.bands"),
        (lambda: BarColour(bands=(0.5,), weights=((0.5, 0.0, 0.5),)), "colour.weights"),
        (lambda: BarColour(lab=(101.0, 0.0, 0.0)), "colour.lab.L"),
        (lambda: BarColour(lab=(50.0, float("nan"), 0.0)), "colour.lab.a"),
        (lambda: ColourRule(warn_de=2.0), "colour.warn_de"),
        (lambda: ColourRule(limit_de=0.0), "colour.limit_de"),
        (lambda: absorption_ratio(0.0), "reflectance"),
    ],
)
def test_what_is_no_colour_is_refused_by_field(make, field: str) -> None:
    with pytest.raises(LimitInputError) as fault:
        make()
    assert fault.value.field == field

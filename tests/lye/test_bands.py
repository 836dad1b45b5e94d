"""Hazard bands: lower bounds belong to the band, regions differ, the label prevails."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from floorterm.lye import LyeError, band, bands, between_regions, cross_check
from floorterm.wording import sentence


@pytest.mark.parametrize(
    ("mass_pct", "name"),
    [
        (0, "none"),
        (0.49, "none"),
        (0.5, "irritant"),
        (1.99, "irritant"),
        (2.0, "1B"),
        (4.99, "1B"),
        (5.0, "1A"),
        (50, "1A"),
        (100, "1A"),
    ],
)
def test_the_eu_band_of_a_strength(mass_pct: float, name: str) -> None:
    """Specific limits of Regulation (EC) 1272/2008, Annex VI, index 011-002-00-6 (wording partly from memory)."""
    assert band(mass_pct).name == name


def test_the_statements_are_those_of_the_class() -> None:
    """Annex VI: H314 from 2 %, H315 and H319 from 0.5 %."""
    assert band(2).statements == band(5).statements == ("H314",)
    assert band(0.5).statements == ("H315", "H319")
    assert band(0.1).statements == ()


@pytest.mark.parametrize(("mass_pct", "name"), [(0.99, "none"), (1.0, "corrosive"), (50, "corrosive")])
def test_the_us_rule_has_one_edge(mass_pct: float, name: str) -> None:
    """29 CFR 1910.1200 appendix A, 1 % rule for strong bases of pH 11.5 and above; from memory."""
    assert band(mass_pct, "US").name == name


def test_between_1_and_2_percent_the_regions_differ_and_it_says_so() -> None:
    """From the two rules above: corrosive on a US label, irritant on an EU label."""
    assert [say.key for say in between_regions(1.5)] == ["lye.warning.regions_differ"]
    assert between_regions(0.7) == ()
    assert between_regions(2.0) == ()


def test_a_label_that_disagrees_is_warned_about_and_prevails() -> None:
    (say,) = cross_check(10, "irritant")
    assert say.key == "lye.warning.label_differs"
    assert "table says 1A" in sentence(say)
    assert "La etiqueta dice irritante" in sentence(say, "es")
    assert cross_check(10, "1A") == ()
    assert cross_check(3, "1B") == ()
    assert cross_check(3, "corrosive", "US") == ()
    assert cross_check(10, "1A", "US") == ()
    assert (
        cross_check(0.7, "1B")[0].key == "lye.warning.label_differs"
    )  # stricter than the table: said as well
    assert len(cross_check(1.5, "irritant", "US")) == 2


@pytest.mark.parametrize("mass_pct", [-0.1, 100.1])
def test_a_strength_that_cannot_be_has_no_band(mass_pct: float) -> None:
    with pytest.raises(LyeError):
        band(mass_pct)


def test_a_class_that_nobody_knows_is_refused() -> None:
    with pytest.raises(LyeError):
        cross_check(5, "mild")


@given(st.floats(0, 100), st.floats(0, 100), st.sampled_from(["EU", "US"]))
def test_stronger_is_never_a_lower_band(one: float, other: float, region: str) -> None:
    low, high = sorted((one, other))
    order = [entry.name for entry in bands(region)]  # type: ignore[arg-type]
    assert order.index(band(low, region).name) <= order.index(band(high, region).name)  # type: ignore[arg-type]

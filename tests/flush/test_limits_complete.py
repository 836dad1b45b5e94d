"""All rules together: claims, safety maxima, ties, slack, safety factor, several outgoing bars.

Worked figures are mass balances that can be redone by hand; they stand beside each case.
"""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from floorterm.flush import (
    Active,
    Bar,
    BarColour,
    BarOdour,
    Content,
    FlushError,
    Index,
    LimitInputError,
    Maximum,
    NextUse,
    Oil,
    Rules,
    item_words,
    reasoning,
    residual_limit,
    residual_limit_of_several,
)
from floorterm.flush.candidate import CRITERIA
from floorterm.flush.claims import index_limit
from floorterm.flush.maxima import maximum_limit
from floorterm.wording import sentence

EU = Rules(on=date(2026, 11, 25))


def indexed(value: float, claim: float | None = None) -> Bar:
    return Bar(name="bar", indices=(Index(name="natural origin", value=value, claim=claim, source="sheet"),))


# --- claims -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("incoming", "outgoing", "claim", "limit"),
    [(1.00, 0.92, 0.99, 0.125), (0.985, 0.40, 0.95, 0.059829)],
)
def test_an_index_is_the_mean_by_mass(incoming: float, outgoing: float, claim: float, limit: float) -> None:
    """(I_in - claim) / (I_in - I_out): 0.01 / 0.08 = 0.125 and 0.035 / 0.585 = 0.059829."""
    found = residual_limit(indexed(outgoing), indexed(incoming, claim), EU)
    assert found.value == pytest.approx(limit, abs=5e-7)
    assert found.governing == ("claim", "natural origin")
    assert found.decisive is not None
    assert "ISO 16128" in found.decisive.source
    assert "sheet" in found.decisive.source


@pytest.mark.parametrize(
    ("incoming", "outgoing", "claim", "limit", "reason"),
    [
        (0.94, 0.99, 0.95, 0.0, "formula"),  # misses its own claim, though the outgoing bar would not
        (0.96, 0.95, 0.95, 1.0, "free"),
        (0.95, 0.40, 0.95, 0.0, "at_threshold"),
        (0.95, 0.95, 0.95, 1.0, "free"),
        (0.95 * (1 - 1e-10), 0.96, 0.95, 1.0, "free"),  # equality stays free in floats
    ],
)
def test_the_incoming_bar_is_checked_first(
    incoming: float, outgoing: float, claim: float, limit: float, reason: str
) -> None:
    assert index_limit(incoming, outgoing, claim) == (limit, reason)


def test_a_missed_claim_is_a_deviation_with_a_sentence() -> None:
    found = residual_limit(indexed(0.99), indexed(0.94, 0.95), EU)
    assert (found.status, found.value) == ("deviation", 0.0)
    assert "misses its own claim natural origin" in sentence(reasoning(found)[-1])


def test_an_outgoing_bar_without_the_index_counts_with_the_worst() -> None:
    found = residual_limit(Bar(name="old"), indexed(0.985, 0.95), EU)
    assert found.value == pytest.approx(0.035 / 0.985)
    assert [note.key for note in found.notes] == ["limits.note.index_unknown"]


def test_an_index_that_nobody_claims_is_no_candidate() -> None:
    assert residual_limit(indexed(0.4), indexed(0.9), EU).candidates == ()


# --- safety maxima ------------------------------------------------------------------------------------


def holding(item: str, content: float, name: str = "bar") -> Bar:
    return Bar(name=name, contents=(Content(item, content, "certificate"),), label=(item,))


def limited(item: str, content: float, own: float = 0.0) -> Bar:
    return replace(
        holding(item, own, "next"), maxima=(Maximum(item, content, "certificate of the next bar"),)
    )


def test_a_lower_maximum_of_the_incoming_bar_limits() -> None:
    """0.36 % into a bar of at most 0.21 %: 0.21 / 0.36 = 0.58333. Figures of the maximum from memory."""
    found = residual_limit(holding("Eugenol", 0.0036), limited("Eugenol", 0.0021), EU)
    assert found.value == pytest.approx(0.58333, abs=5e-6)
    assert found.governing == ("safety_max", "Eugenol")
    assert found.decisive is not None
    assert "certificate of the next bar" in found.decisive.source


def test_a_content_below_the_maximum_does_not_limit() -> None:
    """0.15 % into 0.05 % with a maximum of 0.21 %: the mix lies between two contents that respect it."""
    found = residual_limit(holding("Eugenol", 0.0015), limited("Eugenol", 0.0021, 0.0005), EU)
    assert [(one.criterion, one.limit) for one in found.candidates] == [("safety_max", 1.0)]
    assert found.governing is None


def test_an_incoming_bar_above_its_own_maximum_is_a_deviation() -> None:
    found = residual_limit(holding("Eugenol", 0.0015), limited("Eugenol", 0.0021, 0.003), EU)
    assert (found.status, found.governing) == ("deviation", ("safety_max", "Eugenol"))
    assert "more Eugenol than its own safety maximum" in sentence(reasoning(found)[-1])
    assert maximum_limit(0.003, 0.001, 0.002) == (0.0, "formula")


def test_a_bar_at_its_maximum_leaves_no_room() -> None:
    assert maximum_limit(0.002, 0.003, 0.002) == (0.0, "at_threshold")


def test_substances_of_a_group_are_summed_against_the_maximum() -> None:
    old = Bar(contents=(Content("Geranial", 0.002), Content("Neral", 0.001)), label=("Citral",))
    found = residual_limit(old, limited("Citral", 0.0015), EU)
    assert found.value == pytest.approx(0.5)


@given(st.floats(0, 1), st.floats(0, 1), st.floats(1e-6, 1))
def test_the_mix_at_the_limit_respects_the_maximum(own: float, old: float, maximum: float) -> None:
    limit, reason = maximum_limit(own, old, maximum)
    if reason != "formula":
        assert (1 - limit) * own + limit * old <= maximum * (1 + 1e-6)


# --- all together -------------------------------------------------------------------------------------

OLD = Bar(
    name="dark spice",
    contents=(Content("Eugenol", 0.01275, "declaration"),),
    colour=BarColour(bands=(0.10, 0.06, 0.04), source="spectrometer"),
    odour=BarOdour(activity=5000, source="panel"),
    indices=(Index(name="natural origin", value=0.92, source="sheet"),),
    active=Active(name="active", share=0.05, source="assessor"),
)
NEW = Bar(
    name="plain",
    colour=BarColour(bands=(0.80, 0.78, 0.70), source="spectrometer"),
    indices=(Index(name="natural origin", value=1.0, claim=0.99, source="sheet"),),
    maxima=(Maximum("Eugenol", 0.0021, "certificate"),),
    next_use=NextUse(batch_kg=500, largest_daily_g=10),
)


def test_every_rule_gives_its_candidate_under_its_own_name() -> None:
    """Each limit is the one of its own worked example."""
    found = residual_limit(OLD, NEW, EU)
    assert {(one.criterion, one.item): pytest.approx(one.limit, rel=5e-5) for one in found.candidates} == {
        ("allergen_label", "Eugenol"): 0.0078431,
        ("colour", "delta_e_2000"): 0.0026223,
        ("odour", "odour_activity"): 0.0002,
        ("claim", "natural origin"): 0.125,
        ("health", "ppm_10"): 0.0002,
        ("safety_max", "Eugenol"): 0.0021 / 0.01275,
    }
    assert [one.criterion for one in found.candidates] == list(CRITERIA)
    assert all(one.source and one.confidence for one in found.candidates)


def test_a_tie_goes_by_criterion_and_the_slack_keeps_floats_out_of_it() -> None:
    """1 / 5000 against 1e-5 / 0.05: equal on paper, so the odour comes first."""
    found = residual_limit(OLD, NEW, EU)
    assert found.governing == ("odour", "odour_activity")
    closer = replace(OLD, odour=BarOdour(activity=5000 * (1 - 1e-10)))
    assert residual_limit(closer, NEW, EU).governing == ("odour", "odour_activity")
    apart = replace(OLD, odour=BarOdour(activity=5000 * (1 - 1e-6)))
    assert residual_limit(apart, NEW, EU).governing == ("health", "ppm_10")


def test_the_safety_factor_divides_the_result_and_no_candidate() -> None:
    found, double = (residual_limit(OLD, NEW, replace(EU, safety_factor=factor)) for factor in (1.0, 2.0))
    assert double.value == found.value / 2
    assert double.candidates == found.candidates


def test_the_whole_chain_is_said_in_each_language() -> None:
    found = residual_limit(OLD, NEW, replace(EU, safety_factor=2.0))
    for language, last in (
        ("en", "The smell decides: 0.01 %"),
        ("es", "El olor decide: puede quedar 0,01 %"),
    ):
        said = [sentence(say, language) for say in reasoning(found)]
        assert len(said) == len(found.candidates) + 2
        assert "{" not in "".join(said)
        assert said[-1].startswith(last)
        assert all(
            source in "".join(said)
            for source in ("declaration", "spectrometer", "panel", "sheet", "assessor")
        )


def test_every_candidate_has_words_for_a_table() -> None:
    said = {sentence(item_words(one.criterion, one.item)) for one in residual_limit(OLD, NEW, EU).candidates}
    assert {"Colour", "Odour", "Eugenol", "Claim: natural origin", "Safety maximum: Eugenol"} < said


def test_a_deviation_of_one_rule_is_one_of_the_pair() -> None:
    found = residual_limit(OLD, replace(NEW, background=(Content("Eugenol", 2e-4),)), EU)
    assert (found.status, found.value, found.governing) == ("deviation", 0.0, ("allergen_label", "Eugenol"))


# --- several outgoing bars ----------------------------------------------------------------------------


def spiced(name: str, item: str, content: float, dose: float = 0.01) -> Bar:
    return Bar(name=name, dose=dose, oils=(Oil(name=name, share=1.0, contents=(Content(item, content),)),))


def test_of_several_bars_the_worst_one_counts_for_every_item() -> None:
    """1e-4 / (0.02 * 0.5) = 0.01 against 1e-4 / (0.01 * 0.5) = 0.02: never the sum, as they share the soap."""
    first, second = spiced("first", "Eugenol", 0.5), spiced("second", "Eugenol", 0.5, 0.02)
    found = residual_limit_of_several((first, second), Bar(name="plain"), EU)
    assert found.value == pytest.approx(0.01, rel=1e-12)
    assert [(one.item, one.outgoing) for one in found.candidates] == [("Eugenol", "second")]


def test_an_item_is_told_of_the_bar_that_brings_most_of_it() -> None:
    first, second = spiced("first", "Eugenol", 0.5), spiced("second", "Linalool", 0.9)
    found = residual_limit_of_several((first, second), Bar(name="plain"), EU)
    assert {one.item: one.outgoing for one in found.candidates} == {"Eugenol": "first", "Linalool": "second"}


def test_colour_and_claims_are_judged_bar_by_bar_and_the_worst_counts() -> None:
    pale = Bar(name="pale", colour=BarColour(bands=(0.78, 0.55, 0.50)), indices=OLD.indices)
    dark = Bar(name="dark", colour=OLD.colour, indices=OLD.indices)
    found = residual_limit_of_several((pale, dark), replace(NEW, maxima=()), EU)
    assert found.governing == ("colour", "delta_e_2000")
    assert found.decisive is not None
    assert found.decisive.outgoing == "dark"
    assert found.value == pytest.approx(0.0026223, rel=5e-5)


def test_the_strongest_odour_counts() -> None:
    """1 / 700: whatever mix of both is left, its activity is no more than W times the larger one."""
    first, second = (
        Bar(name=name, odour=BarOdour(activity=value)) for name, value in (("a", 300), ("b", 700))
    )
    found = residual_limit_of_several((first, second), Bar(name="plain"), EU)
    assert found.value == pytest.approx(1 / 700)
    assert found.candidates[0].outgoing == "b"


@given(
    st.lists(
        st.tuples(st.floats(0.001, 0.02), st.floats(0.01, 1), st.floats(0.0, 1.0)), min_size=1, max_size=4
    )
)
def test_no_mix_of_residues_that_share_the_soap_exceeds_the_threshold(
    given_bars: list[tuple[float, float, float]],
) -> None:
    """Mass balance by hand: content = sum of x_i dose_i share_i with the x_i summing to the limit at most."""
    bars = [spiced(f"bar {n}", "Eugenol", share, dose) for n, (dose, share, _) in enumerate(given_bars)]
    allowed = residual_limit_of_several(bars, Bar(), EU).value
    whole = sum(part for _, _, part in given_bars) or 1.0
    content = sum(allowed * part / whole * dose * share for dose, share, part in given_bars)
    assert content <= 1e-4 * (1 + 1e-9)  # rinse-off threshold of the European label rule, 100 mg/kg


def test_an_organic_bar_is_gated_by_any_bar_that_is_not() -> None:
    organic = Bar(name="o", claims=("organic",))
    assert residual_limit_of_several((organic, organic), organic, EU).gates == ()
    assert [g.claim for g in residual_limit_of_several((organic, Bar()), organic, EU).gates] == ["organic"]


# --- bad input ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: residual_limit_of_several((), Bar(), EU), "outgoing"),
        (lambda: Index(name="", value=0.5), "indices.name"),
        (lambda: Index(name="n", value=1.5), "indices.n.value"),
        (lambda: Index(name="n", value=0.5, claim=-1), "indices.n.claim"),
        (lambda: Bar(indices=(Index(name="n", value=0.5), Index(name="n", value=0.6))), "indices"),
        (lambda: Bar(maxima=(Maximum("Eugenol", 2.0),)), "maxima[0].content"),
        (lambda: Bar(maxima=(Maximum("musk of the moon", 0.1),)), "maxima[0].item"),
        (lambda: Bar(maxima=(Maximum("Geranial", 0.1), Maximum("Citral", 0.2))), "maxima"),
    ],
)
def test_what_makes_no_sense_is_refused_by_field(make, field: str) -> None:
    with pytest.raises(LimitInputError) as fault:
        make()
    assert fault.value.field == field
    assert isinstance(fault.value, FlushError)
    assert field in sentence(fault.value.say, "es")

"""The residual limit: the allergen label rule, its groups, whole oils, background and claims.

Rule and thresholds: Reg. (EC) 1223/2009 Art. 19(1)(g) with Annex III, as changed by Reg. (EU) 2023/1545.
The worked figures are divisions that can be redone by hand; they stand beside each case.
"""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from floorterm.flush import Bar, Content, Limit, Oil, Rules, explain, governing_sentence, residual_limit
from floorterm.flush.explain import percent
from floorterm.wording import sentence

NOW = date(2026, 11, 25)
EU = Rules(on=NOW)
CLEAN = Bar(name="plain")


def one_oil(dose: float, *contents: tuple[str, float], name: str = "oil") -> Bar:
    declared = tuple(Content(item, share, "declaration") for item, share in contents)
    return Bar(name=name, dose=dose, oils=(Oil(name=name, share=1.0, contents=declared),))


CLOVE = one_oil(0.015, ("Eugenol", 0.85), name="Clove")


def test_a1_eugenol_of_a_clove_oil() -> None:
    """1e-4 / (0.015 * 0.85) = 0.0078431."""
    limit = residual_limit(CLOVE, CLEAN, EU)
    assert limit.value == pytest.approx(1e-4 / 0.01275, rel=1e-12)
    assert limit.value == pytest.approx(0.0078431, abs=5e-8)
    assert (limit.status, limit.governing) == ("ok", ("allergen_label", "Eugenol"))


@pytest.mark.parametrize(("mixing", "expected"), [("safe", 0.0062745), ("exact", 0.0062844)])
def test_a2_background_takes_room_away(mixing: str, expected: float) -> None:
    """8e-5 / 0.01275 on the safe side, 8e-5 / 0.01273 exactly mixed."""
    incoming = Bar(background=(Content("Eugenol", 2e-5),))
    limit = residual_limit(CLOVE, incoming, replace(EU, mixing=mixing))
    assert limit.value == pytest.approx(expected, abs=5e-8)


def test_a3_isomers_are_summed_under_their_group() -> None:
    """1e-4 / (0.01 * 0.80) = 0.0125; geranial alone would wrongly give 0.0222."""
    limit = residual_limit(one_oil(0.010, ("Geranial", 0.45), ("Neral", 0.35)), CLEAN, EU)
    assert limit.value == pytest.approx(0.0125, rel=1e-12)
    assert limit.governing == ("allergen_label", "Citral")
    assert len(limit.candidates) == 1


def test_a4_a_whole_oil_is_an_item_of_its_own() -> None:
    """1e-4 / 0.015 = 0.0066667 governs over the eugenol in it."""
    outgoing = one_oil(0.015, ("Eugenol", 0.85), ("Eugenia Caryophyllus Oil", 1.0))
    limit = residual_limit(outgoing, CLEAN, EU)
    assert limit.value == pytest.approx(1e-4 / 0.015, rel=1e-12)
    assert limit.governing == ("allergen_label", "Eugenia Caryophyllus Oil")
    assert {c.item: pytest.approx(c.limit, abs=5e-8) for c in limit.candidates} == {
        "Eugenia Caryophyllus Oil": 0.0066667,
        "Eugenol": 0.0078431,
    }


def test_a5_one_item_from_two_oils() -> None:
    """1e-4 / (0.012 * (0.6 * 0.90 + 0.4 * 0.85)) = 0.0094697."""
    outgoing = Bar(
        dose=0.012,
        oils=(
            Oil(name="clove bud", share=0.6, contents=(Content("Eugenol", 0.90),)),
            Oil(name="cinnamon leaf", share=0.4, contents=(Content("Eugenol", 0.85),)),
        ),
    )
    limit = residual_limit(outgoing, CLEAN, EU)
    assert limit.value == pytest.approx(0.0094697, abs=5e-8)
    assert [part.origin for part in limit.decisive.parts] == ["clove bud", "cinnamon leaf"]


def test_a6_a_leave_on_bar_has_a_tenth_of_the_threshold() -> None:
    """1e-5 / (0.005 * 0.88) = 0.0022727."""
    limit = residual_limit(one_oil(0.005, ("Geraniol", 0.88)), Bar(leave_on=True), EU)
    assert limit.value == pytest.approx(0.0022727, abs=5e-8)


def test_a7_what_cannot_reach_the_threshold_does_not_limit() -> None:
    """0.010 * 0.005 = 5e-5 is below 1e-4."""
    limit = residual_limit(one_oil(0.010, ("Linalool", 0.005)), CLEAN, EU)
    assert (limit.value, limit.governing) == (1.0, None)
    assert [(c.limit, c.reason) for c in limit.candidates] == [(1.0, "free")]


@pytest.mark.parametrize(
    ("oil", "printed", "item"),
    [
        ("clove bud", 1.00, "Eugenia Caryophyllus Oil"),
        ("clove leaf", 1.00, "Eugenia Caryophyllus Oil"),
        ("geranium (Bourbon)", 1.00, "Pelargonium Graveolens Flower Oil"),
        ("ylang-ylang (all grades)", 1.00, "Cananga Odorata Oil/Extract"),
        ("patchouli", 1.00, "Pogostemon Cablin Oil"),
        ("cedarwood (Virginia)", 1.00, "Juniperus Virginiana Oil"),
        ("cedarwood (Atlas)", 1.00, "Cedrus Atlantica Oil/Extract"),
        ("eucalyptus (globulus)", 1.00, "Eucalyptus Globulus Oil"),
        ("lemongrass", 1.00, "Lemongrass Oil"),
        ("palmarosa", 1.10, "Geraniol"),
        ("cinnamon leaf", 1.18, "Eugenol"),
        ("litsea cubeba", 1.25, "Citral"),
        ("petitgrain (bigarade)", 1.39, "Linalyl Acetate"),
        ("juniper berry", 1.61, "Pinene"),
        ("fir needle (silver fir)", 2.0, "Pinene"),
        ("rosemary", 3.0, "Pinene"),
        ("fir needle (Siberian)", 4.2, "Pinene"),
        ("tea tree", 7.7, "Alpha-Terpinene"),
        ("sweet marjoram", 10.0, "Alpha-Terpinene"),
        ("vetiver", 100.0, None),
    ],
)
def test_what_the_oil_table_gives_at_a_dose_of_1_percent(oil: str, printed: float, item: str | None) -> None:
    """Upper contents of the oil table into an unlabelled rinse-off bar: 1e-4 / (0.01 w), in percent as
    printed.
    """
    outgoing = Bar(name=oil, dose=0.01, oils=(Oil(name=oil, share=1.0),))
    limit = residual_limit(outgoing, CLEAN, EU)
    digits = 2 if printed < 2 else 1
    assert round(limit.value * 100, digits) == printed
    assert (limit.governing.item if limit.governing else None) == item


def test_the_limit_scales_with_one_over_the_dose() -> None:
    half = residual_limit(replace(CLOVE, dose=0.0075), CLEAN, EU)
    assert half.value == pytest.approx(2 * residual_limit(CLOVE, CLEAN, EU).value, rel=1e-12)


def test_an_item_that_the_incoming_label_names_is_no_candidate() -> None:
    limit = residual_limit(CLOVE, Bar(label=("Eugenol", "Sodium Palmate")), EU)
    assert (limit.value, limit.candidates) == (1.0, ())


def test_an_allergen_of_the_incoming_formula_is_background_not_a_licence() -> None:
    """It is present below the threshold and not on the label: 1e-4 - 0.002 * 0.03 = 4e-5 of room."""
    incoming = one_oil(0.002, ("Eugenol", 0.03), name="own")
    limit = residual_limit(CLOVE, incoming, EU)
    assert limit.value == pytest.approx(4e-5 / 0.01275, rel=1e-9)
    assert limit.decisive.background == pytest.approx(6e-5)


def test_an_incoming_formula_above_its_own_label_is_a_deviation() -> None:
    incoming = one_oil(0.01, ("Linalool", 0.02), name="own")
    limit = residual_limit(CLOVE, incoming, EU)
    assert (limit.value, limit.status, limit.governing) == (0.0, "deviation", ("allergen_label", "Linalool"))
    assert limit.decisive.reason == "formula"
    assert {c.item for c in limit.candidates} == {"Eugenol", "Linalool"}


@pytest.mark.parametrize(("mixing", "content", "value"), [("safe", 0.85, 0.0), ("exact", 0.85, 0.0)])
def test_a_background_at_the_threshold_leaves_no_room(mixing: str, content: float, value: float) -> None:
    incoming = Bar(background=(Content("Eugenol", 1e-4),))
    limit = residual_limit(CLOVE, incoming, replace(EU, mixing=mixing))
    assert (limit.value, limit.status, limit.decisive.reason) == (value, "deviation", "at_threshold")


def test_a_background_at_the_threshold_alone_is_free() -> None:
    """Equality is still free; nothing comes on top."""
    limit = residual_limit(Bar(), Bar(background=(Content("Eugenol", 1e-4),)), EU)
    assert (limit.value, limit.status, limit.candidates) == (1.0, "ok", ())


def test_equality_stays_free_in_floating_point_numbers() -> None:
    """0.01 * 0.01 is not 1e-4 in doubles, but means it."""
    limit = residual_limit(one_oil(0.01, ("Eugenol", 0.01)), CLEAN, EU)
    assert (limit.value, limit.governing) == (1.0, None)
    three = Bar(contents=tuple(Content(name, 1e-4 / 3) for name in ("Citral", "Geranial", "Neral")))
    assert residual_limit(three, CLEAN, EU).value == 1.0


def test_exact_mixing_lets_a_weak_residue_dilute_the_background() -> None:
    """Both bars below the threshold: no mixture exceeds it; the safe side still adds them up."""
    outgoing, incoming = (
        Bar(contents=(Content("Eugenol", 8e-5),)),
        Bar(background=(Content("Eugenol", 6e-5),)),
    )
    assert residual_limit(outgoing, incoming, replace(EU, mixing="exact")).value == 1.0
    assert residual_limit(outgoing, incoming, EU).value == pytest.approx(0.5, rel=1e-12)


@pytest.mark.parametrize("side", ["outgoing", "incoming"])
def test_a_prohibited_substance_is_a_deviation_whatever_the_label_says(side: str) -> None:
    """Two of the items of Directive 2003/15/EC are prohibited today."""
    name = "Butylphenyl Methylpropional"
    bad = Bar(name="old", contents=(Content(name, 1e-6),), label=(name,))
    pair = (bad, Bar(label=(name,))) if side == "outgoing" else (CLOVE, bad)
    limit = residual_limit(*pair, EU)
    assert (limit.status, limit.value, limit.governing) == ("deviation", 0.0, ("allergen_label", name))
    assert limit.decisive.reason == "prohibited"


def test_the_safety_factor_divides_only_what_a_rule_limits() -> None:
    careful = replace(EU, safety_factor=2.0)
    limit = residual_limit(CLOVE, CLEAN, careful)
    assert limit.value == pytest.approx(1e-4 / 0.01275 / 2, rel=1e-12)
    assert limit.decisive.limit == pytest.approx(1e-4 / 0.01275, rel=1e-12)
    assert residual_limit(CLEAN, CLEAN, careful).value == 1.0


def test_ties_go_by_the_name_of_the_item() -> None:
    outgoing = one_oil(0.01, ("Linalool", 0.5), ("Geraniol", 0.5 * (1 + 1e-12)), ("Citral", 0.5))
    assert residual_limit(outgoing, CLEAN, EU).governing == ("allergen_label", "Citral")


def test_a_list_that_is_not_in_force_asks_for_nothing() -> None:
    """US: none in force. EU before 1 August 2026: the old list, without eugenyl acetate."""
    assert residual_limit(CLOVE, CLEAN, replace(EU, jurisdiction="US")).value == 1.0
    acetate = one_oil(0.01, ("Eugenyl Acetate", 0.2))
    assert residual_limit(acetate, CLEAN, replace(EU, on=date(2026, 7, 31))).value == 1.0
    assert residual_limit(acetate, CLEAN, replace(EU, on=date(2026, 8, 1))).value == pytest.approx(0.05)


def test_the_plant_may_set_its_own_threshold() -> None:
    limit = residual_limit(CLOVE, CLEAN, replace(EU, threshold=1e-5))
    assert limit.value == pytest.approx(1e-5 / 0.01275, rel=1e-12)


def test_every_candidate_keeps_its_data_and_sources() -> None:
    outgoing = Bar(name="Leaf", dose=0.012, oils=(Oil(name="clove leaf", share=1.0),))
    limit = residual_limit(outgoing, CLEAN, EU)
    assert {c.item for c in limit.candidates} == {
        "Eugenia Caryophyllus Oil", "Eugenol", "Beta-Caryophyllene", "Eugenyl Acetate", "Benzyl Benzoate",
    }  # fmt: skip
    for candidate in limit.candidates:
        assert candidate.outgoing == "Leaf"
        assert candidate.threshold == 1e-4
        assert candidate.outgoing_content > 0
        assert candidate.source
        assert candidate.confidence in ("text-seen", "second-hand", "mixed", "from-memory")
        assert all(part.source for part in candidate.parts)


def test_claims_are_gates_and_make_the_label_an_empty_one() -> None:
    incoming = Bar(claims=("fragrance_free",), label=("Eugenol",))
    limit = residual_limit(CLOVE, incoming, EU)
    assert [gate.claim for gate in limit.gates] == ["fragrance_free"]
    assert "flushing alone may not reach it" in sentence(limit.gates[0].say)
    assert limit.value == pytest.approx(1e-4 / 0.01275, rel=1e-12)
    assert limit.status == "ok"
    assert residual_limit(CLEAN, incoming, EU).gates == ()


def test_organic_asks_for_more_than_a_flush_only_after_a_bar_that_is_not() -> None:
    organic = Bar(claims=("organic",))
    assert [gate.claim for gate in residual_limit(CLOVE, organic, EU).gates] == ["organic"]
    assert residual_limit(replace(CLOVE, claims=("organic",)), organic, EU).gates == ()


@given(st.floats(1e-4, 0.05), st.floats(0.0, 1.0), st.floats(0.0, 2e-4), st.sampled_from(("safe", "exact")))
def test_the_mixture_at_the_limit_never_exceeds_the_threshold(
    dose: float, share: float, background: float, mixing: str
) -> None:
    """C(r) = r C_out + (1 - r) b at the limit found, and just above it where a rule limits (mass balance)."""
    outgoing, incoming = one_oil(dose, ("Eugenol", share)), Bar(background=(Content("Eugenol", background),))
    limit = residual_limit(outgoing, incoming, replace(EU, mixing=mixing))

    def mixed(r: float) -> float:
        return r * dose * share + (1 - r) * background

    if limit.status == "ok":
        assert mixed(limit.value) <= 1e-4 * (1 + 2e-9)
        assert mixed(0.0) <= 1e-4 * (1 + 2e-9)
    elif background < 1e-4:
        assert background == pytest.approx(1e-4, rel=2e-9)
    if mixing == "exact" and 0 < limit.value < 1:
        assert mixed(limit.value * 1.001) > 1e-4


def test_the_sentence_names_item_share_and_fragrance() -> None:
    limit = residual_limit(CLOVE, CLEAN, EU)
    assert sentence(explain(limit, "Clove leaf")) == (
        "Eugenol on the label decides: 0.78 % of Clove leaf may remain."
    )
    assert sentence(explain(limit, "Hoja de clavo"), "es") == (
        "Eugenol en la etiqueta decide: puede quedar 0,78 % de Hoja de clavo."
    )
    assert explain(limit).facts["outgoing"] == "Clove"


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_outcome_has_its_sentence(language: str) -> None:
    cases: list[Limit] = [
        residual_limit(CLOVE, CLEAN, EU),
        residual_limit(CLEAN, CLEAN, EU),
        residual_limit(CLOVE, one_oil(0.01, ("Linalool", 0.02)), EU),
        residual_limit(CLOVE, Bar(background=(Content("Eugenol", 1e-4),)), EU),
        residual_limit(Bar(contents=(Content("Butylphenyl Methylpropional", 1e-6),)), CLEAN, EU),
    ]
    said = {sentence(explain(limit, "X"), language) for limit in cases}
    decisive = cases[0].decisive
    for status in ("ok", "deviation", "unreachable"):
        said.add(sentence(governing_sentence(status, decisive, 0.01, "X"), language))
    assert len(said) == 8


@pytest.mark.parametrize(
    ("fraction", "shown"),
    [(0.0078431, "0.78"), (0.0125, "1.2"), (1.0, "100"), (0.0199999, "1.9"), (1.92e-5, "0.0019"), (0.0, "0"),
     (0.4329, "43"), (0.001, "0.1")],
)  # fmt: skip
def test_percent_never_promises_more_than_the_limit(fraction: float, shown: str) -> None:
    assert percent(fraction) == shown

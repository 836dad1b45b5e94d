"""The odour rule. Odour activity: concentration over threshold (usual definition); worked figures are divisions
that can be redone by hand. Exponents and difference thresholds are from memory and stay marked so.
"""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from floorterm.flush import (
    Bar,
    BarOdour,
    Content,
    LimitInputError,
    OdourRule,
    Oil,
    Rules,
    reasoning,
    residual_limit,
)
from floorterm.flush.odour import odour_activity, odour_limit, stevens_intensity, stevens_ratio, weber_fechner
from floorterm.wording import sentence

EU = Rules(on=date(2026, 11, 25))


def smelling(name: str, activity: float) -> Bar:
    return Bar(name=name, odour=BarOdour(activity=activity, source=f"panel on {name}"))


def test_an_unscented_bar_after_a_strong_one() -> None:
    """1 / 5000 = 0.0002."""
    limit = residual_limit(smelling("strong", 5000), Bar(name="plain"), EU)
    assert limit.value == pytest.approx(0.0002, rel=1e-12)
    assert limit.governing == ("odour", "odour_activity")
    assert limit.decisive is not None
    assert "panel on strong" in limit.decisive.source


def test_a_scented_bar_hides_a_part_of_its_own_smell() -> None:
    """0.25 * 800 / 5000 = 0.04."""
    limit = residual_limit(smelling("strong", 5000), smelling("next", 800), EU)
    assert limit.value == pytest.approx(0.04, rel=1e-12)
    assert limit.decisive is not None
    assert "panel on next" in limit.decisive.source


def test_the_headspace_of_linalool() -> None:
    """3 mg/m3 over 0.6309 mg/m3 (0.1 ppm, M 154.25): activity 4.755, residue 0.2103. Threshold: Cometto-Muniz
    et al., abstract read.
    """
    activity = odour_activity(3.0, 0.6309)
    assert activity == pytest.approx(4.755, abs=5e-4)
    assert odour_limit(activity) == pytest.approx(0.2103, abs=5e-5)


def test_the_power_law_keeps_a_tenth_of_the_smell_through_three_decades() -> None:
    """0.001 ** 0.35 = 0.0891; half the smell at 0.5 ** (1 / 0.35) = 0.138. Exponent from memory."""
    assert stevens_intensity(0.001) == pytest.approx(0.0891, abs=5e-5)
    assert stevens_ratio(0.5) == pytest.approx(0.138, abs=5e-4)


def test_the_logarithmic_law_is_half_at_the_threshold() -> None:
    """k log10(1) + 0.5; second-hand, the 0.5 is a convention."""
    assert weber_fechner(1.0, 2.0) == 0.5
    assert weber_fechner(100.0, 2.0) == pytest.approx(4.5)


@given(st.floats(0, 1e6), st.floats(0, 1e6))
def test_a_faint_smell_of_its_own_is_never_stricter_than_none(old: float, new: float) -> None:
    assert odour_limit(old) <= odour_limit(old, new) <= 1.0


def test_a_claim_of_no_fragrance_makes_the_next_bar_unscented() -> None:
    new = replace(smelling("base", 800), claims=("unscented",))
    assert residual_limit(smelling("strong", 5000), new, EU).value == pytest.approx(0.0002)


def test_a_bar_that_is_not_smelt_does_not_limit() -> None:
    limit = residual_limit(smelling("faint", 0.5), Bar(name="plain"), EU)
    assert [(one.limit, one.reason) for one in limit.candidates] == [(1.0, "free")]


def test_a_scented_bar_of_unknown_activity_is_not_judged_and_that_is_told() -> None:
    scented = Bar(
        name="next", dose=0.01, oils=(Oil(name="o", share=1.0, contents=(Content("Linalool", 0.001),)),)
    )
    limit = residual_limit(smelling("strong", 5000), scented, EU)
    assert all(one.criterion != "odour" for one in limit.candidates)
    assert [(note.key, note.facts["bar"]) for note in limit.notes] == [
        ("limits.note.odour_not_judged", "next")
    ]
    back = residual_limit(scented, smelling("strong", 5000), EU)
    assert [note.facts["bar"] for note in back.notes] == ["next"]


def test_a_plant_may_leave_the_odour_out_or_be_stricter() -> None:
    old, new = smelling("strong", 5000), smelling("next", 800)
    assert residual_limit(old, new, replace(EU, odour=None)).candidates == ()
    strict = residual_limit(old, new, replace(EU, odour=OdourRule(difference=0.15)))
    assert strict.value == pytest.approx(0.15 * 800 / 5000)


def test_the_chain_of_reasoning_says_what_the_next_bar_smells_of() -> None:
    unscented = residual_limit(smelling("strong", 5000), Bar(name="plain"), EU)
    assert "must smell of nothing" in " ".join(sentence(say) for say in reasoning(unscented))
    scented = residual_limit(smelling("strong", 5000), smelling("next", 800), EU)
    assert "800" in " ".join(sentence(say, "es") for say in reasoning(scented))


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: BarOdour(activity=-1), "odour.activity"),
        (lambda: BarOdour(activity=float("inf")), "odour.activity"),
        (lambda: OdourRule(difference=0), "odour.difference"),
        (lambda: odour_activity(1.0, 0.0), "threshold"),
        (lambda: stevens_intensity(0.1, 0.0), "exponent"),
        (lambda: weber_fechner(0.0, 1.0), "activity"),
    ],
)
def test_what_is_no_odour_is_refused_by_field(make, field: str) -> None:
    with pytest.raises(LimitInputError) as fault:
        make()
    assert fault.value.field == field

"""Informative limits for a carried-over drug active. Formulas: cleaning guidance of the active-ingredient industry
(second-hand); visible 4 ug/cm2 as quoted from Fourman and Mullen 1993. Figures can be redone by hand.
"""

from datetime import date

import pytest
from msgspec.structs import replace

from floorterm.flush import (
    Active,
    Bar,
    HealthRule,
    LimitInputError,
    NextUse,
    Rules,
    reasoning,
    residual_limit,
)
from floorterm.flush.health import allowances, per_area_ug_cm2, per_swab_ug, residue_of
from floorterm.wording import sentence

EU = Rules(on=date(2026, 11, 25), health=HealthRule(shared_area_m2=12))
ACTIVE = Active(name="active", share=0.05, exposure_limit_mg_d=1, lowest_dose_mg_d=20, source="assessor")
USE = NextUse(batch_kg=500, largest_daily_g=10)
OLD, NEW = Bar(name="drug bar", active=ACTIVE), Bar(name="next", next_use=USE)


def test_a_batch_of_500_kg() -> None:
    """Exposure limit 50 g, 1/1000 of the dose 1 g, 10 mg/kg 5 g, visible 0.48 g on 12 m2."""
    found = dict(allowances(ACTIVE, USE, EU.health))
    assert found == pytest.approx({"hbel": 50.0, "dose_1_1000": 1.0, "ppm_10": 5.0, "visibly_clean": 0.48})
    assert per_area_ug_cm2(1.0, 12.0) == pytest.approx(8.33, abs=0.005)
    assert per_swab_ug(1.0, 12.0, 25.0, 0.8) == pytest.approx(166.7, abs=0.05)
    limit = residual_limit(OLD, NEW, EU)
    assert limit.governing == ("health", "visibly_clean")
    assert limit.value == pytest.approx(0.48e-3 / (500 * 0.05), rel=1e-12)
    assert limit.value == pytest.approx(1.92e-5, rel=1e-9)


def test_a_batch_of_200_kg() -> None:
    """2 g, 0.2 g, 2 g and 0.32 g on 8 m2; 0.2 g is 2.5 ug/cm2 and governs."""
    active = replace(ACTIVE, exposure_limit_mg_d=0.05, lowest_dose_mg_d=5)
    use, rule = NextUse(batch_kg=200, largest_daily_g=5), HealthRule(shared_area_m2=8)
    found = dict(allowances(active, use, rule))
    assert found == pytest.approx({"hbel": 2.0, "dose_1_1000": 0.2, "ppm_10": 2.0, "visibly_clean": 0.32})
    assert per_area_ug_cm2(0.2, 8.0) == pytest.approx(2.5)
    limit = residual_limit(Bar(active=active), Bar(next_use=use), replace(EU, health=rule))
    assert limit.governing == ("health", "dose_1_1000")


def test_only_what_has_data_is_computed_and_10_mg_kg_always() -> None:
    bare = Active(name="active", share=0.05)
    assert [name for name, _ in allowances(bare, USE, HealthRule())] == ["ppm_10"]
    limit = residual_limit(Bar(active=bare), NEW, replace(EU, health=HealthRule()))
    assert limit.governing == ("health", "ppm_10")
    assert limit.value == pytest.approx(1e-5 / 0.05)


def test_the_sites_safety_factor_comes_on_top_once() -> None:
    assert residual_limit(OLD, NEW, replace(EU, safety_factor=2)).value == pytest.approx(0.96e-5)


def test_a_residue_is_never_more_than_all() -> None:
    assert residue_of(1e9, 1.0, 0.5) == 1.0


def test_an_unused_rule_says_nothing() -> None:
    assert residual_limit(OLD, NEW, replace(EU, health=None)).candidates == ()
    assert residual_limit(Bar(name="cosmetic"), NEW, EU).candidates == ()


def test_an_active_without_the_next_use_is_refused() -> None:
    with pytest.raises(LimitInputError) as fault:
        residual_limit(OLD, Bar(name="next"), EU)
    assert fault.value.field == "next_use"


def test_every_criterion_is_said_in_words() -> None:
    said = " ".join(sentence(say) for say in reasoning(residual_limit(OLD, NEW, EU)))
    for words in (
        "Health-based exposure limit of active: 50 g",
        "1/1000",
        "10 mg/kg",
        "Visibly clean",
        "assessor",
    ):
        assert words in said


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: Active(name="a", share=0), "active.share"),
        (lambda: Active(name="a", share=0.1, exposure_limit_mg_d=0), "active.exposure_limit_mg_d"),
        (lambda: Active(name="a", share=0.1, lowest_dose_mg_d=-1), "active.lowest_dose_mg_d"),
        (lambda: NextUse(batch_kg=0, largest_daily_g=1), "next_use.batch_kg"),
        (lambda: NextUse(batch_kg=1, largest_daily_g=0), "next_use.largest_daily_g"),
        (lambda: HealthRule(dose_divisor=0.5), "health.dose_divisor"),
        (lambda: HealthRule(shared_area_m2=0), "health.shared_area_m2"),
        (lambda: per_swab_ug(1, 1, 25, 0), "recovery"),
    ],
)
def test_figures_out_of_range_are_refused_by_field(make, field: str) -> None:
    with pytest.raises(LimitInputError) as fault:
        make()
    assert fault.value.field == field

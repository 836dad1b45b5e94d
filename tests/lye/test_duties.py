"""Eyewash, data sheet, hazard assessment, order of addition, tools."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from floorterm.lye import (
    Addition,
    Assessment,
    Eyewash,
    LyeError,
    assessment_refusals,
    blocked_tools,
    data_sheet_warnings,
    eyewash_refusals,
    order_violations,
)
from floorterm.lye.duties import months_later
from floorterm.wording import Refusal, sentence

DAY = date(2026, 11, 24)


def _keys(refusals: tuple[Refusal, ...]) -> list[str]:
    return [one.say.key.rsplit(".", 1)[-1] for one in refusals]


def _eyewash(days: int = 1, inspected: date = date(2026, 6, 1), failed: date | None = None) -> Eyewash:
    return Eyewash(
        activated=DAY - timedelta(days=days), inspected=inspected, failed=failed, checked_before_task=True
    )


def test_the_eighth_day_after_an_activation_blocks_the_seventh_does_not() -> None:
    """ANSI/ISEA Z358.1, weekly activation (consensus standard, read in summaries)."""
    assert _keys(eyewash_refusals("L1", _eyewash(days=7), DAY)) == []
    (late,) = eyewash_refusals("L1", _eyewash(days=8), DAY)
    assert late.say.key == "lye.eyewash.weekly"
    assert "consensus standard" in late.rule


def test_a_year_is_twelve_calendar_months() -> None:
    """ANSI/ISEA Z358.1, yearly inspection; from memory."""
    assert _keys(eyewash_refusals("L5", _eyewash(inspected=date(2025, 11, 24)), DAY)) == []
    assert _keys(eyewash_refusals("L5", _eyewash(inspected=date(2025, 11, 23)), DAY)) == ["yearly"]
    assert months_later(date(2024, 2, 29), 12) == date(2025, 2, 28)
    assert months_later(date(2025, 12, 31), 2) == date(2026, 2, 28)


def test_a_failed_activation_blocks_until_a_later_one_works() -> None:
    assert _keys(eyewash_refusals("L3", _eyewash(days=2, failed=DAY - timedelta(days=1)), DAY)) == ["failed"]
    assert _keys(eyewash_refusals("L3", _eyewash(days=2, failed=DAY - timedelta(days=2)), DAY)) == ["failed"]
    assert _keys(eyewash_refusals("L3", _eyewash(days=2, failed=DAY - timedelta(days=3)), DAY)) == []


def test_nothing_recorded_or_a_date_yet_to_come_blocks_everything_but_a_closed_system() -> None:
    bare = Eyewash(activated=None, inspected=None)
    assert _keys(eyewash_refusals("L6", bare, DAY)) == ["weekly", "yearly", "before_task"]
    ahead = Eyewash(
        activated=DAY + timedelta(days=1), inspected=DAY + timedelta(days=1), checked_before_task=True
    )
    assert _keys(eyewash_refusals("L6", ahead, DAY)) == ["weekly", "yearly"]
    assert eyewash_refusals("L0", bare, DAY) == ()


def test_a_data_sheet_older_than_the_newest_stored_is_a_warning() -> None:
    """29 CFR 1910.1200(g), partly read."""
    assert data_sheet_warnings(date(2025, 1, 1), date(2026, 1, 1))[0].key == "lye.sheet.older"
    assert data_sheet_warnings(None, None)[0].key == "lye.sheet.none"
    assert data_sheet_warnings(date(2026, 1, 1), date(2026, 1, 1)) == ()


def test_a_hazard_assessment_names_four_things() -> None:
    """29 CFR 1910.132(d)(2), read: workplace, who certifies, date, that it certifies a hazard assessment."""
    whole = Assessment(workplace="dosing", certified_by="C. Iversen", on=date(2026, 1, 5), titled=True)
    assert assessment_refusals(whole, DAY) == ()
    bare = Assessment(workplace=" ", certified_by="", on=None, titled=False)
    assert _keys(assessment_refusals(bare, DAY)) == ["workplace", "certified_by", "on", "titled"]
    ahead = Assessment(workplace="dosing", certified_by="C", on=DAY + timedelta(days=1), titled=True)
    assert _keys(assessment_refusals(ahead, DAY)) == ["on"]
    changed = Assessment(
        workplace="dosing", certified_by="C", on=date(2026, 1, 5), titled=True, changed_on=date(2026, 1, 6)
    )
    assert _keys(assessment_refusals(changed, DAY)) == ["changed"]
    old = Assessment(workplace="dosing", certified_by="C", on=date(2006, 1, 5), titled=True)
    assert assessment_refusals(old, DAY) == ()  # the clause sets no expiry date


def _water(kg: float, pct: float = 0) -> Addition:
    return Addition(kind="water_in", kg=kg, batch_pct=pct)


def _lye(kg: float, pct: float = 0) -> Addition:
    return Addition(kind="lye_in", kg=kg, batch_pct=pct)


@pytest.mark.parametrize(
    ("additions", "wrong"),
    [
        ([_water(80), _lye(10), _lye(10, 5)], ()),
        ([_water(40), _water(40), _lye(20)], ()),
        ([_lye(20), _water(80, 50)], (0, 1)),
        ([_water(40), _lye(20), _water(40, 16.7)], (1, 2)),
        ([_water(80), _lye(21), _water(2, 10.4)], (2,)),
        ([_water(80), _lye(20), _water(2, 10)], ()),
        ([], ()),
    ],
)
def test_all_of_the_water_first_and_never_water_onto_strong_lye(
    additions: list[Addition], wrong: tuple[int, ...]
) -> None:
    """Several handling guides and UFC 3-240-13FN, read: adding water to caustic makes it boil and splatter."""
    assert order_violations(additions, 80, 10) == wrong


@given(st.lists(st.floats(0.1, 50), min_size=1, max_size=6))
def test_lye_as_the_first_addition_is_always_wrong(portions: list[float]) -> None:
    assert order_violations([_lye(kg) for kg in portions], 80, 10) == (0,)


def test_aluminium_and_its_like_are_not_on_the_tool_list() -> None:
    """ICSC text for sodium hydroxide, read; leather from practice, no source."""
    found = blocked_tools(["stainless steel", "Aluminium", "aluminum", " zinc ", "leather", "polypropylene"])
    assert [sentence(one.say).split()[1] for one in found] == ["aluminium", "zinc", "leather"]
    assert "aluminio" in sentence(found[0].say, "es")
    assert blocked_tools(["stainless steel", "PVC"]) == ()


@pytest.mark.parametrize(
    ("written", "material"),
    [
        ("aluminium scoop", "aluminium"),
        ("Ladder, aluminum", "aluminium"),
        ("escalera de ALUMINIO", "aluminium"),
        ("aluminium-handled ladle", "aluminium"),
        ("galvanised bucket", "zinc"),
        ("cubo galvanizado", "zinc"),
        ("tinplate funnel", "tin"),
        ("guantes de cuero", "leather"),
    ],
)
def test_a_blocked_material_is_found_wherever_its_word_stands(written: str, material: str) -> None:
    """Scoops, ladders, funnels, couplings and containers of what lye attacks: ICSC text; zinc coats, from memory."""
    (found,) = blocked_tools([written])
    assert material in sentence(found.say)


def test_a_word_that_holds_another_or_says_free_of_it_is_not_blocked() -> None:
    assert (
        blocked_tools(["lead-free plastic", "leading edge guard", "stainless setting tool", "platinum"]) == ()
    )


@pytest.mark.parametrize("kg", [float("nan"), float("inf"), 0.0, -1.0])
def test_an_addition_that_is_no_mass_is_refused_and_hides_nothing(kg: float) -> None:
    with pytest.raises(LyeError):
        order_violations([_water(kg), _lye(20)], 80, 10)
    with pytest.raises(LyeError):
        order_violations([_lye(20)], kg, 10)
    with pytest.raises(LyeError):
        order_violations([_water(80), _lye(20), _water(2, float("nan"))], 80, 10)

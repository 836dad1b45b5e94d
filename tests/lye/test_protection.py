"""Protection by task class: the default lists, what raises a class, whose ticks count."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from floorterm.lye import (
    Protection,
    ProtectionError,
    Tick,
    exposure_limits,
    glove_shown_against_lye,
    gloves,
    missing,
    protection,
    standards,
)
from floorterm.lye.protection import CLASSES, LADDER, WEAR, rank
from floorterm.wording import LANGUAGES, sentence, words

DAY = date(2026, 11, 24)


def asked(
    task: str, mass_pct: float = 50, temperature_c: float = 20, *, pressurised: bool = False
) -> Protection:
    return protection(task, mass_pct=mass_pct, temperature_c=temperature_c, pressurised=pressurised)


def ids(found: Protection) -> set[str]:
    return {item.id for item in found.items}


@pytest.mark.parametrize(
    ("task", "mass_pct", "some"),
    [
        ("L0", 50, {"spectacles", "goggles_at_hand", "eyewash_place_known"}),
        (
            "L1",
            50,
            {"goggles", "face_shield", "gauntlets_k", "apron_sleeves", "rubber_boots", "eyewash_checked"},
        ),
        (
            "L2",
            50,
            {
                "goggles",
                "face_shield",
                "long_gloves_k",
                "suit_3_or_4",
                "trousers_over_boots",
                "line_locked_out",
            },
        ),
        ("L3", 50, {"goggles", "face_shield", "long_gloves_k", "order_of_addition", "temperature_estimated"}),
        ("L4", 100, {"goggles", "face_shield", "dry_gloves_k", "long_sleeves", "dust_assessed"}),
        (
            "L5",
            50,
            {"goggles", "face_shield", "long_gloves_k", "suit_3", "mist_assessed", "trained_for_spills"},
        ),
        ("L6", 1.9, {"goggles", "chemical_gloves", "apron", "sds_class_read"}),
    ],
)
def test_each_class_asks_its_list(task: str, mass_pct: float, some: set[str]) -> None:
    """Merged from handling guides (UFC 3-240-13FN, CCOHS, NJ fact sheet) and practice; a default list."""
    found = asked(task, mass_pct)
    assert found.asked_class == task
    assert found.raised_by == ()
    assert some <= ids(found)


def test_cleaning_with_2_percent_or_more_is_raised_by_strength() -> None:
    """Lower bound of Skin Corr. 1B, Regulation (EC) 1272/2008: inclusive."""
    assert asked("L6", 1.99).asked_class == "L6"
    raised = asked("L6", 2.0)
    assert (raised.asked_class, raised.raised_by) == ("L3", ("strength",))
    assert "face_shield" in ids(raised)
    assert "chemical_gloves" not in ids(raised)


@pytest.mark.parametrize(
    ("task", "higher"), [("L0", "L1"), ("L1", "L2"), ("L3", "L2"), ("L4", "L2"), ("L6", "L3")]
)
def test_heat_above_the_limit_and_pressure_each_raise_a_class(task: str, higher: str) -> None:
    """Raised by temperature above the site limit or by pressure; the steps are a site default, no source."""
    assert asked(task, 1, 60).asked_class == task
    assert (asked(task, 1, 60.1).asked_class, asked(task, 1, 60.1).raised_by) == (higher, ("temperature",))
    assert (asked(task, 1, pressurised=True).asked_class) == higher


def test_a_raised_task_keeps_its_own_conditions_and_takes_the_higher_wear() -> None:
    found = asked("L3", 50, 75)
    assert {"order_of_addition", "ventilation_on", "suit_3_or_4", "gloves_cuffed"} <= ids(found)
    assert "line_drained" not in ids(found)  # nothing is opened
    assert {"dust_assessed", "dry_gloves_k", "long_gloves_k"} <= ids(asked("L4", 100, 75))


def test_a_closed_system_that_gets_hot_asks_for_the_eyewash_check() -> None:
    assert "eyewash_checked" in ids(asked("L0", 50, 75))


def test_a_line_under_pressure_is_not_opened_whatever_is_worn() -> None:
    """Drained, depressurised and locked out first: 29 CFR 1910.147 and practice."""
    with pytest.raises(ProtectionError) as caught:
        asked("L2", pressurised=True)
    assert caught.value.say.key == "lye.error.opened_under_pressure"


def test_a_class_that_stands_is_never_lowered_automatically() -> None:
    cooler = protection("L3", mass_pct=10, temperature_c=20, pressurised=False, standing="L2")
    assert (cooler.asked_class, cooler.raised_by) == ("L2", ("standing",))
    higher = protection("L5", mass_pct=10, temperature_c=20, pressurised=False, standing="L1")
    assert higher.asked_class == "L5"


@given(
    st.sampled_from(CLASSES),
    st.floats(0, 100),
    st.floats(0, 100),
    st.floats(-20, 150),
    st.floats(-20, 150),
    st.booleans(),
    st.sampled_from([None, *CLASSES]),
)
def test_hotter_stronger_or_under_pressure_never_lowers_the_class(
    task: str, weak: float, strong: float, cool: float, hot: float, pressure: bool, standing: str | None
) -> None:
    weak, strong = sorted((weak, strong))
    cool, hot = sorted((cool, hot))
    pressure = pressure and task != "L2"
    low = protection(task, mass_pct=weak, temperature_c=cool, pressurised=False, standing=standing)  # type: ignore[arg-type]
    high = protection(task, mass_pct=strong, temperature_c=hot, pressurised=pressure, standing=standing)  # type: ignore[arg-type]
    assert rank(low.asked_class) <= rank(high.asked_class)
    assert rank(high.asked_class) >= rank(task)  # type: ignore[arg-type]
    for slot in ("eyes", "hands", "body"):  # and no part of the body loses its protection
        before = any(item.slot == slot for item in low.items)
        assert not before or any(item.slot == slot for item in high.items)


def test_every_class_stands_once_on_the_ladder() -> None:
    assert sorted(LADDER) == sorted(CLASSES)


def test_unknown_classes_regions_and_figures_are_refused() -> None:
    for refused in (
        lambda: asked("L7"),
        lambda: asked("L1", -1),
        lambda: asked("L1", 101),
        lambda: asked("L1", 50, float("nan")),
        lambda: standards("MARS"),  # type: ignore[arg-type]
    ):
        with pytest.raises(ProtectionError):
            refused()


@pytest.mark.parametrize(("marking", "shown"), [("AJKLMN", True), ("ajk", True), ("ABC", False), ("", False)])
def test_a_glove_without_the_letter_k_is_not_shown_against_lye(marking: str, shown: bool) -> None:
    """EN ISO 374-1:2016 summary: K = sodium hydroxide 40 %; type A alone proves nothing about it."""
    assert glove_shown_against_lye(marking) is shown


@pytest.mark.parametrize(
    "written", ["unmarked", "thick rubber", "blank", "type A, no K", "KJ", "KK", "latex K"]
)
def test_the_k_of_an_ordinary_word_is_no_letter_k(written: str) -> None:
    """Code letters of EN ISO 374-1:2016 stand once each in the order of the alphabet; from memory."""
    assert not glove_shown_against_lye(written)


def test_lye_beyond_40_percent_or_23_c_needs_the_makers_data() -> None:
    """EN ISO 374-1:2016: the letter K is for 40 % at 23 C."""

    def keys(mass_pct: float, temperature_c: float) -> list[str]:
        return [say.key for say in asked("L1", mass_pct, temperature_c).warnings]

    assert keys(40, 23) == []
    assert keys(40.1, 23) == ["lye.warning.glove_beyond_k"]
    assert keys(40, 23.1) == ["lye.warning.glove_beyond_k"]
    assert asked("L0", 50).warnings == ()


def test_glove_data_and_standards_are_data_by_region() -> None:
    """EN 166 field 3, EN ISO 374-1 letter K, EN 14605 type 3 or 4 read; ANSI Z87.1 partly; boots from memory."""
    eu = {one.kind: one for one in standards("EU")}
    us = {one.kind: one for one in standards("US")}
    assert eu.keys() == us.keys() == {"eyes", "hands", "body", "feet", "air"}
    assert "letter K" in eu["hands"].mark
    assert "3" in eu["eyes"].mark
    assert "Z87.1" in us["eyes"].standard
    assert us["hands"].origin.unconfirmed
    assert not eu["hands"].origin.unconfirmed
    assert {"letter_k", "butyl", "nitrile", "leather"} <= {one.id for one in gloves()}


def test_an_average_is_never_shown_as_a_ceiling_nor_a_ceiling_as_an_average() -> None:
    """29 CFR 1910.1000 Table Z-1: 2 mg/m3 over 8 hours; NIOSH: ceiling; Germany: none set (ICSC)."""
    us = {one.body.split()[0] + one.body.split()[1].rstrip(","): one for one in exposure_limits("US")}
    assert "8 hours" in us["OSHAPEL"].kind
    assert us["NIOSHREL"].kind == us["ACGIHTLV"].kind == "ceiling"
    assert us["OSHAPEL"].mg_m3 == us["NIOSHREL"].mg_m3 == 2
    assert us["NIOSHIDLH"].mg_m3 == 10
    assert exposure_limits("DE")[0].mg_m3 is None
    assert exposure_limits("XX") == ()


def _ticks(found: Protection, by: str = "BB") -> list[Tick]:
    return [
        Tick(item=item.id, by=by, session="s1", shift="early 2026-11-24", task_class=found.asked_class)
        for item in found.items
    ]


def _left(found: Protection, ticks: list[Tick]) -> list[str]:
    refusals = missing(found, ticks, by="BB", session="s1", shift="early 2026-11-24", today=DAY)
    return [one.say.key.rsplit(".", 1)[-1] for one in refusals]


def test_every_item_confirmed_by_the_acting_person_in_this_shift_leaves_nothing() -> None:
    found = asked("L3")
    assert _left(found, _ticks(found)) == []
    assert len(_left(found, [])) == len(found.items)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"by": "CC"}, "other_person"),
        ({"shift": "early 2026-11-23"}, "other_shift"),
        ({"session": "s0"}, "other_session"),
        ({"task_class": "L1"}, "lower_class"),
        ({"inspection_due": date(2026, 11, 23)}, "inspection_overdue"),
    ],
)
def test_a_tick_of_yesterday_of_another_person_or_for_less_does_not_count(
    change: dict[str, object], reason: str
) -> None:
    found = asked("L3")
    ticks = _ticks(found)
    ticks[0] = replace(ticks[0], **change)  # type: ignore[arg-type]
    assert _left(found, ticks) == [reason]


def test_a_tick_for_a_higher_class_and_a_good_one_beside_a_bad_one_count() -> None:
    found = asked("L3")
    ticks = [replace(tick, task_class="L5", inspection_due=DAY) for tick in _ticks(found)]
    assert _left(found, ticks) == []
    assert _left(found, [*_ticks(found, by="CC"), *ticks]) == []


@given(st.sampled_from(CLASSES), st.data())
def test_no_missing_item_goes_unseen(task: str, data: st.DataObject) -> None:
    found = asked(task, 1)
    ticks = _ticks(found)
    dropped = data.draw(st.integers(0, len(ticks) - 1))
    assert _left(found, ticks[:dropped] + ticks[dropped + 1 :]) == ["none"]


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_item_and_refusal_has_its_words(language: str) -> None:
    for task in CLASSES:
        found = asked(task, 1)
        for item in found.items:
            assert item.slot in (*WEAR, "condition")
            assert words(f"lye.item.{item.id}", language)
        for refusal in missing(found, [], by="B", session="s", shift="x", today=DAY):
            assert "{" not in sentence(refusal.say, language)

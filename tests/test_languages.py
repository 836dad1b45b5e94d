"""The languages as data: which there are, and the form of numbers, dates and plurals in each."""

from datetime import date
from decimal import Decimal
from importlib.resources import files

import pytest

from floorterm.languages import (
    LANGUAGES,
    PLURAL_RULES,
    amount,
    catalogue,
    day,
    grouped,
    in_,
    in_form,
    in_order,
    number,
    own_name,
    pad_letters,
    plural,
)
from floorterm.wording import Count, words


def test_a_folder_is_a_language_and_english_comes_first() -> None:
    folders = {one.name for one in (files("floorterm") / "wordings").iterdir() if one.is_dir()}
    assert LANGUAGES[0] == "en"
    assert set(LANGUAGES) == folders
    assert len({own_name(one) for one in LANGUAGES}) == len(LANGUAGES)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_signs_of_a_number_cannot_be_taken_for_one_another(language: str) -> None:
    """A point between thousands would be read as a decimal point by everybody who works in English."""
    signs = catalogue(language)["language.decimal"], catalogue(language)["language.thousands"]
    assert signs in ((".", ","), (",", " "), (".", " "))
    assert catalogue(language)["language.plural"] in PLURAL_RULES
    for name in ("{year}", "{month}", "{day}"):
        assert name in catalogue(language)["language.date"]


@pytest.mark.parametrize(
    ("language", "fact", "shown"),
    [
        ("en", "10.61", "10.61"),
        ("es", "10.61", "10,61"),
        ("es", "-0.5", "-0,5"),
        ("es", "2026-11-24", "24/11/2026"),
        ("es", "2026-11-24 14:05", "24/11/2026 14:05"),
        ("en", "2026-11-24 14:05", "2026-11-24 14:05"),
        ("es", "2026-11-24T14:05:00Z", "2026-11-24T14:05:00Z"),
        ("es", "C-0011", "C-0011"),
        ("es", "0.1.0", "0.1.0"),
        ("es", "12,5", "12,5"),
        ("es", "", ""),
        ("de", "10.61", "10,61"),
        ("de", "2026-11-24 14:05:10", "24.11.2026 14:05:10"),
    ],
)
def test_a_fact_that_is_a_number_or_a_date_takes_the_form_of_the_language(
    language: str, fact: str, shown: str
) -> None:
    assert in_form(fact, language) == shown
    assert fact in ("", "12,5") or shown in words("proof.seal_entry", language, number=1, at=fact)


def test_numbers_keep_their_digits_and_whole_ones_stand_in_groups() -> None:
    assert number(Decimal("12.50"), "es") == "12,50"
    assert number("12,50", "en") == "12.50"
    assert grouped(Decimal("3433.5"), "en") == "3,434"
    assert grouped(3434, "es") == "3 434"
    assert "1 234 567" in words("proof.seal_entry", "es", number=Count(1234567), at="")
    assert day(date(2026, 3, 1), "es") == "01/03/2026"


@pytest.mark.parametrize(
    ("rule", "forms"),
    [
        ("one_other", "other one other other other other other"),
        ("one_below_two", "one one other other other other other"),
        ("other", "other other other other other other other"),
        ("one_few_many", "many one few many many few many"),
    ],
)
def test_the_plural_rules_give_the_categories_of_cldr(rule: str, forms: str) -> None:
    """Rows of CLDR's plural rules for whole numbers as of version 44 (en, fr, ja, pl), from memory."""
    categories, category = PLURAL_RULES[rule]
    given = [category(n) for n in (0, 1, 2, 5, 12, 22, 112)]
    assert given == forms.split()
    assert set(given) <= set(categories)


def test_an_amount_keeps_its_unit_and_anything_else_stands() -> None:
    assert amount("12.50 kg", "es") == "12,50 kg"
    assert amount("0.1 %", "de") == "0,1 %"
    assert amount("12.50 kg", "en") == "12.50 kg"
    for text in ("29 CFR 1910.147(c)", "1.2-1.4 kg", "0.1.0", "NaOH", "17.5 of 20 kg"):
        assert amount(text, "de") == text


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_pad_has_every_letter_of_its_language_once(language: str) -> None:
    letters = pad_letters(language)
    assert len(set(letters)) == len(letters)
    assert set("abcdefghijklmnopqrstuvwxyz,.-") <= set(letters)
    assert len(letters) <= 33, "five rows of ten with the digits and three more keys"


def test_a_count_chooses_the_form_of_its_language() -> None:
    assert plural(1, "es") == "one"
    assert plural(0, "es") == "other"


def test_a_text_falls_back_to_its_draft_then_to_english() -> None:
    text = {"en": "Pull", "es_draft": "Saque"}
    assert in_(text, "es") == "Saque"
    assert in_({"en": "Pull"}, "es") == "Pull"
    assert in_({}, "es", "S-1") == "S-1"


def test_the_languages_of_the_plant_come_before_the_others() -> None:
    assert in_order(("es", "xx"))[0] == "es"
    assert set(in_order(("es",))) == set(LANGUAGES)

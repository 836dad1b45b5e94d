"""The languages that the program speaks, as data, and the form that numbers and dates take in each.

A language is a folder `wordings/<code>/`: catalogues of sentences, and `language.json` with the few facts about
the language itself (its own name, decimal sign, sign between thousands, form of a date, plural rule). Whoever
adds a folder adds a language: no list stands in the program. Finding them costs one look into a folder.
"""

import os
import re
from collections.abc import Callable, Iterable, Mapping
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from functools import cache
from typing import Protocol

from msgspec import json

FALLBACK = "en"
DRAFT = "_draft"  # behind a code: a translation that nobody has reviewed
_FOLDER = os.path.join(os.path.dirname(os.path.abspath(__file__)), "wordings")  # noqa: PTH100, PTH118, PTH120  no import of pathlib at start
_OWN = "language.json"

# CLDR's names of plural categories; each rule gives the category of a whole number. Rules of further languages
# go here; catalogues hold `key.<category>` for the categories of their rule.
PLURAL_RULES: Mapping[str, tuple[tuple[str, ...], Callable[[int], str]]] = {
    "one_other": (("one", "other"), lambda n: "one" if n == 1 else "other"),
    "one_below_two": (("one", "other"), lambda n: "one" if n in (0, 1) else "other"),
    "other": (("other",), lambda _: "other"),
    "one_few_many": (
        ("one", "few", "many"),
        lambda n: (
            "one" if n == 1 else "few" if n % 10 in (2, 3, 4) and n % 100 not in (12, 13, 14) else "many"
        ),
    ),
}

_DECIMAL = re.compile(r"[-+]?[0-9]+\.[0-9]+")
_AMOUNT = re.compile(r"([-+]?[0-9]+\.[0-9]+)( ?[^0-9.,:;/-]*)")
_DAY = re.compile(r"([0-9]{4})-([0-9]{2})-([0-9]{2})(?=$| [0-9]{2}:[0-9]{2}(?::[0-9]{2})?$)")


def _found() -> tuple[str, ...]:
    codes = sorted(
        entry.name
        for entry in os.scandir(_FOLDER)
        if os.path.isfile(os.path.join(entry.path, _OWN))  # noqa: PTH113, PTH118
    )
    return (FALLBACK, *(code for code in codes if code != FALLBACK))


LANGUAGES = _found()
TEXT_KEYS = tuple(
    key for code in LANGUAGES for key in ((code,) if code == FALLBACK else (code, code + DRAFT))
)  # of a plant's text: each language, and its draft


@cache
def catalogue(language: str) -> Mapping[str, str]:
    """Every sentence of a language by its key; empty for a language without a folder."""
    found: dict[str, str] = {}
    if language in LANGUAGES:
        for entry in os.scandir(os.path.join(_FOLDER, language)):  # noqa: PTH118
            if entry.name.endswith(".json"):
                with open(entry.path, "rb") as file:  # noqa: PTH123
                    found.update(json.decode(file.read(), type=dict[str, str]))
    return found


def _fact(name: str, language: str) -> str:
    """A fact of the language; that of English for a language without a folder."""
    return catalogue(language if language in LANGUAGES else FALLBACK)[f"language.{name}"]


def own_name(language: str) -> str:
    """What the language is called by those who speak it."""
    return _fact("name", language)


def pad_letters(language: str) -> tuple[str, ...]:
    """The letters and marks of the language as a pad shows them, in the order of its keyboards."""
    return tuple(_fact("pad", language).replace(" ", ""))


def plural(n: int, language: str) -> str:
    """CLDR's plural category of a whole number, such as "one" or "other"."""
    return PLURAL_RULES[_fact("plural", language)][1](n)


def plural_categories(language: str) -> tuple[str, ...]:
    """The categories that a counted sentence needs in this language."""
    return PLURAL_RULES[_fact("plural", language)][0]


def number(value: Decimal | str, language: str) -> str:
    """A decimal number as people of that language write it; digits are kept as they were entered."""
    text = value if isinstance(value, str) else format(value, "f")
    return text.replace(",", ".").replace(".", _fact("decimal", language))


def grouped(value: Decimal | int, language: str) -> str:
    """A whole number in groups of three, rounded half up: 3,434 in English, 3 434 where a comma is the decimal sign."""
    whole = int(Decimal(value).to_integral_value(ROUND_HALF_UP))
    return f"{whole:,}".replace(",", _fact("thousands", language))


def day(on: date, language: str) -> str:
    """A date in the language's form."""
    return in_form(f"{on:%Y-%m-%d}", language)


def day_of_year(on: date, language: str) -> str:
    """A date without its year."""
    return _fact("day_and_month", language).format(month=f"{on:%m}", day=f"{on:%d}")


def in_form(text: str, language: str) -> str:
    """A text that is nothing but a decimal number, a date or a date with a time, in the language's form.

    Anything else stands as it is. Numbers are given as the record has them, with a point and without groups;
    dates as ISO 8601. A time of day is on 24 hours in every language.
    """
    if not text or text[-1] not in "0123456789":
        return text
    if _DECIMAL.fullmatch(text):
        return number(text, language)
    found = _DAY.match(text)
    if found is None:
        return text
    year, month, on = found.groups()
    return _fact("date", language).format(year=year, month=month, day=on) + text[found.end() :]


def amount(text: str, language: str) -> str:
    """A decimal number with nothing or its unit behind it ("12.50 kg", "4.0 %") in the language's form; anything else
    as it stands.
    """
    found = _AMOUNT.fullmatch(text)
    return number(found[1], language) + found[2] if found else text


def in_order(first: Iterable[str]) -> tuple[str, ...]:
    """All languages, those that are given before the others."""
    return tuple(code for code in dict.fromkeys((*first, *LANGUAGES)) if code in LANGUAGES)


class Worded(Protocol):
    """A text of the plant's YAML: an attribute a language, those of `TEXT_KEYS`."""

    @property
    def en(self) -> str:
        """The English text."""
        ...


def by_language(text: Worded) -> dict[str, str]:
    """A text of the plant's YAML as a mapping from language to text; drafts keep their mark."""
    return {key: str(found) for key in TEXT_KEYS if (found := getattr(text, key))}


def in_(text: Mapping[str, str], language: str, otherwise: str = "") -> str:
    """A text of the plant in a language: reviewed, else its draft, else English, else `otherwise`."""
    return text.get(language) or text.get(language + DRAFT) or text.get(FALLBACK, otherwise)


def draft_of(texts: Iterable[Mapping[str, str]], language: str) -> str:
    """The key for what is made of these texts: the language, or its draft where one of them has no reviewed text."""
    return language if all(not text or language in text for text in texts) else language + DRAFT

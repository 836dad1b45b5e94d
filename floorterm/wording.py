"""Sentences for people, as data: one catalogue a room and language under `wordings/`.

Rules and screens pass `Say` values about (a key and its facts) and turn them into a sentence only
where somebody reads it, so that every refusal exists in every language and tests can look at facts
instead of prose.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files

FALLBACK = "en"
LANGUAGES = ("en", "es")

Fact = (
    str | int | Mapping[str, str]
)  # a mapping is a text of the plant, spoken in the language of the sentence


class UnknownWordingError(KeyError):
    """No catalogue of the fallback language has the key: a fault of the program, never of its user."""


@dataclass(frozen=True, slots=True)
class Say:
    """A sentence not yet spoken: the key of a wording (`room.name`) and the facts that fill it."""

    key: str
    facts: Mapping[str, Fact] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Refusal:
    """One reason against an act: what to do instead, and the rule behind it.

    `rule` names a clause ("29 CFR 1910.147(d)(6)"), a rule id ("LO-29") or "site policy"; it is shown as it is.
    """

    say: Say
    rule: str


@cache
def _catalogue(language: str) -> Mapping[str, str]:
    found: dict[str, str] = {}
    folder = files("floorterm") / "wordings" / language
    if folder.is_dir():
        for file in folder.iterdir():
            if file.name.endswith(".json"):
                found.update(json.loads(file.read_text(encoding="utf-8")))
    return found


def sentence(say: Say, language: str = FALLBACK) -> str:
    """The sentence in a language, or in English where the catalogue of that language lacks it.

    A fact called `n` chooses between `key.one` and `key.other` where the catalogue has both.
    Raises UnknownWordingError if English lacks the key too.
    """
    for chosen in (language, FALLBACK):
        catalogue = _catalogue(chosen)
        facts = {name: _spoken(fact, chosen) for name, fact in say.facts.items()}
        count = facts.get("n")
        if count is not None:
            plural = catalogue.get(f"{say.key}.{'one' if count == 1 else 'other'}")
            if plural is not None:
                return plural.format_map(facts)
        text = catalogue.get(say.key)
        if text is not None:
            return text.format_map(facts)
    raise UnknownWordingError(say.key)


def _spoken(fact: Fact, language: str) -> str | int:
    if isinstance(fact, Mapping):
        return fact.get(language) or fact.get(f"{language}_draft") or fact.get(FALLBACK, "")
    return fact


def words(key: str, language: str = FALLBACK, **facts: Fact) -> str:
    """Short form of `sentence(Say(key, facts), language)`."""
    return sentence(Say(key, facts), language)


def in_each_language(name: str, text: Mapping[str, str], otherwise: str = "") -> dict[str, Fact]:
    """A plant's own text as facts of a sentence, one a language: `{name_en}`, `{name_es}`.

    A language without text takes its unreviewed draft, then English, then `otherwise`. Each catalogue uses
    the fact of its own language, so that a refusal can name a step or a point wherever it is read. A full
    stop at the end is left to the sentence.
    """

    def in_(language: str) -> str:
        found = text.get(language) or text.get(f"{language}_draft") or text.get("en", otherwise)
        return found.removesuffix(".")

    return {f"{name}_{language}": in_(language) for language in LANGUAGES}

"""Sentences for people, as data: one catalogue a room and language under `wordings/`.

Rules and screens pass `Say` values about (a key and its facts) and turn them into a sentence only
where somebody reads it, so that every refusal exists in every language and tests can look at facts
instead of prose.
"""

from collections.abc import Mapping

from msgspec import Struct, field

from floorterm.languages import FALLBACK, LANGUAGES, catalogue, grouped, in_, in_form, plural

__all__ = [
    "FALLBACK",
    "LANGUAGES",
    "Count",
    "Fact",
    "Refusal",
    "Say",
    "UnknownWordingError",
    "in_each_language",
    "sentence",
    "words",
]

Fact = (
    str | int | Mapping[str, str]
)  # a mapping is a text of the plant, spoken in the language of the sentence


class Count(int):
    """A whole number that is shown in groups of three, as the language of the sentence groups them."""


class UnknownWordingError(KeyError):
    """No catalogue of the fallback language has the key: a fault of the program, never of its user."""


class Say(Struct, frozen=True):
    """A sentence not yet spoken: the key of a wording (`room.name`) and the facts that fill it."""

    key: str
    facts: Mapping[str, Fact] = field(default_factory=dict)


class Refusal(Struct, frozen=True):
    """One reason against an act: what to do instead, and the rule behind it.

    `rule` names a clause ("29 CFR 1910.147(d)(6)"), a rule id ("LO-29") or "site policy"; it is shown as it is.
    """

    say: Say
    rule: str


def sentence(say: Say, language: str = FALLBACK) -> str:
    """The sentence in a language, or in English where the catalogue of that language lacks it.

    A fact called `n` chooses between `key.one`, `key.other` and the language's further plural forms where the
    catalogue has them. A fact that is nothing but a decimal number or a date takes the form of the language.
    Raises UnknownWordingError if English lacks the key too.
    """
    for chosen in (language, FALLBACK):
        known = catalogue(chosen)
        facts = {name: _spoken(fact, chosen) for name, fact in say.facts.items()}
        count = say.facts.get("n")
        if isinstance(count, int):
            counted = known.get(f"{say.key}.{plural(count, chosen)}")
            if counted is not None:
                return counted.format_map(facts)
        text = known.get(say.key)
        if text is not None:
            return text.format_map(facts)
    raise UnknownWordingError(say.key)


def _spoken(fact: Fact, language: str) -> str | int:
    if isinstance(fact, Mapping):
        return in_(fact, language)
    if isinstance(fact, Count):
        return grouped(fact, language)
    return in_form(fact, language) if isinstance(fact, str) else fact


def words(key: str, language: str = FALLBACK, **facts: Fact) -> str:
    """Short form of `sentence(Say(key, facts), language)`."""
    return sentence(Say(key, facts), language)


def in_each_language(name: str, text: Mapping[str, str], otherwise: str = "") -> dict[str, Fact]:
    """A plant's own text as facts of a sentence, one a language: `{name_en}`, `{name_es}`, and so on.

    A language without text takes its unreviewed draft, then English, then `otherwise`. Each catalogue uses
    the fact of its own language, so that a refusal can name a step or a point wherever it is read. A full
    stop at the end is left to the sentence.
    """
    return {f"{name}_{language}": in_(text, language, otherwise).removesuffix(".") for language in LANGUAGES}

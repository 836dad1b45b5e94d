"""The sentences of the rules exist in every language and speak each its own."""

import json
import string
from importlib.resources import files

import pytest

from floorterm.wording import LANGUAGES


def catalogue(room: str, language: str) -> dict[str, str]:
    return json.loads(
        (files("floorterm") / "wordings" / language / f"{room}.json").read_text(encoding="utf-8")
    )


def facts(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


@pytest.mark.parametrize("room", ["lockout", "changeover"])
def test_every_language_has_the_same_sentences_with_the_same_facts(room):
    english = catalogue(room, "en")
    for language in LANGUAGES:
        other = catalogue(room, language)
        assert other.keys() == english.keys()
        for key, text in english.items():
            assert {name.replace("_en", f"_{language}") for name in facts(text)} == facts(other[key]), key


@pytest.mark.parametrize("room", ["lockout", "changeover"])
@pytest.mark.parametrize("language", LANGUAGES)
def test_no_sentence_promises_safety(room, language):
    # the record says what was recorded; it never says that a machine is safe
    for key, text in catalogue(room, language).items():
        words = text.lower()
        assert "machine is safe" not in words, key
        assert "máquina es segura" not in words, key
        assert "segura para trabajar" not in words, key

"""The catalogues of sentences: the same keys and the same facts in every language."""

import json
import re
from importlib.resources import files
from string import Formatter

import pytest

from floorterm.languages import PLURAL_RULES, plural_categories
from floorterm.wording import LANGUAGES, UnknownWordingError, in_each_language, words

_FOLDER = files("floorterm") / "wordings"
_FORMS = frozenset(form for forms, _ in PLURAL_RULES.values() for form in forms)


def _catalogues(language: str) -> dict[str, dict[str, str]]:
    return {
        file.name: json.loads(file.read_text(encoding="utf-8"))
        for file in (_FOLDER / language).iterdir()
        if file.name.endswith(".json")
    }


def _facts(text: str, language: str) -> set[str]:
    """Names in braces; a fact that exists once a language counts under its common name."""
    names = {name for _, name, _, _ in Formatter().parse(text) if name}
    return {re.sub(f"_{language}$", "", name) for name in names}


def _counted(catalogue: dict[str, str], counted: set[str]) -> dict[str, dict[str, str]]:
    """The plural forms of each counted sentence; one that is not counted has the form "" alone."""
    found: dict[str, dict[str, str]] = {}
    for key, text in catalogue.items():
        base, _, last = key.rpartition(".")
        form = last if base in counted and last in _FORMS else ""
        found.setdefault(base if form else key, {})[form] = text
    return found


@pytest.mark.parametrize("language", [language for language in LANGUAGES if language != "en"])
def test_every_sentence_exists_in_every_language_with_the_same_facts(language: str) -> None:
    english, other = _catalogues("en"), _catalogues(language)
    assert english.keys() == other.keys()
    count = 0
    for name, catalogue in english.items():
        counted = {key.removesuffix(".one") for key in catalogue if key.endswith(".one")}
        wanted, found = _counted(catalogue, counted), _counted(other[name], counted)
        assert wanted.keys() == found.keys(), name
        for key, texts in wanted.items():
            forms = {""} & texts.keys()
            if texts.keys() - {""}:
                forms |= set(plural_categories(language))
            assert found[key].keys() == forms, key
            facts = [_facts(text, "en") for text in texts.values()]
            for text in found[key].values():
                assert _facts(text, language) in facts, key
            count += 1
    assert count > 300


def test_no_key_stands_in_two_catalogues() -> None:
    for language in LANGUAGES:
        seen: dict[str, str] = {}
        for name, catalogue in _catalogues(language).items():
            for key in catalogue:
                assert key not in seen, f"{key} in {name} and {seen[key]}"
                seen[key] = name


def test_no_key_stands_twice_in_a_catalogue() -> None:
    def once(pairs: list[tuple[str, str]]) -> dict[str, str]:
        keys = [key for key, _ in pairs]
        assert len(keys) == len(set(keys)), {key for key in keys if keys.count(key) > 1}
        return dict(pairs)

    for language in LANGUAGES:
        for file in (_FOLDER / language).iterdir():
            if file.name.endswith(".json"):
                json.loads(file.read_text(encoding="utf-8"), object_pairs_hook=once)


def test_words_that_the_project_does_not_use_stand_nowhere() -> None:
    """Say flush, fragrance, lockout; the trade's other words would name the same things twice."""
    banned = re.compile(r"\b(purge|purging|scents?|LOTO|machine is safe)\b", re.IGNORECASE)
    for name, catalogue in _catalogues("en").items():
        for key, text in catalogue.items():
            found = banned.search(text)
            assert not found or "never says that a machine is safe" in text, (name, key, text)


def test_a_number_chooses_between_one_and_more() -> None:
    one = words("changeover.release_open_deviations", n=1, deviation="7")
    more = words("changeover.release_open_deviations", n=3, deviation="7")
    assert "1 deviation waits" in one
    assert "3 deviations wait" in more


def test_a_key_that_no_catalogue_has_is_a_fault_of_the_program() -> None:
    with pytest.raises(UnknownWordingError):
        words("nothing.at_all")


def test_a_plants_own_text_becomes_a_fact_in_each_language_without_its_full_stop() -> None:
    facts = in_each_language("step", {"en": "Pull the screen.", "es_draft": "Saque la malla."})
    assert facts == {f"step_{code}": "Pull the screen" for code in LANGUAGES} | {"step_es": "Saque la malla"}

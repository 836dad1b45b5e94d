"""Every fault of the ledger has its sentence in every language, with the same facts."""

import json
import re
import string
from importlib.resources import files
from pathlib import Path

import pytest

from floorterm.ledger import faults
from floorterm.wording import LANGUAGES

ROOM = Path(str(files("floorterm.ledger")))


def _catalogue(language: str) -> dict[str, str]:
    return json.loads(
        (files("floorterm") / "wordings" / language / "ledger.json").read_text(encoding="utf-8")
    )


def _facts(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


def test_the_languages_have_the_same_sentences_with_the_same_facts() -> None:
    english = _catalogue("en")
    for language in LANGUAGES:
        other = _catalogue(language)
        assert other.keys() == english.keys()
        assert {key: _facts(text) for key, text in other.items()} == {
            key: _facts(text) for key, text in english.items()
        }


def test_every_key_in_the_code_has_a_sentence_and_every_sentence_is_used() -> None:
    code = "\n".join(file.read_text(encoding="utf-8") for file in ROOM.glob("*.py"))
    named = set(re.findall(r'"(ledger\.[a-z_]+)"', code)) - {
        "ledger.start",
        "ledger.moved",
        "ledger.restored",
    }
    named |= {f"ledger.verify.{key}" for key in re.findall(r'(?:note|remark)\([^)]*?"([a-z_]+)"', code)}
    written = {re.sub(r"\.(one|other)$", "", key) for key in _catalogue("en")}
    assert named == written


@pytest.mark.parametrize(
    "kind",
    [
        kind
        for kind in vars(faults).values()
        if isinstance(kind, type) and issubclass(kind, faults.LedgerError)
    ],
)
def test_every_fault_says_itself_as_a_sentence(kind: type[faults.LedgerError]) -> None:
    text = _catalogue("en").get(kind.KEY) or _catalogue("en")[f"{kind.KEY}.other"]
    assert text[0].isupper() or text[0] == "{"
    assert text.endswith((".", "}"))
    assert kind.__doc__

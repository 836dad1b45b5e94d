"""Every sentence of the catalogues is said somewhere, and every sentence that is said is in them."""

import ast
import json
import re
from functools import cache
from pathlib import Path

import floorterm

_ROOT = Path(floorterm.__file__).parent
_FILLED = "\0"  # what an f-string fills in


@cache
def _keys() -> frozenset[str]:
    """All keys, a pair for one and more counted once."""
    found = {
        key
        for file in (_ROOT / "wordings" / "en").glob("*.json")
        for key in json.loads(file.read_text(encoding="utf-8"))
    }
    return frozenset(re.sub(r"\.(one|other)$", "", key) for key in found)


@cache
def _trees() -> tuple[ast.Module, ...]:
    return tuple(ast.parse(path.read_text(encoding="utf-8")) for path in sorted(_ROOT.rglob("*.py")))


@cache
def _said_by_pages() -> frozenset[str]:
    """Keys that the templates of pages say."""
    pages = [path.read_text(encoding="utf-8") for path in sorted(_ROOT.rglob("templates/*.html"))]
    return frozenset(key for page in pages for key in re.findall(r'words\("([^"]+)"', page))


def _pattern(text: ast.JoinedStr) -> str:
    return "".join(
        part.value if isinstance(part, ast.Constant) and isinstance(part.value, str) else _FILLED
        for part in text.values
    )


def _texts() -> tuple[set[str], set[str]]:
    """Texts that stand in the program, and those with a place that is filled in."""
    plain, filled = set(_said_by_pages()), set()
    for tree in _trees():
        for node in ast.walk(tree):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                plain.add(node.value)
            elif isinstance(node, ast.JoinedStr):
                filled.add(_pattern(node))
    return plain, filled


def _tells(pattern: str, rooms: set[str]) -> bool:
    """Whether a text with places to fill says more of a key than the room it is in."""
    stands = pattern.replace(_FILLED, "")
    letters = re.sub(r"[^a-z]", "", stands)
    return (
        re.fullmatch(rf"[\w.\-{_FILLED}]+", pattern) is not None
        and len(letters) > 2
        and stands.strip(".") not in rooms
    )


def _tails(key: str) -> list[str]:
    """The key, and what stands behind each of its dots: rooms have helpers that put their own name before."""
    parts = key.split(".")
    return [".".join(parts[n:]) for n in range(len(parts))]


def test_every_sentence_of_the_catalogues_is_said_somewhere() -> None:
    plain, filled = _texts()
    rooms = {key.split(".")[0] for key in _keys()}
    shapes = [
        re.compile(re.escape(text).replace(_FILLED, r"[\w\-.]+")) for text in filled if _tells(text, rooms)
    ]
    endings = [
        text for text in plain if re.fullmatch(r"_[a-z]+", text)
    ]  # put behind a key that stands alone too
    unsaid = [
        key
        for key in sorted(_keys())
        if not any(
            tail in plain
            or any(shape.fullmatch(tail) for shape in shapes)
            or any(tail.removesuffix(end) in plain for end in endings if tail.endswith(end))
            for tail in _tails(key)
        )
    ]
    assert unsaid == []


def test_every_sentence_that_is_said_by_its_whole_key_is_in_a_catalogue() -> None:
    said = {
        node.args[0].value
        for tree in _trees()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and node.args
        and isinstance(node.func, ast.Name)
        and node.func.id in ("Say", "words")
        and isinstance(node.args[0], ast.Constant)
    }
    assert len(said) > 200
    assert len(_said_by_pages()) > 10
    assert (said | _said_by_pages()) - _keys() == set()

"""JSON Schemas for editors say the same as the reader: a validator of another make takes and refuses the same files."""

import json
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from floorterm.library import schema, starter_folder
from floorterm.library.reading import read
from tests.library.helper import FILES, broken, plain

_SCHEMA_OF = {"plant.yaml": "plant", "lines": "line", "fragrances": "fragrance", "procedures": "procedure"}


@pytest.fixture(scope="module")
def validators(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Draft202012Validator]:
    found = {}
    for path in schema(tmp_path_factory.mktemp("schema")):
        content = json.loads(path.read_text(encoding="utf-8"))
        Draft202012Validator.check_schema(content)
        found[path.stem] = Draft202012Validator(content)
    return found


def tree(name: str, content: bytes) -> Any:
    node, faults = read(name, content)
    assert node is not None, faults
    return plain(node)


def validator(validators: dict[str, Draft202012Validator], name: str) -> Draft202012Validator:
    return validators[_SCHEMA_OF[name.partition("/")[0]]]


def test_each_sort_of_file_has_its_schema(tmp_path: Path) -> None:
    written = schema(tmp_path / "schema")
    assert [path.name for path in written] == ["plant.json", "line.json", "fragrance.json", "procedure.json"]
    line = json.loads((tmp_path / "schema/line.json").read_text(encoding="utf-8"))
    assert line["additionalProperties"] is False
    assert {"units", "points", "tanks", "dose_at"} <= set(line["required"])


def test_the_schema_of_procedures_tells_the_four_kinds_apart(tmp_path: Path) -> None:
    schema(tmp_path)
    procedure = json.loads((tmp_path / "procedure.json").read_text(encoding="utf-8"))
    assert set(procedure["discriminator"]["mapping"]) == {"lockout", "block", "alone", "changeover"}
    kinds = procedure["$defs"]["StepSpec"]["properties"]["kind"]["enum"]
    assert kinds == ["confirm", "reading", "choice", "text", "scan", "wait", "flush", "protect"]


def test_the_same_schema_gives_the_same_bytes(tmp_path: Path) -> None:
    first = [path.read_bytes() for path in schema(tmp_path)]
    assert [path.read_bytes() for path in schema(tmp_path)] == first


def test_every_file_of_the_starter_plant_follows_its_schema(
    validators: dict[str, Draft202012Validator],
) -> None:
    names = list(starter_folder().rglob("*.yaml"))
    assert len(names) > 30
    for path in names:
        name = path.relative_to(starter_folder()).as_posix()
        faults = [
            error.message for error in validator(validators, name).iter_errors(tree(name, path.read_bytes()))
        ]
        assert faults == [], name


# What both refuse. Rules between values (low above high) are the reader's alone: a schema has no words for them.
_BROKEN = [
    ("lines/one.yaml", "cavities: 4", "cavities: four"),
    ("lines/one.yaml", "cavities: 4", "cavities: 49"),
    ("lines/one.yaml", "mixed_kg: 28", "mixed_kg: 28,5"),
    ("lines/one.yaml", "mixed_kg: 28", "mixed_kg: -1"),
    ("lines/one.yaml", "rate_kg_h: 1700", "rate_kg_h: 0"),
    ("lines/one.yaml", "energies: [electrical]", "energies: []"),
    ("lines/one.yaml", "[electrical]", "[electric]"),
    ("lines/one.yaml", "id: L1", "id: Line 1"),
    ("lines/one.yaml", "needs_release: false", "needs_release: no"),
    ("lines/one.yaml", "flash_to:", "flash_too:"),
    ("fragrances/plain.yaml", "source: invented\n", ""),
    ("fragrances/plain.yaml", "format: 1", "format: 2"),
    ("fragrances/plain.yaml", "name: {en: Plain, es: Natural}", "name: {es: Natural}"),
    ("fragrances/plain.yaml", "name: {en: Plain, es: Natural}", "name: [Plain]"),
    ("procedures/start.yaml", "kind: scan", "kind: scna"),
    ("procedures/start.yaml", "after: [heat, clean]", "after: [a/b/c]"),
    ("procedures/cleaning.yaml", "deviation: true", "deviation: on"),
    ("plant.yaml", "start: 06:00", "start: 25:00"),
    ("plant.yaml", "id: tinymere\n", ""),
]


@pytest.mark.parametrize(("name", "old", "new"), _BROKEN)
def test_an_editor_refuses_what_the_reader_refuses(
    tmp_path: Path, validators: dict[str, Draft202012Validator], name: str, old: str, new: str
) -> None:
    assert broken(tmp_path, name, old, new)
    checker = validator(validators, name)
    assert checker.is_valid(tree(name, FILES[name].encode()))
    assert not checker.is_valid(tree(name, FILES[name].replace(old, new, 1).encode()))


def test_numbers_count_as_numbers_in_an_editor_too(validators: dict[str, Draft202012Validator]) -> None:
    """An editor's own YAML reader gives 0.25 as a number, where ours keeps the digits as they were written."""
    line = tree("lines/one.yaml", FILES["lines/one.yaml"].encode())
    checker = validators["line"]
    for value, fits in ((0.25, True), (0, True), (1, False), (-0.1, False)):
        changed = deepcopy(line) | {"flash_fraction": value}
        assert checker.is_valid(changed) == fits, value

"""JSON Schemas for editors say the same as the models."""

import json
from pathlib import Path

from floorterm.library import schema


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

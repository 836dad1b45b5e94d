"""JSON Schemas of the files, for editors that complete and check YAML while it is typed."""

import json
from collections.abc import Mapping
from datetime import date, time
from decimal import Decimal
from inspect import getdoc
from pathlib import Path
from typing import Any, assert_never

from msgspec import NODEFAULT, Struct

from floorterm.library.model import FragranceFile, LineFile, PlantFile
from floorterm.library.shapes import (
    Bounds,
    ByName,
    Either,
    OneOf,
    Record,
    Ruled,
    Several,
    Shape,
    Word,
    record_of,
)
from floorterm.library.validation import PROCEDURES

_FILES: Mapping[str, type[Struct]] = {"plant": PlantFile, "line": LineFile, "fragrance": FragranceFile}
_WORDS: Mapping[type, dict[str, Any]] = {
    str: {"type": ["string", "number"]},  # a number may stand where a text belongs
    bool: {"type": "boolean"},
    int: {"type": "integer"},
    Decimal: {"type": ["number", "string"], "pattern": r"^-?(0|[1-9][0-9]*)(\.[0-9]+)?$"},
    date: {"type": "string", "format": "date"},
    time: {"type": "string", "pattern": "^([01][0-9]|2[0-3]):[0-5][0-9]$"},
}
_LIMITS = {"ge": "minimum", "gt": "exclusiveMinimum", "le": "maximum", "lt": "exclusiveMaximum"}


def schema(folder: str | Path) -> tuple[Path, ...]:
    """Write `plant`, `line`, `fragrance` and `procedure` schemas into a folder, which is made if need be.

    A YAML file names its schema in the first line: `# yaml-language-server: $schema=../schema/line.json`.
    Raises OSError where the folder cannot be written.
    """
    target = Path(folder)
    target.mkdir(parents=True, exist_ok=True)
    written = []
    for name, found in {
        **{name: _of_file(model) for name, model in _FILES.items()},
        "procedure": _of_procedures(),
    }.items():
        path = target / f"{name}.json"
        text = json.dumps(found, indent=2, sort_keys=True, ensure_ascii=False)
        path.write_text(text + "\n", encoding="utf-8")
        written.append(path)
    return tuple(written)


def _of_file(model: type[Struct]) -> dict[str, Any]:
    known: dict[str, Any] = {}
    top = _of_record(record_of(model), known)
    return {**top, "$defs": known}


def _of_procedures() -> dict[str, Any]:
    """Four kinds of files in one folder, told apart by `kind`."""
    known: dict[str, Any] = {}
    kinds = {kind: _named(record_of(model), known) for kind, model in PROCEDURES.items()}
    mapping = {kind: found["$ref"] for kind, found in kinds.items()}
    return {
        "$defs": known,
        "discriminator": {"propertyName": "kind", "mapping": mapping},
        "oneOf": list(kinds.values()),
    }


def _named(record: Record, known: dict[str, Any]) -> dict[str, Any]:
    """A reference to the record's schema, which is put among those that are known."""
    name = record.model.__name__
    if name not in known:
        known[name] = _of_record(record, known)
    found = {"$ref": f"#/$defs/{name}"}
    return {"anyOf": [found, _WORDS[str]]} if record.bare else found


def _of_record(record: Record, known: dict[str, Any]) -> dict[str, Any]:
    members = record.members.items()
    return {
        "type": "object",
        "title": record.model.__name__,
        "description": getdoc(record.model) or "",
        "properties": {name: _of(member.shape, known) for name, member in members},
        "required": [name for name, member in members if member.default is NODEFAULT],
        "additionalProperties": False,
    }


def _of(shape: Shape, known: dict[str, Any]) -> dict[str, Any]:
    match shape:
        case Word():
            return _of_word(shape)
        case OneOf(words=words):
            return {"enum": list(words)}
        case Several(item=item, length=length):
            most = {} if length.most is None else {"maxItems": length.most}
            return {"type": "array", "items": _of(item, known), "minItems": length.least, **most}
        case ByName(key=key, item=item):
            names = {"pattern": found} if (found := _of(key, known).get("pattern")) else {}
            return {"type": "object", "propertyNames": names, "additionalProperties": _of(item, known)}
        case Record():
            return _named(shape, known)
        case Either(branches=branches):
            return {"anyOf": [_of(branch, known) for branch in branches]}
        case Ruled(shape=inner):
            return _of(inner, known)
    assert_never(shape)


def _of_word(word: Word) -> dict[str, Any]:
    found = dict(_WORDS[word.base])
    if word.base is str:
        if word.pattern is not None:
            found["pattern"] = f"^{word.pattern.regex}$"
        if word.length.least:
            found["minLength"] = word.length.least
        if word.length.most is not None:
            found["maxLength"] = word.length.most
    return found | _limits(word.bounds)


def _limits(bounds: Bounds) -> dict[str, float]:
    found = {key: getattr(bounds, name) for name, key in _LIMITS.items()}
    return {key: float(limit) for key, limit in found.items() if limit is not None}

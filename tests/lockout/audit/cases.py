"""How the histories of the rules are written: a case, and edits of a complete history."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from floorterm.lockout import audit
from tests.lockout.audit.histories import ONE, Document, history

Edit = Callable[[Document], None]


@dataclass(frozen=True)
class Case:
    name: str
    record: Document
    v: str = ""
    w: str = ""
    p: str = ""
    a: str = ""  # rules that must be among those a person attests


def rules_at(record: Document, level: str, **options: Any) -> set[str]:
    return {finding.rule for finding in audit(record, **options) if finding.level == level}


def without(text: str, *lines: str) -> str:
    """The text without these lines, each of which must be there (its first occurrence goes)."""
    kept = text.splitlines()
    for line in lines:
        kept.remove(line)
    return "\n".join(kept)


def put(text: str, line: str, *, before: str = "", after: str = "") -> str:
    """The text with a line before or after the first line that reads so."""
    kept = text.splitlines()
    kept.insert(kept.index(before) if before else kept.index(after) + 1, line)
    return "\n".join(kept)


def moved(text: str, line: str, *, before: str = "", after: str = "") -> str:
    return put(without(text, line), line, before=before, after=after)


def turned(text: str, old: str, new: str) -> str:
    assert old in text, old
    return text.replace(old, new, 1)


def edited(record: Document, *edits: Edit) -> Document:
    for edit in edits:
        edit(record)
    return record


def procedure(**values: Any) -> Edit:
    return lambda record: record["procedures"]["HEAD"].update(values)


def point(name: str, **values: Any) -> Edit:
    def edit(record: Document) -> None:
        next(one for one in record["procedures"]["HEAD"]["points"] if one["id"] == name).update(values)

    return edit


def certificate(**values: Any) -> Edit:
    return lambda record: record["procedures"]["HEAD"]["certificates"][0].update(values)


def person(code: str, **values: Any) -> Edit:
    return lambda record: record["people"][code].update(values)


def lock(name: str, **values: Any) -> Edit:
    return lambda record: record["locks"][name].update(values)


def one(*edits: Edit, text: str = ONE, **job: Any) -> Document:
    return edited(history(text, **job), *edits)


def no_register(record: Document) -> None:
    del record["locks"]


def keyless(name: str) -> Edit:
    return lambda record: record["procedures"]["HEAD"].pop(name)


def event(number: int, **values: Any) -> Edit:
    return lambda record: record["jobs"][0]["events"][number - 1].update(values)


OLD_HAND = person("A4", trained="2024-02-10")  # the inspector, before any of these inspections
MONITOR = "+15 monitor A1 points=V1 result=zero"
UNTIL = "+15 work_end A1"

"""From a draft to the body of an entry: which fields stand in it, and that absent is absent, never null.

Pure: whoever knows number, predecessor and time says them.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from floorterm.entries import FORMAT_VERSION, GENESIS, BodyError, Draft, TextError, clean_text, stamp
from floorterm.people import Person

START = "ledger.start"
_COPIED = (
    "kind", "key", "person", "identity", "meaning", "witness", "terminal", "line", "changeover", "step",
    "reason",
)  # fmt: skip
_ONE_LINE = tuple(name for name in _COPIED if name != "reason")


def offset_at(zone: ZoneInfo, at: datetime) -> str:
    """The offset of a zone from UTC at an instant, as bodies carry it: `-07:00`."""
    return at.astimezone(zone).isoformat()[-6:]


def check_draft(draft: Draft) -> None:
    """Raise BodyError if a field of the draft holds what no entry may keep, or kind or key is empty."""
    for name in ("kind", "key"):
        if not getattr(draft, name):
            raise BodyError(f"{name} is empty")
    for name in _COPIED:
        text = getattr(draft, name)
        try:
            clean = clean_text(text, newlines=name not in _ONE_LINE)
        except TextError as fault:
            raise BodyError(f"{name}: {fault}") from fault
        if clean != text:
            raise BodyError(f"{name}: the text was not made fit for the record (clean_text) before")


def start_body(
    *, chain: str, plant_id: str, plant: str, zone: ZoneInfo, checklists: str, at: datetime
) -> Mapping[str, Any]:
    """The body of entry 1. `plant_id` and `checklists` stand in it only if they are not empty."""
    body = {
        "at": stamp(at),
        "chain": chain,
        "checklists": checklists,
        "kind": START,
        "n": 1,
        "offset": offset_at(zone, at),
        "plant": plant,
        "plant_id": plant_id,
        "prev": GENESIS,
        "time_zone": zone.key,
        "v": FORMAT_VERSION,
    }
    return {key: value for key, value in body.items() if value != ""}


def body_of(
    draft: Draft,
    *,
    n: int,
    prev: str,
    at: datetime,
    zone: ZoneInfo,
    pos: int,
    person: Person | None,
    witness: Person | None,
) -> Mapping[str, Any]:
    """The body of an entry. `pos` is 0 outside a changeover; names and roles are those of this moment."""
    body: dict[str, Any] = {name: getattr(draft, name) for name in _COPIED}
    for somebody, name, role in ((person, "name", "role"), (witness, "witness_name", "witness_role")):
        if somebody is not None:
            body |= {name: somebody.name, role: str(somebody.permission)}
    body = {key: value for key, value in body.items() if value != ""}
    if draft.corrects is not None:
        body["corrects"] = draft.corrects
    if pos:
        body["pos"] = pos
    if draft.value:
        body["value"] = dict(draft.value)
    return body | {"v": FORMAT_VERSION, "n": n, "prev": prev, "at": stamp(at), "offset": offset_at(zone, at)}

"""People as entries carry them, and the fold that makes the table of people out of the entries. Pure."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime
from typing import Any

from floorterm.entries import Entry
from floorterm.people import LockoutStatus, Permission, Person, PersonThen

ADDED = "person.added"
CHANGED = "person.changed"
DISABLED = "person.disabled"
PIN_RESET = "person.pin_reset"
PIN_CHANGED = "person.pin_changed"
PIN_BURST = "pin.burst"  # so many wrong PINs in a row that a supervisor is told
PIN_OFF = "pin.off"  # so many that the PIN counts no more
FOLDED = (ADDED, CHANGED, DISABLED)


class PersonFoldError(ValueError):
    """An entry about a person does not fit what the entries before it said."""


def record_of(person: Person) -> dict[str, Any]:
    """A person as the `value` of an entry; what is empty is absent."""
    record: dict[str, Any] = {
        "code": person.code,
        "name": person.name,
        "permission": str(person.permission),
        "duties": sorted(person.duties),
        "lockout": str(person.lockout),
        "active": person.active,
    }
    if person.trained_on:
        record["trained_on"] = person.trained_on.isoformat()
    if person.valid_to:
        record["valid_to"] = person.valid_to.isoformat()
    if person.badge:
        record["badge"] = person.badge
    return record


def person_of(record: Mapping[str, Any]) -> Person:
    """The person that such a value describes."""
    return Person(
        code=record["code"],
        name=record["name"],
        permission=Permission(record["permission"]),
        duties=frozenset(record["duties"]),
        lockout=LockoutStatus(record["lockout"]),
        trained_on=_day(record.get("trained_on")),
        valid_to=_day(record.get("valid_to")),
        badge=record.get("badge") or "",
        active=bool(record["active"]),
    )


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None


def changed_value(before: Person, after: Person) -> dict[str, Any]:
    """The value of `person.changed`: the whole person as they are now, and under `was` what was different."""
    old, new = record_of(before), record_of(after)
    was = {key: old.get(key, "") for key in (*old, *new) if old.get(key) != new.get(key)}
    return new | {"was": was}


def fold_person(
    people: Mapping[str, Mapping[str, Any]], kind: str, value: Mapping[str, Any]
) -> Mapping[str, Mapping[str, Any]]:
    """The people after one more entry, as records by code; other kinds change nothing.

    Raises PersonFoldError if the entry does not fit (a code given twice, a change of somebody unknown).
    """
    if kind not in FOLDED:
        return people
    code = value.get("code")
    if not isinstance(code, str) or (kind == ADDED) == (code in people):
        raise PersonFoldError(f"{kind} of {code!r}")
    if kind == DISABLED:
        record = dict(people[code]) | {"active": False}
    else:
        record = {key: inner for key, inner in value.items() if key != "was"}
    return dict(people) | {code: record}


def people_then(changes: Iterable[Entry]) -> Iterator[PersonThen]:
    """Everybody as each entry about them left them, in the order of the entries; later entries alter none of it."""
    records: Mapping[str, Mapping[str, Any]] = {}
    trainings: dict[str, tuple[date, ...]] = {}
    for entry in changes:
        if entry.kind not in FOLDED:
            continue
        records = fold_person(records, entry.kind, entry.value)
        person = person_of(records[entry.value["code"]])
        dates = _trainings(trainings.get(person.code, ()), person.trained_on)
        trainings[person.code] = dates
        zone = datetime.fromisoformat(f"2000-01-01T00:00:00{entry.offset or '+00:00'}").tzinfo
        yield PersonThen(entry.n, entry.at.astimezone(zone), person, dates)


def _trainings(before: tuple[date, ...], newest: date | None) -> tuple[date, ...]:
    """All dates of training once an entry names the newest: whatever lay after it was put right by that entry."""
    return (*(day for day in before if day < newest), newest) if newest is not None else ()

"""LO-17 to LO-19 and LS-01: training, retraining and its certificate ((c)(7)); validity by site policy."""

from collections.abc import Iterator
from datetime import date

from floorterm.lockout.auditing.findings import Found
from floorterm.lockout.auditing.record import Event, Person
from floorterm.lockout.auditing.replay import Replay
from floorterm.wording import Fact

_TRAINED = ("lock_on", "verify", "work_start")
_ACTING = ("isolate", "lock_on", "release", "verify", "work_start")
# never an event that makes somebody safer: ending work, the own lock off, counting people
_DATED = ("lock_on", "verify", "release", "work_start", "remove_other", "temp_energise")


def trained(replay: Replay) -> Iterator[Found]:
    """LO-17, LO-19: who locks, verifies or works is trained as authorised, who is affected as affected."""
    start = replay.events[0] if replay.events else None
    known = (replay.person(code, start) for code in replay.record.people)
    carried = any(person is not None and person.trained is not None for person in known)
    judged: set[str] = set()
    for _, event in replay.each(*_TRAINED):
        person = replay.person(event.by, event)
        if not event.by or event.by in judged:
            continue
        if person is None or person.role != "authorized":
            judged.add(event.by)
            yield Found("LO-17", "V", "LO-17.role", event, (event.by,))
        elif (carried or person.trained is not None) and person.trained_by(event.t.date()) is None:
            judged.add(event.by)
            yield _untrained(replay, event)
    yield from _affected(replay, carried)
    yield from _uncertified(replay, carried, start)


def _untrained(replay: Replay, event: Event) -> Found:
    """No training on record at the event; one entered afterwards alters nothing of that, and is noted."""
    later = replay.trained_later(event.by, event)
    if later is None:
        return Found("LO-17", "V", "LO-17.date", event, (event.by,))
    facts: dict[str, Fact] = {"trained": later[0].isoformat(), "later": later[1]}
    return Found("LO-17", "V", "LO-17.entered_later", event, (event.by,), facts=facts)


def _uncertified(replay: Replay, carried: bool, start: Event | None) -> Iterator[Found]:
    acted = dict.fromkeys(replay.header.affected, start)
    acted |= {event.by: event for _, event in reversed(tuple(replay.each(*_TRAINED)))}
    blank: list[str] = []
    later: list[str] = []
    for code in replay.record.people:
        person = replay.person(code, acted[code]) if code in acted else None
        if person is not None and person.trained is None and not person.is_duty:
            event = acted[code]
            noted = event is not None and replay.trained_later(code, event) is not None
            (later if noted and carried else blank).append(code)
    if later:
        yield Found("LO-19", "V", "LO-19.entered_later", None, tuple(later))
    if blank and carried:
        yield Found("LO-19", "V", "LO-19", None, tuple(blank))
    elif blank:
        yield Found("LO-17", "A", "LO-17.unsaid", None, tuple(blank))


def _affected(replay: Replay, carried: bool) -> Iterator[Found]:
    first = replay.first("isolate", "lock_on") or 0
    event = replay.events[first] if replay.events else None
    people = replay.record.people
    duties = tuple(code for code in replay.header.affected if code in people and people[code].is_duty)
    if duties:
        yield Found("LO-17", "A", "LO-17.duties", None, duties)
    for code in replay.header.affected:
        if code in duties or event is None:
            continue
        person, day = replay.person(code, event), event.t.date()
        fits = person is not None and person.role != "other"
        dated = person is not None and (person.trained is None or person.trained_by(day) is not None)
        missing = carried and person is not None and person.trained is None
        if not fits or not dated or missing:
            yield Found("LO-17", "V", "LO-17.affected", None, (code,))


def retrained(replay: Replay) -> Iterator[Found]:
    """LO-18: trained again after each change of procedure, machine or assignment, or a deviation naming them."""
    judged: set[str] = set()
    for _, event in replay.each(*_ACTING):
        person = replay.person(event.by, event)
        trained_on = person.trained_by(event.t.date()) if person is not None else None
        if person is None or trained_on is None or event.by in judged:
            continue
        changes = [day for day in _changes(replay, person) if day <= event.t.date()]
        if changes and trained_on < max(changes):
            judged.add(event.by)
            facts: dict[str, Fact] = {"trained": trained_on.isoformat(), "changed": max(changes).isoformat()}
            later, key = replay.trained_later(event.by, event, max(changes)), "LO-18"
            if later is not None:
                key, facts = (
                    "LO-18.entered_later",
                    {**facts, "again": later[0].isoformat(), "later": later[1]},
                )
            yield Found("LO-18", "V", key, event, (event.by,), facts=facts)


def _changes(replay: Replay, person: Person) -> Iterator[date]:
    procedure = replay.procedure
    for day in (procedure.changed_on, procedure.machine_changed_on, person.assigned):
        if day is not None:
            yield day
    for one in procedure.certificates or ():
        for deviation in one.deviations:
            day = deviation.dated or one.dated
            if person.code in deviation.persons and day is not None:
                yield day


def valid(replay: Replay) -> Iterator[Found]:
    """LS-01: training valid on the local date of the event; the last day counts."""
    for _, event in replay.each(*_DATED, "hand_over"):
        for code in event.to if event.ev == "hand_over" else (event.by,):
            yield from _expired(replay, event, code)


def _expired(replay: Replay, event: Event, code: str) -> Iterator[Found]:
    person = replay.person(code, event)
    if person is not None and person.valid_to is not None and event.t.date() > person.valid_to:
        facts = {"valid_to": person.valid_to.isoformat()}
        yield Found("LS-01", "V", "LS-01", event, (code,), facts=facts)

"""LO-17 to LO-19 and LS-01: training, retraining and its certificate ((c)(7)); validity by site policy."""

from collections.abc import Iterator
from datetime import date

from floorterm.lockout.auditing.findings import Found
from floorterm.lockout.auditing.record import Event, Person
from floorterm.lockout.auditing.replay import Replay

_TRAINED = ("lock_on", "verify", "work_start")
_ACTING = ("isolate", "lock_on", "release", "verify", "work_start")
# never an event that makes somebody safer: ending work, the own lock off, counting people
_DATED = ("lock_on", "verify", "release", "work_start", "remove_other", "temp_energise")


def trained(replay: Replay) -> Iterator[Found]:
    """LO-17, LO-19: who locks, verifies or works is trained as authorised, who is affected as affected."""
    carried = any(person.trained is not None for person in replay.record.people.values())
    judged: set[str] = set()
    for _, event in replay.each(*_TRAINED):
        person = replay.person(event.by)
        if not event.by or event.by in judged:
            continue
        known = person is not None and person.role == "authorized"
        late = person is not None and person.trained is not None and person.trained > event.t.date()
        if not known or late or (carried and person is not None and person.trained is None):
            judged.add(event.by)
            key = "LO-17.role" if not known else "LO-17.date"
            yield Found("LO-17", "V", key, event, (event.by,))
    yield from _affected(replay, carried)
    involved = {event.by for _, event in replay.each(*_TRAINED)} | set(replay.header.affected)
    blank = tuple(
        code
        for code, one in replay.record.people.items()
        if code in involved and one.trained is None and not one.is_duty
    )
    if blank and carried:
        yield Found("LO-19", "V", "LO-19", None, blank)
    elif blank:
        yield Found("LO-17", "A", "LO-17.unsaid", None, blank)


def _affected(replay: Replay, carried: bool) -> Iterator[Found]:
    day = replay.day or (replay.events[0].t.date() if replay.events else None)
    people = replay.record.people
    duties = tuple(code for code in replay.header.affected if code in people and people[code].is_duty)
    if duties:
        yield Found("LO-17", "A", "LO-17.duties", None, duties)
    for code in replay.header.affected:
        if code in duties or day is None:
            continue
        person = people.get(code)
        fits = person is not None and person.role != "other"
        dated = person is not None and (person.trained is None or person.trained <= day)
        missing = carried and person is not None and person.trained is None
        if not fits or not dated or missing:
            yield Found("LO-17", "V", "LO-17.affected", None, (code,))


def retrained(replay: Replay) -> Iterator[Found]:
    """LO-18: trained again after each change of procedure, machine or assignment, or a deviation naming them."""
    judged: set[str] = set()
    for _, event in replay.each(*_ACTING):
        person = replay.person(event.by)
        if person is None or person.trained is None or event.by in judged:
            continue
        changes = [day for day in _changes(replay, person) if day <= event.t.date()]
        if changes and person.trained < max(changes):
            judged.add(event.by)
            facts = {"trained": person.trained.isoformat(), "changed": max(changes).isoformat()}
            yield Found("LO-18", "V", "LO-18", event, (event.by,), facts=facts)


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
    person = replay.person(code)
    if person is not None and person.valid_to is not None and event.t.date() > person.valid_to:
        facts = {"valid_to": person.valid_to.isoformat()}
        yield Found("LS-01", "V", "LS-01", event, (code,), facts=facts)

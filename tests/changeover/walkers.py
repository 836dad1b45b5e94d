"""Ways to walk a record: events read out of entries without the program's fold, and a stubborn finisher."""

from collections.abc import Iterable

from msgspec.structs import replace

from floorterm.access import Right, has_right
from floorterm.changeover.acts import (
    Abandon,
    Dispose,
    LockoutAct,
    Protect,
    Release,
    RepeatSection,
    Resume,
    SignStep,
)
from floorterm.changeover.lye_needs import asked_protection, items_missing, needed_items
from floorterm.changeover.rules import first_article_passed, lockout_next, open_steps
from floorterm.changeover.worksheet import Worksheet
from floorterm.entries import Entry
from floorterm.lockout.guide import Move
from floorterm.lockout.model import Event, LockEvent
from floorterm.people import Person
from tests.changeover.sheets import CREW, PLANT, Record, good_entry
from tests.lockout import oracle


def events_of(worksheet: Worksheet, entries: Iterable[Entry], job: str) -> list[LockEvent]:
    """The lockout events that a record stands for, read from the entries' own words.

    A signed isolate, lock or re-energise step whose point is so already confirms it and moves nothing.
    """
    found: list[LockEvent] = []
    for entry in entries:
        value = entry.value
        if entry.kind == "lockout.event" and value["job"] == job:
            found.append(_event(entry, value["event"], tuple(value.get("points", ()))))
        if entry.kind != "step.signed" or value.get("outcome", "done") != "done":
            continue
        step = worksheet.step(value["step"])
        if step is None or step.kind != "lockout" or step.job != job:
            continue
        off = step.point and not oracle.is_on(found, step.point)
        own = any(who == entry.person for _, who in oracle.locks(found, step.point))
        confirms = {"isolate": off, "re_energise": not off, "lock_on": own}
        if step.event is not None and not confirms.get(step.event.value, False):
            found.append(_event(entry, step.event.value, (step.point,) if step.point else ()))
    return found


def _event(entry: Entry, word: str, points: tuple[str, ...]) -> LockEvent:
    people = (entry.witness,) if word == "verify" and entry.witness else ()
    return LockEvent(
        n=entry.n,
        at=entry.at,
        event=Event(word),
        by=entry.person,
        points=points,
        lock=entry.value.get("lock", ""),
        result=entry.value.get("result", ""),
        people=people,
    )


# --- always a way to finish -------------------------------------------------------------------------


class StuckError(AssertionError):
    """No act of anybody brings the record nearer to its end."""


def release(record: Record, crew: tuple[Person, ...]) -> None:
    """Walk a record to its release, whatever state it is in. Somebody of the crew is a supervisor."""
    boss = next(person for person in crew if has_right(person, Right.DISPOSE))
    for _ in range(300):
        if not record.may(Release(), boss):
            record.do(Release(), boss)
            return
        if (
            _settle(record, boss, crew)
            or _work(record, crew)
            or _protect(record, crew)
            or _locks(record, crew)
            or _again(record, boss)
        ):
            continue
        if not _waits(record):
            raise StuckError([refusal.say for refusal in record.may(Release(), boss)])
        record.wait(10)
    raise StuckError("three hundred acts did not end it")


def abandon(record: Record, crew: tuple[Person, ...]) -> None:
    """Abandon a record and end its lockouts."""
    record.do(Abandon(reason="no way on"), crew[0])
    end_lockouts(record, crew)


def end_lockouts(record: Record, crew: tuple[Person, ...]) -> None:
    """Take everything off the machine by following the guidance, after the work was abandoned."""
    for _ in range(100):
        if all(job.is_idle and (job.closed or not job.begun) for job in record.state.locks.values()):
            return
        if not _locks(record, crew):
            raise StuckError([name for name, job in record.state.locks.items() if not job.is_idle])
    raise StuckError("a hundred acts did not take the locks off")


def _settle(record: Record, boss: Person, crew: tuple[Person, ...]) -> bool:
    """Take paused work up, decide about what waits."""
    if record.state.status == "paused":
        record.do(Resume(), boss)
        return True
    waiting = record.state.open_deviations
    if waiting:
        decided = Dispose(deviation=waiting[0].n, decision="accept", reason="looked at")
        record.do(decided, boss, _second(boss, crew))
    return bool(waiting)


def _work(record: Record, crew: tuple[Person, ...]) -> bool:
    """Sign the first step that anybody can sign."""
    for step in open_steps(record.state, record.now):
        for person in crew:
            act = good_entry(record.state, step, person)
            if step.event is Event.LOCK_ON:
                act = replace(act, lock=_free_lock(record, person))
            witness = _second(person, crew, step.witness)
            if not record.may(act, person, witness):
                record.do(act, person, witness)
                return True
    return False


def _protect(record: Record, crew: tuple[Person, ...]) -> bool:
    """Confirm what lye work still asks of somebody, for instance in a new shift."""
    for section in record.state.worksheet.sections:
        waiting = any(step.id not in record.state.signed for step in section.steps)
        if section.lye is None or not waiting:
            continue
        items = tuple(item.id for item in needed_items(asked_protection(record.state, section)))
        local = record.now.astimezone(PLANT)
        for person in crew:
            if items_missing(record.state, section, person, local):
                record.do(Protect(section=section.id, items=items), person)
                return True
    return False


def _second(person: Person, crew: tuple[Person, ...], duty: str = "") -> Person | None:
    others = (other for other in crew if other.code != person.code)
    return next((other for other in others if not duty or duty in other.duties), None)


def _free_lock(record: Record, person: Person) -> str:
    taken = {lock.lock for lock in record.state.locks_on()}
    return next(name for number in range(99) if (name := f"{person.code}-{number}") not in taken)


def _locks(record: Record, crew: tuple[Person, ...]) -> bool:
    """Follow the guidance of a lockout: what somebody is told to do next is possible."""
    for job in record.state.locks:
        for person in crew:
            for move in lockout_next(record.state, job, person, record.now):
                act = _follow(record, job, move, person)
                if act is not None and not record.may(act, person):
                    record.do(act, person)
                    return True
    return False


def _follow(record: Record, job: str, move: Move, person: Person) -> LockoutAct | None:
    state = record.state.locks[job]
    if move.event in (None, Event.WORK_START):
        return None
    act = LockoutAct(job=job, event=move.event, points=move.points)
    match move.event:
        case Event.VERIFY | Event.MONITOR:
            return replace(act, result="zero")
        case Event.LOCK_ON:
            return replace(act, points=move.points[:1], lock=_free_lock(record, person))
        case Event.NOTIFY_BEFORE | Event.NOTIFY_AFTER:
            return replace(act, people=state.job.affected_duties)
        case Event.ACCOUNT_PEOPLE:
            return replace(act, people=tuple(state.attending))
        case Event.ASSIGN_PRIMARY:
            return replace(act, primary=person.code, people=CREW)
        case Event.OFFER_VERIFY:
            return replace(act, people=move.people)
        case Event.CONFIRM_EXCEPTION:
            return replace(act, result="ok")
        case Event.PLUG_CONTROL:
            return replace(act, how="in_hand")
    return act


def _again(record: Record, boss: Person) -> bool:
    """Repeat a first-article section that was signed but has not passed."""
    for section in record.state.worksheet.sections:
        done = all(step.id in record.state.signed for step in section.steps)
        if section.first_article and done and not first_article_passed(record.state, section):
            record.do(RepeatSection(section=section.id, reason="not passed"), boss)
            return True
    return False


def _waits(record: Record) -> bool:
    return any(step.kind == "wait" for step in open_steps(record.state, record.now))


def signs_under_lockout(worksheet: Worksheet, act: object) -> str:
    """The job under whose lockout an act works, or nothing."""
    if not isinstance(act, SignStep) or act.outcome != "done":
        return ""
    step = worksheet.step(act.step)
    return step.needs_lockout if step else ""

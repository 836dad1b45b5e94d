"""The isolation points of a line as a screen shows them: locks, whose, since when, and what comes next. Pure.

Everything is what the record says. The locks at the machine, the try-out and the site's procedure decide.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal

from floorterm.changeover.acts import LockoutAct
from floorterm.changeover.entering import (
    EntrySpec,
    Speaker,
    answer_spec,
    lock_spec,
    people_clear_spec,
    people_told_spec,
)
from floorterm.changeover.fold_lockout import work_left
from floorterm.changeover.rules import lockout_next
from floorterm.changeover.state import State
from floorterm.changeover.view_step import RefusalView, refusal_views
from floorterm.changeover.view_words import Texts, clock, say, spoken, tell
from floorterm.lockout.guard import may_work
from floorterm.lockout.guide import Move
from floorterm.lockout.model import Event, Point
from floorterm.lockout.state import LockOn, LockoutState
from floorterm.people import LockoutStatus, Person

_SAFER: Final = (Event.WORK_END, Event.LOCK_OFF)
_ONE_POINT_EACH: Final = frozenset({Event.ISOLATE, Event.LOCK_ON, Event.RELEASE, Event.RE_ENERGISE})


@dataclass(frozen=True, slots=True, kw_only=True)
class PointRow:
    """One isolation point in one line: name, position as recorded, locks with owner and time."""

    id: str
    name: str
    place: str
    position: str
    isolated: bool
    locks: tuple[str, ...]
    own: bool
    note: str = ""
    note_level: Literal["", "caution", "danger"] = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """One thing that the person can do about a lockout. `goes_to` names the step on Work that does it.

    `acts` are recorded one after the other; where `asks` is set, each asks an entry first. `safer` acts are
    never refused.
    """

    id: str
    text: str
    note: str = ""
    work: str
    acts: tuple[LockoutAct, ...] = ()
    asks: EntrySpec | None = None
    goes_to: str = ""
    safer: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class JobView:
    """One lockout: its machine, its points, who is at work under it, what is proved, what comes next."""

    work: str
    job: str
    machine: str
    title: str
    status: str
    points: tuple[PointRow, ...]
    at_work: str
    proved: str
    alarm: bool
    next: tuple[str, ...]
    refusals: tuple[RefusalView, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LocksView:
    """Every lockout of a line that something is left of, and what this person can do."""

    line: str
    authority: str
    count: int
    summary: str
    jobs: tuple[JobView, ...]
    offers: tuple[Offer, ...]
    empty: str


def locks_view(
    states: Iterable[State],
    person: Person | None,
    now: datetime,
    language: str,
    *,
    line: str = "",
    duties: Mapping[str, Texts] | None = None,
) -> LocksView:
    """The locks of the works of one line (`line` is its name) for a person, or for somebody not signed in."""
    works = tuple(states)
    speaker = Speaker(language=language, duties=duties or {})
    jobs: list[JobView] = []
    offers: list[Offer] = []
    for state in works:
        local = now.astimezone(state.last_at.tzinfo)
        others = _elsewhere(works, state)
        for name, job in state.locks.items():
            if state.ended and job.is_idle:
                continue
            jobs.append(_job(state, name, person, local, speaker, others))
            offers += _offers(state, name, person, local, speaker)
    locks = [lock for state in works for lock in state.locks_on()]
    safer_first = sorted(offers, key=lambda offer: not offer.safer)
    names = ", ".join(dict.fromkeys(lock.owner_name or lock.owner for lock in locks))
    return LocksView(
        line=line,
        authority=say("authority", language),
        count=len(locks),
        summary=say("locks_on", language, n=len(locks), names=names) if locks else say("locks_off", language),
        jobs=tuple(jobs),
        offers=tuple(safer_first),
        empty=say("no_lockout", language),
    )


def _elsewhere(works: tuple[State, ...], state: State) -> tuple[LockOn, ...]:
    return tuple(lock for other in works if other.work != state.work for lock in other.locks_on())


def _job(
    state: State,
    name: str,
    person: Person | None,
    now: datetime,
    speaker: Speaker,
    elsewhere: tuple[LockOn, ...],
) -> JobView:
    job, language = state.locks[name], speaker.language
    moves = lockout_next(state, name, person, now) if person is not None else ()
    at_work = ", ".join(
        say("person_since", language, name=work.name, time=clock(work.at, now))
        for work in job.at_work.values()
    )
    return JobView(
        work=state.work,
        job=name,
        machine=tell(job.job.machine, language),
        title=tell(job.job.title, language),
        status=say(_status(job), language),
        points=tuple(_point(job, point, person, now, speaker, elsewhere) for point in job.job.points),
        at_work=say("at_work", language, names=at_work) if at_work else say("nobody_at_work", language),
        proved=_proved(job, now, language),
        alarm=job.alarm,
        next=tuple(spoken(move.say, language) for move in moves),
        refusals=_against_work(state, name, person, now, speaker, elsewhere),
    )


def _status(job: LockoutState) -> str:
    if job.alarm:
        return "job_alarm"
    if job.closed:
        return "job_closed"
    if not job.begun:
        return "job_not_begun"
    if job.at_work:
        return "job_at_work"
    return "job_locked" if job.full else "job_under_way"


def _proved(job: LockoutState, now: datetime, language: str) -> str:
    """The verification that stands, as it was recorded; never that anything is safe."""
    newest = max(job.proofs.values(), default=0)
    found = next((event for event in job.events if event.n == newest), None)
    if found is None or not newest:
        return say("not_proved", language)
    names = ", ".join(job.workers.get(code) or _name(job, code) for code in job.proofs)
    return say("proved", language, time=clock(found.at, now), names=names)


def _name(job: LockoutState, code: str) -> str:
    return next((event.by_name for event in job.events if event.by == code and event.by_name), code)


def _point(
    job: LockoutState,
    point: Point,
    person: Person | None,
    now: datetime,
    speaker: Speaker,
    elsewhere: tuple[LockOn, ...],
) -> PointRow:
    language, found = speaker.language, job.points[point.id]
    others = [lock for lock in elsewhere if lock.point == point.id and lock.line in ("", job.line)]
    locks = [_lock_text(lock, now, language) for lock in found.locks]
    locks += [say("lock_elsewhere", language, lock=_lock_text(lock, now, language)) for lock in others]
    note, level = _note(job, point, now, language)
    return PointRow(
        id=point.id,
        name=tell(point.name, language),
        place=tell(point.place, language),
        position=say("isolated" if found.isolated else "energised", language),
        isolated=found.isolated,
        locks=tuple(locks),
        own=person is not None and any(lock.owner == person.code for lock in found.locks),
        note=note,
        note_level=level,
    )


def _lock_text(lock: LockOn, now: datetime, language: str) -> str:
    time = clock(lock.at, now) if lock.at is not None else ""
    return say("lock_of", language, lock=lock.lock, name=lock.owner_name or lock.owner, time=time)


def _note(
    job: LockoutState, point: Point, now: datetime, language: str
) -> tuple[str, Literal["", "caution", "danger"]]:
    found = job.points[point.id]
    if found.isolated and point.required and not found.locks:
        return say("point_bare", language), "danger"
    if found.locks and not found.isolated:
        return say("point_energised_locked", language), "danger"
    if found.locks and job.needs_relief(point) and found.relieved_n is None:
        return say("point_not_relieved", language), "caution"
    due = job.monitor_due().get(point.id)
    if due is not None and job.at_work:
        late = now > due
        return say("point_read_late" if late else "point_read_by", language, time=clock(due, now)), (
            "danger" if late else ""
        )
    return "", ""


def _against_work(
    state: State,
    name: str,
    person: Person | None,
    now: datetime,
    speaker: Speaker,
    elsewhere: tuple[LockOn, ...],
) -> tuple[RefusalView, ...]:
    """Why the person may not reach in now; asked only while work under the lockout is left."""
    job = state.locks[name]
    if person is None or not job.begun or job.closed or state.ended:
        return ()
    if not work_left(state.worksheet, state.signed, name):
        return ()
    return refusal_views(may_work(job, person, now, elsewhere), speaker.language)


# --- what the person can do ---------------------------------------------------------------------------


def _offers(
    state: State, name: str, person: Person | None, now: datetime, speaker: Speaker
) -> Iterable[Offer]:
    job = state.locks[name]
    yield from _safer(state, name, person, speaker)
    if person is None:
        return
    for move in lockout_next(state, name, person, now):
        if move.event is not None and move.event not in _SAFER:
            yield _offer(state, name, move, speaker)
    lapsing = job.monitor_due()
    if person.lockout is LockoutStatus.AUTHORIZED and job.begun and lapsing and job.full:
        yield Offer(
            id=f"{state.work}/{name}/monitor",
            text=say("offer_monitor", speaker.language, machine=tell(job.job.machine, speaker.language)),
            work=state.work,
            acts=(LockoutAct(job=name, event=Event.MONITOR, points=tuple(lapsing)),),
            asks=answer_spec(Event.MONITOR, speaker.language),
        )


def _safer(state: State, name: str, person: Person | None, speaker: Speaker) -> Iterable[Offer]:
    """Getting out and taking one's own locks off: offered to whoever it could be about, never refused."""
    job, language = state.locks[name], speaker.language
    machine = tell(job.job.machine, language)
    if job.at_work if person is None else person.code in job.at_work:
        yield Offer(
            id=f"{state.work}/{name}/work_end",
            text=say("offer_work_end", language, machine=machine),
            work=state.work,
            acts=(LockoutAct(job=name, event=Event.WORK_END),),
            safer=True,
        )
    own = job.locks_on() if person is None else job.own_locks(person.code)
    if own:
        points = tuple(dict.fromkeys(lock.point for lock in own)) if person is not None else ()
        yield Offer(
            id=f"{state.work}/{name}/lock_off",
            text=say("offer_lock_off", language, machine=machine),
            note=say("offer_lock_off_count", language, n=len(own)) if person is not None else "",
            work=state.work,
            acts=(LockoutAct(job=name, event=Event.LOCK_OFF, points=points),),
            safer=True,
        )


def _offer(state: State, name: str, move: Move, speaker: Speaker) -> Offer:
    job, event, language = state.locks[name], move.event, speaker.language
    assert event is not None  # moves without an event are only sentences
    text, id_ = spoken(move.say, language), f"{state.work}/{name}/{event.value}"
    step = _step_for(state, name, event, move.points)
    if step:
        return Offer(id=id_, text=text, note=say("offer_on_work", language), work=state.work, goes_to=step)
    acts: tuple[LockoutAct, ...]
    if event in _ONE_POINT_EACH:
        acts = tuple(LockoutAct(job=name, event=event, points=(point,)) for point in move.points)
    else:
        acts = (LockoutAct(job=name, event=event, points=move.points),)
    if event is Event.WORK_START:
        text = say("offer_work_start", language, machine=tell(job.job.machine, language))
    return Offer(id=id_, text=text, work=state.work, acts=acts, asks=_asks(job, event, speaker))


def _step_for(state: State, name: str, event: Event, points: tuple[str, ...]) -> str:
    """The open step of the worksheet that records this move; empty where none does."""
    if state.ended:
        return ""
    for step in state.worksheet.steps():
        same = step.job == name and step.event is event and (not step.point or step.point in points)
        if same and step.id not in state.signed:
            return step.id
    return ""


def _asks(job: LockoutState, event: Event, speaker: Speaker) -> EntrySpec | None:
    match event:
        case Event.LOCK_ON:
            return lock_spec(speaker.language)
        case Event.VERIFY | Event.MONITOR | Event.INSPECT_AREA | Event.SHUT_DOWN:
            return answer_spec(event, speaker.language)
        case Event.NOTIFY_BEFORE | Event.NOTIFY_AFTER:
            return people_told_spec(job.job.affected_duties, speaker)
        case Event.ACCOUNT_PEOPLE if job.workers:
            return people_clear_spec(job.workers, speaker.language)
    return None


def filled(act: LockoutAct, text: str, chosen: tuple[str, ...]) -> LockoutAct:
    """The act with what was entered for it."""
    first = chosen[0] if chosen else ""
    match act.event:
        case Event.LOCK_ON:
            return LockoutAct(job=act.job, event=act.event, points=act.points, lock=text.strip())
        case Event.VERIFY | Event.MONITOR | Event.INSPECT_AREA:
            return LockoutAct(job=act.job, event=act.event, points=act.points, result=first)
        case Event.SHUT_DOWN:
            return LockoutAct(job=act.job, event=act.event, points=act.points, how=first)
        case Event.NOTIFY_BEFORE | Event.NOTIFY_AFTER:
            return LockoutAct(job=act.job, event=act.event, people=chosen)
        case Event.ACCOUNT_PEOPLE:
            return LockoutAct(job=act.job, event=act.event, people=chosen, result="ok")
    return act

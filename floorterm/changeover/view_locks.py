"""The isolation points of a line as a screen shows them: locks, whose, since when, and what comes next. Pure.

Everything is what the record says. The locks at the machine, the try-out and the site's procedure decide.
"""

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import Literal

from msgspec import Struct

from floorterm.changeover.entering import Speaker
from floorterm.changeover.fold_lockout import work_left
from floorterm.changeover.lock_offers import Offer, more_offers, offers_of
from floorterm.changeover.rules import lockout_next
from floorterm.changeover.state import State
from floorterm.changeover.view_step import RefusalView, refusal_views
from floorterm.changeover.view_words import Texts, clock, say, spoken, tell
from floorterm.lockout.guard import may_work, training_refusals
from floorterm.lockout.model import BOX, Event, Point
from floorterm.lockout.state import LockOn, LockoutState
from floorterm.people import Person
from floorterm.wording import Say

Level = Literal["", "caution", "danger"]


class PointRow(Struct, frozen=True, kw_only=True):
    """One isolation point in one line: name, position as recorded, locks with owner and time."""

    id: str
    name: str
    place: str
    position: str
    isolated: bool
    locks: tuple[str, ...]
    own: bool
    note: str = ""
    note_level: Level = ""


class Said(Struct, frozen=True, kw_only=True):
    """Something that must be known about a lockout, and the rule behind it; site policy says so."""

    text: str
    rule: str = ""
    level: Level = ""


class JobView(Struct, frozen=True, kw_only=True):
    """One lockout: its machine, its points, who is at work under it, what is proved, what comes next.

    `said` is what fell short or runs late, the newest first; `crew` who answers for whom in a group. Lockouts stand in
    the order of `place`.
    """

    work: str
    place: int = 0
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
    said: tuple[Said, ...] = ()
    crew: tuple[str, ...] = ()


class LocksView(Struct, frozen=True, kw_only=True):
    """Every lockout of a line that something is left of, and what this person can do.

    `more` is offered on a list of its own: what somebody may also do, but need not.
    """

    line: str
    authority: str
    count: int
    summary: str
    jobs: tuple[JobView, ...]
    offers: tuple[Offer, ...]
    empty: str
    more: tuple[Offer, ...] = ()


def locks_view(
    states: Iterable[State],
    person: Person | None,
    now: datetime,
    language: str,
    *,
    line: str = "",
    duties: Mapping[str, Texts] | None = None,
    people: Iterable[Person] = (),
    shift_since: datetime | None = None,
) -> LocksView:
    """The locks of the works of one line (`line` is its name) for a person, or for somebody not signed in.

    `people` are those whom an act may name: a crew, a contact, whoever takes over; `shift_since` is when the shift
    began.
    """
    works, known = tuple(states), tuple(people)
    isolated = frozenset(point for state in works for point in _isolated(state))
    by_code = {one.code: one.name for one in known}
    speaker = Speaker(language=language, duties=duties or {}, people=by_code)
    more: list[Offer] = []
    jobs: list[JobView] = []
    offers: list[Offer] = []
    for state in works:
        local = now.astimezone(state.last_at.tzinfo)
        others = _elsewhere(works, state)
        for name, job in state.locks.items():
            if state.ended and job.is_idle and not job.removed:
                continue
            beside = (*others, *_beside(state, name))
            jobs.append(_job(state, name, person, local, speaker, others, beside, isolated, shift_since))
            offers += offers_of(state, name, person, local, speaker, known)
            more += more_offers(state, name, person, speaker, known)
    locks = [lock for state in works for lock in state.locks_on()]
    safer_first = sorted(offers, key=lambda offer: not offer.safer)
    names = ", ".join(dict.fromkeys(lock.owner_name or lock.owner for lock in locks))
    return LocksView(
        line=line,
        authority=say("authority", language),
        count=len(locks),
        summary=say("locks_on", language, n=len(locks), names=names) if locks else say("locks_off", language),
        jobs=tuple(sorted(jobs, key=lambda job: job.place)),
        offers=tuple(safer_first),
        empty=say("no_lockout", language),
        more=tuple(more),
    )


def _elsewhere(works: tuple[State, ...], state: State) -> tuple[LockOn, ...]:
    return tuple(lock for other in works if other.work != state.work for lock in other.locks_on())


def _beside(state: State, name: str) -> tuple[LockOn, ...]:
    """The locks of the work's other lockouts: after a redirect two of them can be on the same points."""
    return tuple(lock for lock in state.locks_on() if lock.job != name)


def _isolated(state: State) -> Iterator[str]:
    """Points that a lockout of the work holds isolated by its record."""
    for job in state.locks.values():
        if not job.closed:
            yield from (point for point, found in job.points.items() if found.isolated)


def _place(job: LockoutState) -> int:
    """Where people or locks are stands first, then what is begun; what nobody has begun last."""
    return 0 if job.at_work or job.locks_on() else 1 if job.begun else 2


def _job(
    state: State,
    name: str,
    person: Person | None,
    now: datetime,
    speaker: Speaker,
    elsewhere: tuple[LockOn, ...],
    beside: tuple[LockOn, ...],
    isolated: frozenset[str],
    shift_since: datetime | None,
) -> JobView:
    job, language = state.locks[name], speaker.language
    moves = lockout_next(state, name, person, now) if person is not None else ()
    at_work = ", ".join(
        say("person_since", language, name=work.name, time=clock(work.at, now))
        for work in job.at_work.values()
    )
    return JobView(
        work=state.work,
        place=_place(job),
        job=name,
        machine=tell(job.job.machine, language),
        title=tell(job.job.title, language),
        status=say(_status(job), language),
        points=(
            *(_point(job, point, person, now, speaker, beside, isolated) for point in job.job.points),
            *([_box(job, person, now, language)] if job.group else []),
        ),
        at_work=say("at_work", language, names=at_work) if at_work else say("nobody_at_work", language),
        proved=_proved(job, now, language),
        alarm=job.alarm,
        next=tuple(spoken(move.say, language) for move in moves),
        refusals=_against_work(state, name, person, now, speaker, elsewhere),
        said=(*_said(job, now, language), *_new_shift(job, now, shift_since, language)),
        crew=tuple(_crews(job, speaker)),
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
    return job.name(code)


def _said(job: LockoutState, now: datetime, language: str) -> Iterator[Said]:
    """What is energised for a test, who is alone; what fell short, the newest first; what is old or not yet told."""
    if job.testing:
        points = ", ".join(tell(p.name, language) for p in job.job.points if p.id in job.testing)
        yield Said(
            text=say("said_testing", language, points=points), rule="29 CFR 1910.147(f)(1)", level="danger"
        )
    for code, due in job.alone_due().items():
        late = due is None or now > due
        time = clock(due, now) if due is not None else "-"
        contact = job.alone[code].contact if code in job.alone else ""
        facts = {"name": job.name(code), "contact": job.name(contact) or "-", "time": time}
        key = "said_alone_late" if late else "said_alone"
        yield Said(
            text=say(key, language, **facts),
            rule=say("site_policy", language),
            level="danger" if late else "",
        )
    for short in reversed(job.shortfalls):
        yield Said(text=spoken(Say(short.key, short.facts), language), rule=short.rule, level="danger")
    if job.too_old(now):
        text = say("said_old", language, n=job.job.policy.job_age_limit_h)
        yield Said(text=text, rule=say("site_policy", language), level="caution")
    for removed in job.removed.values():
        text = say("said_removed", language, owner=removed.owner_name, name=removed.by_name,
                   time=clock(removed.at, now))  # fmt: skip
        yield Said(text=text, rule="29 CFR 1910.147(e)(3)(iii)", level="caution")
    for one in job.handed:
        to = ", ".join(job.name(code) for code in sorted(one.to))
        place = say("lock_box", language) if one.place == BOX else one.place
        text = say("said_handed", language, place=place, name=job.name(one.giver), to=to)
        yield Said(text=text, rule="29 CFR 1910.147(f)(4)")


def _new_shift(job: LockoutState, now: datetime, since: datetime | None, language: str) -> Iterator[Said]:
    """Affected people who came with a new shift while the machine is locked are told too (site policy, LS-04)."""
    told = max((one.at for one in job.events if one.event is Event.NOTIFY_BEFORE), default=None)
    if since is not None and told is not None and told < since and job.locks_on():
        text = say("said_new_shift", language, time=clock(since, now))
        yield Said(text=text, rule=say("site_policy", language), level="caution")


def _crews(job: LockoutState, speaker: Speaker) -> Iterator[str]:
    for crew in job.crews:
        members = ", ".join(
            speaker.people.get(code) or job.name(code) for code in sorted(crew.members - {crew.primary})
        )
        primary = speaker.people.get(crew.primary) or job.name(crew.primary)
        yield say("crew_line", speaker.language, primary=primary, members=members or "-")
    if job.coordinator:
        name = speaker.people.get(job.coordinator) or job.name(job.coordinator)
        yield say("coordinator_line", speaker.language, name=name)


def _box(job: LockoutState, person: Person | None, now: datetime, language: str) -> PointRow:
    """The lock box as a row: how many keys are in it, whose locks hold it."""
    keys, needed = len(job.keys & set(job.job.required)), len(job.job.required)
    return PointRow(
        id=BOX,
        name=say("lock_box", language),
        place="",
        position=say("box_keys", language, n=keys, of=needed),
        isolated=keys == needed,
        locks=tuple(_lock_text(lock, now, language) for lock in job.box),
        own=person is not None and any(lock.owner == person.code for lock in job.box),
    )


def _point(
    job: LockoutState,
    point: Point,
    person: Person | None,
    now: datetime,
    speaker: Speaker,
    beside: tuple[LockOn, ...],
    isolated: frozenset[str],
) -> PointRow:
    language, found = speaker.language, job.points[point.id]
    others = [lock for lock in beside if lock.point == point.id and lock.line in ("", job.line)]
    locks = [_lock_text(lock, now, language) for lock in found.locks]
    locks += [say("lock_elsewhere", language, lock=_lock_text(lock, now, language)) for lock in others]
    note, level = _note(job, point, now, language)
    return PointRow(
        id=point.id,
        name=tell(point.name, language),
        place=tell(point.place, language),
        position=say(_position(found.isolated, point.id in isolated), language),
        isolated=found.isolated,
        locks=tuple(locks),
        own=person is not None and any(lock.owner == person.code for lock in found.locks),
        note=note,
        note_level=level,
    )


def _position(here: bool, anywhere: bool) -> str:
    return "isolated" if here else "isolated_elsewhere" if anywhere else "energised"


def _lock_text(lock: LockOn, now: datetime, language: str) -> str:
    time = clock(lock.at, now) if lock.at is not None else ""
    return say("lock_of", language, lock=lock.lock, name=lock.owner_name or lock.owner, time=time)


def _note(job: LockoutState, point: Point, now: datetime, language: str) -> tuple[str, Level]:
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
    if person is None or not job.begun or job.closed:
        return ()
    if state.ended or not work_left(state.worksheet, state.signed, name):
        # nobody is kept from a lock; who acts all the same is told what the audit will say of it
        acted = any(event.by == person.code for event in job.events)
        return refusal_views(training_refusals(job, person, now), speaker.language) if acted else ()
    return refusal_views(may_work(job, person, now, elsewhere), speaker.language)

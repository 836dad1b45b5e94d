"""What a person can do about a lockout from the Locks screen: the way out first, then what comes next. Pure.

An `Offer` is what a zone or a digit stands for; `filled` makes its acts whole with what was entered. What may be
recorded the rules decide.
"""

from collections.abc import Iterable
from datetime import datetime
from typing import Final

from msgspec import Struct
from msgspec.structs import replace

from floorterm.changeover.acts import LockoutAct
from floorterm.changeover.entering import (
    ANSWERED,
    EntrySpec,
    Speaker,
    answer_spec,
    lock_spec,
    people_clear_spec,
    people_told_spec,
    some_people_spec,
)
from floorterm.changeover.fold_lockout import work_left
from floorterm.changeover.rules import lockout_next
from floorterm.changeover.state import State
from floorterm.changeover.view_words import say, spoken, tell
from floorterm.lockout.asking import firms_of
from floorterm.lockout.guide import Move
from floorterm.lockout.guide_special import emergency_moves, other_moves
from floorterm.lockout.model import EMERGENCY, Event
from floorterm.lockout.state import LockoutState
from floorterm.people import LockoutStatus, Person

_SAFER: Final = (Event.WORK_END, Event.LOCK_OFF)
_ONE_POINT_EACH: Final = frozenset(
    {Event.ISOLATE, Event.LOCK_ON, Event.RELEASE, Event.RE_ENERGISE, Event.KEY_IN_BOX}
)
_FINDINGS: Final = frozenset(
    {Event.VERIFY, Event.MONITOR, Event.INSPECT_AREA, Event.OWNER_ABSENT_CHECK, Event.OWNER_CONTACT_TRY,
     Event.CONFIRM_EXCEPTION}
)  # fmt: skip
_NAMING: Final = frozenset(
    {Event.NOTIFY_BEFORE, Event.NOTIFY_AFTER, Event.OWN_STAFF_TOLD, Event.OFFER_VERIFY, Event.HAND_OVER,
     Event.LONE_CHECK}
)  # fmt: skip


class Offer(Struct, frozen=True, kw_only=True):
    """One thing that the person can do about a lockout. `goes_to` names the step on Work that does it.

    `acts` are recorded one after the other; where `asks` is set, each asks an entry first; `then` asks who
    coordinates several crews. `safer` acts are never refused.
    """

    id: str
    text: str
    note: str = ""
    work: str
    acts: tuple[LockoutAct, ...] = ()
    asks: EntrySpec | None = None
    then: EntrySpec | None = None
    goes_to: str = ""
    safer: bool = False


def offers_of(
    state: State,
    name: str,
    person: Person | None,
    now: datetime,
    speaker: Speaker,
    known: tuple[Person, ...] = (),
) -> Iterable[Offer]:
    """What the person does next, and what nobody is ever kept from; in the order of a screen."""
    job = state.locks[name]
    yield from _safer(state, name, person, speaker)
    if person is None:
        return
    moves = lockout_next(state, name, person, now)
    for move in moves:
        if move.event is not None and move.event not in _SAFER:
            yield _offer(state, name, _named(move, job, person, known), person, speaker)
    lapsing = job.monitor_due()
    asked = any(move.event is Event.MONITOR for move in moves)
    if person.lockout is LockoutStatus.AUTHORIZED and job.begun and lapsing and job.full and not asked:
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


def more_offers(
    state: State, name: str, person: Person | None, speaker: Speaker, known: tuple[Person, ...]
) -> Iterable[Offer]:
    """What somebody may also do: a hand-over, a test, crews, an absent owner's lock, what an emergency did."""
    job = state.locks[name]
    if person is not None:
        left = not state.ended and work_left(state.worksheet, state.signed, name)
        for move in other_moves(job, person, work_left=left):
            yield _offer(state, name, _named(move, job, person, known), person, speaker, beside=True)
        for firm in job.job.policy.contractor_duties if not state.ended else ():
            if job.exchanged.get(firm, frozenset()) < {"given", "received"}:
                yield Offer(
                    id=f"{state.work}/{name}/exchange/{firm}",
                    text=say("offer_exchange", speaker.language, firm=speaker.duty(firm)),
                    work=state.work,
                    acts=(LockoutAct(job=name, event=Event.CONTRACTOR_EXCHANGE, people=(firm,)),),
                    asks=answer_spec(Event.CONTRACTOR_EXCHANGE, speaker.language),
                )
    for move in emergency_moves(job, person):
        assert move.event is not None  # what an emergency did is always an event
        act = LockoutAct(job=name, event=move.event, points=move.points, owner=move.owner, how=EMERGENCY)
        what = f"cut/{move.owner}" if move.owner else "emergency_stop"
        text, id_ = spoken(move.say, speaker.language), f"{state.work}/{name}/{what}"
        yield Offer(id=id_, text=text, note=say("offer_cut", speaker.language), work=state.work, acts=(act,))


def _named(move: Move, job: LockoutState, person: Person, known: tuple[Person, ...]) -> Move:
    """The move with everybody whom it may name, where the record alone does not say."""
    others = tuple(one for one in known if one.active and one.code != person.code)
    match move.event:
        case Event.ASSIGN_PRIMARY:
            able = (one.code for one in others if one.lockout is LockoutStatus.AUTHORIZED)
            return replace(move, people=tuple(able))
        case Event.LONE_CHECK if not move.people:
            contact = job.alone.get(person.code)
            return replace(move, people=(contact.contact,) if contact else tuple(one.code for one in others))
        case Event.CONTRACTOR_EXCHANGE:
            return replace(move, people=firms_of(job.job, person))
    return move


def _offer(
    state: State, name: str, move: Move, person: Person, speaker: Speaker, *, beside: bool = False
) -> Offer:
    job, event, language = state.locks[name], move.event, speaker.language
    assert event is not None  # moves without an event are only sentences
    text, id_ = spoken(move.say, language), f"{state.work}/{name}/{event.value}"
    if move.owner:
        id_ += f"/{move.owner}"
    step = "" if beside else _step_for(state, name, event, move.points)
    if step:
        return Offer(id=id_, text=text, note=say("offer_on_work", language), work=state.work, goes_to=step)
    acts: tuple[LockoutAct, ...]
    if event in _ONE_POINT_EACH:
        acts = tuple(LockoutAct(job=name, event=event, points=(point,)) for point in move.points)
    else:
        primary = person.code if event is Event.ASSIGN_PRIMARY else ""
        crews = job.job.crews if primary and job.job.crews > 1 else None
        firm = move.people if event is Event.CONTRACTOR_EXCHANGE else ()
        whole = LockoutAct(
            job=name,
            event=event,
            points=move.points,
            owner=move.owner,
            primary=primary,
            crews=crews,
            people=firm,
        )
        acts = (whole,)
    if event is Event.WORK_START:
        text = say("offer_work_start", language, machine=tell(job.job.machine, language))
    then = None
    if event is Event.ASSIGN_PRIMARY and job.several_crews and not job.coordinator:
        then = some_people_spec("enter_coordinator", (person.code, *move.people), speaker, one=True)
    return Offer(id=id_, text=text, work=state.work, acts=acts, asks=_asks(job, move, speaker), then=then)


def _step_for(state: State, name: str, event: Event, points: tuple[str, ...]) -> str:
    """The open step of the worksheet that records this move; empty where none does."""
    if state.ended:
        return ""
    for step in state.worksheet.steps():
        same = step.job == name and step.event is event and (not step.point or step.point in points)
        if same and step.id not in state.signed:
            return step.id
    return ""


def _asks(job: LockoutState, move: Move, speaker: Speaker) -> EntrySpec | None:
    event, language = move.event, speaker.language
    match event:
        case Event.LOCK_ON:
            return lock_spec(language)
        case event if event in ANSWERED:
            return answer_spec(event, language)
        case Event.OFFER_VERIFY:
            return some_people_spec("enter_offered", move.people, speaker, all_chosen=True)
        case Event.ASSIGN_PRIMARY:
            return some_people_spec("enter_crew", move.people, speaker)
        case Event.HAND_OVER | Event.LONE_CHECK:
            key = "enter_hand_over" if event is Event.HAND_OVER else "enter_contact"
            return some_people_spec(key, move.people, speaker, one=True)
        case Event.NOTIFY_BEFORE | Event.NOTIFY_AFTER | Event.OWN_STAFF_TOLD:
            return people_told_spec(job.job.affected_duties, speaker)
        case Event.ACCOUNT_PEOPLE if job.attending:
            return people_clear_spec(job.attending, language)
    return None


def filled(act: LockoutAct, text: str, chosen: tuple[str, ...]) -> LockoutAct:
    """The act with what was entered for it."""
    first = chosen[0] if chosen else ""
    match act.event:
        case Event.LOCK_ON:
            return replace(act, lock=text.strip())
        case event if event in _FINDINGS:
            return replace(act, result=first)
        case Event.SHUT_DOWN | Event.PLUG_CONTROL:
            return replace(act, how=first)
        case event if event in _NAMING:
            return replace(act, people=chosen)
        case Event.ACCOUNT_PEOPLE:
            return replace(act, people=chosen, result="ok")
        case Event.ASSIGN_PRIMARY:
            return replace(act, people=chosen)
        case Event.CONTRACTOR_EXCHANGE:
            return replace(act, how=first)
    return act


def coordinated(act: LockoutAct, coordinator: str) -> LockoutAct:
    """An assignment with the coordinator of several crews."""
    return replace(act, coordinator=coordinator)

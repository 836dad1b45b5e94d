"""The state of a piece of work from its entries: the same entries give the same state, again and again.

`fold` reads a whole record, `apply` one more entry. Nothing is refused here: what was recorded counts, and
what *may* be recorded is decided by `floorterm.changeover.rules` before the entry is made. Time matters only
where a query asks for it (`State.expired`).
"""

from collections.abc import Iterable

from msgspec.structs import replace

from floorterm.changeover import fold_late as late
from floorterm.changeover import fold_lockout as lockouts
from floorterm.changeover import fold_steps as steps
from floorterm.changeover.acts import (
    STARTED,
    Abandon,
    Act,
    CorrectStep,
    Dispose,
    ExplainMinutes,
    LateStep,
    LockoutAct,
    Note,
    Pause,
    Protect,
    PushFlush,
    RaiseDeviation,
    RaiseLye,
    Redirect,
    Release,
    RepeatSection,
    Resume,
    ReviseFlush,
    SignStep,
    act_from_value,
)
from floorterm.changeover.redirect import initial_flush, initial_locks, redirected
from floorterm.changeover.state import (
    REPORTED,
    LyeFound,
    MinutesTold,
    NoteTaken,
    Protected,
    State,
    Stop,
    pause_reason,
)
from floorterm.changeover.worksheet import worksheet_from_json
from floorterm.entries import Entry

# after a release entries of these kinds alone say what the line holds (`State.holds`)
BRINGING = (STARTED, Redirect.KIND, Release.KIND)


class NotStartedError(ValueError):
    """The entries do not begin with the start of a piece of work."""


def fold(work_id: str, entries: Iterable[Entry]) -> State:
    """The state after all entries of a piece of work, in the order of their numbers.

    Raises NotStartedError if the first is not the start, UnknownActError for a kind that this version does
    not know, msgspec.ValidationError for a value that is not of its kind.
    """
    rest = iter(entries)
    first = next(rest, None)
    if first is None or first.kind != STARTED:
        raise NotStartedError(f"The record of {work_id} does not begin with the start of a piece of work.")
    state = _started(work_id, first)
    for entry in rest:
        state = apply(state, entry)
    return state


def apply(state: State, entry: Entry) -> State:
    """The state after one more entry. Raises UnknownActError or msgspec.ValidationError."""
    act = act_from_value(entry.kind, entry.value)
    after = _after(state, entry, act)
    if entry.identity == "unconfirmed":
        after = steps.deviates(after, entry, lockouts.UNCONFIRMED, {"name": entry.name}, critical="safety")
    return lockouts.standing(replace(after, last_at=entry.local, last_n=entry.n))


def _started(work_id: str, entry: Entry) -> State:
    worksheet = worksheet_from_json(entry.value["worksheet"])
    return State(
        work=work_id,
        worksheet=worksheet,
        started_at=entry.local,
        started_by=entry.name,
        last_at=entry.local,
        last_n=entry.n,
        locks=initial_locks(worksheet),
        flush=initial_flush(worksheet),
    )


def _after(state: State, entry: Entry, act: Act) -> State:
    match act:
        case SignStep():
            step = state.worksheet.step(act.step)
            if step is not None and step.kind == "protect" and act.outcome == "done":
                section = state.worksheet.section_of(step.id).id
                state = _protected(state, entry, section, (step.item,))
            return steps.signed(state, entry, act)
        case LateStep():
            return late.entered(state, entry, act)
        case CorrectStep():
            return steps.corrected(state, entry, act)
        case PushFlush():
            return steps.pushed(state, entry, act)
        case ReviseFlush():
            return steps.revised(state, entry, act)
        case LockoutAct():
            return steps.lockout_event(state, entry, act)
        case Protect():
            return _protected(state, entry, act.section, act.items)
        case RaiseLye():
            return _lye_found(state, entry, act)
        case RepeatSection():
            return steps.repeated(state, act)
        case RaiseDeviation():
            return steps.deviates(state, entry, REPORTED, {"text": act.text}, critical=act.critical)
        case _:
            return _whole(state, entry, act)


def _whole(
    state: State,
    entry: Entry,
    act: Dispose | Pause | Resume | Note | ExplainMinutes | Abandon | Redirect | Release,
) -> State:
    """The acts that are about the whole work, and decisions about what deviated in it."""
    match act:
        case Dispose():
            return steps.disposed(state, entry, act)
        case Pause():
            return replace(_noted(state, entry, act.reason), status="paused", paused_since=entry.local)
        case Resume():
            return replace(_unpaused(state, entry), status="open")
        case Note():
            return _noted(state, entry, act.text, act.step)
        case ExplainMinutes():
            return _told(state, entry, act)
        case Abandon():
            ended = _ended(_noted(state, entry, act.reason), entry)
            return replace(ended, status="abandoned", holds=act.holds or _may_hold(state))
        case Redirect():
            noted = replace(_noted(state, entry, act.reason), planned=state.planned or state.worksheet)
            return redirected(noted, worksheet_from_json(act.worksheet), entry.n)
        case Release():
            incoming = state.worksheet.incoming
            return replace(_ended(state, entry), status="released", holds=(incoming.id,) if incoming else ())


def _lye_found(state: State, entry: Entry, act: RaiseLye) -> State:
    found = LyeFound(
        n=entry.n,
        section=act.section,
        mass_pct=act.mass_pct,
        temperature_c=act.temperature_c,
        pressurised=act.pressurised,
    )
    return replace(state, lye_found=(*state.lye_found, found))


def _protected(state: State, entry: Entry, section: str, items: tuple[str, ...]) -> State:
    made = Protected(n=entry.n, at=entry.local, person=entry.person, section=section, items=items)
    return replace(state, protected=(*state.protected, made))


def _told(state: State, entry: Entry, act: ExplainMinutes) -> State:
    told = MinutesTold(
        n=entry.n,
        step=act.step,
        cause=act.cause,
        minutes=act.minutes,
        reason=act.reason,
        by_name=entry.name,
    )
    return replace(state, told=(*state.told, told))


def _noted(state: State, entry: Entry, text: str, step: str = "") -> State:
    note = NoteTaken(n=entry.n, at=entry.local, by_name=entry.name, text=text, step=step, kind=entry.kind)
    return replace(state, notes=(*state.notes, note))


def _unpaused(state: State, entry: Entry) -> State:
    if state.paused_since is None:
        return state
    seconds = int((entry.at - state.paused_since).total_seconds())
    stop = Stop(since=state.paused_since, until=entry.local, reason=pause_reason(state))
    return replace(state, paused_since=None, paused_s=state.paused_s + seconds, stops=(*state.stops, stop))


def _ended(state: State, entry: Entry) -> State:
    return replace(_unpaused(state, entry), ended_at=entry.local, ended_by=entry.name)


def _may_hold(state: State) -> tuple[str, ...]:
    """What a line may hold when a changeover ends and nobody says: all that was or should have been on it."""
    sheet = state.worksheet
    named = (sheet.outgoing, sheet.incoming, *sheet.traces)
    return tuple(dict.fromkeys(fragrance.id for fragrance in named if fragrance is not None))

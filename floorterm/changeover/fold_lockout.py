"""Lockout inside a piece of work: which events an entry stands for, and which lockout steps still stand.

**Events.** A signed step of kind `lockout` is one event of its job; a `lockout.event` entry is one too. The
first step that somebody signs under a lockout (`needs_lockout`) while not recorded as at work is also that
person's `work_start`, with the entry's own number; so whoever asks `may` about such a step asks for the start
of work too.

**Confirming.** A lockout step whose effect is there already (another person isolated the point from the Locks
screen, say) is signed as a confirmation and adds no event: a second `isolate` would only make the
verification stale. Notices, reviews, verifications, inspections and head counts are acts of a person and
always count.

**Standing.** A signed lockout step stands as long as its effect does. Those before the work (notify to
verify) stand while the effect holds or no step of the work under that lockout is left to do; those after it
stand while the effect holds and none is left (or the work was abandoned). What no longer stands drops out of
the current round by itself and is signed again; the signature stays in the history.

**Several people.** Signing a lock-off step takes the signer's own lock off that point (or confirms that none
is left there); it counts as done when the last lock is off the point, so every owner may sign it in turn.
Signing work-end ends the signer's own work; it counts as done when nobody is at work. Signing a lock step
puts the signer's own lock on; one lock on the point makes it done, and every further person puts theirs on
with a `lockout.event`. Head counts are refused while anybody is at work.

**On paper.** A lockout step that was done on paper changes no lock and nobody's work: the present state is what
people say in the present. It counts as done only once no step of the work under that lockout is left and the
record's own job of it was never begun or is closed, so that no live step ever rests on it.
"""

from collections.abc import Callable, Mapping

from msgspec.structs import replace

from floorterm.changeover.acts import LockoutAct, SignStep
from floorterm.changeover.state import State
from floorterm.changeover.worksheet import Step, Worksheet
from floorterm.entries import Entry
from floorterm.lockout.effects import apply_event
from floorterm.lockout.model import BOX, Event, LockEvent
from floorterm.lockout.state import LockoutState

BEFORE = frozenset(
    {
        Event.NOTIFY_BEFORE, Event.REVIEW, Event.SHUT_DOWN, Event.ISOLATE, Event.LOCK_ON, Event.RELEASE,
        Event.VERIFY, Event.ASSIGN_PRIMARY, Event.KEY_IN_BOX, Event.OFFER_VERIFY, Event.CONFIRM_EXCEPTION,
        Event.UNPLUG, Event.PLUG_CONTROL,
    }
)  # fmt: skip
# What ends a lockout: possible in every status, also after the work was abandoned or while it is paused.
ENDING = frozenset(
    {
        Event.WORK_END, Event.INSPECT_AREA, Event.ACCOUNT_PEOPLE, Event.LOCK_OFF, Event.NOTIFY_AFTER,
        Event.RE_ENERGISE, Event.RESTART, Event.CLOSE, Event.PLUG_IN, Event.TEMP_END, Event.HAND_OVER,
        Event.LONE_CHECK,
    }
)  # fmt: skip
ABSENT_OWNER = frozenset(
    {
        Event.OWNER_ABSENT_CHECK, Event.OWNER_CONTACT_TRY, Event.REMOVE_OTHER, Event.OWNER_INFORMED, Event.ON_SITE,
    }
)  # fmt: skip
UNCONFIRMED = "changeover.deviation.unconfirmed"  # key of the deviation that a missing PIN means
_NOTICES = frozenset({Event.NOTIFY_BEFORE, Event.NOTIFY_AFTER})
_RESULT_OK = frozenset({Event.INSPECT_AREA, Event.ACCOUNT_PEOPLE})


_Holds = Callable[[LockoutState, str], bool]
_EFFECTS: Mapping[Event, _Holds] = {
    Event.NOTIFY_BEFORE: lambda job, _: not job.closed and not job.untold(),
    Event.REVIEW: lambda job, _: not job.closed and bool(job.reviewed),
    Event.SHUT_DOWN: lambda job, _: not job.closed and job.is_shut_down,
    Event.ISOLATE: lambda job, point: job.points[point].isolated,
    Event.LOCK_ON: lambda job, point: bool(job.locks_on(point)),
    Event.RELEASE: lambda job, point: job.points[point].relieved_n is not None,
    Event.VERIFY: lambda job, _: bool(job.proofs),
    Event.WORK_END: lambda job, _: not job.at_work,
    # a closed record has nothing left to look over, to count, to tell or to start
    Event.INSPECT_AREA: lambda job, _: job.closed or job.inspected,
    Event.ACCOUNT_PEOPLE: lambda job, _: job.closed or job.accounted,
    Event.LOCK_OFF: lambda job, point: not job.locks_on(point),
    Event.NOTIFY_AFTER: lambda job, _: job.closed or not job.untold(after=True),
    Event.RE_ENERGISE: lambda job, point: not job.points[point].isolated,
    Event.RESTART: lambda job, _: job.closed or job.restarted,
    Event.CLOSE: lambda job, _: job.closed,
    Event.ASSIGN_PRIMARY: lambda job, _: bool(job.crews),
    Event.KEY_IN_BOX: lambda job, point: point in job.keys,
    Event.OFFER_VERIFY: lambda job, _: all(crew.members <= job.offered for crew in job.crews),
    Event.CONFIRM_EXCEPTION: lambda job, _: job.confirmed,
    Event.UNPLUG: lambda job, _: job.unplugged,
    Event.PLUG_CONTROL: lambda job, _: job.plug_held,
    Event.PLUG_IN: lambda job, _: not job.unplugged,
}
_CONFIRMED_WHERE_SO = frozenset(
    {
        Event.ISOLATE, Event.SHUT_DOWN, Event.RE_ENERGISE, Event.RESTART, Event.CLOSE, Event.ASSIGN_PRIMARY,
        Event.KEY_IN_BOX, Event.OFFER_VERIFY, Event.UNPLUG, Event.PLUG_IN,
    }
)  # fmt: skip


def effect_holds(step: Step, lockout: LockoutState) -> bool:
    """Whether what a lockout step brings about is so now, whoever brought it about."""
    if step.event is None or step.event not in _EFFECTS:
        return True
    if step.point and step.point not in lockout.points and step.point != BOX:
        return False
    return _EFFECTS[step.event](lockout, step.point)


def work_left(worksheet: Worksheet, signed: Mapping[str, object], job: str) -> bool:
    """Whether a step under that lockout is still unsigned in the current round."""
    return not worksheet.under_lockout.get(job, frozenset()) <= signed.keys()


def standing(state: State) -> State:
    """The state without the lockout steps that no longer stand (see the module)."""
    if not state.locks and not state.by_paper:  # nothing of what follows finds anything then
        return state
    left = {job: work_left(state.worksheet, state.signed, job) for job in state.locks}
    counting = {
        one.act.step: one
        for one in state.by_paper
        if (step := state.worksheet.step(one.act.step)) is not None and _counts_by_paper(state, step, left)
    }
    gone = []
    for step in state.worksheet.lockout_steps:
        signed = state.signed.get(step.id)
        if signed is None or step.job not in state.locks:
            continue
        if signed.paper is not None:
            if step.id not in counting:
                gone.append(step.id)
            continue
        holds = effect_holds(step, state.locks[step.job])
        done = state.ended or not left[step.job]
        if not ((holds or done) if step.event in BEFORE else (holds and done)):
            gone.append(step.id)
    stays = (
        {name: value for name, value in state.signed.items() if name not in gone} if gone else state.signed
    )
    new = {name: one for name, one in counting.items() if name not in stays}
    return replace(state, signed={**stays, **new}) if gone or new else state


def _counts_by_paper(state: State, step: Step, left: Mapping[str, bool]) -> bool:
    lockout = state.locks.get(step.job)
    return lockout is not None and not left[step.job] and (lockout.closed or not lockout.begun)


def _confirms(step: Step, lockout: LockoutState, person: str) -> bool:
    """Whether signing the step only confirms what is so already."""
    match step.event:
        case Event.LOCK_ON:
            return bool(lockout.own_locks(person, step.point))
        case Event.LOCK_OFF:
            return not lockout.locks_on(step.point)
        case Event.WORK_END:
            return not lockout.at_work
        case event if event in _CONFIRMED_WHERE_SO:
            return effect_holds(step, lockout)
        case Event.INSPECT_AREA | Event.ACCOUNT_PEOPLE | Event.NOTIFY_AFTER:
            return lockout.closed
    return False


def step_event(
    step: Step, act: SignStep, lockout: LockoutState, event: LockEvent, witness: str = ""
) -> LockEvent | None:
    """The event that a signed lockout step stands for; None when it only confirms what is so already.

    `event` carries number, time and person. A notice without `people` means every affected duty, a head count
    without `people` everybody who worked: the step says so and the signer confirms it.
    """
    if step.event is None or _confirms(step, lockout, event.by):
        return None
    people, result, primary = act.people, act.result, ""
    if step.event is Event.ASSIGN_PRIMARY:
        primary = event.by  # whoever signs takes charge; another one is named on the Locks screen
    elif step.event is Event.OFFER_VERIFY:
        crew = lockout.in_charge(event.by)
        people = people or tuple(sorted(crew.members if crew else ()))
    elif step.event in _NOTICES:
        people = people or lockout.job.affected_duties
    elif step.event is Event.ACCOUNT_PEOPLE:
        people = people or tuple(lockout.attending)
    elif step.event is Event.VERIFY:
        people = (witness,) if witness else ()
    if step.event in _RESULT_OK:
        result = result or "ok"
    return replace(
        event,
        event=step.event,
        points=(step.point,) if step.point else (),
        lock=act.lock,
        result=result,
        people=people,
        how=act.how,
        primary=primary,
    )


def act_event(act: LockoutAct, event: LockEvent, witness: str = "") -> LockEvent:
    """The event that a lockout act stands for. Witnesses of a verification are those who gave their PIN.

    An absent owner's lock is removed under the direction of whoever gave their PIN beside the acting person; when
    nobody did, of the acting person.
    """
    people, result = act.people, act.result
    if act.event is Event.VERIFY:
        people = (witness,) if witness else ()
    if act.event in _RESULT_OK:
        result = result or "ok"
    directed_by = (witness or event.by) if act.event is Event.REMOVE_OTHER and not act.is_way_out else witness
    return replace(
        event,
        event=act.event,
        points=act.points,
        lock=act.lock,
        result=result,
        people=people,
        how=act.how,
        owner=act.owner,
        primary=act.primary,
        coordinator=act.coordinator,
        crews=act.crews or 0,
        directed_by=directed_by if act.event is Event.REMOVE_OTHER else "",
    )


def entry_event(entry: Entry, event: Event) -> LockEvent:
    """A bare event of an entry: its number, time and person."""
    return LockEvent(n=entry.n, at=entry.local, event=event, by=entry.person, by_name=entry.name)


def happened(state: State, job: str, event: LockEvent) -> State:
    """The state after an event of one of its jobs."""
    return replace(state, locks={**state.locks, job: apply_event(state.locks[job], event)})


def premature(before: LockoutState, after: LockoutState, event: LockEvent) -> str | None:
    """The key of the deviation that a lock taken off means, or None. The lock comes off all the same.

    Somebody recorded as at work who takes off their own lock (1910.147(d)(4)(i)); the last lock off a
    required point before the area was looked over and the people counted (1910.147(e)(1), (e)(2)(i)); a lock that
    was cut in an emergency ((e)(3)).
    """
    if event.event is Event.REMOVE_OTHER and event.is_emergency:
        return "changeover.deviation.lock_cut"
    if event.event is not Event.LOCK_OFF:
        return None
    if event.by in before.at_work and after.without_own_lock(event.by) != before.without_own_lock(event.by):
        return "changeover.deviation.lock_off_at_work"
    emptied = set(after.not_locked()) - set(before.not_locked())
    if emptied and not (before.inspected and before.accounted):
        return "changeover.deviation.lock_off_unchecked"
    return None

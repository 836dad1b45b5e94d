"""What screens ask about a piece of work: what comes next, for whom, and what a PIN is needed for. Pure."""

from collections.abc import Iterable, Iterator
from datetime import datetime

from floorterm.changeover.acts import Act, CorrectStep, Dispose, LateStep, LockoutAct, Release, SignStep
from floorterm.changeover.fold_lockout import step_event, work_left
from floorterm.changeover.late_rules import is_vouched_for
from floorterm.changeover.lye_needs import protection_missing
from floorterm.changeover.order_rules import blocking, duty_refusals
from floorterm.changeover.state import State
from floorterm.changeover.waiting import due_steps, open_steps
from floorterm.changeover.worksheet import Step, Worksheet
from floorterm.lockout.guard import may_event, may_work
from floorterm.lockout.guide import Move, next_moves
from floorterm.lockout.model import Event, LockEvent
from floorterm.lockout.state import LockOn
from floorterm.people import Person

_LIKELY = {
    Event.VERIFY: "zero",
    Event.MONITOR: "zero",
    Event.INSPECT_AREA: "ok",
    Event.ACCOUNT_PEOPLE: "ok",
}


def next_steps(
    state: State, person: Person, now: datetime, elsewhere: Iterable[LockOn] = ()
) -> tuple[Step, ...]:
    """Steps that the person could sign now, in the worksheet's order: only the entry itself is missing."""
    locks = tuple(elsewhere)
    return tuple(step for step in open_steps(state, now) if _could_sign(state, step, person, now, locks))


def current_step(
    state: State, person: Person, now: datetime, elsewhere: Iterable[LockOn] = ()
) -> Step | None:
    """The step to show large to a person; None when every step stands.

    The first that they could sign; else the first that waits for no other step (a lock, a duty or time is
    missing), theirs before others'; else the first open one.
    """
    able = next_steps(state, person, now, elsewhere)
    if able:
        return able[0]
    waiting = open_steps(state, now)
    due = due_steps(state, now)
    theirs = [step for step in due if not any(duty_refusals(step, person))]
    return next(iter((*theirs, *due, *waiting)), None)


def _could_sign(
    state: State, step: Step, person: Person, now: datetime, elsewhere: tuple[LockOn, ...]
) -> bool:
    if blocking(state, step, now) or any(duty_refusals(step, person)):
        return False
    if step.needs_lockout:
        job = state.locks.get(step.needs_lockout)
        return job is not None and not may_work(job, person, now, elsewhere)
    if step.kind == "lockout":
        return not any(_lockout_refusals(state, step, person, now, elsewhere))
    return step.kind == "protect" or not protection_missing(state, step, person, now)


def _lockout_refusals(
    state: State, step: Step, person: Person, now: datetime, elsewhere: tuple[LockOn, ...]
) -> Iterator[object]:
    """Refusals of the likeliest entry at a lockout step."""
    job = state.locks.get(step.job)
    if job is None or step.event is None:
        yield step
        return
    likely = SignStep(
        step=step.id, lock="-" if step.event is Event.LOCK_ON else "", result=_LIKELY.get(step.event, "")
    )
    bare = LockEvent(n=0, at=now, event=step.event, by=person.code, by_name=person.name)
    event = step_event(step, likely, job, bare)
    if event is None:
        return
    if event.event is Event.WORK_END and person.code not in job.at_work:
        yield step
    others = [lock for name, one in state.locks.items() if name != step.job for lock in one.holding()]
    yield from may_event(job, event, person, now, (*elsewhere, *others))


def lockout_next(state: State, job: str, person: Person, now: datetime) -> tuple[Move, ...]:
    """What the person does next in a lockout job of this work, the most pressing first."""
    if job not in state.locks:
        return ()
    left = not state.ended and work_left(state.worksheet, state.signed, job)
    return next_moves(state.locks[job], person, now, work_left=left)


def witness_duty(worksheet: Worksheet, act: Act) -> str:
    """The duty of the second person whose PIN an act needs; empty when it needs none."""
    match act:
        case SignStep(outcome="done") | CorrectStep():
            step = worksheet.step(act.step)
            return step.witness if step else ""
        case LateStep():
            step = worksheet.step(act.step)
            return "supervisor" if step and is_vouched_for(worksheet, step) else ""
    return ""


def needs_pin(worksheet: Worksheet, act: Act, step: Step | None) -> bool:
    """Whether an act asks for the PIN again inside an open session, by the plant's policy for this worksheet.

    `step` is the step that the act is about, if any. The witness's own PIN is always asked, and so is that of whoever
    enters a paper.
    """
    if isinstance(act, LateStep):
        return True
    asks = frozenset(worksheet.pin_again)
    is_lockout = isinstance(act, LockoutAct) or (step is not None and step.kind == "lockout")
    reasons = {
        "every": True,
        "critical": step is not None and bool(step.critical),
        "lockout": is_lockout,
        "witness": step is not None and bool(step.witness),
        "disposition": isinstance(act, Dispose),
        "release": isinstance(act, Release),
    }
    return any(reasons.get(word, False) for word in asks)

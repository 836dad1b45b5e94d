"""A lockout as it happened, by record and by paper together: what the audit judges, and what a late entry rests on.

What was done on paper stands among the record's own events where its time puts it. Nothing of this is the present
state: locks are what people record in the present.
"""

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime

from msgspec import Struct
from msgspec.structs import replace

from floorterm.changeover.fold_lockout import step_event
from floorterm.changeover.state import Paper, Signed, State
from floorterm.lockout.effects import apply_event
from floorterm.lockout.model import Event, LockEvent
from floorterm.lockout.state import Gap, LockoutState


class Happened(Struct, frozen=True, kw_only=True):
    """One event with the state before it. `event.n` counts from 1; `entry` is the number in the ledger.

    `paper` is the signature where the event is by paper.
    """

    before: LockoutState
    event: LockEvent
    entry: int
    paper: Signed | None = None


def minute(at: datetime) -> datetime:
    """The minute of a moment: paper tells no seconds."""
    return at.replace(second=0, microsecond=0)


def papers(state: State, job: str) -> tuple[Signed, ...]:
    """Everything of a lockout job that was done on paper, its work included, in the order of the paper's times."""
    found = []
    known = state.every_lockout
    for one in state.history:
        step = state.step_of(one) if one.paper is not None else None
        if step is not None and job in (
            _name_now(state, name, one, known) for name in (step.job, step.needs_lockout)
        ):
            found.append(one)
    return tuple(sorted(found, key=lambda one: (one.done_at, one.n)))


def _name_now(state: State, job: str, signed: Signed, known: Mapping[str, LockoutState]) -> str:
    """What the lockout of a signature is called now: a redirect may have given it another name."""
    names = (f"{job}~{redirect.n}" for redirect in state.turned if redirect.n > signed.n)
    return next((name for name in names if name in known), job)


def as_happened(state: State, job: str, *, until: datetime | None = None) -> Iterator[Happened]:
    """The events of a lockout job in the order in which they happened, up to and with the minute `until`.

    The record's own events keep their order whatever their times; one by paper comes after those of its minute.
    """
    lockout = state.every_lockout[job]
    now = LockoutState.initial(lockout.job, lockout.line)
    waiting = [one for one in papers(state, job) if until is None or one.done_at <= until]
    own = [event for event in lockout.events if until is None or minute(event.at) <= until]
    n = 0
    while own or waiting:
        paper = waiting[0] if waiting and not (own and minute(own[0].at) <= waiting[0].done_at) else None
        if paper is None:
            found: Iterable[LockEvent] = own[:1]
            entry, own = own[0].n, own[1:]
        else:
            waiting, entry = waiting[1:], paper.n
            found = _events(state, now, paper)
        for one in found:
            n += 1
            event = replace(one, n=n)
            yield Happened(before=now, event=event, entry=entry, paper=paper)
            now = apply_event(now, event)


def proof_gaps(state: State, job: str, paper: Paper) -> list[Gap]:
    """What record and paper together lack until isolation was proved for whoever worked by a paper."""
    lockout = state.locks[job]
    now = LockoutState.initial(lockout.job, lockout.line)
    for one in as_happened(state, job, until=paper.at):
        now = apply_event(one.before, one.event)
    return now.proof_gaps(paper.person)


def _events(state: State, now: LockoutState, signed: Signed) -> Iterator[LockEvent]:
    step, paper = state.step_of(signed), signed.paper
    assert step is not None, "`papers` gives steps of worksheets alone"
    assert paper is not None, "`papers` gives what was done on paper alone"
    bare = LockEvent(n=0, at=paper.at, event=Event.WORK_START, by=paper.person, by_name=paper.name)
    if step.kind != "lockout":
        if paper.person not in now.at_work:
            yield bare
    elif step.event is not None:
        bare = replace(bare, event=step.event)
        event = step_event(step, signed.act, now, bare, paper.seen_by)
        if event is None and step.event is Event.LOCK_OFF and signed.act.lock:
            # nothing is on there: a paper that names a lock tells more than that none is left
            event = replace(bare, points=(step.point,), lock=signed.act.lock)
        if event is not None:
            yield event

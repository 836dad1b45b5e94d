"""What each act about steps, flushing, locks and deviations does to the state of a piece of work."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from decimal import Decimal
from typing import Literal

from msgspec.structs import replace

from floorterm.changeover import entry_rules
from floorterm.changeover.acts import (
    CorrectStep,
    Dispose,
    LockoutAct,
    PushFlush,
    RepeatSection,
    ReviseFlush,
    SignStep,
)
from floorterm.changeover.fold_lockout import act_event, entry_event, happened, premature, step_event
from floorterm.changeover.state import Correction, Deviation, FlushProgress, Paper, Push, Signed, State
from floorterm.changeover.worksheet import Step
from floorterm.entries import Entry
from floorterm.lockout.model import Event, LockEvent
from floorterm.wording import Fact


def deviates(
    state: State,
    entry: Entry,
    key: str,
    facts: Mapping[str, Fact],
    *,
    critical: Literal["", "safety", "quality"] = "",
    stops: bool = False,
    paper: Paper | None = None,
) -> State:
    """The state with one more deviation, raised by that entry at its step; of a step done on `paper` it says so."""
    deviation = Deviation(
        n=entry.n,
        at=entry.local,
        step=entry.step,
        by=entry.person,
        by_name=entry.name,
        key=key,
        facts=facts,
        critical=critical,
        stops=stops,
        paper=paper,
    )
    return replace(state, deviations=(*state.deviations, deviation))


def _without(signed: Mapping[str, Signed], steps: Iterable[str]) -> dict[str, Signed]:
    gone = frozenset(steps)
    return {name: value for name, value in signed.items() if name not in gone}


def required_kg(state: State, step: Step) -> Decimal | None:
    """What a flush step asks for now, kg of line mass; None for other steps."""
    return state.flush[step.id].required_kg if step.id in state.flush else None


# --- signing ----------------------------------------------------------------------------------------


def signed(state: State, entry: Entry, act: SignStep, paper: Paper | None = None) -> State:
    """A step signed: its lockout events happen, limits are judged, and what it reopens is open again.

    What was done on `paper` is the past: no lockout event happens by it, and a lockout step does not count yet.
    """
    step = state.worksheet.step(act.step)
    if step is None:  # a record of another version may name it: kept in the history, nothing stands
        return _signature(state, entry, act, paper, within=True, stands=False)
    if step.kind == "flush":
        act = _with_total(state, step, act)
        state = _flush_total(state, entry, step, act, paper)
    if act.outcome == "done" and paper is None:
        state = _events(state, entry, step, act)
    found = entry_rules.deviating(step, act, required_kg(state, step))
    kept = entry_rules.within(step, act, required_kg(state, step))
    stands = paper is None or step.kind != "lockout"
    state = _signature(state, entry, act, paper, within=kept, stands=stands)
    if found is not None:
        critical = "safety" if found[0].endswith("not_zero") else step.critical
        state = deviates(state, entry, *found, critical=critical, stops=_stops(step, act), paper=paper)
    return replace(state, signed=_without(state.signed, step.reopens)) if step.reopens else state


def _stops(step: Step, act: SignStep) -> bool:
    chosen = entry_rules.choice_of(step, act)
    return step.kind == "choice" and chosen is not None and chosen.stops


def _signature(
    state: State, entry: Entry, act: SignStep, paper: Paper | None, *, within: bool, stands: bool
) -> State:
    step = state.worksheet.step(act.step)
    section = state.worksheet.section_of(act.step).id if step else ""
    signature = Signed(
        act=act,
        n=entry.n,
        at=entry.local,
        person=entry.person,
        name=entry.name,
        witness=entry.witness,
        witness_name=entry.witness_name,
        within=within,
        round=state.rounds.get(section, 1),
        paper=paper,
    )
    history = (*state.history, signature)
    if not stands:
        on_paper = (signature,) if step is not None else ()
        return replace(state, history=history, by_paper=(*state.by_paper, *on_paper))
    return replace(state, history=history, signed={**state.signed, act.step: signature})


def _with_total(state: State, step: Step, act: SignStep) -> SignStep:
    return replace(act, kg=state.flush[step.id].pushed_kg) if act.kg is None else act


def _flush_total(state: State, entry: Entry, step: Step, act: SignStep, paper: Paper | None) -> State:
    progress = state.flush[step.id]
    if act.outcome != "done" or act.kg is None or act.kg <= progress.pushed_kg:
        return state
    return _push(state, entry, step.id, act.kg, paper)


def _events(state: State, entry: Entry, step: Step, act: SignStep) -> State:
    if step.needs_lockout in state.locks:
        lockout = state.locks[step.needs_lockout]
        if entry.person not in lockout.at_work:
            return happened(state, step.needs_lockout, entry_event(entry, Event.WORK_START))
        return state
    if step.kind != "lockout" or step.event is None or step.job not in state.locks:
        return state
    bare = entry_event(entry, step.event)
    event = step_event(step, act, state.locks[step.job], bare, entry.witness)
    return state if event is None else _event(state, entry, step.job, event)


def _event(state: State, entry: Entry, job: str, event: LockEvent) -> State:
    after = happened(state, job, event)
    early = premature(state.locks[job], after.locks[job], event)
    if early is None:
        return after
    facts: dict[str, Fact] = {"name": entry.name, "machine": after.locks[job].job.machine}
    return deviates(after, entry, early, facts, critical="safety")


def lockout_event(state: State, entry: Entry, act: LockoutAct) -> State:
    """A lockout event beside the steps. Energy found by it is a deviation too."""
    if act.job not in state.locks:
        return state
    event = act_event(act, entry_event(entry, act.event), entry.witness)
    state = _event(state, entry, act.job, event)
    if act.event in (Event.VERIFY, Event.MONITOR) and act.result == "not_zero":
        return deviates(state, entry, "changeover.deviation.not_zero", {}, critical="safety")
    return state


# --- corrections ------------------------------------------------------------------------------------


def corrected(state: State, entry: Entry, act: CorrectStep) -> State:
    """What was entered counts as corrected from here on; the old entry stays in the record.

    A value that is out of limits now raises a deviation; one raised before stays open until disposed of.
    """
    step = state.worksheet.step(act.step)
    if step is None:
        return state
    old = next((one for one in state.history if act.corrects in (one.n, one.corrected_by)), None)
    pushes = state.flush[step.id].pushes if step.id in state.flush else ()
    push = next((push for push in pushes if push.n == act.corrects), None)
    if push is not None:
        state = _correct_push(state, step.id, act)
    if old is None:
        if push is None:
            return state
        was = SignStep(step=step.id, kg=push.kg)
        return _told(state, entry, act, was, entry_rules.corrected(was, act), (push.at, push.at))
    new_act = entry_rules.corrected(old.act, act)
    state = _told(state, entry, act, old.act, new_act, (old.at, old.done_at))
    found = entry_rules.deviating(step, new_act, required_kg(state, step))
    kept = entry_rules.within(step, new_act, required_kg(state, step))
    new = replace(old, act=new_act, within=kept, corrected_by=entry.n)
    history = tuple(new if one.n == old.n else one for one in state.history)
    current = {name: new if one.n == old.n else one for name, one in state.signed.items()}
    state = replace(state, history=history, signed=current)
    if found is None:
        return state
    return deviates(state, entry, *found, critical=step.critical, stops=_stops(step, new_act))


def _told(
    state: State,
    entry: Entry,
    act: CorrectStep,
    before: SignStep,
    after: SignStep,
    times: tuple[datetime, datetime],
) -> State:
    entered_at, done_at = times
    correction = Correction(
        n=entry.n,
        at=entry.local,
        by_name=entry.name,
        before=before,
        after=after,
        reason=act.reason,
        entered_at=entered_at,
        done_at=done_at,
    )
    return replace(state, corrections=(*state.corrections, correction))


def _correct_push(state: State, step: str, act: CorrectStep) -> State:
    progress = state.flush[step]
    pushes = tuple(
        replace(push, kg=act.kg) if push.n == act.corrects and act.kg is not None else push
        for push in progress.pushes
    )
    return _progress(state, step, replace(progress, pushes=pushes, pushed_kg=pushes[-1].kg))


# --- flushing ---------------------------------------------------------------------------------------


def _progress(state: State, step: str, progress: FlushProgress) -> State:
    return replace(state, flush={**state.flush, step: progress})


def _push(state: State, entry: Entry, step: str, kg: Decimal, paper: Paper | None = None) -> State:
    progress = state.flush[step]
    at, name = (paper.at, paper.name) if paper is not None else (entry.local, entry.name)
    push = Push(n=entry.n, kg=kg, at=at, by_name=name)
    return _progress(state, step, replace(progress, pushed_kg=kg, pushes=(*progress.pushes, push)))


def pushed(state: State, entry: Entry, act: PushFlush) -> State:
    """A new running total at a flush step."""
    return _push(state, entry, act.step, act.kg) if act.step in state.flush else state


def revised(state: State, entry: Entry, act: ReviseFlush) -> State:
    """A new requirement at a flush step."""
    if act.step not in state.flush:
        return state
    progress = replace(state.flush[act.step], required_kg=act.kg, revised_by=entry.n, inputs=act.inputs)
    return _progress(state, act.step, progress)


# --- rounds and deviations --------------------------------------------------------------------------


def repeated(state: State, act: RepeatSection) -> State:
    """A new round of a section: its steps are open again, the earlier signatures stay in the history."""
    section = state.worksheet.section(act.section)
    if section is None:
        return state
    again = frozenset(step.id for step in section.steps)
    return replace(
        state,
        signed=_without(state.signed, again),
        by_paper=tuple(one for one in state.by_paper if one.act.step not in again),
        rounds={**state.rounds, act.section: state.rounds.get(act.section, 1) + 1},
    )


def disposed(state: State, entry: Entry, act: Dispose) -> State:
    """A decision about all that one entry raised. Rework opens the step again, so that it is done anew."""
    decided = tuple(
        replace(
            one,
            decision=act.decision,
            decided_by=entry.name,
            decided_n=entry.n,
            decided_at=entry.local,
            reason=act.reason,
        )
        if one.n == act.deviation
        else one
        for one in state.deviations
    )
    state = replace(state, deviations=decided)
    if act.decision != "rework":
        return state
    again = [
        name
        for name, one in state.signed.items()
        if act.deviation in (one.n, one.corrected_by)
        and (step := state.worksheet.step(name))
        and step.kind != "lockout"
    ]
    return replace(state, signed=_without(state.signed, again))

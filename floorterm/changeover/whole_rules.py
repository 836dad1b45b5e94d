"""Refusals of acts about the whole work: lockout beside the steps, rounds, pauses, deviations, the end."""

from collections.abc import Iterator

import msgspec

from floorterm.access import Right, has_right
from floorterm.changeover.acts import (
    Abandon,
    Dispose,
    ExplainMinutes,
    LockoutAct,
    Note,
    Pause,
    RaiseDeviation,
    Redirect,
    RepeatSection,
)
from floorterm.changeover.fold_lockout import ABSENT_OWNER, ENDING, act_event
from floorterm.changeover.minutes import over_standard
from floorterm.changeover.order_rules import no, status_refusals, step_facts, unproved_way_out
from floorterm.changeover.sign_rules import Asked, text_refusals, unknown_step
from floorterm.changeover.state import State
from floorterm.changeover.worksheet import Named, Section, worksheet_from_json
from floorterm.lockout.guard import may_event
from floorterm.lockout.model import Event, LockEvent
from floorterm.wording import Refusal, in_each_language


def lockout(asked: Asked, act: LockoutAct) -> Iterator[Refusal]:
    """All refusals of a lockout event beside the steps. Ending work, own lock off: never refused."""
    state, person = asked.state, asked.person
    job = state.locks.get(act.job)
    if job is None:
        yield no("no_such_lockout", "29 CFR 1910.147(d)", job=act.job)
        return
    if not act.is_way_out:
        yield from _lockout_status(state, act)
        yield from unproved_way_out(state, act.event)
    bare = LockEvent(n=0, at=asked.now, event=act.event, by=person.code, by_name=person.name)
    event = act_event(act, bare, asked.witness.code if asked.witness else "")
    yield from may_event(job, event, person, asked.now, asked.locks_elsewhere(act.job), asked.named())


def _lockout_status(state: State, act: LockoutAct) -> Iterator[Refusal]:
    finds_energy = act.result == "not_zero"
    if act.event in ABSENT_OWNER:
        return  # what is due to somebody whose lock was taken off is said in every status
    if state.status == "released" or (
        state.status == "abandoned" and act.event not in ENDING and not finds_energy
    ):
        yield from status_refusals(state)
    elif state.status == "paused" and act.event is Event.WORK_START:
        yield no("paused")


def repeat(asked: Asked, act: RepeatSection) -> Iterator[Refusal]:
    """All refusals of a new round of a section."""
    section = asked.state.worksheet.section(act.section)
    yield from status_refusals(asked.state)
    yield from text_refusals(act.reason, "reason_missing")
    if section is None:
        yield no("unknown_section", section=act.section)
    elif not any(step.id in asked.state.signed for step in section.steps):
        yield no("nothing_to_repeat", **in_each_language("section", section.title, section.id))


def pause(asked: Asked, act: Pause) -> Iterator[Refusal]:
    """All refusals of a pause."""
    yield from status_refusals(asked.state)
    yield from text_refusals(act.reason, "reason_missing")


def resume(asked: Asked) -> Iterator[Refusal]:
    """All refusals of taking the work up again."""
    if asked.state.ended:
        yield from status_refusals(asked.state)
    elif asked.state.status != "paused":
        yield no("not_paused")


def note(asked: Asked, act: Note) -> Iterator[Refusal]:
    """A note may always be written; only one without words, or about no step of ours, makes no sense."""
    yield from text_refusals(act.text, "text_missing")
    if act.step and asked.state.worksheet.step(act.step) is None:
        yield unknown_step(act.step)


def explain(asked: Asked, act: ExplainMinutes) -> Iterator[Refusal]:
    """All refusals of saying why a step took longer, possible also after the end: no more than it took too long."""
    step = asked.state.worksheet.step(act.step)
    yield from text_refusals(act.reason, "reason_missing")
    if step is None:
        yield unknown_step(act.step)
        return
    over = over_standard(asked.state, act.step, asked.now)
    if not 1 <= act.minutes <= over:
        yield no("minutes_not_lost", n=over, **in_each_language("step", step.text, step.id))


def raise_deviation(asked: Asked, act: RaiseDeviation) -> Iterator[Refusal]:
    """All refusals of reporting a deviation. Paused work takes it too; ended work takes a note instead."""
    if asked.state.ended:
        yield from status_refusals(asked.state)
    yield from text_refusals(act.text, "text_missing")
    if act.step and asked.state.worksheet.step(act.step) is None:
        yield unknown_step(act.step)


def dispose(asked: Asked, act: Dispose) -> Iterator[Refusal]:
    """All refusals of a disposition, possible also after the end.

    A supervisor or safety officer decides; what somebody caused alone they do not decide alone: another one
    does, or anybody else is the witness. Having reported a deviation is not having caused it.
    """
    person, witness = asked.person, asked.witness
    found = [one for one in asked.state.deviations if one.n == act.deviation]
    if not any(one.open for one in found):
        yield no("no_open_deviation" if not found else "decided_already", deviation=act.deviation)
        return
    if not has_right(person, Right.DISPOSE):
        yield no("supervisor_decides")
    elif any(one.caused_by(person.code) for one in found) and (
        witness is None or witness.code == person.code
    ):
        yield no("not_alone_on_own_deviation")
    yield from text_refusals(act.reason, "reason_missing")


def abandon(asked: Asked, act: Abandon) -> Iterator[Refusal]:
    """All refusals of abandoning: a missing reason, an end that was there before, a fragrance of elsewhere.

    Left open, everything that may be in the line is named; nobody names what the changeover never had to do with.
    """
    if asked.state.ended:
        yield from status_refusals(asked.state)
    yield from text_refusals(act.reason, "reason_missing")
    sheet = asked.state.worksheet
    known = {_id(named) for named in (sheet.outgoing, sheet.incoming, *sheet.traces)} - {""}
    foreign = [name for name in act.holds if name not in known]
    if foreign:
        yield no("holds_other", names=", ".join(foreign))


def redirect(asked: Asked, act: Redirect) -> Iterator[Refusal]:
    """All refusals of going on towards another incoming fragrance."""
    sheet = asked.state.worksheet
    if asked.state.ended:
        yield from status_refusals(asked.state)
    yield from text_refusals(act.reason, "reason_missing")
    if sheet.procedure is not None:
        yield no("procedure_has_no_direction")
    try:
        new = worksheet_from_json(act.worksheet)
    except msgspec.ValidationError:
        yield no("worksheet_unreadable")
        return
    other_pair = new.incoming is None or new.outgoing is None or sheet.outgoing is None
    if new.line.id != sheet.line.id or other_pair or _id(new.outgoing) != _id(sheet.outgoing):
        yield no("worksheet_of_other_line")
        return
    # what was meant until now may have been dosed; the new worksheet flushes it too
    before = {_id(named) for named in (sheet.incoming, *sheet.traces)} - {
        _id(new.outgoing),
        _id(new.incoming),
    }
    forgotten = sorted(before - {trace.id for trace in new.traces} - {""})
    if forgotten:
        yield no("worksheet_forgets", names=", ".join(forgotten))


def _id(named: Named | None) -> str:
    return named.id if named is not None else ""


# --- release ----------------------------------------------------------------------------------------


def release(asked: Asked) -> Iterator[Refusal]:
    """All refusals of the release: duty, open steps, deviations, locks, lockouts, the first-article check."""
    state, duties = asked.state, asked.state.worksheet.release_duties
    yield from status_refusals(state)
    if duties and not asked.person.duties & set(duties):
        yield no("release_duty", duty=", ".join(duty.replace("_", " ") for duty in duties))
    waiting = [step for step in state.worksheet.steps() if not state.stands(step.id, asked.now)]
    if waiting:
        yield no("release_open_steps", n=len(waiting), **step_facts(waiting[0]))
    deviations = state.open_deviations
    if deviations:
        yield no("release_open_deviations", n=len(deviations), deviation=deviations[0].n)
    yield from _lockouts_ended(state)
    for section in state.worksheet.sections:
        if section.first_article and not first_article_passed(state, section):
            title = in_each_language("section", section.title, section.id)
            yield no("first_article_not_passed", **title)


def _lockouts_ended(state: State) -> Iterator[Refusal]:
    for job in state.locks.values():
        locks = job.locks_on()
        if locks:
            names = ", ".join(dict.fromkeys(lock.owner_name or lock.owner for lock in locks))
            yield no(
                "release_locks_on",
                "29 CFR 1910.147(e)(3)",
                names=names,
                machine=job.job.machine,
                n=len(locks),
            )
        elif job.begun and not job.closed:
            yield no("release_lockout_open", "LO-36", machine=job.job.machine)


def first_article_passed(state: State, section: Section) -> bool:
    """Whether every step of a first-article section stands within limits, or its deviation was accepted."""
    for step in section.steps:
        signed = state.signed.get(step.id)
        if signed is None:
            return False
        raised = [one for one in state.deviations if one.n == (signed.corrected_by or signed.n)]
        if not signed.within and not any(one.decision == "accept" for one in raised):
            return False
    return True

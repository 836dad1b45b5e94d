"""Refusals of entering a step from paper: its times, its order, who did it, and who vouches for the paper.

Locks, protection and training are not asked as if the step were done now: it was done. What record and paper lack
of a lockout is a deviation and the audit's; and nothing that is entered here changes a lock.
"""

from collections.abc import Iterator
from datetime import timedelta
from decimal import ROUND_CEILING, Decimal

from floorterm.access import Right, has_right
from floorterm.changeover.acts import LateStep
from floorterm.changeover.order_rules import (
    clock,
    duty_refusals,
    dwell_over_at,
    held_back,
    no,
    status_refusals,
    step_facts,
)
from floorterm.changeover.paper_lockout import minute
from floorterm.changeover.sign_rules import Asked, entry_refusals, flush_entry, text_refusals, unknown_step
from floorterm.changeover.worksheet import Step, Worksheet
from floorterm.lockout.model import Event
from floorterm.people import Person
from floorterm.wording import Refusal


def is_vouched_for(sheet: Worksheet, step: Step) -> bool:
    """Whether a supervisor looks at the paper: critical and witnessed steps, lockout, lye, flush, first article."""
    section = sheet.section_of(step.id)
    under_care = (
        step.kind in ("lockout", "protect", "flush") or section.first_article or section.lye is not None
    )
    return bool(step.critical or step.witness or step.needs_lockout or under_care)


def late(asked: Asked, act: LateStep) -> Iterator[Refusal]:
    """All refusals of entering a step from paper."""
    step = asked.state.worksheet.step(act.step)
    if step is None:
        yield unknown_step(act.step)
        return
    yield from text_refusals(act.reason, "late_reason_missing")
    if act.done_at.tzinfo is None or not minute(asked.state.started_at) <= act.done_at <= asked.now:
        facts = {"since": clock(asked.state.started_at, asked.now), "now": clock(asked.now, asked.now)}
        yield no("late_time", **facts)
        return
    yield from _status(asked, act)
    yield from _signed(asked, step, act)
    yield from _order(asked, step, act)
    yield from held_back(asked.state, step)
    yield from _people(asked, step, act)
    yield from _entry(asked, step, act)
    yield from _vouched(asked, step, act)


def _status(asked: Asked, act: LateStep) -> Iterator[Refusal]:
    """What was done before a pause is entered during it; after the end of the work a note tells it."""
    paused = asked.state.paused_since
    if paused is None or act.done_at > paused:
        yield from status_refusals(asked.state)


def _signed(asked: Asked, step: Step, act: LateStep) -> Iterator[Refusal]:
    """Once is enough; of a lockout step every person has their own."""
    state = asked.state
    if step.kind == "lockout":
        done = [one for one in state.by_paper if one.act.step == step.id and one.done_by == act.by]
        signed = state.signed.get(step.id)
        if signed is not None and signed.done_by == act.by:
            done.append(signed)
    else:
        done = [state.signed[step.id]] if state.stands(step.id, asked.now) else []
    if done:
        last = done[-1]
        yield no(
            "signed_already", name=last.done_by_name, time=clock(last.done_at, asked.now), **step_facts(step)
        )


def _order(asked: Asked, step: Step, act: LateStep) -> Iterator[Refusal]:
    """What comes before the step stands, by record or by paper, and was done before it; a dwell was over."""
    state = asked.state
    for name in step.after:
        before = state.worksheet.step(name)
        if before is None:
            continue
        done = state.done(name)
        if done is None or state.expired(name, act.done_at):
            yield no("late_after", **step_facts(before))
        elif minute(done.done_at) > act.done_at:
            yield no("late_before", time=clock(done.done_at, asked.now), **step_facts(before))
    if step.kind == "wait":
        over = dwell_over_at(state, step)
        if over is not None and act.done_at < minute(over):
            minutes = -(-(minute(over) - act.done_at) // timedelta(minutes=1))
            yield no("late_dwell", n=minutes, time=clock(over, asked.now))


def _people(asked: Asked, step: Step, act: LateStep) -> Iterator[Refusal]:
    """Whoever signed the paper is a person of this plant with the step's duty, and so is its witness."""
    person = _named(asked, act.by, act.by_name)
    if person is None:
        yield no("late_unknown", code=act.by, name=act.by_name)
    else:
        yield from duty_refusals(step, person)
    if not (step.witness or act.seen_by):
        return
    seen = _named(asked, act.seen_by, act.seen_by_name)
    if seen is None:
        yield no("late_paper_witness", duty=(step.witness or "-").replace("_", " "))
    elif seen.code == act.by:
        yield no("witness_is_signer")
    elif step.witness and step.witness not in seen.duties:
        yield no("witness_duty", duty=step.witness.replace("_", " "), name=seen.name)


def _named(asked: Asked, code: str, name: str) -> Person | None:
    found = asked.people.get(code)
    return found if found is not None and found.name == name else None


def _entry(asked: Asked, step: Step, act: LateStep) -> Iterator[Refusal]:
    signature = act.signature()
    yield from entry_refusals(step, signature)
    if step.kind == "flush":
        yield from flush_entry(asked.state, step, signature)
        yield from _flush_time(asked, step, act)
    if step.event is Event.LOCK_ON and not act.lock.strip():
        yield no("late_lock_missing", **step_facts(step))
    if step.event is Event.VERIFY and act.result not in ("zero", "not_zero"):
        yield no("late_result_missing", **step_facts(step))


def _flush_time(asked: Asked, step: Step, act: LateStep) -> Iterator[Refusal]:
    """More kg than the line can push between the paper's times: one of them is misread. A minute counts as whole."""
    note, state = asked.state.worksheet.flush, asked.state
    if note is None or act.kg is None or not act.kg.is_finite():
        return
    before = [done.done_at for done in map(state.done, step.after) if done is not None]
    begun = minute(max(before, default=state.started_at))
    minutes = max(0, (act.done_at - begun) // timedelta(minutes=1)) + 1
    most = (note.most_kg_h * minutes / 60).quantize(Decimal(1), rounding=ROUND_CEILING)
    if act.kg > most:
        facts = {"kg": str(act.kg), "most": str(most), "since": clock(begun, asked.now)}
        yield no("late_flush_time", n=minutes, **facts)


def _vouched(asked: Asked, step: Step, act: LateStep) -> Iterator[Refusal]:
    witness = asked.witness
    if witness is None:
        if is_vouched_for(asked.state.worksheet, step):
            yield no("late_supervisor_missing")
    elif witness.code in (asked.person.code, act.by):
        yield no("late_supervisor_other")
    elif not witness.active:
        yield no("inactive", name=witness.name)
    elif not has_right(witness, Right.VOUCH_FOR_PAPER):
        yield no("late_supervisor_missing")

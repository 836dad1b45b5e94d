"""Refusals of acts about steps: signing, correcting, flushing."""

from collections.abc import Iterator, Mapping
from datetime import datetime
from decimal import Decimal
from typing import Final

from msgspec import Struct, field

from floorterm.access import Right, has_right
from floorterm.changeover import entry_rules, lye_needs
from floorterm.changeover.acts import CorrectStep, PushFlush, ReviseFlush, SignStep
from floorterm.changeover.bench import asked_for, worked
from floorterm.changeover.figures import number_of
from floorterm.changeover.fold_lockout import step_event
from floorterm.changeover.order_rules import (
    blocking,
    clock,
    duty_refusals,
    no,
    status_refusals,
    step_facts,
    unproved_way_out,
)
from floorterm.changeover.state import Signed, State
from floorterm.changeover.worksheet import Step
from floorterm.entries import TextError, clean_text
from floorterm.lockout.guard import may_event, may_work
from floorterm.lockout.model import Event, LockEvent
from floorterm.lockout.state import LockOn
from floorterm.lye.duties import Eyewash
from floorterm.people import Person
from floorterm.wording import Refusal

_MOST_KG: Final = Decimal(1_000_000)


class Asked(Struct, frozen=True, kw_only=True):
    """Who asks, when, with which witness, which locks are on elsewhere, and how the eyewash was found last."""

    state: State
    person: Person
    now: datetime
    witness: Person | None = None
    elsewhere: tuple[LockOn, ...] = ()
    people: Mapping[str, Person] = field(default_factory=dict)
    eyewash: Eyewash | None = None

    def named(self) -> Mapping[str, Person]:
        """Everybody whom a lockout event may name, the witness among them."""
        return {**self.people, self.witness.code: self.witness} if self.witness else self.people

    def locks_elsewhere(self, job: str) -> tuple[LockOn, ...]:
        """Locks of other works, and of this work's other jobs."""
        own = [lock for name, one in self.state.locks.items() if name != job for lock in one.holding()]
        return (*self.elsewhere, *own)


def text_refusals(text: str, missing: str) -> Iterator[Refusal]:
    """Against a text that is missing or that no record may keep."""
    if not text.strip():
        yield no(missing)
        return
    try:
        clean_text(text, newlines=True)
    except TextError:
        yield no("text_unfit")


def unknown_step(step_id: str) -> Refusal:
    """Against an act about a step that the worksheet does not have."""
    return no("unknown_step", step=step_id)


# --- signing ----------------------------------------------------------------------------------------


def sign(asked: Asked, act: SignStep) -> Iterator[Refusal]:
    """All refusals of signing a step."""
    state, now = asked.state, asked.now
    step = state.worksheet.step(act.step)
    if step is None:
        yield unknown_step(act.step)
        return
    if state.stands(step.id, now) and not lye_needs.own_tick_missing(state, step, asked.person, now):
        signed = state.signed[step.id]
        facts = {"name": signed.done_by_name, "time": clock(signed.done_at, now)}
        yield no("signed_already", **facts, **step_facts(step))
    yield from blocking(state, step, now)
    if act.outcome == "not_applicable":
        yield from _not_applicable(asked, step, act)
        return
    yield from duty_refusals(step, asked.person)
    yield from entry_refusals(step, act)
    if step.kind == "flush":
        yield from flush_entry(state, step, act)
    yield from witness_refusals(step.witness, asked)
    if step.needs_lockout:
        yield from _under_lockout(asked, step)
    if step.kind == "lockout":
        yield from _lockout_step(asked, step, act)
    yield from lye_needs.step_refusals(state, step, asked.person, now, asked.eyewash)


def _not_applicable(asked: Asked, step: Step, act: SignStep) -> Iterator[Refusal]:
    if step.kind == "lockout":
        yield no("lockout_always_applies", "29 CFR 1910.147(d)", **step_facts(step))
    if step.kind == "protect":
        yield no("protection_always_applies", **step_facts(step))
    yield from text_refusals(act.reason, "reason_missing")
    supervised = has_right(asked.person, Right.SKIP_CRITICAL_STEP) or (
        asked.witness is not None
        and has_right(asked.witness, Right.SKIP_CRITICAL_STEP)
        and asked.witness.code != asked.person.code
    )
    checks = asked.state.worksheet.section_of(step.id).first_article
    if (step.critical or step.kind == "flush" or checks) and not supervised:
        yield no("supervisor_says_not_applicable", **step_facts(step))
    if not has_right(asked.person, Right.SKIP_ANY_DUTY):
        yield from duty_refusals(step, asked.person)


def entry_refusals(step: Step, act: SignStep) -> Iterator[Refusal]:
    """Against an entry that does not fit the kind of its step."""
    match step.kind:
        case "reading" if step.worked_out:
            found = worked(step, act.text)
            if found is None or (found.number, found.ok) != (act.number, act.result != "not_ok"):
                yield Refusal(asked_for(step), "site policy")
        case "reading" if number_of(act.number) is None:
            yield no("number_missing" if not act.number.strip() else "no_number", came=act.number)
        case "choice" if entry_rules.choice_of(step, act) is None:
            yield no("choose_one")
        case "text":
            yield from text_refusals(act.text, "text_missing")
        case "scan" if act.scanned.strip() != step.expect:
            key = "scan_wrong" if act.scanned.strip() else "scan_missing"
            yield no(key, expected=step.expect, came=act.scanned.strip())
    if step.mark and (act.counter is None or act.counter < 0):
        yield no("counter_missing")


def flush_entry(state: State, step: Step, act: SignStep) -> Iterator[Refusal]:
    """Against a flush step without kg, or with fewer than were said before."""
    pushed = state.flush[step.id].pushed_kg if step.id in state.flush else Decimal(0)
    if act.kg is None:
        if not pushed:
            yield no("kg_missing")
    else:
        yield from _kg_refusals(act.kg)
        if act.kg.is_finite() and act.kg < pushed:
            yield no("kg_less", pushed=str(pushed))


def _kg_refusals(kg: Decimal) -> Iterator[Refusal]:
    if not kg.is_finite() or kg < 0 or kg > _MOST_KG:
        yield no("kg_impossible")


def witness_refusals(duty: str, asked: Asked) -> Iterator[Refusal]:
    """Against an act whose witness is missing, is the signer, or has another duty."""
    witness = asked.witness
    spoken = duty.replace("_", " ")
    if witness is None:
        if duty:
            yield no("witness_missing", duty=spoken)
        return
    if witness.code == asked.person.code:
        yield no("witness_is_signer")
    elif not witness.active:
        yield no("inactive", name=witness.name)
    elif duty and duty not in witness.duties:
        yield no("witness_duty", duty=spoken, name=witness.name)


def _under_lockout(asked: Asked, step: Step) -> Iterator[Refusal]:
    lockout = asked.state.locks.get(step.needs_lockout)
    if lockout is None:
        yield no("no_such_lockout", "29 CFR 1910.147(d)", job=step.needs_lockout)
        return
    yield from may_work(lockout, asked.person, asked.now, asked.locks_elsewhere(step.needs_lockout))


def _lockout_step(asked: Asked, step: Step, act: SignStep) -> Iterator[Refusal]:
    lockout = asked.state.locks.get(step.job)
    if lockout is None or step.event is None:
        yield no("no_such_lockout", "29 CFR 1910.147(d)", job=step.job)
        return
    person = asked.person
    bare = LockEvent(n=0, at=asked.now, event=step.event, by=person.code, by_name=person.name)
    event = step_event(step, act, lockout, bare, asked.witness.code if asked.witness else "")
    if event is None:
        return
    if event.event is Event.WORK_END and person.code not in lockout.at_work:
        names = ", ".join(work.name for work in lockout.at_work.values())
        yield no("others_at_work", "29 CFR 1910.147(e)(2)(i)", names=names)
    yield from unproved_way_out(asked.state, event.event)
    yield from may_event(lockout, event, person, asked.now, asked.locks_elsewhere(step.job), asked.named())


# --- correcting -------------------------------------------------------------------------------------


def correct(asked: Asked, act: CorrectStep) -> Iterator[Refusal]:
    """All refusals of a correction, possible also after the end. Locks are events and never corrected."""
    step = asked.state.worksheet.step(act.step)
    if step is None:
        yield unknown_step(act.step)
        return
    if step.kind == "lockout":
        yield no("lockout_not_corrected")
        return
    yield from text_refusals(act.reason, "reason_missing")
    pushed = _push_of(asked.state, step, act)
    original = _original(asked.state, act)
    if original is None:
        if pushed:
            yield from duty_refusals(step, asked.person)
            yield from _correct_push(act)
        else:
            yield no("nothing_to_correct", n=act.corrects, **step_facts(step))
        return
    if original.person != asked.person.code and not has_right(asked.person, Right.CORRECT_OTHERS):
        yield no("not_yours_to_correct", name=original.name)
    new = entry_rules.corrected(original.act, act)
    if new == original.act:
        yield no("nothing_changed")
    elif original.act.outcome == "done":
        yield from _corrected_entry(step, new)
    if original.act.outcome == "done":
        yield from witness_refusals(step.witness, asked)


def _original(state: State, act: CorrectStep) -> Signed | None:
    of_step = (one for one in state.history if one.act.step == act.step)
    return next((one for one in of_step if act.corrects in (one.n, one.corrected_by)), None)


def _push_of(state: State, step: Step, act: CorrectStep) -> bool:
    return step.id in state.flush and any(push.n == act.corrects for push in state.flush[step.id].pushes)


def _correct_push(act: CorrectStep) -> Iterator[Refusal]:
    if act.kg is None:
        yield no("kg_missing")
    else:
        yield from _kg_refusals(act.kg)


def _corrected_entry(step: Step, new: SignStep) -> Iterator[Refusal]:
    yield from entry_refusals(step, new)
    if step.kind == "flush" and new.kg is not None:
        yield from _kg_refusals(new.kg)


# --- flushing ---------------------------------------------------------------------------------------


def push(asked: Asked, act: PushFlush) -> Iterator[Refusal]:
    """All refusals of a new running total."""
    step = asked.state.worksheet.step(act.step)
    if step is None or step.kind != "flush":
        yield unknown_step(act.step)
        return
    yield from blocking(asked.state, step, asked.now)
    yield from duty_refusals(step, asked.person)
    yield from _signed_flush(asked.state, step)
    yield from _kg_refusals(act.kg)
    pushed = asked.state.flush[step.id].pushed_kg
    if act.kg.is_finite() and act.kg < pushed:
        yield no("kg_less", pushed=str(pushed))


def revise(asked: Asked, act: ReviseFlush) -> Iterator[Refusal]:
    """All refusals of a new requirement. Only a supervisor or safety officer makes it smaller."""
    step = asked.state.worksheet.step(act.step)
    if step is None or step.kind != "flush":
        yield unknown_step(act.step)
        return
    yield from status_refusals(asked.state)
    yield from _signed_flush(asked.state, step)
    yield from text_refusals(act.reason, "reason_missing")
    yield from _kg_refusals(act.kg)
    required = asked.state.flush[step.id].required_kg
    if act.kg.is_finite() and act.kg < required and not has_right(asked.person, Right.LOWER_FLUSH):
        yield no("supervisor_lowers_flush", required=str(required))


def _signed_flush(state: State, step: Step) -> Iterator[Refusal]:
    if step.id in state.signed:
        yield no("flush_signed", name=state.signed[step.id].done_by_name)

"""What keeps a step waiting: the status of the work, the steps before it, a deviation that stops, a dwell.

Also the small things that all refusals of this room share.
"""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Final

from floorterm.changeover.fold_lockout import ENDING, UNCONFIRMED
from floorterm.changeover.state import State
from floorterm.changeover.worksheet import Step
from floorterm.lockout.model import Event
from floorterm.people import Person
from floorterm.wording import Fact, Refusal, Say, in_each_language

SITE: Final = "site policy"


def no(key: str, rule: str = SITE, /, **facts: Fact) -> Refusal:
    """A refusal of this room."""
    return Refusal(Say(f"changeover.{key}", facts), rule)


def step_facts(step: Step) -> dict[str, Fact]:
    """A step as facts of a sentence: its id (`step`), its text in each language (`step_en`, `step_es`)."""
    return {"step": step.id, **in_each_language("step", step.text, step.id)}


def clock(at: datetime, now: datetime) -> str:
    """A time of day as people say it; with the date when it was another day."""
    return at.strftime("%H:%M" if at.date() == now.date() else "%Y-%m-%d %H:%M")


def ends_lockout(step: Step) -> bool:
    """Whether a step belongs to what ends a lockout: possible in every status of the work."""
    return step.kind == "lockout" and step.event in ENDING


def status_refusals(state: State) -> Iterator[Refusal]:
    """Against ordinary work: paused, released or abandoned."""
    if state.status == "paused":
        yield no("paused")
    elif state.ended:
        yield no(f"ended_{state.status}", name=state.ended_by)


def unproved_way_out(state: State, event: Event) -> Iterator[Refusal]:
    """Against energy coming back while somebody is out of a lockout only by a word without a PIN.

    Their end of work and their lock's removal are recorded at once (nobody is trapped), but anybody could have
    named them; only the owner takes a lock off (1910.147(e)(3)), so a supervisor asks them first.
    """
    if event not in (Event.RE_ENERGISE, Event.RESTART):
        return
    for one in state.open_deviations:
        if one.key == UNCONFIRMED:
            yield no("unconfirmed_out", "29 CFR 1910.147(e)(3)", name=one.by_name, deviation=one.n)


def blocking(state: State, step: Step, now: datetime) -> tuple[Refusal, ...]:
    """What keeps a step waiting at `now`, whoever would sign it: status, order, stops and dwell."""
    return tuple(_blocking(state, step, now))


def _blocking(state: State, step: Step, now: datetime) -> Iterator[Refusal]:
    ending = ends_lockout(step)
    if state.status == "released" or not ending:
        yield from status_refusals(state)
    if (
        state.status == "abandoned" and ending
    ):  # its own order is the guard's; the worksheet's no longer counts
        return
    key = "after_own_lock" if step.event is Event.LOCK_OFF else "after"
    for name in step.after:
        before = state.worksheet.step(name)
        if before is not None and not state.stands(name, now):
            again = "_again" if state.expired(name, now) else ""
            yield no(key + again, **step_facts(before))
    if not ending:
        yield from held_back(state, step)
    if step.kind == "wait":
        yield from _dwelling(state, step, now)


def held_back(state: State, step: Step) -> Iterator[Refusal]:
    """Against a step behind a deviation that stops, or behind a lockout that a redirect carried along."""
    yield from _stopped(state, step)
    yield from _carried(state, step)


def _stopped(state: State, step: Step) -> Iterator[Refusal]:
    stopping = [one for one in state.open_deviations if one.stops and one.step and one.step != step.id]
    if not stopping:
        return
    above = _above(state, step)
    for deviation in stopping:
        if deviation.step in above:
            at = state.worksheet.step(deviation.step)
            yield no("stopped", deviation=deviation.n, **(step_facts(at) if at else {}))


def _carried(state: State, step: Step) -> Iterator[Refusal]:
    """Against flushing, and all that follows it, under a lockout that a redirect carried along and nobody ended.

    The new worksheet has no step that waits for it, and the soap would be pushed through a machine with locks on.
    """
    carried = [job for key, job in state.locks.items() if "~" in key and not job.is_idle]
    if not carried:
        return
    above = (state.worksheet.step(name) for name in _above(state, step))
    if step.kind == "flush" or any(one is not None and one.kind == "flush" for one in above):
        for job in carried:
            yield no("carried_lockout", "29 CFR 1910.147(e)", machine=job.job.machine)


def _above(state: State, step: Step) -> frozenset[str]:
    """Every step that this one comes after, step by step, and those above it in its section."""
    sheet = state.worksheet
    seen: set[str] = set()
    for other in sheet.section_of(step.id).steps:
        if other.id == step.id:
            break
        seen.add(other.id)
    waiting = list(step.after)
    while waiting:
        name = waiting.pop()
        if name not in seen:
            seen.add(name)
            found = sheet.step(name)
            waiting.extend(found.after if found else ())
    return frozenset(seen)


def dwell_over_at(state: State, step: Step) -> datetime | None:
    """When the dwell of a wait step is over; None while the step it counts from is not signed."""
    since = step.since or (step.after[-1] if step.after else "")
    if not since or state.worksheet.step(since) is None:
        begun = state.started_at
    elif (done := state.done(since)) is not None:
        begun = done.done_at
    else:
        return None
    return begun + timedelta(minutes=float(step.dwell_min or 0))


def _dwelling(state: State, step: Step, now: datetime) -> Iterator[Refusal]:
    over = dwell_over_at(state, step)
    if over is None:
        since = state.worksheet.step(step.since)
        if since is not None and step.since not in step.after:
            yield no("after", **step_facts(since))
    elif now < over:
        minutes = -(-int((over - now).total_seconds()) // 60)
        yield no("dwell", n=max(1, minutes), time=clock(over, now))


def set_clock_refusals(state: State, step: Step, now: datetime, ahead: timedelta) -> Iterator[Refusal]:
    """Against the end of a dwell that is over only because the clock was set `ahead` while it ran."""
    over = dwell_over_at(state, step) if step.kind == "wait" else None
    if over is not None and ahead > timedelta(0) and now < over + ahead:
        facts = {"set": str(round(ahead.total_seconds() / 60)), "time": clock(over + ahead, now)}
        yield no("dwell_clock_set", **facts)


def duty_refusals(step: Step, person: Person) -> Iterator[Refusal]:
    """Against somebody without the duty that a step asks for."""
    if step.duty and step.duty not in person.duties:
        yield no("duty", duty=step.duty.replace("_", " "), **step_facts(step))

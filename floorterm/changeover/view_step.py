"""One step as a screen shows it: its texts in one language, what it asks, what is refused and why. Pure."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from decimal import ROUND_CEILING, Decimal
from typing import Final

from msgspec import Struct

from floorterm.changeover.entering import EntrySpec, Speaker, entry_spec, likely_act, limit_text
from floorterm.changeover.entry_rules import choice_of
from floorterm.changeover.order_rules import dwell_over_at
from floorterm.changeover.queries import needs_pin
from floorterm.changeover.rules import blocking, may
from floorterm.changeover.standard import minutes_of
from floorterm.changeover.state import FlushProgress, Signed, State
from floorterm.changeover.view_words import (
    Texts,
    clock,
    kg,
    minutes_between,
    rule_text,
    say,
    spoken,
    tell,
    unit_text,
    unreviewed,
)
from floorterm.changeover.worksheet import FlushNote, Step
from floorterm.languages import grouped, number
from floorterm.lockout.model import Event, Job
from floorterm.lockout.state import LockOn
from floorterm.lye.duties import Eyewash
from floorterm.people import Person
from floorterm.wording import Refusal

# Asked for in a dialogue after the step itself was entered; it is no reason against the person.
_ASKED_LATER: Final = "changeover.witness_missing"
NOBODY: Final = Person(code="", name="")


class RefusalView(Struct, frozen=True, kw_only=True):
    """Why something cannot be recorded and what to do instead, with the rule behind it."""

    text: str
    rule: str


class Passed(Struct, frozen=True, kw_only=True):
    """A signed step in one line: what, its value, when and by whom. `outside` marks a deviation."""

    id: str
    text: str
    value: str
    time: str
    name: str
    witness: str = ""
    outside: bool = False
    corrected: bool = False


class FlushView(Struct, frozen=True, kw_only=True):
    """Progress of a flush step in kg of line mass; `share` runs from 0 to 1."""

    required_kg: Decimal
    pushed_kg: Decimal
    left_kg: Decimal
    share: float
    text: str
    left_text: str
    done: bool


class Detail(Struct, frozen=True, kw_only=True):
    """One line under a step: an isolation point with its energy or its way of trying out."""

    name: str
    text: str


class StepView(Struct, frozen=True, kw_only=True):
    """A step ready to show. Empty texts are not shown. `pin` says whether Enter asks the PIN again.

    `witness` and `duty` are names of duties; `minutes` counts since the step could be begun.
    """

    id: str
    kind: str
    event: str
    section: str
    section_id: str
    round: int
    number: int
    text: str
    why: str
    caution: str
    wear: str
    limit: str
    duty: str
    witness: str
    witness_id: str
    critical: str
    under_lockout: str
    minutes: int
    standard_min: Decimal
    time_text: str
    late: bool
    pin: bool
    draft: bool
    entry: EntrySpec
    refusals: tuple[RefusalView, ...]
    details: tuple[Detail, ...] = ()
    flush: FlushView | None = None
    wait_until: str = ""

    @property
    def refused(self) -> bool:
        """Whether this person cannot sign the step now, whatever they enter."""
        return bool(self.refusals)


def refusal_views(refusals: Iterable[Refusal], language: str) -> tuple[RefusalView, ...]:
    """Refusals in a language, each once."""
    found = [RefusalView(text=spoken(one.say, language), rule=rule_text(one, language)) for one in refusals]
    return tuple(dict.fromkeys(found))


def standing_refusals(
    state: State,
    step: Step,
    person: Person | None,
    now: datetime,
    elsewhere: Iterable[LockOn] = (),
    eyewash: Eyewash | None = None,
) -> tuple[Refusal, ...]:
    """What keeps the person from signing the step whatever they enter; without a person, what keeps anybody.

    Entry and witness are left out: the step asks for them.
    """
    if person is None:
        return blocking(state, step, now)
    likely = likely_act(state, step, person)
    found = may(state, likely, person, now, elsewhere=elsewhere, eyewash=eyewash)
    return tuple(refusal for refusal in found if refusal.say.key != _ASKED_LATER)


def numbers(state: State) -> Mapping[str, int]:
    """Each step's number on the worksheet, from 1."""
    return {step.id: place for place, step in enumerate(state.worksheet.steps(), 1)}


def step_view(
    state: State,
    step: Step,
    person: Person | None,
    now: datetime,
    speaker: Speaker,
    elsewhere: Iterable[LockOn] = (),
    eyewash: Eyewash | None = None,
) -> StepView:
    """A step ready to show to a person, or to somebody who has not signed in."""
    language, sheet = speaker.language, state.worksheet
    section = sheet.section_of(step.id)
    spec = entry_spec(state, step, speaker)
    likely = likely_act(state, step, person or NOBODY)
    minutes, standard = minutes_between(_ready_at(state, step, person), now), minutes_of(sheet, step)
    return StepView(
        id=step.id,
        kind=step.kind,
        event=step.event or "",
        section=tell(section.title, language),
        section_id=section.id,
        round=state.rounds.get(section.id, 1),
        number=numbers(state)[step.id],
        text=tell(step.text, language),
        why=tell(step.why, language),
        caution=tell(step.caution, language),
        wear=", ".join(tell(item, language) for item in step.ppe),
        limit=_limit(state, step, spec, now, language),
        duty=speaker.duty(step.duty) if step.duty else "",
        witness=speaker.duty(step.witness) if step.witness else "",
        witness_id=step.witness,
        critical=say(f"critical_{step.critical}", language) if step.critical else "",
        under_lockout=_machine(state, step, language),
        minutes=minutes,
        standard_min=standard,
        time_text=_time_text(minutes, standard, language),
        late=standard > 0 and minutes > standard,
        pin=needs_pin(sheet, likely, step),
        draft=unreviewed((step.text, step.why, step.caution, *step.ppe), language),
        entry=spec,
        refusals=refusal_views(standing_refusals(state, step, person, now, elsewhere, eyewash), language),
        details=_details(state, step, language),
        flush=flush_view(state.flush[step.id], sheet.flush, language) if step.id in state.flush else None,
        wait_until=_wait_until(state, step, now, language),
    )


def _machine(state: State, step: Step, language: str) -> str:
    job = state.locks.get(step.needs_lockout) if step.needs_lockout else None
    return tell(job.job.machine, language) if job else ""


def _ready_at(state: State, step: Step, person: Person | None) -> datetime:
    """Since when the step could be done: what comes before it stood, and the person was free."""
    times = [state.signed[name].done_at for name in step.after if name in state.signed]
    if person is not None:
        times += [one.at for one in state.history[-1:] if one.person == person.code]
        own = [one.at for one in state.history if one.person == person.code]
        times += own[-1:]
    return max(times, default=state.started_at)


def _time_text(minutes: int, standard: Decimal, language: str) -> str:
    if not standard:
        return say("step_time_free", language, minutes=minutes)
    over = minutes - int(standard.to_integral_value(ROUND_CEILING))
    key = "step_time_over" if over > 0 else "step_time"
    return say(key, language, minutes=minutes, standard=number(standard.normalize(), language), over=over)


def _limit(state: State, step: Step, spec: EntrySpec, now: datetime, language: str) -> str:
    match step.kind:
        case "reading":
            return limit_text(step, language)
        case "scan":
            return spec.limit
        case "flush":
            progress = state.flush[step.id]
            return say("limit_flush", language, kg=kg(progress.required_kg, language))
        case "wait":
            over = dwell_over_at(state, step)
            dwell = number((step.dwell_min or Decimal(0)).normalize(), language)
            if over is None:
                return say("limit_wait", language, minutes=dwell)
            return say("limit_wait_until", language, minutes=dwell, time=clock(over, now))
    return ""


def _wait_until(state: State, step: Step, now: datetime, language: str) -> str:
    over = dwell_over_at(state, step) if step.kind == "wait" else None
    return clock(over, now, language) if over is not None and over > now else ""


def flush_view(progress: FlushProgress, note: FlushNote | None, language: str) -> FlushView:
    """Progress of a flush: pushed against required, and what is left in bars and minutes."""
    required, pushed, left = progress.required_kg, progress.pushed_kg, progress.left_kg
    share = 1.0 if not required else min(1.0, float(pushed / required))
    facts = {"pushed": kg(pushed, language), "required": kg(required, language), "kg": kg(left, language)}
    if left and note is not None:
        facts |= left_facts(left, note, language)
        left_text = say("flush_left_bars", language, **facts)
    else:
        left_text = say("flush_left" if left else "flush_enough", language, **facts)
    return FlushView(
        required_kg=required,
        pushed_kg=pushed,
        left_kg=left,
        share=share,
        text=say("flush_pushed", language, **facts),
        left_text=left_text,
        done=not left,
    )


def left_facts(left_kg: Decimal, note: FlushNote, language: str) -> dict[str, str]:
    """Line mass in kg as bars (one a slug) and minutes at the line's rate, both rounded up.

    All that the calculation asked for keeps its own figures, which were rounded from more digits.
    """
    if left_kg == note.required_kg:
        bars, minutes = Decimal(note.bars), Decimal(note.minutes)
    else:
        bars = (left_kg * 1000 / note.slug_g).to_integral_value(ROUND_CEILING)
        minutes = (left_kg * 60 / note.rate_kg_h).to_integral_value(ROUND_CEILING)
    return {"bars": grouped(bars, language), "minutes": grouped(minutes, language)}


def _details(state: State, step: Step, language: str) -> tuple[Detail, ...]:
    job = state.locks.get(step.job) if step.job else None
    if job is None:
        return ()
    match step.event:
        case Event.REVIEW:
            return _energies(job.job, language)
        case Event.VERIFY:
            return _methods(job.job, language)
        case Event.ACCOUNT_PEOPLE if not job.attending:
            return (Detail(name="", text=say("nobody_worked", language)),)
        case Event.LOCK_OFF | Event.RE_ENERGISE:
            return tuple(
                Detail(name=lock.owner_name, text=say("lock_line", language, lock=lock.lock))
                for lock in job.locks_on(step.point)
            )
        case Event.WORK_END:
            return tuple(
                Detail(name=work.name, text=say("at_work_since", language, time=f"{work.at:%H:%M}"))
                for work in job.at_work.values()
            )
    return ()


def _energies(job: Job, language: str) -> tuple[Detail, ...]:
    return tuple(
        Detail(name=tell(point.name, language), text=f"{point.magnitude} ({tell(point.place, language)})")
        for point in job.points
    )


def _methods(job: Job, language: str) -> tuple[Detail, ...]:
    return tuple(
        Detail(
            name=tell(point.name, language),
            text=f"{tell(point.verify_method, language)} > {tell(point.verify_expect, language)}",
        )
        for point in job.points
    )


# --- what was entered ---------------------------------------------------------------------------------


def value_text(step: Step | None, signed: Signed, language: str) -> str:
    """What was entered at a step, in words: "41.2 °C", "whole", "412 kg", "lock 17"; empty for a plain done."""
    act = signed.act
    if act.outcome == "not_applicable":
        return say("value_not_applicable", language, reason=act.reason)
    parts = []
    if act.number:
        unit = unit_text(step.unit, language) if step else ""
        parts.append(f"{number(act.number, language)} {unit}".rstrip())
    chosen = choice_of(step, act) if step else None
    if act.choice:
        parts.append(tell(chosen.text, language) if chosen else act.choice)
    parts += [text for text in (act.text, act.scanned) if text]
    if act.kg is not None:
        parts.append(f"{kg(act.kg, language)} kg")
    if act.counter is not None:
        parts.append(say("value_counter", language, counter=act.counter))
    if act.lock:
        parts.append(say("lock_line", language, lock=act.lock))
    if step is not None and step.event and (act.result or act.how):
        parts.append(say(f"answer_{step.event}_{act.result or act.how}", language))
    return ", ".join(parts)


def done_by(signed: Signed, now: datetime, language: str) -> str:
    """Who did a step; of one on paper also that, when it was entered and by whom."""
    if signed.paper is None:
        return signed.name
    facts = {"name": signed.paper.name, "entered": clock(signed.at, now), "by": signed.name}
    return say("by_paper", language, **facts)


def passed(state: State, signed: Signed, now: datetime, language: str) -> Passed:
    """A signed step in one line."""
    step = state.worksheet.step(signed.act.step)
    texts: Texts = step.text if step else {}
    return Passed(
        id=signed.act.step,
        text=tell(texts, language) or signed.act.step,
        value=value_text(step, signed, language),
        time=clock(signed.done_at, now, language),
        name=done_by(signed, now, language),
        witness=signed.witness_name if signed.paper is None else signed.paper.seen_by_name,
        outside=not signed.within,
        corrected=signed.corrected_by is not None,
    )

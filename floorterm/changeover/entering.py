"""What a step asks to be entered, and the act that comes of what somebody entered. Pure.

Screens show an `EntrySpec` and hand back a `Given`; nothing here decides whether the act may be recorded.
"""

from collections.abc import Mapping
from decimal import ROUND_FLOOR, Decimal
from typing import Final, Literal

from msgspec import Struct, field

from floorterm.changeover.acts import PushFlush, SignStep
from floorterm.changeover.bench import Worked, asked_for, usual_entry, worked
from floorterm.changeover.entry_rules import within
from floorterm.changeover.figures import NumberError, number_of, typed
from floorterm.changeover.state import State
from floorterm.changeover.view_words import Texts, duty_name, kg, say, spoken, tell, unit_text
from floorterm.changeover.worksheet import FlushNote, Step
from floorterm.languages import number
from floorterm.lockout.model import PLUG_CONTROLS, Event
from floorterm.people import Person

Mode = Literal["none", "number", "numbers", "text", "code", "one", "some", "kg", "counter"]
Measure = Literal["kg", "bars", "minutes"]
MEASURES: Final[tuple[Measure, ...]] = ("kg", "bars", "minutes")

# What an event is answered with, the usual answer first; nothing is chosen beforehand where it is a finding.
_ANSWERS: Final[Mapping[Event, tuple[str, ...]]] = {
    Event.VERIFY: ("zero", "not_zero"),
    Event.MONITOR: ("zero", "not_zero"),
    Event.INSPECT_AREA: ("ok", "not_ok"),
    Event.SHUT_DOWN: ("normal", "found_stopped", "emergency"),
    Event.CONFIRM_EXCEPTION: ("ok", "not_ok"),
    Event.PLUG_CONTROL: PLUG_CONTROLS,
    Event.OWNER_ABSENT_CHECK: ("absent", "present"),
    Event.OWNER_CONTACT_TRY: ("reached", "no_answer"),
    Event.CONTRACTOR_EXCHANGE: ("both", "given", "received"),
}
ANSWERED: Final = frozenset(_ANSWERS)
_ALARMING: Final = frozenset({"not_zero", "not_ok"})
_NOTICES: Final = frozenset({Event.NOTIFY_BEFORE, Event.NOTIFY_AFTER})


class Option(Struct, frozen=True, kw_only=True):
    """One answer that a digit chooses; `note` says what choosing it brings about."""

    id: str
    text: str
    note: str = ""
    raises: bool = False


class EntrySpec(Struct, frozen=True, kw_only=True):
    """What is to be entered. `chosen` is chosen beforehand; `counter` asks for the bar counter besides."""

    mode: Mode = "none"
    prompt: str = ""
    unit: str = ""
    limit: str = ""
    options: tuple[Option, ...] = ()
    chosen: tuple[str, ...] = ()
    expect: str = ""
    counter: bool = False


class Given(Struct, frozen=True, kw_only=True):
    """What somebody entered: typed or scanned text, chosen answers, the bar counter, what a flush counts in."""

    text: str = ""
    chosen: tuple[str, ...] = ()
    counter: int | None = None
    measure: Measure = "kg"


class Echo(Struct, frozen=True, kw_only=True):
    """What the screen answers while somebody types: "ok", "outside" (a deviation) or "bad" (makes no sense)."""

    text: str
    level: Literal["", "ok", "outside", "bad"] = ""


class Speaker(Struct, frozen=True, kw_only=True):
    """The language of a screen, what the plant calls its duties, and the names of people by code."""

    language: str
    duties: Mapping[str, Texts] = field(default_factory=dict)
    people: Mapping[str, str] = field(default_factory=dict)

    def duty(self, duty: str) -> str:
        """A duty in this language."""
        return duty_name(duty, self.language, self.duties)


# --- what is asked ------------------------------------------------------------------------------------


def limit_text(step: Step, language: str) -> str:
    """The limits of a reading in words; empty where there are none."""
    low = number(step.low, language) if step.low is not None else ""
    high = number(step.high, language) if step.high is not None else ""
    facts = {"low": low, "high": high, "unit": unit_text(step.unit, language)}
    if low and low == high:
        return say("limit_exactly", language, **facts)
    if low and high:
        return say("limit_between", language, **facts)
    if low or high:
        return say("limit_low" if low else "limit_high", language, **facts)
    return ""


def entry_spec(state: State, step: Step, speaker: Speaker) -> EntrySpec:
    """What a step asks to be entered, in words."""
    language, counter = speaker.language, bool(step.mark)
    match step.kind:
        case "reading" if step.worked_out:
            prompt = spoken(asked_for(step), language)
            return EntrySpec(mode="numbers", prompt=prompt, limit=limit_text(step, language), counter=counter)
        case "reading":
            limit = limit_text(step, language)
            prompt = say("enter_number", language)
            unit = unit_text(step.unit, language)
            return EntrySpec(mode="number", prompt=prompt, unit=unit, limit=limit, counter=counter)
        case "choice":
            prompt = say("enter_choice", language)
            return EntrySpec(mode="one", prompt=prompt, options=_choices(step, language), counter=counter)
        case "text":
            return EntrySpec(mode="text", prompt=say("enter_text", language), counter=counter)
        case "scan":
            prompt = say("enter_scan", language)
            limit = say("expected", language, code=step.expect)
            return EntrySpec(mode="code", prompt=prompt, expect=step.expect, limit=limit, counter=counter)
        case "flush":
            return EntrySpec(mode="kg", prompt=say("enter_kg", language), unit="kg", counter=counter)
        case "lockout":
            return _lockout_spec(state, step, speaker)
    if counter:
        return EntrySpec(mode="counter", prompt=say("enter_counter", language))
    return EntrySpec()


def _choices(step: Step, language: str) -> tuple[Option, ...]:
    return tuple(
        Option(
            id=choice.id,
            text=tell(choice.text, language),
            note=say("stops" if choice.stops else "deviates", language)
            if choice.stops or choice.deviation
            else "",
            raises=choice.stops or choice.deviation,
        )
        for choice in step.choices
    )


def _lockout_spec(state: State, step: Step, speaker: Speaker) -> EntrySpec:
    job = state.locks.get(step.job)
    if step.event is None or job is None:
        return EntrySpec()
    if step.event in _NOTICES:
        return people_told_spec(job.job.affected_duties, speaker)
    if step.event is Event.ACCOUNT_PEOPLE and job.attending:
        return people_clear_spec(job.attending, speaker.language)
    if step.event is Event.ASSIGN_PRIMARY and not job.crews:
        return some_people_spec("enter_crew", tuple(speaker.people), speaker)
    if step.event is Event.LOCK_ON:
        return lock_spec(speaker.language)
    if step.event in _ANSWERS:
        return answer_spec(step.event, speaker.language)
    return EntrySpec()


def lock_spec(language: str) -> EntrySpec:
    """The number of somebody's own lock."""
    return EntrySpec(mode="code", prompt=say("enter_lock", language))


def people_told_spec(duties: tuple[str, ...], speaker: Speaker) -> EntrySpec:
    """Who has been told: all of them unless somebody is taken off the list."""
    options = tuple(Option(id=duty, text=speaker.duty(duty)) for duty in duties)
    return EntrySpec(mode="some", prompt=say("enter_told", speaker.language), options=options, chosen=duties)


def people_clear_spec(workers: Mapping[str, str], language: str) -> EntrySpec:
    """Who stands clear: each is marked by whoever counts; nobody is marked beforehand."""
    options = tuple(Option(id=code, text=name) for code, name in workers.items())
    return EntrySpec(mode="some", prompt=say("enter_clear", language), options=options)


def some_people_spec(
    key: str, codes: tuple[str, ...], speaker: Speaker, *, one: bool = False, all_chosen: bool = False
) -> EntrySpec:
    """People to choose from: one of them, or some."""
    options = tuple(Option(id=code, text=speaker.people.get(code, code)) for code in codes)
    return EntrySpec(
        mode="one" if one else "some",
        prompt=say(key, speaker.language),
        options=options,
        chosen=codes if all_chosen else (),
    )


def answer_spec(event: Event, language: str) -> EntrySpec:
    """The answers that an event is recorded with."""
    answers = _ANSWERS[event]
    options = tuple(
        Option(
            id=answer,
            text=say(f"answer_{event.value}_{answer}", language),
            note=say("deviates", language) if answer == "not_zero" else "",
            raises=answer in _ALARMING,
        )
        for answer in answers
    )
    usual = (answers[0],) if event is Event.SHUT_DOWN else ()
    return EntrySpec(mode="one", prompt=say(f"enter_{event.value}", language), options=options, chosen=usual)


# --- the act ------------------------------------------------------------------------------------------


def act_of(state: State, step: Step, person: Person, given: Given) -> SignStep | PushFlush:
    """The act that an entry at a step stands for; whether it may be recorded is for the rules to say.

    At a flush step a total below what is required is a running total, not a signature.
    """
    text = given.text.strip()
    first = given.chosen[0] if given.chosen else ""
    counter = given.counter
    match step.kind:
        case "reading" if step.worked_out:
            return worked_act(step, text, counter)
        case "reading":
            return SignStep(step=step.id, number=_as_point(text), counter=counter)
        case "choice":
            return SignStep(step=step.id, choice=first, counter=counter)
        case "text":
            return SignStep(step=step.id, text=text, counter=counter)
        case "scan":
            return SignStep(step=step.id, scanned=text, counter=counter)
        case "flush":
            return _flush_act(state, step, given)
        case "lockout":
            return _lockout_act(state, step, person, given)
    if step.mark and counter is None:
        counter = counter_of(text)
    return SignStep(step=step.id, counter=counter)


def worked_act(step: Step, text: str, counter: int | None = None) -> SignStep:
    """The signature of a reading that is worked out from what was typed."""
    found = worked(step, text)
    if found is None:
        return SignStep(step=step.id, text=text, counter=counter)
    result = "" if found.ok else "not_ok"
    return SignStep(step=step.id, number=found.number, text=text, result=result, counter=counter)


def _as_point(text: str) -> str:
    return text.replace(",", ".").replace("\u2212", "-")


def counter_of(text: str) -> int | None:
    """The reading of a bar counter: digits only, at most twelve of them; None for anything else."""
    tidy = text.strip()
    return int(tidy) if tidy.isascii() and tidy.isdigit() and len(tidy) <= 12 else None


def _flush_act(state: State, step: Step, given: Given) -> SignStep | PushFlush:
    progress = state.flush.get(step.id)  # none where another worksheet took the place of the step's meanwhile
    total = total_kg(state.worksheet.flush, given)
    if progress is not None and total is not None and total < progress.required_kg:
        return PushFlush(step=step.id, kg=total)
    return SignStep(step=step.id, kg=total, counter=given.counter)


def total_kg(note: FlushNote | None, given: Given) -> Decimal | None:
    """Line mass in kg that an entry stands for; None when it is no number.

    One slug leaves the line for each bar; minutes count at the line's rate, stops taken off. What is
    converted is rounded down to 0.1 kg, so that no more counts than was pushed.
    """
    value = number_of(given.text)
    if value is None or given.measure == "kg":
        return value
    if note is None:
        return None
    factor = note.slug_g / 1000 if given.measure == "bars" else note.rate_kg_h / 60
    return (value * factor).quantize(Decimal("0.1"), rounding=ROUND_FLOOR)


def _lockout_act(state: State, step: Step, person: Person, given: Given) -> SignStep:
    first = given.chosen[0] if given.chosen else ""
    job = state.locks.get(step.job)
    match step.event:
        case Event.LOCK_ON:
            return SignStep(step=step.id, lock=given.text.strip())
        case Event.LOCK_OFF:
            own = job.own_locks(person.code, step.point) if job else ()
            return SignStep(step=step.id, lock=own[0].lock if len(own) == 1 else "")
        case Event.SHUT_DOWN | Event.PLUG_CONTROL:
            return SignStep(step=step.id, how=first)
        case Event.VERIFY | Event.INSPECT_AREA | Event.CONFIRM_EXCEPTION:
            return SignStep(step=step.id, result=first)
        case Event.NOTIFY_BEFORE | Event.NOTIFY_AFTER | Event.ASSIGN_PRIMARY:
            return SignStep(step=step.id, people=given.chosen)
        case Event.ACCOUNT_PEOPLE:
            return SignStep(step=step.id, result="ok", people=given.chosen)
    return SignStep(step=step.id)


def likely_act(state: State, step: Step, person: Person) -> SignStep:
    """An entry at the step that keeps everything: what `may` still refuses is not about the entry."""
    job = state.locks.get(step.job) if step.kind == "lockout" else None
    answers = _ANSWERS.get(step.event, ("",)) if step.event else ("",)
    usual = next((one.id for one in step.choices if not one.deviation), "")
    first = usual or (step.choices[0].id if step.choices else answers[0])
    people: tuple[str, ...] = ()
    if job is not None and step.event in _NOTICES:
        people = job.job.affected_duties
    elif job is not None and step.event is Event.ACCOUNT_PEOPLE:
        people = tuple(job.attending)
    text = {"reading": str(step.low or step.high or 0), "scan": step.expect}.get(step.kind, "-")
    if step.worked_out:
        text = usual_entry(step)
    if step.kind == "flush":
        progress = state.flush[step.id]
        text = str(max(progress.required_kg, progress.pushed_kg))
    act = act_of(state, step, person, Given(text=text, chosen=people or (first,), counter=0))
    assert isinstance(act, SignStep)  # a flush step is asked with all that it requires
    return act


# --- the answer while typing --------------------------------------------------------------------------


def echo(state: State, step: Step, given: Given, language: str) -> Echo:
    """What the screen answers to an entry that is not recorded yet."""
    text = given.text.strip()
    if not text:
        return Echo(text="")
    match step.kind:
        case "reading" if step.worked_out:
            found = worked(step, text)
            if found is None:
                return Echo(text=spoken(asked_for(step), language), level="bad")
            return _echo_worked(step, found, language)
        case "reading":
            return _echo_number(step, text, language)
        case "flush":
            return _echo_kg(state, step, given, language)
        case "scan":
            key, level = ("scan_fits", "ok") if text == step.expect else ("scan_other", "bad")
            return Echo(text=say(key, language, expected=step.expect, came=text), level=level)  # type: ignore[arg-type]
    if step.mark and step.kind in ("confirm", "wait") and counter_of(text) is None:
        return Echo(text=say("echo_counter", language), level="bad")
    return Echo(text="")


def _echo_number(step: Step, text: str, language: str) -> Echo:
    try:
        typed(text)
    except NumberError:
        return Echo(text=say("echo_no_number", language), level="bad")
    shown = f"{number(_as_point(text), language)} {unit_text(step.unit, language)}".rstrip()
    if step.low is None and step.high is None:
        return Echo(text=say("echo_plain", language, value=shown), level="ok")
    if within(step, SignStep(step=step.id, number=_as_point(text))):
        return Echo(text=say("echo_within", language, value=shown), level="ok")
    return Echo(text=say("echo_outside", language, value=shown), level="outside")


def _echo_worked(step: Step, found: Worked, language: str) -> Echo:
    plain = _echo_number(step, found.number, language)
    told = " ".join((plain.text, *(spoken(one, language) for one in found.says)))
    return Echo(text=told, level=plain.level if found.ok else "outside")


def _echo_kg(state: State, step: Step, given: Given, language: str) -> Echo:
    total = total_kg(state.worksheet.flush, given)
    if total is None:
        return Echo(text=say("echo_no_number", language), level="bad")
    required = state.flush[step.id].required_kg
    shown, left = kg(total, language), kg(max(required - total, Decimal(0)), language)
    if total < required:
        return Echo(text=say("echo_kg_left", language, kg=shown, left=left), level="ok")
    return Echo(text=say("echo_kg_enough", language, kg=shown), level="ok")

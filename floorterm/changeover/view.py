"""One piece of work as a screen shows it: a frozen value made of the state, a person, a time and a language.

No terminal is needed to make it or to test it. What it says comes from the record alone, and it never says
that a machine is safe: only what was recorded, when and by whom.
"""

from collections.abc import Iterable, Mapping
from datetime import datetime
from decimal import Decimal
from typing import Literal

from msgspec import Struct

from floorterm.changeover.acts import Release
from floorterm.changeover.entering import Speaker
from floorterm.changeover.rules import current_step, may, open_steps
from floorterm.changeover.standard import minutes_of, standard_min
from floorterm.changeover.state import Signed, State, Status, pause_reason
from floorterm.changeover.view_list import ListRow, checklist
from floorterm.changeover.view_step import (
    NOBODY,
    Passed,
    RefusalView,
    StepView,
    left_facts,
    numbers,
    passed,
    refusal_views,
    step_view,
)
from floorterm.changeover.view_words import Texts, clock, kg, minutes_between, say, span, spoken, tell
from floorterm.changeover.worksheet import LimitCandidate, Named, Step, Worksheet
from floorterm.flush.explain import governing_sentence, item_words
from floorterm.languages import number
from floorterm.lockout.state import LockOn
from floorterm.lye.duties import Eyewash
from floorterm.people import Person
from floorterm.wording import Say

__all__ = ["ListRow", "WorkView", "checklist", "governing_item", "governs", "title_of", "view"]

_SOON_MIN = 5  # a repeated verification that falls due within this time is shown already
Level = Literal["notice", "caution", "danger"]


class Banner(Struct, frozen=True, kw_only=True):
    """One sentence above the step that must not be missed, with how much it matters."""

    text: str
    level: Level


class ClockView(Struct, frozen=True, kw_only=True):
    """Minutes of the work against its standard; `over_min` is 0 while it keeps it."""

    minutes: int
    standard_min: int
    over_min: int
    text: str


class LocksLine(Struct, frozen=True, kw_only=True):
    """Who holds locks on this work's points: one text for the heading, and whether own ones are among them."""

    count: int
    text: str
    own: int


class NextView(Struct, frozen=True, kw_only=True):
    """The step that comes after the one shown."""

    id: str
    text: str
    note: str


class FlushLine(Struct, frozen=True, kw_only=True):
    """What is still to be flushed: kg for the heading, and one line with bars, minutes and what decides."""

    left_kg: Decimal
    left_text: str
    text: str


class FinishView(Struct, frozen=True, kw_only=True):
    """Every step stands: what is left to be released, and by whom. `ready` for this very person."""

    text: str
    who: str
    refusals: tuple[RefusalView, ...]
    ready: bool


class WorkView(Struct, frozen=True, kw_only=True):
    """Everything that the Work screen says, in one language. `step` is None when none is open."""

    work: str
    line: str
    title: str
    status: Status
    banners: tuple[Banner, ...]
    clock: ClockView
    number: int
    done: int
    count: int
    progress: str
    locks: LocksLine
    before: Passed | None
    step: StepView | None
    after: NextView | None
    beside: tuple[str, ...]
    flush: FlushLine | None
    deviations: tuple[str, ...]
    finish: FinishView | None

    @property
    def ended(self) -> bool:
        """Whether the work was released or abandoned."""
        return self.status in ("released", "abandoned")


def view(
    state: State,
    person: Person | None,
    now: datetime,
    language: str,
    *,
    elsewhere: Iterable[LockOn] = (),
    duties: Mapping[str, Texts] | None = None,
    people: Mapping[str, str] | None = None,
    at: str = "",
    eyewash: Eyewash | None = None,
) -> WorkView:
    """A piece of work ready to show to a person (None: nobody has signed in).

    `elsewhere` are the locks of other works, `duties` the plant's names of duties, `people` names by code of those
    whom a crew may have, `at` a step that the person chose from the list instead of the one that the rules propose,
    `eyewash` its checks for lye work.
    """
    now = now.astimezone(state.last_at.tzinfo)
    others, speaker = tuple(elsewhere), Speaker(language=language, duties=duties or {}, people=people or {})
    waiting = open_steps(state, now)
    step = _shown(state, person, now, others, at, waiting)
    place = numbers(state)
    count = len(place)
    done = count - len(waiting)
    here = place[step.id] if step else count
    return WorkView(
        work=state.work,
        line=tell(state.worksheet.line.name, language),
        title=title_of(state.worksheet, language),
        status=state.status,
        banners=tuple(_banners(state, person, now, language)),
        clock=_clock(state, now, language),
        number=here,
        done=done,
        count=count,
        progress=say(
            "progress_ended" if state.ended else "progress", language, number=here, count=count, done=done
        ),
        locks=_locks(state, person, others, language),
        before=_before(state, now, language),
        step=step_view(state, step, person, now, speaker, others, eyewash) if step else None,
        after=_next(state, step, waiting, speaker) if step else None,
        beside=tuple(_beside(state, step, now, language)),
        flush=_flush(state, now, language),
        deviations=tuple(_deviations(state, now, language)),
        finish=None if waiting or state.ended else _finish(state, person, now, speaker),
    )


def _shown(
    state: State,
    person: Person | None,
    now: datetime,
    elsewhere: tuple[LockOn, ...],
    at: str,
    waiting: tuple[Step, ...],
) -> Step | None:
    if state.ended:
        return None
    chosen = next((step for step in waiting if step.id == at), None)
    return chosen or current_step(state, person or NOBODY, now, elsewhere)


def title_of(sheet: Worksheet, language: str) -> str:
    """Outgoing > incoming of a changeover, or the name of the procedure."""

    def name(named: Named | None) -> str:
        return tell(named.name, language) if named else ""

    if sheet.procedure is not None:
        return name(sheet.procedure)
    return f"{name(sheet.outgoing)} > {name(sheet.incoming)}"


# --- heading ------------------------------------------------------------------------------------------


def _banners(state: State, person: Person | None, now: datetime, language: str) -> Iterable[Banner]:
    if state.status == "paused" and state.paused_since is not None:
        facts = {"time": clock(state.paused_since, now), "reason": pause_reason(state)}
        yield Banner(text=say("paused", language, **facts), level="caution")
    elif state.ended and state.ended_at is not None:
        facts = {"time": clock(state.ended_at, now), "name": state.ended_by}
        yield Banner(text=say(f"ended_{state.status}", language, **facts), level="notice")
        if state.locks_on():
            yield Banner(text=say("ended_with_locks", language), level="danger")
    for job in state.locks.values():
        machine = tell(job.job.machine, language)
        if job.alarm:
            yield Banner(text=say("alarm", language, machine=machine), level="danger")
        elif job.at_work:
            yield from _monitor_banner(job.monitor_due(), machine, now, language)
    if person is not None:
        for job in state.locks.values():
            if person.code in job.at_work:
                yield Banner(
                    text=say("you_at_work", language, machine=tell(job.job.machine, language)), level="notice"
                )


def _monitor_banner(
    due: Mapping[str, datetime | None], machine: str, now: datetime, language: str
) -> Iterable[Banner]:
    times = [time for time in due.values() if time is not None]
    if not times:
        return
    first = min(times)
    if now > first:
        yield Banner(
            text=say("monitor_late", language, machine=machine, time=clock(first, now)), level="danger"
        )
    elif minutes_between(now, first) < _SOON_MIN:
        yield Banner(
            text=say("monitor_soon", language, machine=machine, time=clock(first, now)), level="caution"
        )


def _clock(state: State, now: datetime, language: str) -> ClockView:
    """Since the last good outgoing bar, or since the start where none is marked (yet)."""
    sheet = state.worksheet
    marked = state.last_good
    until = state.ended_at or now
    minutes = minutes_between(marked.done_at if marked else state.started_at, until)
    standard = int(standard_min(sheet).to_integral_value())
    before = bool(state.runs_until) and marked is None
    over = 0 if before or not standard else max(0, minutes - standard)
    runs_still = "clock_not_yet" if state.locks_on() else "clock_runs_still"
    key = runs_still if before else "clock_last_bar" if marked else "clock_start"
    text = say(key, language, time=span(minutes), standard=span(standard))
    if marked and marked.paper is not None:
        text += say("clock_by_paper", language)
    if over:
        text += say("clock_over", language, n=over)
    return ClockView(minutes=minutes, standard_min=standard, over_min=over, text=text)


def _locks(state: State, person: Person | None, elsewhere: tuple[LockOn, ...], language: str) -> LocksLine:
    on = state.locks_on()
    own = sum(1 for lock in on if person is not None and lock.owner == person.code)
    text = _owners(on) if on else say("locks_none", language)
    other = [lock for lock in elsewhere if lock.lock and lock.line in ("", state.worksheet.line.id)]
    if other:
        text += say("locks_elsewhere", language, names=_owners(other))
    if not on:
        return LocksLine(count=len(other), text=say("locks", language, names=text), own=0)
    return LocksLine(count=len(on) + len(other), text=say("locks", language, names=text), own=own)


def _owners(locks: Iterable[LockOn]) -> str:
    counted: dict[str, int] = {}
    for lock in locks:
        name = lock.owner_name or lock.owner
        counted[name] = counted.get(name, 0) + 1
    return ", ".join(f"{name} {count}" for name, count in counted.items())


# --- around the step ----------------------------------------------------------------------------------


def _before(state: State, now: datetime, language: str) -> Passed | None:
    return passed(state, state.history[-1], now, language) if state.history else None


def _next(state: State, step: Step, waiting: tuple[Step, ...], speaker: Speaker) -> NextView | None:
    """The first step that needs only this one, else the first that follows it, else the first open one."""
    still_open = {other.id for other in waiting}
    rest = [other for other in waiting if other.id != step.id]
    order = numbers(state)
    freed = [one for one in rest if step.id in one.after and not (still_open & set(one.after)) - {step.id}]
    behind = [one for one in rest if order[one.id] > order[step.id]]
    following = next(iter((*freed, *behind, *rest)), None)
    if following is None:
        return None
    minutes = minutes_of(state.worksheet, following)
    parts = [say("minutes", speaker.language, minutes=number(minutes.normalize(), speaker.language))]
    if not minutes:
        parts = []
    if following.duty:
        parts.append(speaker.duty(following.duty))
    return NextView(id=following.id, text=tell(following.text, speaker.language), note=", ".join(parts))


def _beside(state: State, step: Step | None, now: datetime, language: str) -> Iterable[str]:
    """Other sections that somebody is in the middle of."""
    here = state.worksheet.section_of(step.id).id if step else ""
    for section in state.worksheet.sections:
        done = [one.id for one in section.steps if state.stands(one.id, now)]
        if section.id == here or not done or len(done) == len(section.steps):
            continue
        last = max((state.signed[name] for name in done), key=_entry_number)
        yield say(
            "beside",
            language,
            section=tell(section.title, language),
            name=last.paper.name if last.paper else last.name,
            number=len(done) + 1,
            count=len(section.steps),
        )


def _entry_number(signed: Signed) -> int:
    return signed.n


def _deviations(state: State, now: datetime, language: str) -> Iterable[str]:
    for one in state.open_deviations:
        found = spoken(Say(one.key, one.facts), language)
        key = "deviation_held" if one.decision == "hold" else "deviation"
        yield say(
            key, language, number=one.n, found=found, time=clock(one.done_at, now), name=one.done_by_name
        )


# --- flush and finish ---------------------------------------------------------------------------------


def governs(sheet: Worksheet, language: str) -> str:
    """What decides the flush of a worksheet and why, in one sentence; empty where nothing is to be flushed."""
    note = sheet.flush
    if note is None:
        return ""
    named = {found.id: found for found in (sheet.outgoing, *sheet.traces) if found}
    source = named.get(note.governing.outgoing) if note.governing else None
    outgoing = source or sheet.outgoing
    name = tell(outgoing.name, language) if outgoing else ""
    return spoken(governing_sentence(note.status, note.governing, note.limit, name), language)


def governing_item(candidate: LimitCandidate, language: str) -> str:
    """What a candidate for the limit is about: the label name itself, or colour, odour… in words."""
    return spoken(item_words(candidate.criterion, candidate.item), language)


def _flush(state: State, now: datetime, language: str) -> FlushLine | None:
    """What is still to be flushed in steps that are open; None for a work that flushes nothing."""
    sheet, note = state.worksheet, state.worksheet.flush
    steps = [step for step in sheet.steps() if step.kind == "flush"]
    if note is None or not steps:
        return None
    left = sum((state.flush[step.id].left_kg for step in steps if not state.stands(step.id, now)), Decimal(0))
    item = governing_item(note.governing, language) if note.governing else ""
    facts = {"kg": kg(left, language), "item": item, **left_facts(left, note, language)}
    if not left:
        text = say("flush_nothing", language)
    else:
        pushed = any(state.flush[step.id].pushed_kg for step in steps)
        text = say("flush_now" if pushed else "flush_later", language, **facts)
        if item:
            on_label = note.governing is not None and note.governing.criterion == "allergen_label"
            text += say("flush_decides_label" if on_label else "flush_decides", language, **facts)
    return FlushLine(left_kg=left, left_text=say("flush_heading", language, **facts), text=text)


def _finish(state: State, person: Person | None, now: datetime, speaker: Speaker) -> FinishView:
    language, duties = speaker.language, state.worksheet.release_duties
    who = ", ".join(speaker.duty(duty) for duty in duties)
    refusals = refusal_views(may(state, Release(), person or NOBODY, now), language)
    procedure = "procedure" if state.worksheet.procedure is not None else "changeover"
    return FinishView(
        text=say(f"finished_{procedure}", language),
        who=say("release_by", language, duty=who) if who else say("release_by_anybody", language),
        refusals=refusals,
        ready=person is not None and not refusals,
    )

"""From the states of a shift's works to its summary. Pure: the states and what is due are handed in."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal

from floorterm.changeover.acts import SignStep
from floorterm.changeover.entry_rules import choice_of
from floorterm.changeover.minutes import Part, minutes_spent
from floorterm.changeover.state import Correction, Deviation, Signed, State
from floorterm.changeover.waiting import open_steps
from floorterm.changeover.worksheet import Worksheet
from floorterm.lockout.state import LockOn
from floorterm.shift.summary import (
    CorrectionLine,
    DeviationLine,
    DueLine,
    FlushLine,
    LockLine,
    LockoutLine,
    MinutesLine,
    MinutesPart,
    SignOffLine,
    Summary,
    Text,
    WorkLine,
)
from floorterm.shift.window import Window

_WORTH_NAMING_S = 60


def summarise(window: Window, states: Iterable[State], due: Sequence[DueLine], now: datetime) -> Summary:
    """The summary of a shift. `states`: every work that was on in it, those of which a lock is left or a deviation is
    open, and those that were corrected in it.

    What happened after its end counts only where it is about the shift: a disposition, an end, a late sign-off of it
    or a correction of what was signed off in it, with what that raised.
    """
    found = sorted(
        (one for one in states if one.started_at < window.until), key=lambda one: (one.started_at, one.work)
    )
    during = [one for one in found if one.ended_at is None or one.ended_at >= window.since]
    return Summary(
        shift=window.key,
        name=window.name,
        since=_time(window.since),
        until=_time(window.until),
        works=tuple(_work(state, now) for state in during),
        deviations=tuple(_deviation(state, one) for state in found for one in _deviations(state, window)),
        sign_offs=tuple(line for state in during for line in _sign_offs(state, window, now)),
        corrections=tuple(
            _correction(state, one) for state in found for one in state.corrections if _is_told(one, window)
        ),
        lockouts=tuple(line for state in found for line in _lockouts(state, window)),
        due=tuple(due),
    )


def _time(at: datetime) -> str:
    return at.isoformat(timespec="seconds")


def _work(state: State, now: datetime) -> WorkLine:
    sheet = state.worksheet
    return WorkLine(
        work=state.work,
        line=sheet.line.name,
        status=state.status,
        started=_time(state.started_at),
        ended=_time(state.ended_at) if state.ended_at else "",
        outgoing=sheet.outgoing.name if sheet.outgoing else {},
        incoming=sheet.incoming.name if sheet.incoming else {},
        procedure=sheet.procedure.name if sheet.procedure else {},
        minutes=minutes_line(state, now) if state.ended and sheet.procedure is None else None,
        flush=_flush(state),
    )


def minutes_line(state: State, now: datetime) -> MinutesLine | None:
    """Planned, standard and actual with the parts of the difference; None before the last good outgoing bar."""
    found = minutes_spent(state, now)
    if found is None:
        return None
    return MinutesLine(
        planned_s=found.planned_s,
        standard_s=found.standard_s,
        actual_s=found.actual_s,
        parts=_parts(found.parts, state.worksheet),
    )


def _parts(parts: Sequence[Part], sheet: Worksheet) -> tuple[MinutesPart, ...]:
    """Parts of a minute and more one by one, the smaller ones by section where those make a minute, the largest first.

    What is left then stands together at the end, so that the sum stays what it is.
    """
    named = [
        MinutesPart(
            cause=part.cause,
            seconds=part.seconds,
            step=part.step,
            text=_step_text(sheet, part.step),
            reasons=part.reasons,
        )
        for part in parts
        if abs(part.seconds) >= _WORTH_NAMING_S
    ]
    sections: dict[str, list[int]] = {}
    for part in parts:
        if abs(part.seconds) < _WORTH_NAMING_S:
            name = sheet.section_of(part.step).id if sheet.step(part.step) is not None else ""
            sections.setdefault(name, []).append(part.seconds)
    rest = sections.pop("", [])
    for name, seconds in sections.items():
        section = sheet.section(name)
        if abs(sum(seconds)) < _WORTH_NAMING_S or section is None:
            rest += seconds
        else:
            named.append(
                MinutesPart(
                    cause="small", seconds=sum(seconds), n=len(seconds), step=name, text=section.title
                )
            )
    named.sort(key=lambda part: -abs(part.seconds))
    if rest:
        named.append(MinutesPart(cause="small", seconds=sum(rest), n=len(rest)))
    return tuple(named)


def _step_text(sheet: Worksheet, name: str) -> Text:
    step = sheet.step(name)
    return step.text if step is not None else {"en": name} if name else {}


def _flush(state: State) -> FlushLine | None:
    note = state.worksheet.flush
    if note is None or not state.flush:
        return None
    pushed = sum((one.pushed_kg for one in state.flush.values()), Decimal(0))
    required = sum((one.required_kg for one in state.flush.values()), Decimal(0))
    share = note.diverted_kg / note.required_kg if note.required_kg else Decimal(1)
    return FlushLine(
        computed_kg=note.required_kg,
        required_kg=required,
        pushed_kg=pushed,
        bars_computed=note.bars,
        bars_pushed=int((pushed * 1000 / note.slug_g).to_integral_value(ROUND_CEILING)),
        diverted_computed_kg=note.diverted_kg,
        diverted_pushed_kg=(pushed * share).to_integral_value(ROUND_HALF_UP),
        counted=_counted(state),
        evidence=note.evidence,
    )


def _counted(state: State) -> int | None:
    """Bars between the two marked ones by the machine's counter; None where one was not entered, or it was reset."""
    counters = {
        step.mark: state.signed[step.id].act.counter
        for step in state.worksheet.steps()
        if step.mark and step.id in state.signed
    }
    first, last = counters.get("last_good_outgoing"), counters.get("first_good_incoming")
    return last - first if first is not None and last is not None and last >= first else None


def _deviations(state: State, window: Window) -> Iterator[Deviation]:
    """What was raised in the shift, or waited in it; what of it was entered from paper, or corrected, later."""
    corrected = {one.n for one in state.corrections if _is_told(one, window)}
    for one in state.deviations:
        within = window.holds(one.at) or window.holds(one.done_at)
        if within or (one.open and one.at < window.until) or one.n in corrected:
            yield one


def _is_told(one: Correction, window: Window) -> bool:
    return any(map(window.holds, (one.at, one.entered_at, one.done_at)))


def _correction(state: State, one: Correction) -> CorrectionLine:
    sheet, name = state.worksheet, one.after.step
    step = sheet.step(name)
    return CorrectionLine(
        n=one.n,
        work=state.work,
        line=sheet.line.name,
        text=_step_text(sheet, name),
        at=_time(one.at),
        by=one.by_name,
        was=_entered(sheet, one.before),
        now=_entered(sheet, one.after),
        unit=step.unit if step is not None and one.after.number else "",
        reason=one.reason,
    )


def _entered(sheet: Worksheet, act: SignStep) -> Text:
    """What was entered, as it was typed, a reading last and without its unit; what was chosen in the plant's words."""
    step = sheet.step(act.step)
    chosen = choice_of(step, act) if step is not None else None
    if chosen is not None:
        return chosen.text
    parts = (
        act.choice,
        act.text,
        act.scanned,
        f"{act.kg:f} kg" if act.kg is not None else "",
        str(act.counter) if act.counter is not None else "",
        act.number,
    )
    return {"en": ", ".join(filter(None, parts))}


def _deviation(state: State, one: Deviation) -> DeviationLine:
    return DeviationLine(
        n=one.n,
        work=state.work,
        line=state.worksheet.line.name,
        at=_time(one.done_at),
        by=one.done_by_name,
        key=one.key,
        facts=one.facts,
        text=_step_text(state.worksheet, one.step),
        critical=one.critical,
        decision=one.decision or "",
        decided_by=one.decided_by,
        reason=one.reason,
    )


def _sign_offs(state: State, window: Window, now: datetime) -> Iterator[SignOffLine]:
    line = state.worksheet.line.name
    for one in state.history:
        if one.paper is not None and (window.holds(one.at) or window.holds(one.paper.at)):
            yield SignOffLine(
                sort="late",
                work=state.work,
                line=line,
                n=one.n,
                text=_step_text(state.worksheet, one.act.step),
                at=_time(one.at),
                by=one.name,
                done=_time(one.paper.at),
                done_by=one.paper.name,
                reason=one.paper.reason,
            )
    if state.ended:
        return
    waiting = open_steps(state, now)
    if waiting:
        yield SignOffLine(sort="open", work=state.work, line=line, n=len(waiting), text=waiting[0].text)
    else:
        yield SignOffLine(sort="release", work=state.work, line=line)


def _lockouts(state: State, window: Window) -> Iterator[LockoutLine]:
    """What is begun and not closed, as far as it was begun before the shift's end."""
    for job in state.locks.values():
        begun = [one.done_at for one in state.history if _is_of(state.worksheet, one, job.job.id)]
        if not job.begun or job.closed or (begun and min(begun) >= window.until):
            continue
        locks = (lock for lock in job.locks_on() if lock.at is None or lock.at < window.until)
        yield LockoutLine(
            work=state.work,
            line=state.worksheet.line.name,
            machine=job.job.machine,
            locks=tuple(_lock(lock) for lock in locks),
        )


def _is_of(sheet: Worksheet, one: Signed, job: str) -> bool:
    step = sheet.step(one.act.step)
    return step is not None and step.job == job


def _lock(lock: LockOn) -> LockLine:
    since = _time(lock.at) if lock.at is not None else ""
    return LockLine(point=lock.point, lock=lock.lock, owner=lock.owner_name or lock.owner, since=since)

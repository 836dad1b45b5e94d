"""The lines of a shift's review in words: the same on a screen, on a command line and on paper. Pure."""

from datetime import datetime

from floorterm.changeover.view_words import unit_text
from floorterm.languages import amount, day, grouped, in_
from floorterm.shift.signing import ShiftSignature
from floorterm.shift.summary import (
    CorrectionLine,
    DeviationLine,
    DueLine,
    FlushLine,
    LockoutLine,
    MinutesLine,
    MinutesPart,
    SignOffLine,
    Summary,
    Text,
    WorkLine,
)
from floorterm.wording import FALLBACK, Fact, Say, sentence, words

_DIGITS_SHOWN = 12  # of a digest, for people who compare it by eye


def tell(text: Text, language: str) -> str:
    """A text of the plant in a language; its unreviewed draft, then English, where that language has none."""
    return in_(text, language)


def clock(at: str, summary: Summary, language: str = FALLBACK) -> str:
    """Hour and minute of a time of the summary, with its day where that is not the shift's. Without a language it is
    a fact for a sentence, which gives the day the form of its own.
    """
    moment, since = datetime.fromisoformat(at), datetime.fromisoformat(summary.since)
    return f"{moment:%H:%M}" if moment.date() == since.date() else f"{day(moment, language)} {moment:%H:%M}"


def minutes(seconds: int) -> str:
    """Seconds as minutes and seconds, 90:16: what stands in one column adds up to the second."""
    return f"{'-' if seconds < 0 else ''}{abs(seconds) // 60}:{abs(seconds) % 60:02d}"


def more(seconds: int) -> str:
    """A difference with its sign: +3:00, -16:50, 0:00."""
    return f"{'+' if seconds > 0 else ''}{minutes(seconds)}"


def work_title(line: WorkLine, language: str) -> str:
    """What a piece of work was: both fragrances, or the procedure."""
    if line.procedure:
        return tell(line.procedure, language)
    return f"{tell(line.outgoing, language)} > {tell(line.incoming, language)}"


def when_text(line: WorkLine, summary: Summary, language: str) -> str:
    """From when to when, and how it ended."""
    ended = clock(line.ended, summary, language) if line.ended else "..."
    status = words(f"terminal.status_{line.status}", language)
    return f"{clock(line.started, summary, language)}-{ended} {status}"


def minutes_text(line: MinutesLine, language: str) -> str:
    """Planned, standard and actual, and the difference to the plan."""
    return words(
        "shift.minutes",
        language,
        planned=minutes(line.planned_s),
        standard=minutes(line.standard_s),
        actual=minutes(line.actual_s),
        gap=more(line.actual_s - line.planned_s),
    )


def part_text(part: MinutesPart, language: str) -> str:
    """What a part of the difference was: its cause, its step, and the words that people gave."""
    if part.step == "*":  # the rest of a list that had no room for more
        return words("shift.cause_rest", language, n=part.n)
    if part.cause == "small" and part.step:
        return words("shift.cause_small_in", language, n=part.n, section=tell(part.text, language))
    if part.cause == "small":
        return words("shift.cause_small", language, n=part.n)
    key: str = part.cause
    if part.cause == "over" and part.seconds < 0:
        key = "under"
    elif part.cause == "waiting" and not part.step:
        key = "waiting_end"
    text = words(f"shift.cause_{key}", language)
    step = tell(part.text, language).removesuffix(".")
    reasons = ", ".join(part.reasons)
    return ": ".join(piece for piece in (text, step) if piece) + (f" ({reasons})" if reasons else "")


def flush_text(line: FlushLine, language: str) -> str:
    """Kg and bars diverted against those computed; what the counters say, where both were entered."""
    facts = {
        "pushed": _whole(line.pushed_kg, language),
        "required": _whole(line.required_kg, language),
        "diverted": _whole(line.diverted_pushed_kg, language),
        "computed": _whole(line.diverted_computed_kg, language),
        "bars": _whole(line.bars_pushed, language),
        "bars_computed": _whole(line.bars_computed, language),
    }
    text = words("shift.flush", language, **facts)
    if line.required_kg != line.computed_kg:
        text += words("shift.flush_revised", language, kg=_whole(line.computed_kg, language))
    if line.counted is not None:
        text += words("shift.flush_counted", language, bars=_whole(line.counted, language))
    return text


def diverted_text(line: FlushLine, language: str) -> str:
    """Diverted against computed in few words, for a column."""
    return words(
        "shift.diverted",
        language,
        diverted=_whole(line.diverted_pushed_kg, language),
        computed=_whole(line.diverted_computed_kg, language),
        bars=_whole(line.bars_pushed, language),
        bars_computed=_whole(line.bars_computed, language),
    )


def _whole(value: object, language: str) -> str:
    return grouped(int(value), language)  # type: ignore[call-overload]  # a Decimal or an int


def deviation_text(line: DeviationLine, language: str) -> str:
    """What a deviation is about."""
    return sentence(Say(line.key, line.facts), language)


def decision_text(line: DeviationLine, language: str) -> str:
    """What was decided about it, by whom and why; that nothing was."""
    if line.undecided:
        return words("shift.undecided", language)
    decision = words(f"terminal.decision_{line.decision}", language)
    return words("shift.decided", language, decision=decision, name=line.decided_by, reason=line.reason)


def sign_off_text(line: SignOffLine, summary: Summary, language: str) -> str:
    """Which sign-off is missing, or came late and why."""
    facts: dict[str, Fact] = {"n": line.n, "step": tell(line.text, language).removesuffix(".")}
    if line.sort == "late":
        facts |= {
            "done": clock(line.done, summary),
            "done_by": line.done_by,
            "at": clock(line.at, summary),
            "by": line.by,
            "reason": line.reason,
        }
    return words(f"shift.sign_off_{line.sort}", language, **facts)


def correction_text(line: CorrectionLine, summary: Summary, language: str) -> str:
    """What was corrected at which step, from what to what, by whom and why."""
    unit = unit_text(line.unit, language)
    facts: dict[str, Fact] = {
        "step": tell(line.text, language).removesuffix("."),
        "was": f"{amount(tell(line.was, language), language)} {unit}".strip(),
        "now": f"{amount(tell(line.now, language), language)} {unit}".strip(),
        "entry": line.n,
        "at": clock(line.at, summary),
        "by": line.by,
        "reason": line.reason,
    }
    return words("shift.correction", language, **facts)


def lockout_text(line: LockoutLine, summary: Summary, language: str) -> str:
    """A lockout that is open: its machine, how many locks are on, whose, since when."""
    machine, locks = tell(line.machine, language), line.locks
    if not locks:
        return words("shift.lockout_bare", language, machine=machine)
    names = ", ".join(dict.fromkeys(lock.owner for lock in locks))
    since = min((lock.since for lock in locks if lock.since), default="")
    at = clock(since, summary) if since else "-"
    return words("shift.lockout", language, n=len(locks), machine=machine, name=names, since=at)


def locks_text(line: LockoutLine) -> str:
    """Each lock with its point."""
    return ", ".join(f"{lock.point} ({lock.lock or '-'})" for lock in line.locks)


def due_text(line: DueLine, language: str) -> str:
    """What is due, and by when."""
    sort = "never" if line.sort in ("weekly", "yearly") and not line.on else line.sort
    return words(f"shift.due_{sort}", language, what=tell(line.text, language), on=line.on, said=line.said)


def signature_text(signature: ShiftSignature, language: str, *, short: bool = False) -> str:
    """Who signed when and as what; the first digits of what was signed too, unless it is to be `short`."""
    said = words(
        "shift.signed_by",
        language,
        name=signature.name,
        at=_signed_at(signature.at, language),
        entry=signature.n,
    )
    return (
        said
        if short
        else said + words("shift.signed_what", language, digest=signature.digest[:_DIGITS_SHOWN])
    )


def taken_over_text(signature: ShiftSignature, language: str) -> str:
    """Who took the shift over when; that nobody has."""
    taken = signature.taken_over
    if taken is None:
        return words("shift.not_taken_over", language)
    return words(
        "shift.taken_over_by", language, name=taken.name, at=_signed_at(taken.at, language), entry=taken.n
    )


def _signed_at(at: datetime, language: str) -> str:
    """The time of a signature as every copy shows it (21 CFR 11.50): with its date and the plant's offset."""
    time = at.isoformat(timespec="minutes").partition("T")[2]
    return f"{day(at, language)} {time}"

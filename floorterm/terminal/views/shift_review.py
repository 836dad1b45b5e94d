"""What the Review and Minutes screens say of a shift and of one changeover. Pure."""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from floorterm.shift import telling
from floorterm.shift.summary import CorrectionLine, DeviationLine, MinutesLine, SignOffLine, Summary, WorkLine
from floorterm.shift.waterfall import Fall, cells, falls, shown_parts
from floorterm.terminal.views.text import Line, Span, Tone, apart, width_of, wrapped
from floorterm.wording import sentence, words

if TYPE_CHECKING:
    from floorterm.shift_review import Review

_WIDE_ENOUGH = 100  # from this width on there is room for bars beside the words
_BAR_CELLS = 36
_STATUS_TONE: dict[str, Tone] = {"released": "done", "abandoned": "strong", "paused": "caution", "open": ""}


class ReviewRow(Struct, frozen=True):
    """One row: a heading, or something with what can be done about it (its work's minutes, its deviation)."""

    key: str
    left: tuple[Line, ...]
    right: tuple[Line, ...] = ()
    heading: bool = False
    work: str = ""
    minutes: bool = False
    deviation: int = 0


def review_rows(review: "Review", draft: str, width: int, language: str) -> tuple[ReviewRow, ...]:
    """Whether it is signed, what the next shift is told, then the shift in its parts; a part of nothing in one line.

    `draft` is the text for the next shift as it would be signed now.
    """
    summary = review.shown(draft)
    changeovers = [line for line in summary.works if not line.procedure]
    procedures = [line for line in summary.works if line.procedure]
    corrections = list(_correction_rows(summary, width, language))
    return (
        *_state_rows(review, width, language),
        _handover_row(draft, width, language),
        *_part(
            "changeovers",
            [_changeover_row(line, summary, language) for line in changeovers],
            language,
            right=words("shift.columns", language),
        ),
        *_part(
            "deviations", [_deviation_row(line, summary, language) for line in summary.deviations], language
        ),
        *_part("sign_offs", list(_sign_off_rows(summary, width, language)), language),
        *(_part("corrections", corrections, language) if corrections else ()),
        *_part(
            "lockouts",
            list(_lockout_rows(summary, language)),
            language,
            right=words("shift.lock_decides", language),
        ),
        *_part("due", list(_due_rows(summary, width, language)), language),
        *_part("procedures", [_procedure_row(line, summary, language) for line in procedures], language),
    )


def _part(name: str, rows: Sequence[ReviewRow], language: str, *, right: str = "") -> Iterator[ReviewRow]:
    text = words(f"shift.part_{name}", language, count=len(rows) or words("shift.none", language))
    beside = (Span(right, "quiet"),) if rows and right else ()
    yield ReviewRow(f"heading {name}", ((Span(f" {text}", "strong"),),), (beside,), heading=True)
    yield from rows


def _state_rows(review: "Review", width: int, language: str) -> Iterator[ReviewRow]:
    signature = review.signature
    if signature is None:
        why = _before_signing(review, language)
        state = Span(f" {words('shift.not_signed', language)} ", "caution")
        yield ReviewRow("state", ((state,), (Span(f"  {why}"),)))
        return
    said, taken = telling.signature_text(signature, language), telling.taken_over_text(signature, language)
    if width_of((Span(said),)) > width:
        said = telling.signature_text(signature, language, short=True)
    tone: Tone = "" if signature.taken_over else "caution"
    yield ReviewRow(
        "state",
        (
            (Span(said),),
            (Span("  "), Span(f" {taken} " if tone else taken, tone)),
        ),
    )
    if review.changed:
        title = Span(f" {words('shift.changed', language, n=len(review.changed))} ", "caution")
        said = " ".join(sentence(say, language) for say in review.changed)
        yield ReviewRow("changed", ((title,), (Span(f"  {said}"),)))


def _before_signing(review: "Review", language: str) -> str:
    """What is to be done, or waited for, before the shift can be signed."""
    if review.opens is not None:
        return words("shift.not_signed_early", language, at=f"{review.opens:%H:%M}")
    waiting = len(review.summary.undecided)
    return words("shift.not_signed_waits" if waiting else "shift.not_signed_ready", language, n=waiting)


def _handover_row(draft: str, width: int, language: str) -> ReviewRow:
    title = Span(f"{words('shift.handover', language)} ", "strong")
    if not draft:
        return ReviewRow(
            "handover", ((title,), (Span(f"  {words('shift.no_handover', language)}", "quiet"),))
        )
    first, *rest = wrapped(draft, max(20, width - len(title.text) - 2))
    second = " ".join(span.text for line in rest for span in line)
    return ReviewRow("handover", ((title, *first), (Span(f"  {second}"),)))


def _changeover_row(line: WorkLine, summary: Summary, language: str) -> ReviewRow:
    title = (
        Span(f"{telling.tell(line.line, language)}  ", "strong"),
        Span(telling.work_title(line, language)),
    )
    when = Span(telling.when_text(line, summary, language), _STATUS_TONE[line.status])
    second: Line = (Span(f"  {_short_minutes(line.minutes, language)}"),)
    diverted = telling.diverted_text(line.flush, language) if line.flush is not None else ""
    return ReviewRow(
        f"work {line.work}",
        (title, second),
        ((when,), (Span(diverted, "quiet"),)),
        work=line.work,
        minutes=True,
    )


def _short_minutes(line: MinutesLine | None, language: str) -> str:
    if line is None:
        return words("shift.minutes_later", language)
    figures = "  ".join(map(telling.minutes, (line.planned_s, line.standard_s, line.actual_s)))
    return f"{figures}  ({telling.more(line.actual_s - line.planned_s)})"


def _procedure_row(line: WorkLine, summary: Summary, language: str) -> ReviewRow:
    title = (
        Span(f"{telling.tell(line.line, language)}  ", "strong"),
        Span(telling.work_title(line, language)),
    )
    when = Span(telling.when_text(line, summary, language), _STATUS_TONE[line.status])
    return ReviewRow(
        f"work {line.work}", (title, (Span(f"  {line.work}", "quiet"),)), ((when,), ()), work=line.work
    )


def _deviation_row(line: DeviationLine, summary: Summary, language: str) -> ReviewRow:
    first: Line = (
        Span(f"{telling.tell(line.line, language)}  ", "strong"),
        Span(telling.deviation_text(line, language)),
        Span(f"  {telling.tell(line.text, language)}", "quiet"),
    )
    decision = telling.decision_text(line, language)
    waits: Tone = "caution" if line.undecided else ""
    tag = f" {words(f'terminal.critical_{line.critical}', language)} " if line.critical else ""
    open_ = line.decision in ("", "hold")
    by = Span(f"{line.by} {telling.clock(line.at, summary, language)}", "quiet")
    return ReviewRow(
        f"deviation {line.work} {line.n}",
        (first, (Span("  "), Span(f" {decision} " if waits else decision, waits))),
        ((Span(tag, "warning"),) if tag and open_ else (), (by,)),
        work=line.work,
        deviation=line.n if open_ else 0,
    )


def _sign_off_rows(summary: Summary, width: int, language: str) -> Iterator[ReviewRow]:
    for place, line in enumerate(summary.sign_offs):
        said = telling.sign_off_text(line, summary, language)
        yield _said_row(f"sign_off {place}", line, said, width, language)


def _correction_rows(summary: Summary, width: int, language: str) -> Iterator[ReviewRow]:
    for line in summary.corrections:
        said = telling.correction_text(line, summary, language)
        yield _said_row(f"correction {line.n}", line, said, width, language)


def _said_row(
    key: str, line: SignOffLine | CorrectionLine, said: str, width: int, language: str
) -> ReviewRow:
    title = Span(f"{telling.tell(line.line, language)}  {line.work}  ", "strong")
    first, *rest = wrapped(said, max(20, width - len(title.text)))
    second = " ".join(span.text for one in rest for span in one)
    return ReviewRow(key, ((title, *first), (Span(f"  {second}", "quiet"),)), work=line.work)


def _lockout_rows(summary: Summary, language: str) -> Iterator[ReviewRow]:
    for place, line in enumerate(summary.lockouts):
        title = Span(f"{telling.tell(line.line, language)}  {line.work}  ", "strong")
        said = Span(telling.lockout_text(line, summary, language))
        where = Span(f"  {telling.locks_text(line)}", "quiet")
        yield ReviewRow(f"lockout {line.work} {place}", ((title, said), (where,)), work=line.work)


def _due_rows(summary: Summary, width: int, language: str) -> Iterator[ReviewRow]:
    for place, line in enumerate(summary.due):
        first, *rest = wrapped(telling.due_text(line, language), max(20, width))
        second = " ".join(span.text for one in rest for span in one)
        yield ReviewRow(f"due {place}", (first, (Span(f"  {second}"),)))


# --- the minutes of one changeover ----------------------------------------------------------------------------------


class MinutesRow(Struct, frozen=True):
    """One part of the difference; `step` where its minutes can be explained."""

    key: str
    line: Line
    whole: str
    step: str = ""


def minutes_rows(
    line: MinutesLine, room: int, language: str, *, width: int = 0, plain: bool = False
) -> tuple[MinutesRow, ...]:
    """The parts, the largest first, each with its minutes and seconds, in at most `room` rows.

    Where `width` leaves room for it, each has its bar of the waterfall at the right: full ones add, light ones take.
    """
    parts = shown_parts(line.parts, room)
    steps = tuple(falls(line.planned_s, parts))
    if width < _WIDE_ENOUGH:
        return tuple(_minutes_row(step, language) for step in steps)
    low = min((step.low_s for step in steps), default=0)
    high = max((step.high_s for step in steps), default=0)
    bars = (_bar(step, low, high, plain=plain) for step in steps)
    return tuple(
        replace(row, line=apart(row.line, (Span(bar),), width, plain=plain))
        for row, bar in zip((_minutes_row(step, language) for step in steps), bars, strict=True)
    )


def _bar(step: Fall, low: int, high: int, *, plain: bool) -> str:
    first, count = cells(step, low, high, _BAR_CELLS)
    full, light = ("#", "-") if plain else ("█", "░")
    mark = full if step.until_s >= step.since_s else light
    return f"{' ' * first}{mark * count}".ljust(_BAR_CELLS)


def _minutes_row(step: Fall, language: str) -> MinutesRow:
    part = step.part
    assert part is not None  # planned and actual stand above the list
    text = telling.part_text(part, language)
    amount = f"{telling.more(part.seconds):>8}"
    open_ = part.cause == "over" and part.seconds >= 60
    return MinutesRow(
        f"{part.cause} {part.step}",
        (Span(amount, "strong"), Span(f"  {text}")),
        text,
        part.step if open_ else "",
    )


def minutes_head(line: MinutesLine, language: str) -> tuple[Line, ...]:
    """Planned, standard, actual over the parts; what they count."""
    counts = words("shift.minutes_count", language)
    figures: tuple[tuple[str, int, Tone], ...] = (
        ("planned", line.planned_s, ""),
        ("standard", line.standard_s, ""),
        ("actual", line.actual_s, "strong"),
    )
    told = (
        Span(f"{words(f'shift.{name}', language)} {telling.minutes(seconds)}   ", tone)
        for name, seconds, tone in figures
    )
    return (tuple(told), (Span(counts, "quiet"),))


def minutes_sum(line: MinutesLine, language: str) -> Line:
    """The sum of the parts: actual less planned."""
    total = sum(part.seconds for part in line.parts)
    return (Span(f"{telling.more(total):>8}", "strong"), Span(f"  {words('shift.sum', language)}", "strong"))

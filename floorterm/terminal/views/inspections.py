"""What the Inspections and Training screens say. Pure."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from floorterm import languages
from floorterm.changeover.view_words import rule_text
from floorterm.terminal.views.text import Line, Span, Tone, short_name, tell, width_of, wrapped
from floorterm.wording import Refusal, Say, sentence, words

if TYPE_CHECKING:
    from floorterm.library.model import LockoutFile
    from floorterm.lockout.inspection import Due, DueStatus, Inspection
    from floorterm.lockout.training import Status, Training

_DUE: "Mapping[DueStatus, Tone]" = {"overdue": "danger", "soon": "caution", "in_date": "done"}
_TRAINED: "Mapping[Status, Tone]" = {
    "missing": "danger", "again": "danger", "over": "caution", "soon": "caution", "in_date": "done",
    "not_asked": "quiet",
}  # fmt: skip


class TwoLines(Struct, frozen=True):
    """One row of two lines: what stands at their left, and at the right of the first and of the second."""

    key: str
    left: tuple[Line, Line]
    right: Line
    below: Line = ()


def due_row(one: "Due", lockout: "LockoutFile", language: str) -> TwoLines:
    """A procedure: by when it must be inspected, and what is open from the last time."""
    word = Span(f" {words(f'inspection.status_{one.status}', language).upper()} ", _DUE[one.status])
    by = Span(words("inspection.due_by", language, date=one.due.isoformat()))
    open_ = []
    if one.not_reviewed:
        open_.append(words("inspection.not_reviewed", language, people=", ".join(one.not_reviewed)))
    if one.open:
        open_.append(words("inspection.not_corrected", language, n=len(one.open)))
    last = (
        words(
            "inspection.last",
            language,
            date=one.newest.on.isoformat(),
            name=short_name(one.newest.inspector_name),
        )
        if one.newest
        else words("inspection.last_paper", language, date=one.certified.isoformat())
        if one.certified
        else words("inspection.never", language)
    )
    second: Line = (Span(f"  {'; '.join(open_) or last}", "strong" if open_ else "quiet"),)
    return TwoLines(one.procedure, ((Span(tell(lockout.title, language)),), second), (word,), (by,))


def beside_or_beneath(rows: Sequence[TwoLines], width: int) -> tuple[TwoLines, ...]:
    """Rows with all that stands at their right in the first line, where every name leaves room for it."""
    fits = all(width_of((*row.left[0], *row.right, *row.below)) + 3 <= width for row in rows)
    if fits:
        return tuple(replace(row, right=(*row.right, Span(" "), *row.below), below=()) for row in rows)
    return tuple(
        replace(row, below=(*row.below, Span(" "))) for row in rows
    )  # ends where the word above it does


def inspection_lines(
    lockout: "LockoutFile",
    found: "tuple[Inspection, ...]",
    names: Mapping[str, str],
    width: int,
    language: str,
) -> tuple[Line, ...]:
    """Everything that is recorded of a procedure's inspections, the newest first."""
    lines: list[Line] = [(Span(tell(lockout.title, language), "strong"),)]
    lines += wrapped(words("inspection.due_note", language), width, "quiet")
    if not found:
        lines += [(), *wrapped(words("inspection.never", language), width)]
    for made in sorted(found, key=lambda item: (item.on, item.n), reverse=True):
        lines += [(), *_inspection(made, names, width, language)]
    return tuple(lines)


def _inspection(made: "Inspection", names: Mapping[str, str], width: int, language: str) -> list[Line]:
    def people(codes: tuple[str, ...]) -> str:
        return ", ".join(short_name(names.get(code, code)) for code in codes) or "-"

    head = words("inspection.head", language, date=made.on.isoformat(), n=made.n)
    lines: list[Line] = [(Span(head, "strong"),)]
    for key, text in (
        ("inspector", people((made.inspector,))),
        ("observed", people(made.observed)),
        ("reviewed", people(made.reviewed)),
        ("missing", people(made.not_reviewed)),
    ):
        lines += wrapped(f"{words(f'inspection.field_{key}', language)}: {text}", width, indent=4)
    for deviation in made.deviations:
        text = words("inspection.deviation", language, number=deviation.id, text=deviation.text)
        if deviation.persons:
            text = f"{text} ({people(deviation.persons)})"
        lines += wrapped(text, width, "" if deviation.correction else "strong", indent=4)
        done = deviation.correction
        said = (
            words(
                "inspection.corrected",
                language,
                date=done.on.isoformat(),
                name=short_name(done.by_name),
                text=done.text,
            )
            if done
            else words("inspection.not_corrected_yet", language)
        )
        lines += [(Span("    "), *line) for line in wrapped(said, width - 4)]
    return lines


def _asked(say: Say, rule: str, language: str) -> str:
    """Why training is asked for, with its clause or as the site's own policy."""
    return f"{sentence(say, language)} ({rule_text(Refusal(say, rule), language)})"


def training_row(one: "Training", language: str) -> TwoLines:
    """A person: where their training stands, its dates, and what asks for it again."""
    person = one.person
    word = Span(f" {words(f'training.status_{one.status}', language).upper()} ", _TRAINED[one.status])
    status = words(f"training.lockout_{person.lockout.value}", language)
    dates = ", ".join(languages.day(day, language) for day in one.history.trained) or words(
        "training.no_date", language
    )
    reasons = "; ".join(_asked(say, rule, language) for say, rule in one.reasons)
    second: Line = (
        Span(f"  {dates}", "quiet"),
        Span(f"  {reasons}" if reasons else "", "strong" if reasons else ""),
    )
    first: Line = (Span(f"{person.name}  "), Span(f"{person.code}  {status}", "quiet"))
    return TwoLines(person.code, (first, second), (word,))


def training_detail(one: "Training | None", width: int, language: str) -> tuple[Line, ...]:
    """The reasons in full, and the rule that there is no calendar period."""
    if one is None:
        return ()
    lines: list[Line] = []
    for say, rule in one.reasons:
        lines += wrapped(_asked(say, rule, language), width, indent=2)
    if one.history.status_since is not None:
        status = words(f"training.lockout_{one.person.lockout.value}", language)
        since = one.history.status_since.isoformat()
        lines += wrapped(words("training.status_since", language, status=status, date=since), width)
    if one.person.valid_to is not None:
        lines += wrapped(words("training.valid_to", language, date=one.person.valid_to.isoformat()), width)
    lines += wrapped(words("training.no_period", language), width, "quiet")
    return tuple(lines)

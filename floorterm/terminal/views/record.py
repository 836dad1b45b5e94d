"""How entries of the record read on a screen: one in two lines, one whole. Pure."""

import json
from collections.abc import Iterable, Mapping
from datetime import tzinfo
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import msgspec

from floorterm.changeover.acts import (
    STARTED,
    CorrectStep,
    ExplainMinutes,
    LateStep,
    LockoutAct,
    SignStep,
    UnknownActError,
    act_from_value,
)
from floorterm.changeover.view import title_of
from floorterm.languages import number
from floorterm.terminal.views.text import Line, Span, Tone, clock, short_name, tell, thousands, wrapped
from floorterm.wording import UnknownWordingError, words

if TYPE_CHECKING:
    from floorterm.changeover.acts import Act
    from floorterm.changeover.worksheet import Step, Worksheet
    from floorterm.entries import Entry

_MARKED: Mapping[str, Tone] = {
    "deviation.raised": "strong",
    "deviation.disposed": "strong",
    "step.corrected": "strong",
    "step.late": "strong",
    "work.abandoned": "strong",
    "work.redirected": "strong",
    "work.paused": "strong",
    "work.released": "done",
}


def kind_text(kind: str, language: str) -> str:
    """A kind of entry in words; a kind without words stands as it is written."""
    try:
        return words(f"terminal.kind_{kind.replace('.', '_')}", language)
    except UnknownWordingError:
        return kind


def entry_lines(
    entry: "Entry", sheet: "Worksheet | None", zone: tzinfo, language: str
) -> tuple[tuple[Line, Line], tuple[Line, Line]]:
    """(left, right) of the two lines of an entry: what and when; what was entered, by whom."""
    step = sheet.step(entry.step) if sheet is not None and entry.step else None
    what = tell(step.text, language) if step else _about(entry, sheet, language)
    kind = Span(kind_text(entry.kind, language), _MARKED.get(entry.kind, ""))
    first: Line = (Span(f"{clock(entry.at, zone)}  ", "quiet"), kind, Span(f"  {what}" if what else ""))
    value = value_words(entry, step, language)
    second: Line = (Span(f"       {value}", "quiet"),)
    return (first, second), ((Span(f"{entry.n}", "quiet"),), (Span(signed_by(entry, language), "quiet"),))


def signed_by(entry: "Entry", language: str) -> str:
    """Who signed, who saw it, and whether nobody confirmed it."""
    if not entry.person:
        return words("terminal.by_program", language)
    name = short_name(entry.name or entry.person)
    if entry.witness:
        name = words(
            "terminal.seen_by", language, name=name, witness=short_name(entry.witness_name or entry.witness)
        )
    if entry.identity == "unconfirmed":
        name = words("terminal.by_unconfirmed", language, name=name)
    return name


def _about(entry: "Entry", sheet: "Worksheet | None", language: str) -> str:
    if entry.kind == STARTED and sheet is not None:
        return title_of(sheet, language)
    return ""


def value_words(entry: "Entry", step: "Step | None", language: str) -> str:
    """What was entered, in words."""
    parts: list[str] = []
    act = _act(entry)
    if isinstance(act, SignStep | CorrectStep):
        parts += step_values(act, step, language)
    elif isinstance(act, LateStep):
        at = f"{act.done_at:%Y-%m-%d %H:%M}"
        parts.append(words("terminal.by_paper", language, time=at, name=act.by_name))
        parts += step_values(act.signature(), step, language)
    elif isinstance(act, LockoutAct):
        parts.append(words(f"terminal.event_{act.event.value}", language))
        result = result_words(act.result, language)
        said = (", ".join(act.points), act.lock, result, act.owner or act.primary, act.how)
        parts += [part for part in said if part]
    elif isinstance(act, ExplainMinutes):
        parts.append(words(f"shift.cause_{act.cause}", language))
        parts.append(words("shift.told_minutes", language, n=act.minutes))
    else:
        parts += [
            str(entry.value[name])
            for name in ("handover", "text", "decision", "section", "deviation")
            if entry.value.get(name)
        ]
        if "kg" in entry.value:
            parts.append(f"{thousands(Decimal(str(entry.value['kg'])), language)} kg")
    if entry.reason and entry.reason not in parts:
        parts.append(entry.reason)
    if entry.corrects is not None:
        parts.append(words("terminal.corrects", language, n=entry.corrects))
    return ", ".join(parts)


def result_words(result: str, language: str) -> str:
    """A finding in words."""
    try:
        return words(f"report.result_{result}", language) if result else ""
    except UnknownWordingError:  # an entry may say what no catalogue has
        return result


def _act(entry: "Entry") -> "Act | None":
    try:
        return act_from_value(entry.kind, entry.value)
    except (UnknownActError, msgspec.ValidationError):
        return None


def step_values(act: SignStep | CorrectStep, step: "Step | None", language: str) -> list[str]:
    """What was entered at a step, part by part."""
    parts: list[str] = []
    if act.number:
        unit = step.unit if step else ""
        parts.append(f"{number(act.number, language)} {unit}".rstrip())
    if act.choice:
        chosen = next((one for one in step.choices if one.id == act.choice), None) if step else None
        parts.append(tell(chosen.text, language) if chosen else act.choice)
    parts += [text for text in (act.text, act.scanned) if text]
    if act.kg is not None:
        parts.append(f"{thousands(act.kg, language)} kg")
    if act.counter is not None:
        parts.append(words("terminal.counter", language, counter=act.counter))
    if isinstance(act, SignStep):
        parts += [
            text for text in (act.lock, result_words(act.result, language), ", ".join(act.people)) if text
        ]
        if act.outcome == "not_applicable":
            parts.append(words("terminal.not_applicable", language))
    return parts


def whole_entry(entry: "Entry", zone: tzinfo, width: int, language: str) -> tuple[Line, ...]:
    """Every field of an entry, and its value as it stands in the record."""
    fields = {
        "n": str(entry.n),
        "at": f"{entry.at.astimezone(zone):%Y-%m-%d %H:%M:%S}",
        "kind": f"{kind_text(entry.kind, language)} ({entry.kind})",
        "person": " ".join(part for part in (entry.name, entry.person, entry.role) if part),
        "identity": words(f"terminal.identity_{entry.identity}", language) if entry.identity else "",
        "witness": " ".join(part for part in (entry.witness_name, entry.witness) if part),
        "terminal": entry.terminal,
        "line": entry.line,
        "changeover": entry.changeover,
        "step": entry.step,
        "reason": entry.reason,
        "corrects": str(entry.corrects) if entry.corrects is not None else "",
        "hash": entry.hash,
        "prev": entry.prev,
    }
    lines: list[Line] = []
    for name, text in fields.items():
        if text:
            lines += _field(words(f"terminal.field_{name}", language), text, width)
    lines.append(())
    lines.append((Span(words("terminal.field_value", language), "strong"),))
    for text in json.dumps(_readable(entry.value), ensure_ascii=False, indent=1).splitlines():
        lines += _folded(text, width)
    return tuple(lines)


def _field(label: str, text: str, width: int) -> Iterable[Line]:
    lead = f"{label:<14} "
    parts = [line[0].text for line in wrapped(text, max(20, width - len(lead)))]
    for index, part in enumerate(parts):
        yield (Span(lead if index == 0 else " " * len(lead), "quiet"), Span(part))


def _folded(text: str, width: int) -> Iterable[Line]:
    while text:
        yield (Span(text[:width]),)
        text = text[width:]


def _readable(value: Mapping[str, Any]) -> Mapping[str, Any]:
    """A worksheet inside a value is named, not printed: it has a command of its own."""
    return {key: "..." if key == "worksheet" else inner for key, inner in value.items()}

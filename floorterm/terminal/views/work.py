"""The Work screen as lines of spans, made of a `WorkView`. Needs no terminal."""

import textwrap
from collections.abc import Iterable, Sequence

from floorterm.changeover.view import ListRow, WorkView
from floorterm.changeover.view_step import FlushView, RefusalView, StepView
from floorterm.terminal.views.text import Line, Span, Tone, fit, short_name, width_of
from floorterm.wording import words

LABEL = 10
_LOW = 4  # lines below the step where a terminal is low
_CURSOR = 2  # cells that a list puts before a row
_MARKS: dict[str, tuple[str, Tone]] = {
    "done": ("x", "done"),
    "paper": ("p", "notice"),
    "outside": ("!", "caution"),
    "not_applicable": ("-", "quiet"),
    "now": (">", "strong"),
    "open": ("o", ""),
    "waits": (" ", "quiet"),
}


def say(key: str, language: str, **facts: str | int) -> str:
    """A wording of the Work screen."""
    return words(f"work.{key}", language, **facts)


def spread(left: str, right: str, width: int, tones: tuple[Tone, Tone] = ("", "")) -> Line:
    """Two texts on one line, the second set to the right; the first is cut where there is no room."""
    room = width - len(right) - 3
    text = fit(left, max(0, room))
    gap = width - 2 - len(text) - len(right)
    return (Span(f" {text}", tones[0]), Span(" " * max(1, gap)), Span(right, tones[1]))


def labelled(
    label: str, text: str, width: int, tone: Tone = "", label_tone: Tone = "quiet", most: int = 0
) -> list[Line]:
    """A text wrapped beside its label; at most `most` lines, 0 for all."""
    room = max(10, width - LABEL - 2)
    parts = textwrap.wrap(text, room) or [""]
    if most and len(parts) > most:
        parts = [*parts[: most - 1], fit(" ".join(parts[most - 1 :]), room)]
    lines: list[Line] = []
    for place, part in enumerate(parts):
        head = fit(label, LABEL - 1) if place == 0 else ""
        lead = Span(f" {head}", label_tone if place == 0 else "")
        lines.append((lead, Span(" " * (LABEL - len(head))), Span(part, tone)))
    return lines


# --- above the step -----------------------------------------------------------------------------------


def top_lines(view: WorkView, language: str, width: int) -> list[Line]:
    """Progress and kg still to flush, the step before, and what must not be missed."""
    left = view.flush.left_text if view.flush else ""
    lines = [spread(view.progress, left, width, ("", "strong"))]
    before = view.before
    if before is not None:
        value = f"  {before.value}" if before.value else ""
        who = f"{before.time}  {short_name(before.name)}"
        tone: Tone = "caution" if before.outside else "quiet"
        text = f"{say('label_before', language):<{LABEL}}{before.text}"
        room = width - len(who) - 3 - len(value)
        lines.append(spread(fit(text, max(20, room)) + value, who, width, (tone, "quiet")))
    for banner in view.banners:
        for part in textwrap.wrap(banner.text, max(20, width - 4)):
            lines.append((Span(f" {part} ".ljust(width), banner.level),))
    return lines


# --- the step -----------------------------------------------------------------------------------------


def step_lines(step: StepView, language: str, width: int, *, most: int = 0) -> list[Line]:
    """The step with everything that belongs to it, the most important first.

    A refusal takes at most `most` lines (0: all that it needs).
    """
    lines = labelled(say("label_now", language), step.text, width, "strong", "strong")
    lines += _facts(step, language, width)
    lines += refusal_lines(step.refusals, language, width, most=most)
    if step.caution:
        lines += labelled(say("label_caution", language), step.caution, width, "caution", "caution")
    if step.wear:
        lines += labelled(say("label_wear", language), step.wear, width)
    if step.limit:
        lines += labelled(say("label_limit", language), step.limit, width)
    if step.why:
        lines += labelled(say("label_why", language), step.why, width)
    if step.under_lockout:
        text = say("under_lockout", language, machine=step.under_lockout)
        lines += labelled(say("label_lock", language), text, width)
    if step.witness:
        text = say("with_witness", language, duty=step.witness)
        lines += labelled(say("label_with", language), text, width)
    if step.flush is not None:
        lines += flush_lines(step.flush, width)
    for detail in step.details:
        lines += labelled("", f"{detail.name}: {detail.text}" if detail.name else detail.text, width)
    return lines


def _facts(step: StepView, language: str, width: int) -> list[Line]:
    parts = [step.time_text]
    if step.duty:
        parts.append(step.duty)
    if step.critical:
        parts.append(step.critical)
    if step.round > 1:
        parts.append(say("round", language, round=step.round))
    if step.pin:
        parts.append(say("asks_pin", language))
    tone: Tone = "caution" if step.late else "quiet"
    lines = labelled("", ", ".join(parts[1:]) or parts[0], width, "quiet") if step.late else []
    first = labelled("", parts[0] if step.late else ", ".join(parts), width, tone)
    lines = [*first, *(lines if len(parts) > 1 else [])]
    if step.draft:
        lines += labelled("", say("draft", language), width, "notice")
    return lines


def refusal_lines(refusals: Sequence[RefusalView], language: str, width: int, *, most: int = 0) -> list[Line]:
    """Every refusal with what to do instead and the rule behind it; at most `most` lines each, 0 for all."""
    lines: list[Line] = []
    for place, refusal in enumerate(refusals):
        label = say("label_refused", language) if place == 0 else ""
        text = f"{refusal.text} ({refusal.rule})"
        room = most * (width - LABEL - 10)
        if most and len(text) > room:  # the rule stays, the sentence is cut
            text = f"{fit(refusal.text, room - len(refusal.rule) - 4)} ({refusal.rule})"
        lines += labelled(label, text, width, "", "danger" if label else "", most)
    return lines


def bar(share: float, width: int) -> str:
    """A bar of # that fills as `share` goes from 0 to 1."""
    full = int(share * width + 1e-9)
    return "[" + "#" * full + "-" * (width - full) + "]"


def flush_lines(flush: FlushView, width: int) -> list[Line]:
    """Progress of a flush as a bar with words."""
    room = min(40, width - LABEL - 14)
    percent = int(flush.share * 100 + 1e-9)
    tone: Tone = "done" if flush.done else "strong"
    return [
        (Span(" " * (LABEL + 1)), Span(f"{bar(flush.share, room)} {percent} %", tone)),
        (Span(" " * (LABEL + 1)), Span(f"{flush.text}, {flush.left_text}")),
    ]


def finish_lines(view: WorkView, language: str, width: int) -> list[Line]:
    """Nothing is open any more: what is left to be released, and by whom."""
    finish = view.finish
    if finish is None:
        return []
    lines = labelled(say("label_now", language), finish.text, width, "strong", "strong")
    lines += labelled("", finish.who, width)
    lines += refusal_lines(finish.refusals, language, width)
    if finish.ready:
        lines += labelled("", say("release_ready", language), width, "strong")
    return lines


# --- below the step -----------------------------------------------------------------------------------


def foot_lines(view: WorkView, language: str, width: int, most: int) -> list[Line]:
    """What comes next, who is at work beside, what is to be flushed later, deviations; at most `most` lines."""
    must: list[Line] = []
    if view.after is not None:
        must.append(_right(say("label_next", language), view.after.text, view.after.note, width))
    if view.flush is not None and view.flush.left_kg:
        must += labelled(say("label_later", language), view.flush.text, width, most=1)
    for text in view.deviations[:1]:
        more = say("and_more", language, n=len(view.deviations) - 1) if len(view.deviations) > 1 else ""
        lines = 2 if most > _LOW else 1  # its end says what was entered and where the limit is
        must += labelled(
            say("label_deviation", language), text + more, width, "caution", "caution", most=lines
        )
    room = max(0, most - len(must))
    for text in view.beside[:room]:
        must.insert(1 if view.after else 0, *labelled(say("label_beside", language), text, width, most=1))
    return must[:most]


def _right(label: str, text: str, note: str, width: int) -> Line:
    lead = (Span(f" {fit(label, LABEL - 1):<{LABEL}}", "quiet"),)
    room = width - LABEL - 2 - len(note) - 2
    shown = fit(text, max(10, room))
    gap = width - LABEL - 2 - len(shown) - len(note)
    return (*lead, Span(shown), Span(" " * max(1, gap)), Span(note, "quiet"))


# --- the whole list -----------------------------------------------------------------------------------


def list_line(row: ListRow, width: int) -> Line:
    """One row of the whole list: mark, number, text, and what was entered or is expected."""
    if row.mark == "section":  # no cursor stands before a heading, and its note ends where those of steps do
        return spread(row.text, row.note, width + _CURSOR + 1, ("strong", "quiet"))
    mark, tone = _MARKS[row.mark]
    lead = f"{mark} {row.number:>3} "
    note = _note_in(row.note, max(0, (width - len(lead)) // 2))
    text = fit(row.text + (" *" if row.draft else ""), max(4, width - len(lead) - len(note) - 2))
    gap = width - len(lead) - len(text) - len(note)
    line = (
        Span(lead, tone),
        Span(text, tone if row.mark != "done" else ""),
        Span(" " * max(1, gap)),
        Span(note, "quiet"),
    )
    return line if width_of(line) <= width else line[:2]


def _note_in(note: str, room: int) -> str:
    """What was entered, when and by whom, as far as there is room: the name goes first, then the time."""
    value, gap, seen = note.rpartition("  ")
    for text in (note, f"{value}{gap}{seen.partition(' ')[0]}" if value else "", value):
        if text and len(text) <= room:
            return text
    return fit(note, room)


def plain(lines: Iterable[Line]) -> str:
    """Lines as plain text."""
    return "\n".join("".join(span.text for span in line) for line in lines)

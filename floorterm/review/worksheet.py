"""A worksheet on paper: the fallback when no terminal is there, as plain text or one HTML file.

Of a work that runs it shows what the record has and leaves lines for the remaining steps.
"""

import textwrap
from decimal import Decimal
from importlib.resources import files

from msgspec import Struct
from msgspec.structs import replace

from floorterm.changeover.bench import asked_for
from floorterm.changeover.standard import minutes_of, standard_min
from floorterm.changeover.state import State
from floorterm.changeover.view_step import done_by, value_text
from floorterm.changeover.worksheet import Named, Step, Text, Worksheet
from floorterm.flush.explain import governing_sentence
from floorterm.languages import in_
from floorterm.wording import sentence, words

_WIDTH = 78


class PrintedStep(Struct, frozen=True):
    """One step as printed: number, tick box, texts, what to write down."""

    number: int
    id: str
    text: str
    why: str
    caution: str
    ppe: str
    entry: str
    who: str
    minutes: Decimal
    under_lockout: bool
    points: tuple[tuple[str, str], ...]
    unreviewed: bool
    done: str = ""  # what the record has of it: value, when, who


class PrintedSection(Struct, frozen=True):
    """One section as printed."""

    title: str
    beside: bool
    steps: tuple[PrintedStep, ...]


class PrintedWorksheet(Struct, frozen=True):
    """Everything a paper worksheet says, in one language."""

    language: str
    title: str
    line: str
    on: str
    flush: tuple[str, ...]
    standard_min: Decimal
    sections: tuple[PrintedSection, ...]
    cautions: tuple[str, ...]
    running: tuple[str, ...]
    digest: str
    library_digest: str
    steps: int


def printed(sheet: Worksheet, language: str, state: State | None = None) -> PrintedWorksheet:
    """What the paper says, in a language; texts without a translation stand in English.

    With the `state` of a work it says what is signed, as of the last entry that the state knows.
    """
    number = 0
    sections = []
    for section in sheet.sections:
        steps = []
        for step in section.steps:
            number += 1
            one = _printed_step(number, sheet, step, language)
            steps.append(replace(one, done=_done(state, step, language)) if state is not None else one)
        sections.append(PrintedSection(in_(section.title, language), section.beside, tuple(steps)))
    return PrintedWorksheet(
        language=language,
        title=_title(sheet, language),
        line=in_(sheet.line.name, language),
        on=sheet.on.isoformat(),
        flush=_flush_lines(sheet, language),
        standard_min=standard_min(sheet),
        sections=tuple(sections),
        cautions=tuple(words(f"print.caution_{i}", language) for i in (1, 2, 3)),
        running=_running(state, language) if state is not None else (),
        digest=sheet.digest,
        library_digest=sheet.library_digest,
        steps=number,
    )


def _running(state: State, language: str) -> tuple[str, ...]:
    """Whose record it is and until when, the locks that it has on, and what the paper is from now on."""
    left = sum(1 for step in state.worksheet.steps() if state.done(step.id) is None)
    at = f"{state.last_at:%Y-%m-%d %H:%M}"
    lines = [words("print.running", language, work=state.work, n=state.last_n, at=at, left=str(left))]
    locks = ", ".join(
        f"{lock.point} {lock.lock} ({lock.owner_name or lock.owner})" for lock in state.locks_on()
    )
    lines.append(
        words("print.locks_on", language, locks=locks) if locks else words("print.no_locks", language)
    )
    return (*lines, *(words(f"print.running_{i}", language) for i in (1, 2)))


def _done(state: State, step: Step, language: str) -> str:
    signed = state.done(step.id)
    if signed is None:
        return ""
    value = value_text(step, signed, language)
    who = f"{signed.done_at:%Y-%m-%d %H:%M} {done_by(signed, state.last_at, language)}"
    return words("print.signed", language, what=f"{value}, {who}" if value else who)


def _title(sheet: Worksheet, language: str) -> str:
    def name(named: Named | None) -> str:
        return in_(named.name, language) if named else ""

    if sheet.procedure is not None:
        return name(sheet.procedure)
    return f"{name(sheet.outgoing)} > {name(sheet.incoming)}"


def _flush_lines(sheet: Worksheet, language: str) -> tuple[str, ...]:
    note = sheet.flush
    if note is None:
        return ()
    lines = [
        words("print.flush", language, kg=f"{note.required_kg}", bars=note.bars, minutes=note.minutes),
        sentence(
            governing_sentence(note.status, note.governing, note.limit, _outgoing(sheet, language)), language
        ),
    ]
    if note.gate:
        lines.append(words("print.gate", language))
    lines.append(words(f"print.evidence_{note.evidence}", language))
    return tuple(lines)


def _outgoing(sheet: Worksheet, language: str) -> str:
    governing = sheet.flush.governing if sheet.flush else None
    named = {found.id: found for found in (sheet.outgoing, *sheet.traces) if found}
    source = named.get(governing.outgoing) if governing else None
    chosen = source or sheet.outgoing
    return in_(chosen.name, language) if chosen else ""


def _entry(step: Step, language: str) -> str:
    match step.kind:
        case "reading" if step.acid_mol_l is not None:
            return words("print.titration", language, acid=f"{step.acid_mol_l}", high=f"{step.high}")
        case "reading" if step.method is not None:
            return f"{sentence(asked_for(step), language)} ________________"
        case "reading":
            limits = " ".join(
                f"{sign} {value}"
                for sign, value in ((">=", step.low), ("<=", step.high))
                if value is not None
            )
            return f"________ {step.unit}  {limits}".rstrip()
        case "choice":
            return "   ".join(f"[ ] {in_(choice.text, language)}" for choice in step.choices)
        case "scan":
            return words("print.scan", language, code=step.expect) + " ________"
        case "wait":
            return words("print.wait", language, minutes=f"{step.dwell_min}")
        case "flush":
            return words("print.flush_entry", language, kg=f"{step.required_kg}") + " ________ kg"
        case "text":
            return "________________________"
        case "lockout" if step.event in ("lock_on", "lock_off"):
            return words("print.lock", language) + " ________"
        case _:
            return ""


def _printed_step(number: int, sheet: Worksheet, step: Step, language: str) -> PrintedStep:
    points: tuple[tuple[str, str], ...] = ()
    job = sheet.job(step.job) if step.event == "verify" else None
    if job is not None:
        points = tuple(
            (
                in_(point.name, language),
                f"{in_(point.verify_method, language)}: {in_(point.verify_expect, language)}",
            )
            for point in job.points
        )
    entry = _entry(step, language)
    if step.mark:
        entry = f"{entry}  {words('print.counter', language)} ________".strip()
    return PrintedStep(
        number=number,
        id=step.id,
        text=in_(step.text, language),
        why=in_(step.why, language),
        caution=in_(step.caution, language),
        ppe=", ".join(in_(item, language) for item in step.ppe),
        entry=entry,
        who=words("print.two_names", language) if step.witness else words("print.one_name", language),
        minutes=minutes_of(sheet, step),
        under_lockout=bool(step.needs_lockout),
        points=points,
        unreviewed=_unreviewed(step, language),
    )


def _unreviewed(step: Step, language: str) -> bool:
    """Whether any text of the step lacks a reviewed translation."""

    def gap(text: Text) -> bool:
        return bool(text) and language not in text

    return any(gap(text) for text in (step.text, step.why, step.caution, *step.ppe))


def as_text(sheet: Worksheet, language: str, state: State | None = None) -> str:
    """The worksheet as plain text, 78 columns wide; with its `state`, that of a work that runs."""
    page = printed(sheet, language, state)
    out = [
        page.title.upper(),
        f"{page.line}   {page.on}   "
        + words("print.count", language, steps=page.steps, minutes=f"{page.standard_min:.0f}"),
        "",
    ]
    for line in (*page.running, *page.flush, *page.cautions):
        out += textwrap.wrap(line, _WIDTH)
    for section in page.sections:
        out += ["", *textwrap.wrap(section.title.upper(), _WIDTH)]
        if section.beside:
            out += textwrap.wrap(f"({words('print.beside', language)})", _WIDTH)
        out.append("-" * _WIDTH)
        for step in section.steps:
            out += _text_step(step, language)
    closing = (
        words("print.digest", language, digest=page.digest[:16], library=page.library_digest[:16]),
        words("print.late", language),
    )
    out += ["", *(part for line in closing for part in textwrap.wrap(line, _WIDTH))]
    return "\n".join(out) + "\n"


def _text_step(step: PrintedStep, language: str) -> list[str]:
    lead = f"{step.number:3d} [{'x' if step.done else ' '}] "
    locked = f" {words('print.under_lockout', language)}" if step.under_lockout else ""
    draft = f" {words('print.unreviewed', language)}" if step.unreviewed else ""
    out = textwrap.wrap(
        step.text + locked + draft, _WIDTH, initial_indent=lead, subsequent_indent=" " * len(lead)
    )
    if step.done:
        out += textwrap.wrap(step.done, _WIDTH, initial_indent=" " * 8, subsequent_indent=" " * 8)
        return out
    for key, value in (("print.why", step.why), ("print.caution", step.caution), ("print.wear", step.ppe)):
        if value:
            label = f"{words(key, language)} "
            out += textwrap.wrap(
                label + value, _WIDTH, initial_indent=" " * 8, subsequent_indent=" " * (8 + len(label))
            )
    for name, method in step.points:
        out += textwrap.wrap(
            f"[ ] {name}: {method}", _WIDTH, initial_indent=" " * 8, subsequent_indent=" " * 12
        )
    if step.entry:
        out += textwrap.wrap(step.entry, _WIDTH, initial_indent=" " * 8, subsequent_indent=" " * 8)
    out.append(f"        {step.who}   ____:____")
    return out


def as_html(sheet: Worksheet, language: str, state: State | None = None) -> str:
    """The worksheet as one HTML file that prints well and needs no script."""
    from jinja2 import Environment, StrictUndefined  # noqa: PLC0415  only HTML needs it

    source = (files("floorterm.review") / "templates" / "worksheet.html").read_text(encoding="utf-8")
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )

    def say(key: str, **facts: str | int) -> str:
        return words(key, language, **facts)

    return environment.from_string(source).render(page=printed(sheet, language, state), say=say)

"""Compose a worksheet from the plant's words: of a changeover for one ordered pair, or of a single procedure."""

from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal

from msgspec.structs import replace

from floorterm.changeover.facts import Facts, applies, facts_of, matches
from floorterm.changeover.faults import ComposeError
from floorterm.changeover.flushing import flush_note, whole_oil_items
from floorterm.changeover.lockout_steps import before, behind, job_of, spoken
from floorterm.changeover.lye_steps import lye_note, with_protection
from floorterm.changeover.method_note import method_note
from floorterm.changeover.ordering import Ordering, Part
from floorterm.changeover.worksheet import (
    Choice,
    FlushNote,
    Named,
    Section,
    Step,
    Text,
    Worksheet,
)
from floorterm.languages import DRAFT, draft_of, in_
from floorterm.library.calibrated import Calibration, with_calibration
from floorterm.library.model import (
    FragranceFile,
    Library,
    LineFile,
    SectionSpec,
    StepSpec,
)
from floorterm.library.model import Text as LibraryText
from floorterm.lockout.model import Job
from floorterm.wording import words

LEAVE, ENTER = "leave_steps", "enter_steps"


def compose(
    library: Library,
    line: str,
    outgoing: str,
    incoming: str,
    on: date,
    *,
    traces: Sequence[str] = (),
    facts: Mapping[str, bool | str] | None = None,
    calibration: Calibration | None = None,
    compare: bool = False,
    tanks: Mapping[str, str] | None = None,
) -> Worksheet:
    """The worksheet of a changeover from `outgoing` to `incoming` on `line`.

    `traces` are further fragrances that the line may still hold (after an abandoned changeover): each is
    counted, so the flush can only be larger than needed. `facts` overrule those computed for the pair.
    `calibration` are figures of the line that somebody accepted; `compare` notes the ways to flush side by side;
    `tanks` is what the line's dosing tanks held last, by tank, as far as somebody knows.
    Raises ComposeError for ids that the library does not know or a pair that cannot run on the line.
    """
    spec = _line(library, line)
    if calibration is not None:
        spec = with_calibration(spec, calibration.values)
    old, new = _fragrance(library, outgoing, line), _fragrance(library, incoming, line)
    if old.id == new.id and not traces:
        raise ComposeError(f"{line} already holds {old.name.en}; there is nothing to change over.")
    others = tuple(_fragrance(library, name, line) for name in traces if name not in (outgoing, incoming))
    flush = flush_note(
        library, spec, (old, *others), new, on, calibration=calibration, compare=compare, tanks=tanks
    )
    known: Facts = {**facts_of(spec, old, new, flush, whole_oil_items()), **(facts or {})}
    sheet = Worksheet(
        line=Named(id=spec.id, name=spoken(spec.name)),
        outgoing=_named(old),
        incoming=_named(new),
        traces=tuple(_named(other) for other in others),
        on=on,
        facts=known,
        sections=(),
        flush=flush,
        release_duties=library.plant.release_duties,
        pin_again=library.plant.pins.again_for,
        library_digest=library.digest,
    )
    return _fill(sheet, library, spec, _sequence(library, old, new), known, new)


def compose_procedure(
    library: Library,
    line: str,
    procedure: str,
    on: date,
    *,
    facts: Mapping[str, bool | str] | None = None,
) -> Worksheet:
    """The worksheet of a procedure that stands alone. Raises ComposeError for ids the library does not know."""
    spec = _line(library, line)
    if procedure not in library.alone or line not in library.alone[procedure].lines:
        raise ComposeError(f"There is no procedure {procedure!r} for line {line}.")
    alone = library.alone[procedure]
    known: Facts = {"line": line, **(facts or {})}
    sheet = Worksheet(
        line=Named(id=spec.id, name=spoken(spec.name)),
        procedure=Named(id=alone.id, name=spoken(alone.title)),
        on=on,
        facts=known,
        sections=(),
        release_duties=alone.release_duties or library.plant.release_duties,
        pin_again=library.plant.pins.again_for,
        library_digest=library.digest,
    )
    return _fill(sheet, library, spec, alone.sections, known, None)


def _sequence(library: Library, outgoing: FragranceFile, incoming: FragranceFile) -> tuple[SectionSpec, ...]:
    found: list[SectionSpec] = []
    for block in library.sequence.blocks:
        if block in (LEAVE, ENTER):
            fragrance, steps = (outgoing, outgoing.leave) if block == LEAVE else (incoming, incoming.enter)
            if steps:
                key = "compose.leave" if block == LEAVE else "compose.enter"
                title = _section_title(key, fragrance, library.plant.written)
                found.append(
                    SectionSpec(id=block.removesuffix("_steps"), title=LibraryText(**title), steps=steps)
                )
        else:
            found.extend(library.blocks[block].sections)
    return tuple(found)


def _section_title(key: str, fragrance: FragranceFile, languages: Sequence[str]) -> dict[str, str]:
    names = spoken(fragrance.name)
    return {
        draft_of((names,), language): words(key, language, fragrance=in_(names, language))
        for language in languages
    }


def _fill(
    sheet: Worksheet,
    library: Library,
    line: LineFile,
    specs: Sequence[SectionSpec],
    facts: Facts,
    incoming: FragranceFile | None,
) -> Worksheet:
    parts = []
    for spec in (with_protection(one, library.plant, sheet.on) for one in specs):
        steps = tuple(
            (step, matches(step.when, facts) and applies(step.applies_to, incoming)) for step in spec.steps
        )
        stays = (
            matches(spec.when, facts)
            and applies(spec.applies_to, incoming)
            and any(stays for _, stays in steps)
        )
        parts.append(Part(spec, stays, steps))
    ordering = Ordering(parts)
    builder = _Builder(library, line, sheet, ordering, incoming)
    sections: list[Section] = []
    for part in parts:
        if part.stays:
            sections.extend(builder.sections(part))
    finished = replace(sheet, sections=tuple(sections), jobs=tuple(builder.jobs))
    return _tie_outside_work(finished)


def _tie_outside_work(sheet: Worksheet) -> Worksheet:
    """Steps that need a lockout of another section belong between its verification and its end of work."""
    by_procedure = {job.procedure: job.id for job in sheet.jobs}
    sections = []
    outside: dict[str, list[str]] = {}
    for section in sheet.sections:
        steps = []
        for step in section.steps:
            needs = by_procedure.get(step.needs_lockout, step.needs_lockout)
            if needs and sheet.job(needs) is None:
                raise ComposeError(
                    f"Step {step.id} needs the lockout {step.needs_lockout}, which this worksheet does not contain."
                )
            if needs and section.id != needs:
                outside.setdefault(needs, []).append(step.id)
                after = tuple(dict.fromkeys((*step.after, f"{needs}-lock/verify")))
                steps.append(replace(step, needs_lockout=needs, after=after))
            else:
                steps.append(replace(step, needs_lockout=needs))
        sections.append(replace(section, steps=tuple(steps)))
    for job, ids in outside.items():
        sections = [_more_after(section, f"{job}-unlock/work-end", ids) for section in sections]
    return replace(sheet, sections=tuple(sections))


def _more_after(section: Section, step_id: str, more: Sequence[str]) -> Section:
    steps = tuple(
        replace(step, after=(*step.after, *more)) if step.id == step_id else step for step in section.steps
    )
    return replace(section, steps=steps)


class _Builder:
    """Builds the sections of one worksheet; collects its lockout jobs on the way."""

    def __init__(
        self,
        library: Library,
        line: LineFile,
        sheet: Worksheet,
        ordering: Ordering,
        incoming: FragranceFile | None,
    ) -> None:
        self.library = library
        self.line = line
        self.sheet = sheet
        self.ordering = ordering
        self.jobs: list[Job] = []
        self.incoming = incoming
        self._codes = _codes(sheet, incoming)

    def sections(self, part: Part) -> tuple[Section, ...]:
        spec = part.spec
        steps = tuple(self._step(part, step) for step, stays in part.steps if stays)
        work = Section(
            id=spec.id,
            title=self._filled(spoken(spec.title)),
            steps=steps,
            first_article=spec.first_article,
            beside=spec.beside,
            lye=lye_note(spec, self.library.plant),
        )
        if not spec.lockout:
            return (work,)
        lockout = self.library.lockouts[spec.lockout]
        if self.line.id not in lockout.lines:
            raise ComposeError(
                f"The lockout {lockout.id} of section {spec.id} is not meant for {self.line.id}."
            )
        job = job_of(spec.id, lockout, self.line, self.sheet.on, self.library.plant.lockout)
        self.jobs.append(job)
        followed = {name for step in steps for name in step.after}
        ends = [step.id for step in steps if step.id not in followed]
        written = self.library.plant.written
        first = before(job, lockout, self.ordering.entry(part.id), written)
        return first, work, behind(job, lockout, ends, written)

    def _step(self, part: Part, spec: StepSpec) -> Step:
        needs = part.id if part.spec.lockout else (spec.needs_lockout or "")
        flush = self.sheet.flush
        since = spec.since
        return Step(
            id=f"{part.id}/{spec.id}",
            kind=spec.kind,
            text=self._filled(spoken(spec.text)),
            why=self._filled(spoken(spec.why)),
            caution=self._filled(spoken(spec.caution)),
            ppe=tuple(spoken(text) for text in spec.ppe),
            duty=spec.duty,
            witness=spec.witness or "",
            after=self.ordering.step_after(part, spec),
            needs_lockout=needs,
            critical=spec.critical or "",
            standard_min=spec.standard_min,
            external=spec.external,
            expires_min=spec.expires_min,
            reopens=tuple(step for ref in spec.reopens for step in self._reopened(part, ref)),
            unit=spec.unit or "",
            low=spec.low,
            high=spec.high,
            acid_mol_l=spec.acid_mol_l,
            method=method_note(spec.method, self.library.plant, self.incoming),
            choices=tuple(
                Choice(id=choice.id, text=spoken(choice.text), deviation=choice.deviation, stops=choice.stops)
                for choice in spec.choices
            ),
            expect=(spec.expect or "").format_map(self._codes),
            dwell_min=spec.dwell_min,
            since=next(iter(self.ordering.resolve(since, part)), "") if since else "",
            required_kg=(flush.required_kg if flush else Decimal(0)) if spec.kind == "flush" else None,
            mark=spec.mark or "",
            tells=spec.tells or "",
            item=spec.item or "",
        )

    def _reopened(self, part: Part, ref: str) -> tuple[str, ...]:
        """Only steps that stand on this worksheet can be opened again."""
        section_id, _, step_id = ref.partition("/")
        if not step_id:
            section_id, step_id = part.id, ref
        for other in self.ordering.parts:
            if other.id == section_id and other.stays:
                return tuple(
                    f"{section_id}/{step.id}" for step, stays in other.steps if stays and step.id == step_id
                )
        return ()

    def _filled(self, text: Text) -> Text:
        return {language: value.format_map(_names(self.sheet, language)) for language, value in text.items()}


def _names(sheet: Worksheet, language: str) -> dict[str, str]:
    spoken_language = language.removesuffix(DRAFT)
    flush = sheet.flush

    def name(named: Named | None) -> str:
        return in_(named.name, spoken_language) if named else ""

    return {
        "incoming": name(sheet.incoming),
        "outgoing": name(sheet.outgoing),
        "line": name(sheet.line),
        "tank": str(sheet.facts.get("incoming_tank", "")),
        "flush_kg": f"{flush.required_kg}" if flush else "",
        "bars": f"{flush.bars}" if flush else "",
        "rinses": f"{flush.rinse.rinses}" if flush and flush.rinse else "",
        "rinse_kg": f"{flush.rinse.rinse_kg:f}" if flush and flush.rinse else "",
    }


def _codes(sheet: Worksheet, incoming: FragranceFile | None) -> dict[str, str]:
    return {
        "incoming": incoming.code if incoming else "",
        "outgoing": sheet.outgoing.code if sheet.outgoing else "",
        "line": sheet.line.id,
        "tank": str(sheet.facts.get("incoming_tank", "")),
        "flush_kg": "",
        "bars": "",
    }


def _named(fragrance: FragranceFile) -> Named:
    return Named(id=fragrance.id, name=spoken(fragrance.name), code=fragrance.code)


def _line(library: Library, line: str) -> LineFile:
    if line not in library.lines:
        raise ComposeError(f"There is no line {line!r}; known are {', '.join(library.lines)}.")
    return library.lines[line]


def _fragrance(library: Library, fragrance: str, line: str) -> FragranceFile:
    if fragrance not in library.fragrances:
        raise ComposeError(f"There is no fragrance {fragrance!r}; known are {', '.join(library.fragrances)}.")
    found = library.fragrances[fragrance]
    if line not in found.lines:
        raise ComposeError(f"{found.name.en} does not run on line {line}.")
    return found


__all__ = ["ComposeError", "FlushNote", "compose", "compose_procedure"]

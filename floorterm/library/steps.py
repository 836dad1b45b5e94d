"""Checks of sections and steps: duties, references, facts of `when`, lockouts, placeholders."""

from collections.abc import Iterator, Mapping, Sequence
from string import Formatter

from msgspec import Struct, field

from floorterm.library.documents import Document, Documents, names_in, names_of, repeats
from floorterm.library.facts import FACTS
from floorterm.library.faults import Fault, listed, near, quoted
from floorterm.library.reading import Node, fault_at
from floorterm.library.validation import truth_hint

TEXT_PLACEHOLDERS = frozenset(
    {"incoming", "outgoing", "line", "tank", "flush_kg", "bars", "rinses", "rinse_kg"}
)
CODE_PLACEHOLDERS = frozenset({"incoming", "outgoing", "line", "tank"})
LEAVE_SECTION, ENTER_SECTION = "leave", "enter"  # the sections that hold a fragrance's own steps
_FILLED = ("text", "why", "caution")


class Plan(Struct, frozen=True):
    """The sections that can stand on one worksheet together: of the changeover, or of one procedure alone."""

    title: str
    sections: Sequence[tuple[Document, Node]]
    changeover: bool
    steps: Mapping[str, frozenset[str]] = field(default_factory=dict)

    @staticmethod
    def of(title: str, sections: Sequence[tuple[Document, Node]], *, changeover: bool) -> "Plan":
        """The plan of these sections, with the ids of the steps of each."""
        steps: dict[str, frozenset[str]] = {}
        for _, section in sections:
            name = section.word("id")
            if name is not None and name.text is not None:
                steps[name.text] = steps.get(name.text, frozenset()) | names_in(section, "steps", "id")
        return Plan(title, sections, changeover, steps)

    def lockouts(self) -> frozenset[str]:
        """The lockouts that sections of this plan put around their steps, by procedure and by section."""
        found: set[str] = set()
        for _, section in self.sections:
            lockout, name = section.word("lockout"), section.word("id")
            if lockout is not None and lockout.text is not None:
                found.add(lockout.text)
                if name is not None and name.text is not None:
                    found.add(name.text)
        return frozenset(found)


def plans(documents: Documents) -> Iterator[Plan]:
    """Every plan of the folder: the changeover, then each procedure that stands alone."""
    yield Plan.of("changeover", tuple(documents.sections_of_sequence()), changeover=True)
    for alone in documents.of_kind("alone"):
        sections = tuple((alone, section) for section in alone.node.each("sections"))
        yield Plan.of(alone.id or alone.path, sections, changeover=False)


def step_faults(documents: Documents) -> Iterator[Fault]:
    """Every fault of sections and steps, wherever they stand."""
    for plan in plans(documents):
        yield from _section_ids(plan)
        for document, section in plan.sections:
            yield from _Checker(documents, plan, document).section(section)
        if plan.changeover:
            for fragrance in documents.fragrances:
                checker = _Checker(documents, plan, fragrance)
                for key in (LEAVE_SECTION, ENTER_SECTION):
                    yield from repeats(fragrance, names_of(fragrance.node, key), "step")
                    own = names_in(fragrance.node, key, "id")
                    for step in fragrance.node.each(key):
                        yield from checker.step(step, key, own)


def _section_ids(plan: Plan) -> Iterator[Fault]:
    """Section ids stand once over all blocks; the names that compose gives to its own sections are taken."""
    taken = {LEAVE_SECTION: "a fragrance's own steps", ENTER_SECTION: "a fragrance's own steps"}
    for _, section in plan.sections:
        name = section.word("id")
        if name is not None and section.get("lockout") is not None:
            taken |= {
                f"{name.text}-lock": f"the lockout of {name.text}",
                f"{name.text}-unlock": f"the lockout of {name.text}",
            }
    seen: dict[str, str] = {}
    for document, section in plan.sections:
        name = section.word("id")
        if name is None or name.text is None:
            continue
        where = f"{document.path} line {name.place.line}"
        if name.text in seen:
            found = f"{quoted(name.text)} again (first in {seen[name.text]})"
            yield document.fault(name, "each section once over all blocks", found)
        elif name.text in taken:
            yield document.fault(
                name, "another id", f"{quoted(name.text)}, which stands for {taken[name.text]}"
            )
        seen.setdefault(name.text, where)


class _Checker(Struct, frozen=True):
    """Checks the sections and steps of one file within one plan."""

    documents: Documents
    plan: Plan
    document: Document

    def section(self, section: Node) -> Iterator[Fault]:
        name = section.word("id")
        section_id = (name.text or "") if name is not None else ""
        own = names_in(section, "steps", "id")
        yield from repeats(self.document, names_of(section, "steps"), "step")
        yield from self._texts(section, ("title",))
        yield from self._when(section)
        yield from self._applies_to(section)
        yield from self._lockout_of(section)
        for ref in section.each("after"):
            yield from self._reference(ref, section_id, own, whole=True)
        for step in section.each("steps"):
            yield from self.step(step, section_id, own, locked=section.get("lockout") is not None)

    def step(
        self, step: Node, section_id: str, own: frozenset[str], *, locked: bool = False
    ) -> Iterator[Fault]:
        for key in ("duty", "witness"):
            duty = step.word(key)
            if (
                duty is not None
                and self.documents.plant is not None
                and duty.text not in self.documents.duties
            ):
                yield self.document.unknown(duty, "a duty of plant.yaml", self.documents.duties)
        yield from self._when(step)
        yield from self._applies_to(step)
        yield from self._needs_lockout(step)
        yield from self._texts(step, _FILLED)
        yield from self._unfilled(step)
        yield from self._expect(step)
        yield from repeats(self.document, names_of(step, "choices"), "choice")
        for ref in step.each("after"):
            yield from self._reference(ref, section_id, own, whole=True)
        for ref in step.each("reopens"):
            yield from self._reference(ref, section_id, own, whole=False)
        since = step.word("since")
        if since is not None:
            yield from self._reference(since, section_id, own, whole=True)
        kind = step.word("kind")
        if kind is not None and kind.text == "flush" and not self.plan.changeover:
            yield self.document.fault(kind, "another kind: only a changeover knows how much to flush")
        locked = locked or step.get("needs_lockout") is not None
        if kind is not None and kind.text == "flush" and locked:
            yield self.document.fault(kind, "another kind: a flush runs the line, and a lockout holds it")

    def _reference(self, ref: Node, section_id: str, own: frozenset[str], *, whole: bool) -> Iterator[Fault]:
        """A step of this section, `section/step`, or (where `whole`) a section."""
        if ref.text is None or (self.plan.changeover and not self.documents.knows("procedures")):
            return
        section, slash, step = ref.text.partition("/")
        steps = {**self.plan.steps, section_id: own} if section_id else self.plan.steps
        if not slash:
            if section in own or (whole and section in self.plan.steps and section != section_id):
                return
            known = own | (frozenset(self.plan.steps) - {section_id} if whole else frozenset())
            elsewhere = sorted(
                f"{other}/{section}" for other, names in self.plan.steps.items() if section in names
            )
            hint = near(section, known)
            if elsewhere:
                hint = f"did you mean {quoted(elsewhere[0])}?"
            what = (
                "a step of this section, section/step or a section"
                if whole
                else "a step of this section or section/step"
            )
            yield self.document.fault(ref, what, "", hint)
        elif section not in steps:
            hint = near(ref.text, [f"{name}/{inner}" for name, names in steps.items() for inner in names])
            yield self.document.fault(
                ref, f"a section that stands in {self.plan.title}", f"{quoted(ref.text)}", hint
            )
        elif step not in steps[section]:
            hint = near(ref.text, [f"{section}/{inner}" for inner in steps[section]])
            yield self.document.fault(ref, f"a step of section {section}", "", hint)

    def _when(self, node: Node) -> Iterator[Fault]:
        when = node.get("when")
        if when is None:
            return
        known = FACTS if self.plan.changeover else {"line": str}
        for name, (place, value) in when.members():
            kind = known.get(name)
            if kind is None:
                expected = listed(known, 20)
                if name in FACTS:
                    expected = "line, the only fact of a procedure that stands alone"
                found = f"the fact {quoted(name)}"
                yield fault_at(self.document.path, place, value.loc, expected, found, near(name, known))
            elif kind is bool and not isinstance(value.value, bool):
                yield self.document.fault(value, "true or false", "", truth_hint(value.text or ""))
            elif kind is str:
                yield from self._when_name(name, value)

    def _when_name(self, name: str, value: Node) -> Iterator[Fault]:
        documents = self.documents
        if not documents.knows("lines"):
            return
        known = documents.line_ids
        what = "a line"
        if name != "line":
            what = "a dosing tank of some line"
            known = frozenset(tank for line in documents.lines for tank in names_in(line.node, "tanks", "id"))
        if value.text is None:
            yield self.document.fault(value, f"{what} ({listed(known)})")
        elif value.text not in known:
            yield self.document.unknown(value, what, known)

    def _applies_to(self, node: Node) -> Iterator[Fault]:
        if not self.plan.changeover:
            if (at := node.get("applies_to")) is not None and at.value != ():
                yield self.document.fault(
                    at, "nothing: a procedure that stands alone has no incoming fragrance"
                )
            return
        known = self.documents.fragrance_ids | self.documents.tags
        for name in node.each("applies_to"):
            if name.text is not None and name.text not in known and self.documents.knows("fragrances"):
                yield self.document.unknown(name, "the id or a tag of a fragrance", known)

    def _lockout_of(self, section: Node) -> Iterator[Fault]:
        """The lockout around a section exists, and is meant for every line that the section can stand on."""
        name = section.word("lockout")
        if name is None or not self.documents.knows("procedures"):
            return
        lockout = self.documents.lockout(name.text)
        if lockout is None:
            yield self.document.unknown(name, "a lockout procedure", self.documents.lockout_ids)
            return
        meant = frozenset(node.text for node in lockout.node.each("lines"))
        for line in sorted(self._lines_of(section) - meant):
            hint = f"give the section when: {{line: …}}, or name {line} in {lockout.path}"
            found = f"{quoted(name.text)}, which is not meant for {line}"
            yield self.document.fault(name, "a lockout of every line that the section stands on", found, hint)

    def _lines_of(self, section: Node) -> frozenset[str]:
        lines = self.documents.line_ids
        if not self.plan.changeover:
            lines &= frozenset(
                node.text for node in self.document.node.each("lines") if node.text is not None
            )
        when = section.get("when")
        only = when.get("line") if when is not None else None
        return lines & {only.text} if only is not None and only.text is not None else lines

    def _needs_lockout(self, step: Node) -> Iterator[Fault]:
        name = step.word("needs_lockout")
        if name is None or (self.plan.changeover and not self.documents.knows("procedures")):
            return
        provided = self.plan.lockouts()
        if name.text not in provided:
            what = f"a lockout that a section of {self.plan.title} puts on"
            yield self.document.unknown(name, what, provided)

    def _texts(self, node: Node, keys: Sequence[str]) -> Iterator[Fault]:
        """Placeholders are of the closed set, and a translation has those of the English text."""
        for key in keys:
            text = node.get(key)
            if text is None:
                continue
            english: frozenset[str] | None = None
            for part in [text] if text.text is not None else [member.node for _, member in text.members()]:
                if part.text is None:
                    continue
                names, faults = self._placeholders(part, self._known(TEXT_PLACEHOLDERS))
                yield from faults
                if english is None:
                    english = names
                elif names != english and not faults:
                    expected = f"the same placeholders as the English text ({_braced(english) or 'none'})"
                    yield self.document.fault(part, expected, _braced(names) or "none")

    def _known(self, placeholders: frozenset[str]) -> frozenset[str]:
        """A procedure that stands alone knows its line, and neither fragrances nor a flush."""
        return placeholders if self.plan.changeover else frozenset({"line"})

    def _placeholders(self, node: Node, known: frozenset[str]) -> tuple[frozenset[str], list[Fault]]:
        expected = f"placeholders of {_braced(known)} only"
        try:
            parts = list(Formatter().parse(node.text or ""))
        except ValueError:
            return frozenset(), [self.document.fault(node, expected, "a brace without its partner")]
        names, faults = set(), []
        for _, name, form, conversion in parts:
            if name is None:
                continue
            if name not in known or form or conversion:
                hint = near(name, known)
                faults.append(self.document.fault(node, expected, quoted(f"{{{name}}}"), hint))
            names.add(name)
        return frozenset(names), faults

    def _expect(self, step: Node) -> Iterator[Fault]:
        expect = step.word("expect")
        if expect is not None:
            yield from self._placeholders(expect, self._known(CODE_PLACEHOLDERS))[1]

    def _unfilled(self, step: Node) -> Iterator[Fault]:
        """Protection and answers are shown as they are written: a placeholder there would reach the floor."""
        texts = [
            *step.each("ppe"),
            *(found for choice in step.each("choices") if (found := choice.get("text"))),
        ]
        for text in texts:
            for part in [text] if text.text is not None else [member.node for _, member in text.members()]:
                if part.text is not None and ("{" in part.text or "}" in part.text):
                    yield self.document.fault(part, "a text without placeholders")


def _braced(names: frozenset[str]) -> str:
    return " ".join(f"{{{name}}}" for name in sorted(names))

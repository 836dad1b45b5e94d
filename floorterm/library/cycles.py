"""Steps that would wait for each other for ever.

The order that `after` asks for, and the order in which steps and sections stand where nothing is asked for,
are one graph over all sections of a worksheet; leaving parts of it out by `when` only shortens its ways, so
a graph without a cycle stays without one on every worksheet.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from graphlib import CycleError, TopologicalSorter
from itertools import pairwise

from msgspec import Struct

from floorterm.library.documents import ENTER, LEAVE, Document, Documents
from floorterm.library.faults import Fault
from floorterm.library.reading import Node
from floorterm.library.steps import ENTER_SECTION, LEAVE_SECTION, Plan, plans


class _Part(Struct, frozen=True, dict=True):
    """One section of a plan, or the own steps of one fragrance (`section` is None, `owner` names it)."""

    document: Document
    id: str
    steps: tuple[Node, ...]
    section: Node | None = None
    owner: str = ""

    @property
    def start(self) -> str:
        return f"beginning of {self.id}"

    @property
    def end(self) -> str:
        return f"end of {self.id}"

    @property
    def beside(self) -> bool:
        flag = self.section.get("beside") if self.section is not None else None
        return flag is not None and flag.value is True

    @cached_property
    def own(self) -> frozenset[str | None]:
        return frozenset(word.text for step in self.steps if (word := step.word("id")) is not None)

    def name(self, step: str) -> str:
        return f"{self.owner}{self.id}/{step}"

    def target(self, ref: Node) -> str:
        """What a reference in this part means, in the names of the graph."""
        text = ref.text or ""
        if text in self.own:
            return self.name(text)
        if "/" in text:
            return self.owner + text if text.startswith(f"{self.id}/") else text
        return f"end of {text}"


@dataclass
class _Graph:
    """What waits for what, and which value of which file asked for it."""

    before: dict[str, dict[str, None]] = field(default_factory=dict)  # in order, so that faults do not vary
    asked: dict[tuple[str, str], tuple[Document, Node]] = field(default_factory=dict)

    rank: dict[str, int] = field(default_factory=dict)

    def stand(self, name: str) -> None:
        """Note that a step, or an end of a section, stands behind all that were noted before it."""
        self.rank.setdefault(name, len(self.rank))

    def wait(self, later: str, earlier: str, by: tuple[Document, Node] | None = None) -> None:
        self.before.setdefault(later, {})[earlier] = None
        if by is not None:
            self.asked.setdefault((earlier, later), by)

    def cycle(self) -> list[str]:
        try:
            TopologicalSorter(self.before).prepare()
        except CycleError as error:
            return list(error.args[1])
        return []

    def culprit(self, cycle: Sequence[str]) -> tuple[Document, Node] | None:
        """The value to blame for a circle: one that asks for something standing later, else any that asks."""
        asked = [pair for pair in pairwise(cycle) if pair in self.asked]
        backward = [(one, two) for one, two in asked if self.rank.get(one, 0) >= self.rank.get(two, 0)]
        return next((self.asked[pair] for pair in (*backward, *asked)), None)


def cycle_faults(documents: Documents) -> Iterator[Fault]:
    """One fault for each plan in which steps wait for each other, naming all of them."""
    for plan in plans(documents):
        groups = list(_groups(documents, plan))
        if _ambiguous(groups):
            continue
        graph = _Graph()
        previous: _Part | None = None
        for group in groups:
            for part in group:
                _enter(graph, part, previous)
                _steps(graph, part)
            previous = previous if group[0].beside else group[0]
        _outside_work(graph, [part for group in groups for part in group])
        yield from _named(graph, plan.title)


def _ambiguous(groups: Sequence[Sequence[_Part]]) -> bool:
    """Whether two sections share an id (a fault of its own): then nobody can say what waits for what."""
    names = [group[0].id for group in groups]
    return len(set(names)) != len(names)


def _groups(documents: Documents, plan: Plan) -> Iterator[Sequence[_Part]]:
    """The parts in order; the own steps of all fragrances stand side by side at their marker."""
    if not plan.changeover:
        yield from _sections(plan.sections)
        return
    for block in documents.sequence.node.each("blocks") if documents.sequence is not None else ():
        if block.text in (LEAVE, ENTER):
            key = LEAVE_SECTION if block.text == LEAVE else ENTER_SECTION
            group = [
                _Part(fragrance, key, fragrance.node.each(key), owner=f"{fragrance.id}'s ")
                for fragrance in documents.fragrances
            ]
            if group:
                yield group
        elif (document := documents.blocks.get(block.text or "")) is not None:
            yield from _sections([(document, section) for section in document.node.each("sections")])


def _sections(sections: Sequence[tuple[Document, Node]]) -> Iterator[Sequence[_Part]]:
    for document, section in sections:
        name = section.word("id")
        if name is not None:
            yield [_Part(document, name.text or "", section.each("steps"), section)]


def _enter(graph: _Graph, part: _Part, previous: _Part | None) -> None:
    graph.stand(part.start)
    graph.wait(part.end, part.start)
    if part.section is not None and part.section.get("after") is not None:
        for ref in part.section.each("after"):
            graph.wait(part.start, part.target(ref), (part.document, ref))
    elif previous is not None and not part.beside:
        graph.wait(part.start, previous.end)


def _steps(graph: _Graph, part: _Part) -> None:
    above = part.start
    for step in part.steps:
        word = step.word("id")
        if word is None:
            continue
        name = part.name(word.text or "")
        graph.stand(name)
        graph.wait(name, part.start)
        graph.wait(part.end, name)
        if step.get("after") is None:
            graph.wait(name, above)
        since = step.word("since")
        for ref in (*step.each("after"), *([since] if since is not None else [])):
            graph.wait(name, part.target(ref), (part.document, ref))
        above = name
    graph.stand(part.end)


def _outside_work(graph: _Graph, parts: Sequence[_Part]) -> None:
    """A step under another section's lockout stands between the beginning and the end of that section."""
    jobs: dict[str, _Part] = {}
    for part in parts:
        lockout = part.section.word("lockout") if part.section is not None else None
        if lockout is not None:
            jobs[lockout.text or ""] = jobs[part.id] = part
    for part in parts:
        for step in part.steps:
            needs, word = step.word("needs_lockout"), step.word("id")
            job = jobs.get(needs.text or "") if needs is not None else None
            if needs is not None and word is not None and job is not None and job.id != part.id:
                name = part.name(word.text or "")
                graph.wait(name, job.start, (part.document, needs))
                graph.wait(job.end, name, (part.document, needs))


def _named(graph: _Graph, title: str) -> Iterator[Fault]:
    cycle = graph.cycle()
    asked = graph.culprit(cycle)
    if asked is not None:  # without a circle there is nothing that asked for it
        document, node = asked
        hint = "take one of these out of after, since or needs_lockout"
        yield document.fault(
            node, f"steps of {title} that can all be reached", f"a circle: {' > '.join(cycle)}", hint
        )

"""Steps that would wait for each other for ever.

The order that `after` asks for, and the order in which steps and sections stand where nothing is asked for, are
one graph over all sections of a worksheet; leaving parts of it out by `when` only shortens its ways, so a graph
without a cycle stays without one on every worksheet.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from graphlib import CycleError, TopologicalSorter

from floorterm.library.documents import ENTER, LEAVE, Document, Documents
from floorterm.library.faults import Fault
from floorterm.library.reading import Node
from floorterm.library.steps import ENTER_SECTION, LEAVE_SECTION, plans

_START, _END = "beginning of ", "end of "


@dataclass
class _Graph:
    """What waits for what, and which value of which file asked for it."""

    before: dict[str, set[str]] = field(default_factory=dict)
    asked: dict[tuple[str, str], tuple[Document, Node]] = field(default_factory=dict)

    def wait(self, later: str, earlier: str, by: tuple[Document, Node] | None = None) -> None:
        self.before.setdefault(later, set()).add(earlier)
        if by is not None:
            self.asked.setdefault((earlier, later), by)

    def cycle(self) -> list[str]:
        try:
            TopologicalSorter(self.before).prepare()
        except CycleError as error:
            return list(error.args[1])
        return []


def cycle_faults(documents: Documents) -> Iterator[Fault]:
    """One fault for each plan in which steps wait for each other, naming all of them."""
    for plan in plans(documents):
        graph = _Graph()
        sections: list[tuple[Document, str, Node, tuple[Node, ...]]] = []
        for document, section in plan.sections:
            name = section.word("id")
            if name is not None and name.text is not None:
                sections.append((document, name.text, section, section.each("steps")))
        fragrances = documents.fragrances if plan.changeover else ()
        order = _order(documents, [name for _, name, _, _ in sections]) if plan.changeover else [s[1] for s in sections]
        previous = ""
        by_id = {name: (document, section, steps) for document, name, section, steps in sections}
        for name in order:
            if name in by_id:
                document, section, steps = by_id[name]
                previous = _section(graph, document, name, section, steps, previous)
            else:
                previous = _own_steps(graph, name, fragrances, previous)
        _outside_work(graph, sections)
        yield from _named(graph, plan.title)


def _order(documents: Documents, names: list[str]) -> list[str]:
    """Section ids in the order of the sequence, with the fragrances' own sections at their markers."""
    found: list[str] = []
    if documents.sequence is None:
        return names
    for block in documents.sequence.node.each("blocks"):
        if block.text in (LEAVE, ENTER):
            found.append(LEAVE_SECTION if block.text == LEAVE else ENTER_SECTION)
        elif (document := documents.blocks.get(block.text or "")) is not None:
            for section in document.node.each("sections"):
                name = section.word("id")
                if name is not None and name.text is not None:
                    found.append(name.text)
    return list(dict.fromkeys(found))


def _section(
    graph: _Graph, document: Document, name: str, section: Node, steps: tuple[Node, ...], previous: str
) -> str:
    """Put one section into the graph; the section that the next one follows by itself comes back."""
    start, end = _START + name, _END + name
    beside = section.get("beside")
    graph.wait(end, start)
    if section.get("after") is not None:
        own = _ids(steps)
        for ref in section.each("after"):
            graph.wait(start, _target(ref, name, own), (document, ref))
    elif previous and not (beside is not None and beside.value is True):
        graph.wait(start, _END + previous)
    _steps(graph, document, name, steps, start, end)
    return previous if beside is not None and beside.value is True else name


def _own_steps(graph: _Graph, name: str, fragrances: tuple[Document, ...], previous: str) -> str:
    start, end = _START + name, _END + name
    graph.wait(end, start)
    if previous:
        graph.wait(start, _END + previous)
    for fragrance in fragrances:
        _steps(graph, fragrance, name, fragrance.node.each(name), start, end, owner=f"{fragrance.id}'s ")
    return name


def _steps(
    graph: _Graph, document: Document, section: str, steps: tuple[Node, ...], start: str, end: str, owner: str = ""
) -> None:
    own = _ids(steps)
    above = start
    for step in steps:
        name = step.word("id")
        if name is None or name.text is None:
            continue
        node = f"{owner}{section}/{name.text}"
        graph.wait(node, start)
        graph.wait(end, node)
        if step.get("after") is None:
            graph.wait(node, above)
        since = step.word("since")
        for ref in (*step.each("after"), *([since] if since is not None else [])):
            graph.wait(node, _target(ref, section, own, owner), (document, ref))
        above = node


def _outside_work(graph: _Graph, sections: list[tuple[Document, str, Node, tuple[Node, ...]]]) -> None:
    """A step under another section's lockout stands between the beginning and the end of that section."""
    jobs: dict[str, str] = {}
    for _, name, section, _ in sections:
        lockout = section.word("lockout")
        if lockout is not None and lockout.text is not None:
            jobs[lockout.text] = jobs[name] = name
    for document, name, _, steps in sections:
        for step in steps:
            needs, step_id = step.word("needs_lockout"), step.word("id")
            job = jobs.get(needs.text or "") if needs is not None else None
            if needs is not None and step_id is not None and job is not None and job != name:
                graph.wait(f"{name}/{step_id.text}", _START + job, (document, needs))
                graph.wait(_END + job, f"{name}/{step_id.text}", (document, needs))


def _target(ref: Node, section: str, own: frozenset[str], owner: str = "") -> str:
    text = ref.text or ""
    if text in own:
        return f"{owner}{section}/{text}"
    if owner and text.startswith(f"{section}/"):
        return owner + text
    return text if "/" in text else _END + text


def _ids(steps: tuple[Node, ...]) -> frozenset[str]:
    found = (step.word("id") for step in steps)
    return frozenset(name.text for name in found if name is not None and name.text is not None)


def _named(graph: _Graph, title: str) -> Iterator[Fault]:
    cycle = graph.cycle()
    if not cycle:
        return
    pairs = zip(cycle, cycle[1:], strict=False)
    asked = next((graph.asked[pair] for pair in pairs if pair in graph.asked), None)
    shown = " > ".join(cycle)
    if asked is None:  # sections with one id are a fault of their own
        return
    document, node = asked
    hint = "take one of these out of after, since or needs_lockout"
    yield document.fault(node, f"steps of {title} that can all be reached", f"a circle: {shown}", hint)

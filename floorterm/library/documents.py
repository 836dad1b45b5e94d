"""The files of a checklists folder as trees, and the names that they give to things."""

from collections.abc import Iterator, Mapping
from functools import cached_property

from msgspec import Struct

from floorterm.library.faults import Fault, listed, near, quoted
from floorterm.library.reading import Loc, Node, fault_at, kind_of

LEAVE, ENTER = "leave_steps", "enter_steps"


class Document(Struct, frozen=True):
    """One file that YAML can read; `model` is None where it breaks the rules of its kind."""

    path: str
    node: Node
    model: Struct | None

    @property
    def id(self) -> str | None:
        """The id that the file gives itself, if it is a text."""
        return self.word("id")

    @property
    def kind(self) -> str | None:
        """The kind of a procedure file."""
        return self.word("kind")

    def word(self, key: str) -> str | None:
        """The text under a key of the file, or None."""
        found = self.node.get(key)
        return found.text if found else None

    def fault(self, node: Node, expected: str, found: str = "", hint: str = "", key: str = "") -> Fault:
        """A fault at a node of this file; `key` names a key that is missing in it."""
        loc: Loc = (*node.loc, key) if key else node.loc
        return fault_at(self.path, node.place, loc, expected, found or kind_of(node), hint)

    def unknown(self, node: Node, what: str, known: Mapping[str, object] | frozenset[str]) -> Fault:
        """A fault for a name that nothing bears; offers the names that look alike."""
        return self.fault(node, f"{what} ({listed(known)})", "", near(node.text or "", known))


class Documents(Struct, frozen=True, dict=True):
    """All files of one folder. `unread` names the kinds ("lines"…) of which a file could not be read at all.

    Names of a kind with unread files are incomplete, so nobody is blamed for naming one of them.
    """

    plant: Document | None
    lines: tuple[Document, ...]
    fragrances: tuple[Document, ...]
    procedures: tuple[Document, ...]
    unread: frozenset[str]

    def of_kind(self, kind: str) -> tuple[Document, ...]:
        """The procedure files of one kind."""
        return tuple(document for document in self.procedures if document.kind == kind)

    @cached_property
    def sequence(self) -> Document | None:
        """The file that names the blocks of a changeover in order."""
        return next(iter(self.of_kind("changeover")), None)

    @cached_property
    def line_ids(self) -> frozenset[str]:
        """Ids of all lines."""
        return _ids(self.lines)

    @cached_property
    def fragrance_ids(self) -> frozenset[str]:
        """Ids of all fragrances."""
        return _ids(self.fragrances)

    @cached_property
    def tags(self) -> frozenset[str]:
        """Tags of all fragrances."""
        return frozenset(
            tag.text
            for document in self.fragrances
            for tag in document.node.each("tags")
            if tag.text is not None
        )

    @cached_property
    def duties(self) -> frozenset[str]:
        """Ids of the duties of the plant."""
        return names_in(self.plant.node, "duties", "id") if self.plant else frozenset()

    @cached_property
    def lockout_ids(self) -> frozenset[str]:
        """Ids of all lockout procedures."""
        return _ids(self.of_kind("lockout"))

    @cached_property
    def blocks(self) -> Mapping[str, Document]:
        """Blocks by id."""
        return {document.id: document for document in self.of_kind("block") if document.id is not None}

    def line(self, line_id: str | None) -> Document | None:
        """The line of an id."""
        return next((document for document in self.lines if document.id == line_id), None)

    def lockout(self, lockout_id: str | None) -> Document | None:
        """The lockout procedure of an id."""
        return next((document for document in self.of_kind("lockout") if document.id == lockout_id), None)

    def knows(self, kind: str) -> bool:
        """Whether all names of a kind ("plant", "lines", "fragrances", "procedures") are known."""
        return kind not in self.unread

    def sections_of_sequence(self) -> Iterator[tuple[Document, Node]]:
        """The sections of a changeover in order, each with its file, without the fragrances' own steps.

        Blocks that no sequence names come last: they have a fault already, and are checked all the same.
        """
        named = self.sequence.node.each("blocks") if self.sequence is not None else ()
        order = dict.fromkeys([*(block.text for block in named if block.text in self.blocks), *self.blocks])
        for name in order:
            document = self.blocks[name or ""]
            for section in document.node.each("sections"):
                yield document, section


def names_in(node: Node, key: str, name: str) -> frozenset[str]:
    """The names that the items of a list give themselves under the key `name`."""
    found = (item.get(name) for item in node.each(key))
    return frozenset(word.text for word in found if word is not None and word.text is not None)


def repeats(document: Document, nodes: Iterator[Node] | tuple[Node, ...], what: str) -> Iterator[Fault]:
    """A fault for each name that stands a second time."""
    seen: dict[str, int] = {}
    for node in nodes:
        if node.text is None:
            continue
        if node.text in seen:
            found = f"{quoted(node.text)} again (first in line {seen[node.text]})"
            yield document.fault(node, f"each {what} once", found)
        else:
            seen[node.text] = node.place.line


def names_of(node: Node, key: str, name: str = "id") -> Iterator[Node]:
    """The naming values of a list's items, in order."""
    for item in node.each(key):
        found = item.get(name)
        if found is not None:
            yield found


def _ids(documents: tuple[Document, ...]) -> frozenset[str]:
    return frozenset(document.id for document in documents if document.id is not None)

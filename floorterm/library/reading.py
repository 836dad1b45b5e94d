"""One YAML file read without guessing: a tree of nodes, each with its line and column.

Only `true`, `false` and plain integers become anything but text: YAML 1.1 reads `no` as false, `1:30` as 90
and `012` as 10. What could surprise is refused: repeated keys, merge keys, tags, anchors and aliases, tabs.
The tree is built from the parser's events, never by recursion, so depth and size are limits and not crashes.
"""

import re
import unicodedata
from collections.abc import Iterator
from typing import Any, NamedTuple

import yaml

from floorterm.library.faults import Fault, quoted, shown

MAX_BYTES = 512 * 1024
MAX_NODES = 200_000
MAX_DEPTH = 50

Loc = tuple[str | int, ...]

_Loader: Any = getattr(yaml, "CLoader", yaml.Loader)  # only its events are used: nothing is ever constructed
_INTEGER = re.compile(r"-?(0|[1-9][0-9]{0,17})")
_NULLS = frozenset({"~", "null", "Null", "NULL"})
# control, format (bidirectional overrides among them), half a character, private, unassigned, line separators
_REFUSED = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
_BOM = b"\xef\xbb\xbf"


class Place(NamedTuple):
    """Where something begins; both count from 1."""

    line: int
    column: int


class Member(NamedTuple):
    """One key of a mapping with its value."""

    place: Place
    node: "Node"


class Node(NamedTuple):
    """One value of a file: a text, true or false, a whole number, a list of nodes, or named members."""

    place: Place
    loc: Loc
    value: "str | bool | int | tuple[Node, ...] | dict[str, Member]"

    def get(self, key: str) -> "Node | None":
        """The value under a key, or None where there is no such key or no mapping."""
        member = self.value.get(key) if isinstance(self.value, dict) else None
        return member.node if member else None

    def members(self) -> "Iterator[tuple[str, Member]]":
        """The keys of a mapping; nothing for anything else."""
        return iter(self.value.items() if isinstance(self.value, dict) else ())

    def each(self, key: str) -> "tuple[Node, ...]":
        """The items of the list under a key; empty where there is none."""
        found = self.get(key)
        return found.value if found is not None and isinstance(found.value, tuple) else ()

    def word(self, key: str) -> "Node | None":
        """The value under a key if it is a text or a whole number."""
        found = self.get(key)
        return found if found is not None and found.text is not None else None

    @property
    def text(self) -> str | None:
        """The value as text, or None for true, false, lists and mappings."""
        if isinstance(self.value, bool) or not isinstance(self.value, str | int):
            return None
        return str(self.value)


def field_of(loc: Loc) -> str:
    """A location as people read it, list items counted from 1: `sections[2].steps[3].low`."""
    parts = [f"[{part + 1}]" if isinstance(part, int) else f".{shown(part)}" for part in loc]
    return "".join(parts).removeprefix(".")


def fault_at(path: str, place: Place, loc: Loc, expected: str, found: str, hint: str = "") -> Fault:
    """A fault at a place of a file."""
    return Fault(path, place.line, place.column, field_of(loc), expected, found, hint)


def read(path: str, content: bytes) -> tuple[Node | None, list[Fault]]:
    """The tree of one file and its faults. The tree is None where the file could not be read as a whole.

    `path` only names the file in faults. Never raises for any content.
    """
    text, faults = _decoded(path, content)
    if text is None or faults:
        return None, faults
    builder = _Builder(path)
    try:
        for event in yaml.parse(text, _Loader):
            if not builder.take(event):
                break
    except yaml.MarkedYAMLError as error:
        builder.faults.append(_syntax(path, error))
        return None, builder.faults
    except (yaml.YAMLError, ValueError, RecursionError, MemoryError) as error:
        builder.faults.append(Fault(path, 0, 0, "", "text in YAML", f"something else ({shown(error)})"))
        return None, builder.faults
    if builder.stopped:
        return None, builder.faults
    if builder.root is None:
        builder.faults.append(Fault(path, 1, 1, "", "keys with values", "an empty file"))
    elif not isinstance(builder.root.value, dict):
        root = builder.root
        builder.faults.append(fault_at(path, root.place, (), "keys with values", kind_of(root)))
        return None, builder.faults
    return builder.root, builder.faults


def kind_of(node: Node) -> str:
    """What a value is, for `found`: a list, keys with values, or the value itself in quotes."""
    if isinstance(node.value, dict):
        return "keys with values"
    if isinstance(node.value, tuple):
        return "a list"
    if isinstance(node.value, bool):
        return "true" if node.value else "false"
    return quoted(node.value) if node.value != "" else "nothing"


def _decoded(path: str, content: bytes) -> tuple[str | None, list[Fault]]:
    if len(content) > MAX_BYTES:
        return None, [Fault(path, 0, 0, "", f"a file of at most {MAX_BYTES // 1024} KiB", "a larger one")]
    try:
        text = content.removeprefix(_BOM).decode("utf-8")
    except UnicodeDecodeError as error:
        before = error.object[: error.start]
        line = before.count(b"\n") + 1
        column = len(before.rpartition(b"\n")[2].decode("utf-8", "replace")) + 1
        found = f"the byte {error.object[error.start] if error.object else 0:02X}"
        hint = "save the file as UTF-8 in the editor"
        return None, [Fault(path, line, column, "", "text in UTF-8", found, hint)]
    return text, _odd_characters(path, text)


def _odd_characters(path: str, text: str) -> list[Fault]:
    """One fault for each sort of character that no checklist may hold, at the first place where it stands."""
    if text.replace("\n", "").replace("\r", "").isprintable():
        return []
    faults: dict[str, Fault] = {}
    line, start = 1, 0
    for index, sign in enumerate(text):
        if sign == "\n":
            line, start = line + 1, index + 1
        elif sign in faults or sign.isprintable() or (sign == "\r" and text[index + 1 : index + 2] == "\n"):
            continue
        elif unicodedata.category(sign) in _REFUSED:
            if sign == "\t":
                found, hint = "a tab", "indent with spaces"
            else:
                found, hint = f"the invisible character U+{ord(sign):04X}", "delete it"
            faults[sign] = Fault(path, line, index - start + 1, "", "text without it", found, hint)
    return list(faults.values())


def _syntax(path: str, error: yaml.MarkedYAMLError) -> Fault:
    mark = error.problem_mark or error.context_mark
    place = Place(mark.line + 1, mark.column + 1) if mark else Place(0, 0)
    problem = shown(error.problem or error.context)
    found = f"something that YAML cannot read ({problem})"
    for part, expected, hint in _PROBLEMS:
        if part in problem:
            return fault_at(path, place, (), expected, found, hint)
    return fault_at(path, place, (), "text in YAML", found)


_PROBLEMS = (
    (
        "mapping values are not allowed",
        "one key and one value a line",
        "put a text that holds a colon in quotes",
    ),
    (
        "could not find expected ':'",
        "a key, a colon, a space and a value",
        "look at this line and the one above",
    ),
    ("did not find expected key", "a key in line with the others", "check the indentation and the quotes"),
    ("expected ',' or", "a comma or the closing bracket", "put a text that holds a comma in quotes"),
    ("cannot start any token", "a letter, a digit or a quote", "put the text in quotes"),
    ("alias", "the value itself", "write it out"),
    ("anchor", "the value itself", "put a text that begins with & or * in quotes"),
    ("unexpected end of stream", "a closing quote", "look for the quote that is not closed"),
    ("block entry", "a list in line with the others", "check the indentation"),
)


class _Open:
    """A list or mapping that is still being read."""

    __slots__ = ("items", "key", "key_place", "loc", "members", "place")

    def __init__(self, place: Place, loc: Loc, *, mapping: bool) -> None:
        self.place = place
        self.loc = loc
        self.members: dict[str, Member] | None = {} if mapping else None
        self.items: list[Node] = []
        self.key: str | None = None
        self.key_place = place

    def next_loc(self) -> Loc:
        return (*self.loc, len(self.items)) if self.members is None else (*self.loc, self.key or "")


class _Builder:
    """Turns the parser's events into nodes, and notes what is refused."""

    def __init__(self, path: str) -> None:
        self.path = path
        self.faults: list[Fault] = []
        self.root: Node | None = None
        self.stopped = False
        self._open: list[_Open] = []
        self._count = 0
        self._documents = 0

    def take(self, event: Any) -> bool:
        """Take one event; False when reading must stop."""
        place = Place(event.start_mark.line + 1, event.start_mark.column + 1)
        match event:
            case yaml.ScalarEvent():
                self._refuse_marks(event, place)
                return self._counted(place) and self._scalar(event, place)
            case yaml.MappingStartEvent() | yaml.SequenceStartEvent():
                self._refuse_marks(event, place)
                return self._counted(place) and self._begin(event, place)
            case yaml.MappingEndEvent() | yaml.SequenceEndEvent():
                opened = self._open.pop()
                value = opened.members if opened.members is not None else tuple(opened.items)
                return self._put(Node(opened.place, opened.loc, value))
            case yaml.AliasEvent():
                return self._stop(
                    place, "the value itself", f"the alias *{shown(event.anchor)}", "write it out"
                )
            case yaml.DocumentStartEvent():
                self._documents += 1
                if self._documents > 1:
                    hint = "make it a file of its own"
                    return self._stop(place, "one document", "a second one behind ---", hint)
        return True

    def _loc(self) -> Loc:
        return self._open[-1].next_loc() if self._open else ()

    def _fault(self, place: Place, expected: str, found: str, hint: str = "") -> None:
        self.faults.append(fault_at(self.path, place, self._loc(), expected, found, hint))

    def _stop(self, place: Place, expected: str, found: str, hint: str = "") -> bool:
        self._fault(place, expected, found, hint)
        self.stopped = True
        return False

    def _counted(self, place: Place) -> bool:
        self._count += 1
        if self._count > MAX_NODES:
            return self._stop(place, f"at most {MAX_NODES} values", "more", "split the file")
        return True

    def _refuse_marks(self, event: Any, place: Place) -> None:
        if event.tag is not None and not (event.tag == "!" and isinstance(event, yaml.ScalarEvent)):
            self._fault(place, "a plain value", f"the tag {quoted(event.tag)}", "leave the tag out")
        if event.anchor is not None:
            hint = "write values out where they are needed"
            self._fault(place, "a plain value", f"the anchor &{shown(event.anchor)}", hint)

    def _begin(self, event: Any, place: Place) -> bool:
        if len(self._open) >= MAX_DEPTH:
            return self._stop(place, f"at most {MAX_DEPTH} levels", "more")
        if self._waits_for_key():
            return self._stop(place, "a key that is a word", "a list or keys with values")
        self._open.append(_Open(place, self._loc(), mapping=isinstance(event, yaml.MappingStartEvent)))
        return True

    def _waits_for_key(self) -> bool:
        return bool(self._open) and self._open[-1].members is not None and self._open[-1].key is None

    def _scalar(self, event: Any, place: Place) -> bool:
        text: str = unicodedata.normalize("NFC", event.value)
        self._hygiene(text, place)
        if self._waits_for_key():
            return self._key(text, place)
        plain = not event.style
        if plain and (text == "" or text in _NULLS):
            found = "nothing" if text == "" else quoted(text)
            self._fault(place, "a value", found, "leave the key out if there is nothing to say")
        return self._put(Node(place, self._loc(), _meant(text) if plain else text))

    def _hygiene(self, text: str, place: Place) -> None:
        """Escapes such as "\\u202e" bring in what no plain character could."""
        if text.isprintable():
            return
        for sign in text:
            if sign != "\n" and unicodedata.category(sign) in _REFUSED:
                found = f"the invisible character U+{ord(sign):04X}"
                self._fault(place, "text without it", found, "delete it")
                return

    def _key(self, text: str, place: Place) -> bool:
        opened = self._open[-1]
        opened.key, opened.key_place = text, place
        if text == "<<":
            self._fault(place, "a key", "the merge key <<", "write the keys out")
        return True

    def _put(self, node: Node) -> bool:
        if not self._open:
            self.root = node
            return True
        opened = self._open[-1]
        if opened.members is None:
            opened.items.append(node)
            return True
        key = opened.key or ""
        if key in opened.members:
            first = opened.members[key].place.line
            found = f"the key {quoted(key)} a second time (first in line {first})"
            loc = (*opened.loc, key)
            self.faults.append(fault_at(self.path, opened.key_place, loc, "each key once", found, "keep one"))
        elif key != "<<":
            opened.members[key] = Member(opened.key_place, node)
        opened.key = None
        return True


def _meant(text: str) -> str | bool | int:
    if text in ("true", "false"):
        return text == "true"
    return int(text) if _INTEGER.fullmatch(text) else text

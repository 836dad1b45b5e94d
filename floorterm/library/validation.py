"""One file's tree against the struct that it stands for: the value, or faults with line, column and plain English."""

import re
from collections.abc import Callable, Mapping
from datetime import date, time
from decimal import Decimal
from typing import Any, Final, TypeVar, assert_never, cast

from msgspec import NODEFAULT, Struct
from msgspec.structs import replace

from floorterm.library.faults import Fault, listed, near, quoted
from floorterm.library.model import AloneFile, BlockFile, LockoutFile, SequenceFile
from floorterm.library.reading import Node, Place, fault_at, kind_of
from floorterm.library.shapes import (
    Bounds,
    ByName,
    Either,
    Length,
    OneOf,
    Record,
    Ruled,
    Several,
    Shape,
    Word,
    record_of,
)
from floorterm.library.words import BrokenRulesError

M = TypeVar("M", bound=Struct)
PROCEDURES: Mapping[str, type[Struct]] = {
    "lockout": LockoutFile,
    "block": BlockFile,
    "alone": AloneFile,
    "changeover": SequenceFile,
}
_BOOLEANS_OF_YAML_1_1 = {
    **dict.fromkeys(("yes", "y", "on", "true"), "true"),
    **dict.fromkeys(("no", "n", "off", "false"), "false"),
}
_NUMBER = re.compile(r"-?(0|[1-9][0-9]{0,11})(\.[0-9]{1,12})?")
_TIME = re.compile(r"([01][0-9]|2[0-3]):[0-5][0-9]")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_FAULTY: Final = object()  # in place of a value that has a fault


def validate(path: str, node: Node, model: type[M]) -> tuple[M | None, list[Fault]]:
    """The struct that a file's tree stands for, or None and every fault of it."""
    reading = _Reading(path)
    value = reading.value(node, record_of(model))
    return (None, reading.faults) if reading.faults else (cast(M, value), [])


def procedure_model(path: str, node: Node) -> tuple[type[Struct] | None, list[Fault]]:
    """Which struct a file of procedures/ follows, by its `kind`."""
    kind = node.get("kind")
    if kind is None:
        return None, [fault_at(path, node.place, ("kind",), listed(PROCEDURES), "nothing")]
    model = PROCEDURES.get(kind.text or "")
    if model is None:
        hint = near(kind.text or "", PROCEDURES)
        return None, [fault_at(path, kind.place, kind.loc, listed(PROCEDURES), kind_of(kind), hint)]
    return model, []


def truth_hint(text: str) -> str:
    """What to write instead of a word that YAML 1.1 takes for a truth value ("no", "on"), or ""."""
    meant = _BOOLEANS_OF_YAML_1_1.get(text.casefold())
    return f"write {meant}" if meant else ""


class _Reading:
    """One file that is being read: makes values of nodes, and notes every fault."""

    def __init__(self, path: str) -> None:
        self.path = path
        self.faults: list[Fault] = []

    def value(self, node: Node, shape: Shape) -> Any:
        match shape:
            case Word():
                return self._word(node, shape)
            case OneOf():
                return self._one_of(node, shape)
            case Record():
                return self._record(node, shape)
            case Several():
                return self._several(node, shape)
            case ByName():
                return self._by_name(node, shape)
            case Either():
                return self._either(node, shape)
            case Ruled():
                return self._ruled(node, shape)
        assert_never(shape)

    def _fault(self, node: Node, expected: str, hint: str = "") -> object:
        self.faults.append(fault_at(self.path, node.place, node.loc, expected, kind_of(node), hint))
        return _FAULTY

    def _word(self, node: Node, shape: Word) -> Any:
        read, says = _WORDS[shape.base]
        value = read(node)
        if value is None:
            return self._fault(node, says, truth_hint(node.text or "") if shape.base is bool else "")
        if isinstance(value, str):
            if shape.pattern is not None and not re.fullmatch(shape.pattern.regex, value):
                return self._fault(node, shape.pattern.says)
            expected = _wrong_length(len(value), shape.length, "a text", "character")
        else:
            expected = _out_of_bounds(value, shape.bounds)
        return self._fault(node, expected) if expected else value

    def _one_of(self, node: Node, shape: OneOf) -> Any:
        if not isinstance(node.value, bool) and node.value in shape.words:
            return node.value
        words = [str(word) for word in shape.words]
        hint = "" if shape.says else near(node.text or "", words)
        return self._fault(node, shape.says or listed(words, 60), hint)

    def _several(self, node: Node, shape: Several) -> Any:
        if not isinstance(node.value, tuple):
            return self._fault(node, "a list")
        found = tuple(self.value(item, shape.item) for item in node.value)
        expected = _wrong_length(len(found), shape.length, "a list", "item")
        return self._fault(node, expected) if expected else found

    def _by_name(self, node: Node, shape: ByName) -> Any:
        if not isinstance(node.value, dict):
            return self._fault(node, "keys with values")
        found = {}
        for name, member in node.value.items():
            key = Node(member.place, member.node.loc, name)
            found[self.value(key, shape.key)] = self.value(member.node, shape.item)
        return found

    def _either(self, node: Node, shape: Either) -> Any:
        refused: dict[tuple[Place, str], Fault] = {}
        for branch in shape.branches:
            reading = _Reading(self.path)
            value = reading.value(node, branch)
            if not reading.faults:
                return value
            for fault in reading.faults:
                first = refused.setdefault((Place(fault.line, fault.column), fault.field), fault)
                if first is not fault:
                    both = replace(first, expected=f"{first.expected}, or {fault.expected}")
                    refused[Place(fault.line, fault.column), fault.field] = both
        self.faults += refused.values()
        return _FAULTY

    def _ruled(self, node: Node, shape: Ruled) -> Any:
        value = self._sound(node, shape.shape)
        expected = "" if value is _FAULTY else shape.rule.broken(value)
        return self._fault(node, expected) if expected else value

    def _sound(self, node: Node, shape: Shape) -> Any:
        """The value, or `_FAULTY` where it or anything within it has a fault."""
        before = len(self.faults)
        value = self.value(node, shape)
        return value if len(self.faults) == before else _FAULTY

    def _record(self, node: Node, shape: Record) -> Any:
        if shape.bare and node.text is not None:
            given = {shape.bare: node}
        elif isinstance(node.value, dict):
            given = {name: member.node for name, member in node.value.items()}
        else:
            return self._fault(node, "keys with values")
        before = len(self.faults)
        values = {
            name: self.value(given[name], member.shape)
            for name, member in shape.members.items()
            if name in given
        }
        self._keys(node, given, shape)
        if len(self.faults) > before:
            return _FAULTY
        try:
            return shape.model(**values)
        except BrokenRulesError as error:
            self.faults += [self._rule(node, shape, line) for line in error.rules]
            return _FAULTY

    def _keys(self, node: Node, given: Mapping[str, Node], shape: Record) -> None:
        """Faults for keys that are missing, and for keys that nobody knows."""
        for name, member in shape.members.items():
            if name not in given and member.default is NODEFAULT:
                loc = (*node.loc, name)
                self.faults.append(fault_at(self.path, node.place, loc, f"the key {name}", "nothing"))
        for name in given:
            if name not in shape.members and isinstance(node.value, dict):
                hint = near(name, shape.members)
                expected = "a known key" if hint else listed(shape.members, 40)
                place, loc = node.value[name].place, (*node.loc, name)
                self.faults.append(fault_at(self.path, place, loc, expected, f"the key {quoted(name)}", hint))

    def _rule(self, node: Node, shape: Record, broken: str) -> Fault:
        """A rule of a struct that was broken: of the value itself, or of one of its keys ("low: a number…")."""
        name, colon, expected = broken.partition(": ")
        if colon and name in shape.members:
            named = node.get(name)
            place, found = (named.place, kind_of(named)) if named is not None else (node.place, "nothing")
            return fault_at(self.path, place, (*node.loc, name), expected, found)
        return fault_at(self.path, node.place, node.loc, broken, kind_of(node))


# --- words: None for what cannot be read as one -----------------------------------------------------


def _text(node: Node) -> str | None:
    return node.text.strip() if node.text is not None else None


def _flag(node: Node) -> bool | None:
    return node.value if isinstance(node.value, bool) else None


def _whole(node: Node) -> int | None:
    return node.value if isinstance(node.value, int) and not isinstance(node.value, bool) else None


def _number(node: Node) -> Decimal | None:
    """A number as the file says it: digits and a point. "1e3", "012", "1,5" and "1:30" are not guessed at."""
    if isinstance(node.value, str) and not _NUMBER.fullmatch(node.value):
        return None
    return Decimal(node.text) if node.text is not None else None


def _day(node: Node) -> date | None:
    try:
        return date.fromisoformat(node.text or "") if _DATE.fullmatch(node.text or "") else None
    except ValueError:
        return None


def _hour(node: Node) -> time | None:
    return time.fromisoformat(node.text or "") if _TIME.fullmatch(node.text or "") else None


_WORDS: Mapping[type, tuple[Callable[[Node], Any], str]] = {
    str: (_text, "a text (in quotes if it could be read as something else)"),
    bool: (_flag, "true or false"),
    int: (_whole, "a whole number without quotes"),
    Decimal: (_number, "a number such as 12 or 0.25"),
    date: (_day, "a date such as 2026-03-31"),
    time: (_hour, "a time of day such as 06:00"),
}


def _out_of_bounds(value: Any, bounds: Bounds) -> str:
    if bounds.gt is not None and value <= bounds.gt:
        return f"a number above {Decimal(bounds.gt):f}"
    if bounds.ge is not None and value < bounds.ge:
        return f"a number of at least {Decimal(bounds.ge):f}"
    if bounds.lt is not None and value >= bounds.lt:
        return f"a number below {Decimal(bounds.lt):f}"
    if bounds.le is not None and value > bounds.le:
        return f"a number of at most {Decimal(bounds.le):f}"
    return ""


def _wrong_length(count: int, length: Length, what: str, unit: str) -> str:
    if count < length.least:
        empty = unit == "character" and length.least == 1
        return what if empty else f"{what} of at least {_counted(length.least, unit)}"
    if length.most is not None and count > length.most:
        return f"{what} of at most {_counted(length.most, unit)}"
    return ""


def _counted(count: int, unit: str) -> str:
    return f"{count} {unit}{'' if count == 1 else 's'}"

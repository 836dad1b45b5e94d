"""The fields of a record document: read one by one, typed, every fault noted with its place."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from difflib import get_close_matches
from typing import Any, TypeVar

from msgspec import Struct

from floorterm.library.faults import listed, near, quoted

Loc = tuple[str | int, ...]
_T = TypeVar("_T")
_BRITISH = {"authorised": "authorized"}
_CLOSE = 0.85  # how alike an unknown key must be to count as a known one misspelt


class RecordFault(Struct, frozen=True):
    """One fault of a document: the way to it (list items from 0), what was expected and found.

    `line` and `column` count from 1; both are 0 where the document was no file.
    """

    loc: Loc
    expected: str
    found: str
    hint: str = ""
    line: int = 0
    column: int = 0

    @property
    def field(self) -> str:
        """The way to the value as people read it, list items counted from 1: `jobs[2].events[5].t`."""
        return way(self.loc)

    def __str__(self) -> str:
        hint = f"; {self.hint}" if self.hint else ""
        end = "" if hint.endswith("?") else "."
        place = f"{self.line}:{self.column}: " if self.line else ""
        return (
            f"{place}{self.field or 'the document'}: expected {self.expected}, found {self.found}{hint}{end}"
        )


class RecordError(ValueError):
    """A record document that cannot be audited; `faults` holds every one of them."""

    def __init__(self, faults: Iterable[RecordFault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


def way(loc: Loc) -> str:
    """A location as text, list items counted from 1."""
    return "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in loc).removeprefix(".")


@dataclass
class Notes:
    """What reading one document found: its faults, and the ways to what means nothing here."""

    faults: list[RecordFault] = field(default_factory=list)
    unread: list[str] = field(default_factory=list)

    def fault(self, loc: Loc, expected: str, found: str, hint: str = "") -> None:
        self.faults.append(RecordFault(loc, expected, found, hint))


class Table:
    """One mapping of the document, read key by key; `done` says what nobody asked for."""

    def __init__(self, notes: Notes, loc: Loc, data: Mapping[str, Any]) -> None:
        self.notes, self.loc, self.data = notes, loc, data
        self.asked: set[str] = set()

    def has(self, key: str) -> bool:
        """Whether the key is there with something; null counts as absent."""
        self.asked.add(key)
        return self.data.get(key) is not None

    def _read(self, key: str, expected: str, read: Callable[[Any], _T]) -> _T | None:
        if not self.has(key):
            return None
        try:
            return read(self.data[key])
        except (ValueError, TypeError, InvalidOperation):
            self.notes.fault((*self.loc, key), expected, kind_of(self.data[key]))
            return None

    def text(self, key: str) -> str:
        return self._read(key, "a text", _text) or ""

    def word(self, key: str, known: tuple[str, ...], otherwise: str) -> Any:
        found = self._read(key, listed(known), _text)
        if found is None:
            return otherwise
        found = _BRITISH.get(found, found)
        if found not in known:
            self.notes.fault((*self.loc, key), listed(known), quoted(found), near(found, known))
            return otherwise
        return found

    def flag(self, key: str) -> bool | None:
        return self._read(key, "true or false", _flag)

    def number(self, key: str) -> int | None:
        return self._read(key, "a whole number", _whole)

    def decimal(self, key: str) -> Decimal | None:
        return self._read(key, "a number above 0", _decimal)

    def day(self, key: str) -> date | None:
        return self._read(key, "a date such as 2026-04-20", _day)

    def instant(self, key: str) -> datetime | None:
        return self._read(key, "a time with its UTC offset such as 2026-06-02T13:02:00-07:00", _instant)

    def texts(self, key: str) -> tuple[str, ...]:
        """A list of texts; one text counts as a list of one."""
        return self._read(key, "a list of texts", _texts) or ()

    def texts_or_none(self, key: str) -> tuple[str, ...] | None:
        return self._read(key, "a list of texts", _texts)

    def flags(self, key: str) -> Mapping[str, bool]:
        """Named answers: true, false, or a text (said: true)."""
        return self._read(key, "names with true or false", _flags) or {}

    def tables(self, key: str) -> Iterable[tuple[str, "Table"]]:
        found = self._read(key, "names with their values", _mapping) or {}
        for name, value in found.items():
            loc = (*self.loc, key, str(name))
            if isinstance(value, Mapping):
                table = Table(self.notes, loc, value)
                yield str(name), table
                table.done()
            else:
                self.notes.fault(loc, "keys with values", kind_of(value))

    def rows(self, key: str) -> Iterable["Table"]:
        found = self._read(key, "a list", _list) or []
        for index, value in enumerate(found):
            loc = (*self.loc, key, index)
            if isinstance(value, Mapping):
                table = Table(self.notes, loc, value)
                yield table
                table.done()
            else:
                self.notes.fault(loc, "keys with values", kind_of(value))

    def inner(self, key: str) -> "Table":
        found = self._read(key, "keys with values", _mapping) or {}
        return Table(self.notes, (*self.loc, key), found)

    def done(self) -> None:
        known = sorted(self.asked)
        for key in self.data:
            if key in self.asked:
                continue
            alike = get_close_matches(str(key).casefold(), known, n=1, cutoff=_CLOSE)
            if alike and alike[0] not in self.data:
                expected = "a key that has a meaning here"
                self.notes.fault(
                    (*self.loc, str(key)), expected, quoted(key), f"did you mean {quoted(alike[0])}?"
                )
            else:
                self.notes.unread.append(way((*self.loc, str(key))))


def kind_of(value: Any) -> str:
    """What a value is, for a fault's `found`."""
    if isinstance(value, Mapping):
        return "keys with values"
    if isinstance(value, list | tuple):
        return "a list"
    return quoted(value)


def _text(value: Any) -> str:
    if isinstance(value, bool) or not isinstance(value, str | int):
        raise TypeError
    return str(value).strip()


def _flag(value: Any) -> bool:
    if not isinstance(value, bool):
        raise TypeError
    return value


def _whole(value: Any) -> int:
    if isinstance(value, bool):
        raise TypeError
    if isinstance(value, list | tuple):  # crews named one by one
        return len(value)
    return int(value) if isinstance(value, int) else int(str(value))


def _decimal(value: Any) -> Decimal:
    if isinstance(value, bool):
        raise TypeError
    number = Decimal(str(value))
    if not number.is_finite() or number <= 0:
        raise ValueError
    return number


def _day(value: Any) -> date:
    if isinstance(value, datetime):
        raise TypeError
    return value if isinstance(value, date) else date.fromisoformat(str(value))


def _instant(value: Any) -> datetime:
    at = value if isinstance(value, datetime) else datetime.fromisoformat(str(value))
    if at.utcoffset() is None:
        raise ValueError
    return at


def _texts(value: Any) -> tuple[str, ...]:
    return tuple(_text(item) for item in value) if isinstance(value, list | tuple) else (_text(value),)


def _flags(value: Any) -> Mapping[str, bool]:
    found = _mapping(value)
    return {
        str(name): said if isinstance(said, bool) else bool(_text(said))
        for name, said in found.items()
        if said is not None
    }


def _mapping(value: Any) -> Mapping[Any, Any]:
    if not isinstance(value, Mapping):
        raise TypeError
    return value


def _list(value: Any) -> list[Any]:
    if not isinstance(value, list | tuple):
        raise TypeError
    return list(value)

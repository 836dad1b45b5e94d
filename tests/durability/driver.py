"""Connections to a simulated disk that behave like those of Python's own driver.

`using(machine)` makes `sqlite3.connect` open whatever lies on the machine's disk there; the ledger above it is the
real one with its real settings, guards and transactions. Python's own SQLite cannot be given a VFS, so the
library underneath is the one that `apsw` carries.
"""

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest.mock import patch
from urllib.parse import unquote, urlsplit

import apsw

from floorterm.ledger import connect
from tests.durability.machine import Machine
from tests.durability.schedule import Gone

_KINDS: dict[int, type[sqlite3.Error]] = {
    sqlite3.SQLITE_CONSTRAINT: sqlite3.IntegrityError,
    sqlite3.SQLITE_CORRUPT: sqlite3.DatabaseError,
    sqlite3.SQLITE_NOTADB: sqlite3.DatabaseError,
}


@contextmanager
def _told() -> Iterator[None]:
    """Faults leave as the driver tells them."""
    try:
        yield
    except apsw.Error as fault:
        code = getattr(fault, "extendedresult", 0) or getattr(fault, "result", 0)
        found = _KINDS.get(code & 0xFF, sqlite3.OperationalError)(str(fault))
        found.sqlite_errorcode = code  # type: ignore[misc]
        raise found from fault


@dataclass(frozen=True, slots=True)
class Answer:
    """What a statement gave."""

    rows: list[tuple[Any, ...]]
    description: tuple[tuple[Any, ...], ...] | None
    lastrowid: int


class _Cursor:
    """What the ledger and its statement builder use of a cursor."""

    arraysize = 1
    rowcount = -1

    def __init__(self, connection: "Connection") -> None:
        self._connection = connection
        self._rows: list[tuple[Any, ...]] = []
        self.description: tuple[tuple[Any, ...], ...] | None = None
        self.lastrowid: int | None = None

    def execute(self, statement: str, parameters: Sequence[Any] = ()) -> "_Cursor":
        self.description = None
        answer = self._connection.run(statement, parameters)
        self._rows, self.description, self.lastrowid = answer.rows, answer.description, answer.lastrowid
        return self

    def fetchone(self) -> tuple[Any, ...] | None:
        return self._rows.pop(0) if self._rows else None

    def fetchmany(self, size: int = 1) -> list[tuple[Any, ...]]:
        taken, self._rows = self._rows[:size], self._rows[size:]
        return taken

    def fetchall(self) -> list[tuple[Any, ...]]:
        return self.fetchmany(len(self._rows))

    def __iter__(self) -> Iterator[tuple[Any, ...]]:
        return iter(self.fetchall())

    def close(self) -> None:
        self._rows = []


class Connection:
    """What the ledger and its statement builder use of a connection."""

    isolation_level = None

    def __init__(self, connection: apsw.Connection) -> None:
        self.apsw = connection

    @property
    def in_transaction(self) -> bool:
        return self.apsw.in_transaction

    def run(self, statement: str, parameters: Sequence[Any]) -> Answer:
        """Carry out one statement, whole."""
        cursor = self.apsw.cursor()
        names: list[tuple[Any, ...]] = []

        def described(_cursor: apsw.Cursor, _statement: str, _bindings: object) -> bool:
            names.extend((name, *(None,) * 6) for name, _ in cursor.get_description())
            return True

        cursor.exec_trace = described
        with _told():
            try:
                rows = list(cursor.execute(statement, tuple(parameters)))
            finally:
                cursor.close(force=True)
        return Answer(rows, tuple(names) or None, self.apsw.last_insert_rowid())

    def cursor(self) -> _Cursor:
        return _Cursor(self)

    def execute(self, statement: str, parameters: Sequence[Any] = ()) -> _Cursor:
        return self.cursor().execute(statement, parameters)

    def commit(self) -> None:
        if self.in_transaction:
            self.execute("COMMIT")

    def rollback(self) -> None:
        if self.in_transaction:
            self.execute("ROLLBACK")

    def create_function(
        self, name: str, narg: int, func: Callable[..., Any], *, deterministic: bool = False
    ) -> None:
        self.apsw.create_scalar_function(name, func, narg, deterministic=deterministic)

    def close(self) -> None:
        with suppress(
            Gone, apsw.Error
        ):  # the driver says nothing either; whoever is no more is told so again
            self.apsw.close(force=True)


@dataclass(frozen=True, slots=True)
class Way:
    """How files of a folder are opened; `open_` takes SQLite's URI and flags."""

    folder: Path
    open_: Callable[[str, int], Connection]


_WAY: ContextVar[Way | None] = ContextVar("way", default=None)
_real_connect = sqlite3.connect


def opened(machine: Machine, uri: str, flags: int) -> apsw.Connection:
    """A connection of the library itself."""
    with _told():
        return apsw.Connection(uri, flags=flags, vfs=machine.name)


def _connect(database: str, **options: Any) -> Any:
    way = _WAY.get()
    parts = urlsplit(database)
    if way is None or not options.get("uri") or Path(unquote(parts.path)).parent != way.folder:
        return _real_connect(database, **options)
    modes = {
        "mode=ro": apsw.SQLITE_OPEN_READONLY,
        "mode=rw": apsw.SQLITE_OPEN_READWRITE,
        "mode=rwc": apsw.SQLITE_OPEN_READWRITE | apsw.SQLITE_OPEN_CREATE,
    }
    return way.open_(database, apsw.SQLITE_OPEN_URI | modes[parts.query])


@contextmanager
def using(way: Machine | Way) -> Iterator[None]:
    """In this context, files of that folder are opened on the simulated disk, which is no network drive."""
    if isinstance(way, Machine):
        machine = way
        way = Way(machine.folder, lambda uri, flags: Connection(opened(machine, uri, flags)))
    token = _WAY.set(way)
    try:
        with patch.object(sqlite3, "connect", _connect), patch.object(connect, "check_place"):
            yield
    finally:
        _WAY.reset(token)

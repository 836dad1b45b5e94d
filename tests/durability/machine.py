"""SQLite on a simulated disk: a VFS for `apsw`, and connections that behave like those of Python's own driver.

`using(machine)` makes `sqlite3.connect` open whatever lies on the machine's disk there; the ledger above it is the
real one with its real settings, guards and transactions. Python's own SQLite cannot be given a VFS, so the
library underneath is the one that `apsw` carries.
"""

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from itertools import count
from pathlib import Path
from typing import Any
from unittest.mock import patch
from urllib.parse import unquote, urlsplit

import apsw

from tests.durability.disk import Disk, File, Truncate, Write

_numbers = count(1)
_DIRECTORY_SYNCED = apsw.SQLITE_OPEN_MAIN_JOURNAL | apsw.SQLITE_OPEN_SUPER_JOURNAL | apsw.SQLITE_OPEN_WAL
Step = Callable[[str, str], "Fault | None"]
"""Asked before each call to the disk, with its name and the file's; what it answers goes wrong."""


class Gone(BaseException):
    """The program that made the call was killed: the call never took place."""


class Fault:
    """How a call goes wrong: with which of SQLite's result codes, and how much of it takes place all the same."""

    def __init__(self, code: int, share: float = 0.0) -> None:
        self.code = code
        self.share = (
            share  # 0: nothing, 0.5: a write is cut short, 1: all of it, and yet it says that it failed
        )

    def error(self) -> Exception:
        found = apsw.exception_for(self.code & 0xFF)
        found.extendedresult = self.code  # type: ignore[attr-defined]
        return found


def _nothing(_call: str, _name: str) -> None:
    return None


class Machine(apsw.VFS):
    """One program's way to a disk. `step` is asked before every call."""

    def __init__(self, disk: Disk, folder: Path, step: Step = _nothing) -> None:
        self.name = f"simulated-{next(_numbers)}"
        self.disk = disk
        self.folder = folder
        self.step = step
        self.handles: set[object] = set()
        super().__init__(self.name, "")

    def excepthook(self, *_: object) -> bool:
        """What a call reports goes to its caller as a result code; nothing is printed besides."""
        return True

    def do(self, call: str, name: str, effect: Callable[[float], None]) -> None:
        """Let a call take place: wholly, in part or not at all."""
        fault = self.step(call, name)
        if fault is None:
            effect(1.0)
            return
        if fault.share:
            effect(fault.share)
        raise fault.error()

    def xFullPathname(self, name: str) -> str:
        return name

    def xAccess(self, pathname: str, flags: int) -> bool:
        found: list[bool] = []
        self.do(
            "xAccess", _short(pathname), lambda _: found.append(self.disk.find(_short(pathname)) is not None)
        )
        return found[0]

    def xDelete(self, filename: str, syncdir: bool) -> None:
        name = _short(filename)
        there: list[bool] = []

        def remove(share: float) -> None:
            there.append(self.disk.remove(name))
            if syncdir and share == 1.0:
                self.disk.sync_names()

        self.do("xDelete" if not syncdir else "xDelete and sync", name, remove)
        if not there[0]:
            raise Fault(apsw.SQLITE_IOERR_DELETE_NOENT).error()

    def xOpen(self, name: Any, flags: list[int]) -> "_Handle":  # type: ignore[override]
        text = "" if name is None else _short(name if isinstance(name, str) else name.filename())
        opened: list[_Handle] = []

        def open_(_share: float) -> None:
            file = File() if not text else self.disk.find(text)
            made = file is None and bool(flags[0] & apsw.SQLITE_OPEN_CREATE)
            if made:
                file = self.disk.make(text)
            if file is not None:
                opened.append(_Handle(self, text, file, new=made and bool(flags[0] & _DIRECTORY_SYNCED)))

        self.do("xOpen", text, open_)
        if not opened:
            raise Fault(apsw.SQLITE_CANTOPEN).error()
        flags[1] = flags[0]
        self.handles.add(opened[0])
        return opened[0]

    def xSleep(self, microseconds: int) -> int:
        """Time of no machine: nobody waits for a lock here, others are let do their steps instead."""
        self.step("xSleep", "")
        return microseconds

    def killed(self) -> None:
        """The program is no more: its locks are free, and whatever it still tries does not take place."""

        def gone(_call: str, _name: str) -> None:
            raise Gone

        self.step = gone
        self.disk.leave(self.handles)


class _Handle:
    """An opened file, as SQLite's own for Unix treat theirs."""

    def __init__(self, machine: Machine, name: str, file: File, *, new: bool) -> None:
        self._machine, self._name, self._file, self._new = machine, name, file, new

    def excepthook(self, *_: object) -> bool:
        return True

    def xRead(self, amount: int, offset: int) -> bytes:
        found: list[bytes] = []
        self._do("xRead", lambda _: found.append(bytes(self._file.seen[offset : offset + amount])))
        return found[0]

    def xWrite(self, data: Any, offset: int) -> None:
        whole = bytes(data)
        self._do("xWrite", lambda share: self._file.change(Write(offset, whole[: int(len(whole) * share)])))

    def xTruncate(self, newsize: int) -> None:
        self._do("xTruncate", lambda _: self._file.change(Truncate(newsize)))

    def xSync(self, flags: int) -> None:
        def sync(_share: float) -> None:
            self._file.sync()
            if self._new:  # the first sync of a new journal also keeps its name
                self._machine.disk.sync_names()
                self._new = False

        self._do("xSync", sync)

    def xFileSize(self) -> int:
        self._do("xFileSize", lambda _: None)
        return len(self._file.seen)

    def xLock(self, level: int) -> None:
        got: list[bool] = []
        self._do("xLock", lambda _: got.append(self._file.lock(self, level)))
        if not got[0]:
            raise apsw.BusyError

    def xUnlock(self, level: int) -> None:
        self._file.unlock(self, level)  # SQLite does not listen to what an unlock reports

    def xCheckReservedLock(self) -> bool:
        self._do("xCheckReservedLock", lambda _: None)
        return max(self._file.locks.values(), default=0) >= 2

    def xFileControl(self, op: int, ptr: int) -> bool:
        return False

    def xSectorSize(self) -> int:
        return 4096

    def xDeviceCharacteristics(self) -> int:
        return apsw.SQLITE_IOCAP_POWERSAFE_OVERWRITE  # what SQLite takes for granted on Unix

    def xClose(self) -> None:
        self._file.unlock(self, 0)
        self._machine.handles.discard(self)

    def _do(self, call: str, effect: Callable[[float], None]) -> None:
        self._machine.do(call, self._name, effect)


def _short(path: str) -> str:
    return path.rsplit("/", 1)[-1]


# --- connections like those of Python's own driver -----------------------------------------------------

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


class _Cursor:
    """What the ledger and its statement builder use of a cursor."""

    arraysize = 1
    rowcount = -1

    def __init__(self, connection: "_Connection") -> None:
        self._connection = connection
        self._rows: list[tuple[Any, ...]] = []
        self.description: tuple[tuple[Any, ...], ...] | None = None
        self.lastrowid: int | None = None

    def execute(self, statement: str, parameters: Sequence[Any] = ()) -> "_Cursor":
        self.description = None
        cursor = self._connection.apsw.cursor()

        def described(_cursor: apsw.Cursor, _statement: str, _bindings: object) -> bool:
            self.description = tuple((name, *(None,) * 6) for name, _ in cursor.get_description()) or None
            return True

        cursor.exec_trace = described
        with _told():
            try:
                self._rows = list(cursor.execute(statement, tuple(parameters)))
            finally:
                cursor.close(force=True)
        self.lastrowid = self._connection.apsw.last_insert_rowid()
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


class _Connection:
    """What the ledger and its statement builder use of a connection."""

    isolation_level = None

    def __init__(self, connection: apsw.Connection) -> None:
        self.apsw = connection

    @property
    def in_transaction(self) -> bool:
        return self.apsw.in_transaction

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
        with _told():
            self.apsw.close(force=True)


_MACHINE: ContextVar[Machine | None] = ContextVar("machine", default=None)
_real_connect = sqlite3.connect


def _connect(database: str, **options: Any) -> Any:
    machine = _MACHINE.get()
    parts = urlsplit(database)
    path = Path(unquote(parts.path))
    if machine is None or not options.get("uri") or path.parent != machine.folder:
        return _real_connect(database, **options)
    flags = (
        apsw.SQLITE_OPEN_URI
        | {
            "mode=ro": apsw.SQLITE_OPEN_READONLY,
            "mode=rw": apsw.SQLITE_OPEN_READWRITE,
            "mode=rwc": apsw.SQLITE_OPEN_READWRITE | apsw.SQLITE_OPEN_CREATE,
        }[parts.query]
    )
    with _told():
        return _Connection(apsw.Connection(database, flags=flags, vfs=machine.name))


@contextmanager
def using(machine: Machine) -> Iterator[None]:
    """In this context, files of the machine's folder are opened on its disk."""
    token = _MACHINE.set(machine)
    try:
        with patch.object(sqlite3, "connect", _connect):
            yield
    finally:
        _MACHINE.reset(token)

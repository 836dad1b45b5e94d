"""Opening the ledger's file: what is refused, and the settings that make a recorded entry durable.

`journal_mode=DELETE` with `synchronous=EXTRA` is the pair that loses no acknowledged entry at a power cut
with every SQLite in use: DELETE with FULL (SQLite's default) does not sync the removal of the journal, and
write-ahead logging can damage a file before SQLite 3.51.3. The settings are set and read back on every
connection.

Nothing here, and nothing elsewhere in the program, opens the live file other than through SQLite: closing any
other handle on it would drop the POSIX locks of every connection in this process.
"""

import os
import sqlite3
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from urllib.parse import quote

from floorterm.ledger.faults import (
    LedgerBusyError,
    LedgerCannotOpenError,
    LedgerDamagedError,
    LedgerDiskError,
    LedgerEmptyError,
    LedgerError,
    LedgerFullError,
    LedgerMissingError,
    LedgerReadOnlyError,
    LedgerSettingError,
    NetworkDriveError,
    NewerLedgerError,
    NotALedgerError,
    OldSqliteError,
)
from floorterm.ledger.guards import APPLICATION_ID, LEAST_SQLITE, SCHEMA_VERSION
from floorterm.ledger.placement import network_kind

BUSY_SECONDS = 5
# A damaged file can put bytes that are no text into SQLite's own messages, which the driver then cannot read.
FAULTS = (sqlite3.Error, UnicodeDecodeError)
# name, value that is set, value that must be read back
_ALWAYS = (
    ("busy_timeout", str(BUSY_SECONDS * 1000), BUSY_SECONDS * 1000),
    ("cell_size_check", "ON", 1),
    ("foreign_keys", "ON", 1),
    ("recursive_triggers", "ON", 1),  # a REPLACE asks the delete guards too
)
_WRITERS = (
    ("journal_mode", "DELETE", "delete"),
    ("synchronous", "EXTRA", 3),
    ("fullfsync", "ON", 1),  # macOS: through the drive's own cache
    ("checkpoint_fullfsync", "ON", 1),
)
_OF_PATH: Mapping[int, type[LedgerError]] = MappingProxyType(
    {
        sqlite3.SQLITE_READONLY: LedgerReadOnlyError,
        sqlite3.SQLITE_NOTADB: NotALedgerError,
        sqlite3.SQLITE_CORRUPT: LedgerDamagedError,
        sqlite3.SQLITE_CANTOPEN: LedgerCannotOpenError,
        sqlite3.SQLITE_PERM: LedgerCannotOpenError,
        sqlite3.SQLITE_AUTH: LedgerCannotOpenError,
    }
)
_OF_DISK: Mapping[int, type[LedgerError]] = MappingProxyType(
    {sqlite3.SQLITE_FULL: LedgerFullError, sqlite3.SQLITE_IOERR: LedgerDiskError}
)


def settings_of(connection: sqlite3.Connection) -> dict[str, int | str]:
    """What is in force on a connection, read back from SQLite."""
    return {name: connection.execute(f"PRAGMA {name}").fetchone()[0] for name, _, _ in (*_ALWAYS, *_WRITERS)}


def _settle(connection: sqlite3.Connection, *, read_only: bool) -> None:
    for name, value, wanted in (*_ALWAYS, *(() if read_only else _WRITERS)):
        connection.execute(f"PRAGMA {name} = {value}").fetchall()
        found = connection.execute(f"PRAGMA {name}").fetchone()[0]
        if found != wanted:
            raise LedgerSettingError(name=name, wanted=value, found=str(found))
    if read_only:
        connection.execute("PRAGMA query_only = ON")


def check_sqlite(found: tuple[int, int, int] = sqlite3.sqlite_version_info) -> None:
    """Raise OldSqliteError unless the SQLite library has what the ledger needs."""
    if found < LEAST_SQLITE:
        raise OldSqliteError(found=".".join(map(str, found)), wanted=".".join(map(str, LEAST_SQLITE)))


def check_place(path: Path) -> None:
    """Raise NetworkDriveError if the path lies on a network file system."""
    if kind := network_kind(path):
        raise NetworkDriveError(path=str(path), kind=kind)


def check_file(path: Path) -> None:
    """Raise a LedgerError unless a file that may be a ledger stands at the path."""
    try:
        found = path.stat()
    except (FileNotFoundError, NotADirectoryError):
        raise LedgerMissingError(path=str(path)) from None
    except OSError:
        raise LedgerCannotOpenError(path=str(path)) from None
    if not path.is_file():
        raise NotALedgerError(path=str(path))
    if found.st_size == 0:
        raise LedgerEmptyError(path=str(path))


def identity(path: Path) -> tuple[int, int]:
    """Device and file number: another file at the same path has others. Raises LedgerMissingError."""
    try:
        found = path.stat()
    except OSError:
        raise LedgerMissingError(path=str(path)) from None
    return found.st_dev, found.st_ino


def raw(path: Path, *, read_only: bool = False, create: bool = False) -> sqlite3.Connection:
    """One SQLite connection with its settings in force; statements commit by themselves outside a BEGIN.

    A reader of a file that it could write still opens it for writing (under `query_only`), since only so can
    SQLite roll back what a killed writer left half done. Raises a LedgerError.
    """
    mode = "rwc" if create else "ro" if read_only and not os.access(path, os.W_OK) else "rw"
    try:
        connection = sqlite3.connect(
            f"file:{quote(str(path.absolute()))}?mode={mode}",
            uri=True,
            timeout=BUSY_SECONDS,
            isolation_level=None,
            check_same_thread=False,
        )
        try:
            _settle(connection, read_only=read_only)
        except BaseException:
            connection.close()
            raise
    except FAULTS as fault:
        raise explained(fault, path) from fault
    return connection


def check_ours(connection: sqlite3.Connection, path: Path) -> int:
    """The layout of a file. Raises NotALedgerError or NewerLedgerError unless this version may use it."""
    try:
        application = connection.execute("PRAGMA application_id").fetchone()[0]
        version = connection.execute("PRAGMA user_version").fetchone()[0]
    except FAULTS as fault:
        raise explained(fault, path) from fault
    if application != APPLICATION_ID or version < 1:
        raise NotALedgerError(path=str(path))
    if version > SCHEMA_VERSION:
        raise NewerLedgerError(path=str(path), version=version, known=SCHEMA_VERSION)
    return int(version)


def explained(fault: BaseException, path: Path) -> LedgerError:
    """The LedgerError that a fault of SQLite stands for."""
    code = getattr(fault, "sqlite_errorcode", 0) & 0xFF  # the primary code; extended ones sit above it
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return LedgerBusyError(seconds=BUSY_SECONDS)
    if code in _OF_PATH:
        return _OF_PATH[code](path=str(path))
    if code in _OF_DISK:
        return _OF_DISK[code]()
    if isinstance(fault, UnicodeDecodeError) or "Could not decode" in str(fault):
        return LedgerDamagedError(path=str(path))
    return LedgerError(reason=str(fault))

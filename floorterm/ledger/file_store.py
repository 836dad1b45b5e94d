"""A ledger in one SQLite file of this machine: connections for a chain, and making a new file whole."""

import contextlib
import errno
import os
import sqlite3
import threading
from collections.abc import Callable, Iterator
from datetime import datetime
from itertools import count
from pathlib import Path

from sqlalchemy import Connection, create_engine
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import NullPool

from floorterm.entries import digest
from floorterm.ledger import clock, connect
from floorterm.ledger.copy_faults import NotWrittenError, check_layout
from floorterm.ledger.faults import (
    LedgerBusyError,
    LedgerError,
    LedgerExistsError,
    LedgerFullError,
    LedgerMissingError,
    LedgerReplacedError,
)
from floorterm.ledger.guards import APPLICATION_ID, GUARDS, SCHEMA_VERSION
from floorterm.ledger.tables import ENTRIES


class FileStore:
    """The store of a ledger file. Every unit of work opens a connection and closes it, so that no lock lingers."""

    def __init__(self, path: Path) -> None:
        """Open a file that is a ledger of this version or an older one. Raises a LedgerError."""
        connect.check_sqlite()
        connect.check_file(path)
        connect.check_place(path)
        with contextlib.closing(connect.raw(path, read_only=True)) as connection:
            self._layout = connect.check_ours(connection, path)
        self.path = path
        self._identity = connect.identity(path)
        self._readers = create_engine(
            "sqlite://", creator=lambda: connect.raw(path, read_only=True), poolclass=NullPool
        )
        self._writers = create_engine("sqlite://", creator=lambda: connect.raw(path), poolclass=NullPool)

    @property
    def name(self) -> str:
        """The path."""
        return str(self.path)

    @property
    def layout(self) -> int:
        """As it was when the file was opened."""
        return self._layout

    def set_layout(self, connection: Connection, layout: int) -> None:
        """In the file's header."""
        connection.exec_driver_sql(f"PRAGMA user_version = {layout}")

    def check_same(self) -> None:
        """Another file at the same path has another number."""
        if connect.identity(self.path) != self._identity:
            raise LedgerReplacedError(path=self.name)

    def reader(self) -> contextlib.AbstractContextManager[Connection]:
        """A connection that cannot write."""
        return self._readers.connect()

    @contextlib.contextmanager
    def writer(self) -> Iterator[Connection]:
        """A connection with the file's write lock."""
        with self.migrator() as connection:
            found = connection.exec_driver_sql("PRAGMA user_version").scalar_one()
            check_layout(found, SCHEMA_VERSION, self.name)
            yield connection

    @contextlib.contextmanager
    def migrator(self) -> Iterator[Connection]:
        """The same, whatever the layout."""
        with self._writers.connect() as connection:
            connection.exec_driver_sql("BEGIN IMMEDIATE")
            self.check_same()  # while this one waited for the lock, another file may have been put in place
            yield connection

    @contextlib.contextmanager
    def snapshot(self) -> Iterator[Connection]:
        """A read transaction; writers wait for its end, so it is for short work only."""
        with self._readers.connect() as connection:
            connection.exec_driver_sql("BEGIN")
            yield connection

    def time(self, connection: Connection) -> datetime:  # noqa: ARG002  as the store of a server has it
        """The machine's: whoever writes into the file works on it."""
        return clock.wall_clock()

    def settled(self) -> contextlib.AbstractContextManager[Connection]:
        """SQLite's commit is over when it returns, however it ended."""
        return self._readers.connect()

    def assure(self) -> None:
        """A commit that changes nothing is synced like any other, and with it whatever came before.

        An entry can be read a moment before it is durable: its writer may have been stopped, or the disk may
        have failed it, after the journal was removed and before the folder was synced.
        """
        with self.writer() as connection:
            version = connection.exec_driver_sql("PRAGMA user_version").scalar()
            connection.exec_driver_sql(f"PRAGMA user_version = {version}")
            connection.commit()

    def explained(self, fault: BaseException) -> LedgerError:
        """By SQLite's result codes."""
        return connect.explained(fault, self.path)

    def close(self) -> None:
        """None is kept."""


@contextlib.contextmanager
def half_made(path: Path) -> Iterator[Path]:
    """A place beside `path` to make a file in; it takes its name at the end, whole, and only if that is free.

    A journal left beside `path` by a file that is gone counts as a file too: SQLite would play it back into
    the new one. Raises LedgerExistsError if something stands there.
    """
    for taken in (path, *(path.with_name(path.name + tail) for tail in ("-journal", "-wal"))):
        if taken.exists():
            raise LedgerExistsError(path=str(taken))
    with beside(path) as fresh:
        yield fresh
        _take_name(fresh, path)


@contextlib.contextmanager
def beside(path: Path) -> Iterator[Path]:
    """A name beside `path` for a file that is being made; whatever stands there at the end is removed.

    Raises LedgerMissingError without its folder, NotWrittenError where the machine refuses the file.
    """
    fresh = path.with_name(f".{path.name}.{os.getpid()}.{threading.get_ident()}.new")
    if not path.parent.is_dir():
        raise LedgerMissingError(path=str(path.parent))
    if not os.access(path.parent, os.W_OK):
        raise NotWrittenError(path=str(path), reason=os.strerror(errno.EACCES))
    try:
        fresh.unlink(missing_ok=True)
        yield fresh
    except LedgerFullError as fault:  # the copy found no room, not the ledger that people sign into
        raise NotWrittenError(path=str(path), reason=os.strerror(errno.ENOSPC)) from fault
    except OSError as fault:
        raise NotWrittenError(path=str(path), reason=fault.strerror or str(fault)) from fault
    finally:
        fresh.unlink(missing_ok=True)
        fresh.with_name(fresh.name + "-journal").unlink(missing_ok=True)


def _take_name(fresh: Path, path: Path) -> None:
    """Give a finished file its name, if that is free. Raises LedgerExistsError."""
    _sync(fresh)
    try:
        os.link(fresh, path)  # unlike a rename, it refuses to replace
    except FileExistsError:
        raise LedgerExistsError(path=str(path)) from None
    except OSError:  # file systems without links
        if path.exists():
            raise LedgerExistsError(path=str(path)) from None
        fresh.rename(path)
    fresh.unlink(missing_ok=True)
    _sync(path.parent)


def put_in_place(
    fresh: Path, path: Path, why: str, check: Callable[[sqlite3.Connection], None] = lambda _: None
) -> Path | None:
    """Give a finished file the name `path`; a ledger that stands there is kept beside it under a name with `why`.

    Its writers are held off meanwhile and then find that the file is another one. Between the two renames no file
    stands at `path`; whoever opens it then is told so. Gives the kept file, if there was one. Raises LedgerBusyError,
    and what `check` raises, which is given the ledger in place once nobody can add to it.
    """
    with _held_off(path) as held:
        if held is not None:
            check(held)
        kept = path.exists()
        aside = _free_name(path, why)
        for tail in _TAILS:
            old = path.with_name(path.name + tail)
            if old.exists():
                old.rename(aside.with_name(aside.name + tail))
        _take_name(fresh, path)
    return aside if kept else None


# A journal that stayed behind without its file would be played into the one that takes the name.
_TAILS = ("", "-journal", "-wal", "-shm")


def _free_name(path: Path, why: str) -> Path:
    names = (path.with_name(f"{path.name}.{why}{f'-{n}' * (n > 1)}") for n in count(1))
    return next(
        name for name in names if not any(name.with_name(name.name + tail).exists() for tail in _TAILS)
    )


@contextlib.contextmanager
def _held_off(path: Path) -> Iterator[sqlite3.Connection | None]:
    """The write lock of the ledger at a path, if there is one that can still be locked."""
    try:
        connection = connect.raw(path)
    except LedgerError:
        yield None  # gone or damaged: nobody can write into it
        return
    try:
        try:
            connection.execute("BEGIN IMMEDIATE")
        except connect.FAULTS as fault:
            found = connect.explained(fault, path)
            if isinstance(found, LedgerBusyError):
                raise found from fault
        yield connection
    finally:
        connection.close()


def _sync(path: Path) -> None:
    """Ask the disk to keep a file or a folder's list of names."""
    try:
        handle = os.open(path, os.O_RDONLY)
    except OSError:
        return  # Windows opens no folders
    try:
        with contextlib.suppress(OSError):
            os.fsync(handle)
    finally:
        os.close(handle)


def create_file(path: Path, body: str) -> None:
    """A new ledger file with its first entry, whole or not at all. Raises a LedgerError."""
    connect.check_sqlite()
    connect.check_place(path)
    with half_made(path) as fresh, laying_out(fresh) as connection:
        connection.execute(ENTRIES.insert().values(n=1, body=body, hash=digest(body)))


@contextlib.contextmanager
def laying_out(path: Path) -> Iterator[Connection]:
    """Tables, guards and marks in an empty file; what the caller adds is committed with them."""
    from floorterm.ledger.schema import METADATA  # noqa: PLC0415  loads the ORM, which an opened ledger does without

    engine = create_engine("sqlite://", creator=lambda: connect.raw(path, create=True), poolclass=NullPool)
    try:
        with engine.connect() as connection:
            connection.exec_driver_sql("BEGIN IMMEDIATE")
            METADATA.create_all(connection, checkfirst=False)
            for guard in GUARDS.values():
                connection.exec_driver_sql(guard)
            connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.exec_driver_sql(f"PRAGMA user_version = {SCHEMA_VERSION}")
            yield connection
            connection.commit()
    except DBAPIError as fault:
        raise connect.explained(fault.orig or fault, path) from fault

"""The append-only chain in one file: creating, opening, appending, reading.

Every unit of work opens a connection of its own and closes it, so one object may be used from any thread and
no read transaction stays open while a screen waits. Writers of one process queue at a lock of the object,
writers of several processes at SQLite's.
"""

import contextlib
import os
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import Self, TypeVar
from uuid import uuid4
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from sqlalchemy import Connection, create_engine
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import NullPool

from floorterm.entries import Draft, Entry, canonical, digest
from floorterm.ledger import connect, reading
from floorterm.ledger.bodies import start_body
from floorterm.ledger.clock import Watch, wall_clock
from floorterm.ledger.faults import (
    LedgerDiskError,
    LedgerError,
    LedgerExistsError,
    LedgerMissingError,
    LedgerReadOnlyError,
    LedgerReplacedError,
    OutcomeUnknownError,
    TimeZoneError,
)
from floorterm.ledger.guards import APPLICATION_ID, GUARDS, SCHEMA_VERSION
from floorterm.ledger.pins import DEFAULT_PROFILE, PinProfile
from floorterm.ledger.schema import ENTRIES, METADATA
from floorterm.ledger.transaction import Transaction
from floorterm.ledger.values import Guard, Head, Ref, Start

Clock = Callable[[], datetime]
NewId = Callable[[], str]
_Done = TypeVar("_Done")
_DATABASE_FAULTS = (DBAPIError, UnicodeDecodeError)  # the second as in `connect.FAULTS`


def random_id() -> str:
    """A random identifier (UUID version 4)."""
    return str(uuid4())


class Chain:
    """An opened ledger file. Safe to share between threads; a guard may read from it, not append to it."""

    def __init__(
        self,
        path: Path,
        *,
        clock: Clock | None = None,
        new_id: NewId | None = None,
        read_only: bool = False,
        pin_profile: PinProfile = DEFAULT_PROFILE,
    ) -> None:
        self.path = path
        self._clock = clock or wall_clock
        self._new_id = new_id or random_id
        self._watch = Watch() if clock is None else None  # a set clock is nobody's clock to watch
        self._read_only = read_only
        self._pin_profile = pin_profile
        self._lock = threading.RLock()
        self._identity = connect.identity(path)
        self._readers = create_engine(
            "sqlite://", creator=lambda: connect.raw(path, read_only=True), poolclass=NullPool
        )
        self._writers = create_engine("sqlite://", creator=lambda: connect.raw(path), poolclass=NullPool)
        self._start: Start = self._read(lambda connection: reading.start(connection, str(path)))

    # --- creating and opening -------------------------------------------------------------------

    @classmethod
    def create(
        cls,
        path: Path | str,
        *,
        plant_id: str,
        plant_name: str,
        time_zone: str,
        checklists: str = "",
        clock: Clock | None = None,
        new_id: NewId | None = None,
        pin_profile: PinProfile = DEFAULT_PROFILE,
    ) -> Self:
        """Make a new ledger with its first entry, whole or not at all. Nothing is overwritten.

        Raises LedgerExistsError, NetworkDriveError, TimeZoneError or another LedgerError.
        """
        path = Path(path)
        connect.check_sqlite()
        connect.check_place(path)
        try:
            zone = ZoneInfo(time_zone)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            raise TimeZoneError(zone=time_zone) from None
        body = start_body(
            chain=(new_id or random_id)(),
            plant_id=plant_id,
            plant=plant_name,
            zone=zone,
            checklists=checklists,
            at=(clock or wall_clock)(),
        )
        with half_made(path) as fresh:
            _lay_out(fresh, canonical(body))
        return cls(path, clock=clock, new_id=new_id, pin_profile=pin_profile)

    @classmethod
    def open(
        cls,
        path: Path | str,
        *,
        clock: Clock | None = None,
        new_id: NewId | None = None,
        read_only: bool = False,
        pin_profile: PinProfile = DEFAULT_PROFILE,
    ) -> Self:
        """Open a ledger that `create` made. Raises a LedgerError that says why a file is refused."""
        path = Path(path)
        connect.check_sqlite()
        connect.check_file(path)
        connect.check_place(path)
        connection = connect.raw(path, read_only=True)
        try:
            connect.check_ours(connection, path)
        finally:
            connection.close()
        return cls(path, clock=clock, new_id=new_id, read_only=read_only, pin_profile=pin_profile)

    # --- recording ------------------------------------------------------------------------------

    def append(self, draft: Draft, guard: Guard | None = None, *, disabled_too: bool = False) -> Entry:
        """Record one entry; it is durable when this returns.

        The same `key` again gives the first entry back. `guard` is asked inside the transaction.
        `disabled_too` is for acts that keep somebody from harm: the signer's code may be disabled. Raises
        RefusedError with every refusal, KeyReusedError, UnknownPersonError, InactivePersonError, BodyError
        for what no entry may hold, or another LedgerError; in all these cases nothing was recorded, except
        OutcomeUnknownError, which says that this is not known.
        """
        return self.append_all((draft,), guard, disabled_too=disabled_too)[0]

    def append_all(
        self, drafts: Sequence[Draft], guard: Guard | None = None, *, disabled_too: bool = False
    ) -> list[Entry]:
        """Record several entries of one act, all or none; the guard is asked once, on the first's signers."""
        return self.unit_of_work(
            lambda transaction: transaction.record(drafts, guard, disabled_too=disabled_too)
        )

    def now(self) -> datetime:
        """The clock that the ledger was opened with."""
        return self._clock()

    def new_id(self) -> str:
        """A fresh identifier, for instance an idempotency key, from the source given at opening."""
        return self._new_id()

    # --- reading --------------------------------------------------------------------------------

    def start(self) -> Start:
        """What the first entry says of plant and chain."""
        return self._start

    def head(self) -> Head:
        """The last entry's number, hash and time."""
        return self._read(lambda connection: reading.head(connection, self._start.chain))

    def entry(self, n: int) -> Entry:
        """One entry by number. Raises NoSuchEntryError."""
        return self._read(lambda connection: reading.entry(connection, n))

    def entries(
        self,
        *,
        changeover: str | None = None,
        line: str | None = None,
        kinds: Iterable[str] | None = None,
        after_n: int = 0,
        since: datetime | None = None,
        until: datetime | None = None,
        limit: int | None = None,
        newest_first: bool = False,
    ) -> list[Entry]:
        """Entries in order of number; filters narrow each other down; `since` counts, `until` does not."""
        chosen = None if kinds is None else tuple(kinds)
        filters = reading.Filters(changeover, line, chosen, after_n, since, until)
        return self._read(
            lambda connection: reading.entries(connection, filters, limit=limit, newest_first=newest_first)
        )

    def refs(
        self,
        *,
        changeover: str | None = None,
        line: str | None = None,
        kinds: Iterable[str] | None = None,
        after_n: int = 0,
        since: datetime | None = None,
        until: datetime | None = None,
        limit: int | None = None,
        newest_first: bool = False,
    ) -> list[Ref]:
        """The same as `entries` without bodies: much cheaper where values are not needed."""
        chosen = None if kinds is None else tuple(kinds)
        filters = reading.Filters(changeover, line, chosen, after_n, since, until)
        return self._read(
            lambda connection: reading.refs(connection, filters, limit=limit, newest_first=newest_first)
        )

    # --- units of work --------------------------------------------------------------------------

    def _check_same_file(self) -> None:
        if connect.identity(self.path) != self._identity:
            raise LedgerReplacedError(path=str(self.path))

    def _read(self, work: Callable[[Connection], _Done]) -> _Done:
        self._check_same_file()
        try:
            with self._readers.connect() as connection:
                return work(connection)
        except _DATABASE_FAULTS as fault:
            raise connect.explained(getattr(fault, "orig", None) or fault, self.path) from fault

    def unit_of_work(self, work: Callable[[Transaction], _Done]) -> _Done:
        """One transaction: `work` may read, append and change tables; returned only after the commit."""
        if self._read_only:
            raise LedgerReadOnlyError(path=str(self.path))
        with self._lock:
            self._check_same_file()
            try:
                with self._writers.connect() as connection:
                    connection.exec_driver_sql("BEGIN IMMEDIATE")
                    transaction = Transaction(
                        connection,
                        path=str(self.path),
                        start=self._start,
                        now=self._clock(),
                        new_id=self._new_id,
                        step_since=self._watch.step if self._watch else None,
                    )
                    done = work(transaction)
                    self._commit(connection, transaction)
            except _DATABASE_FAULTS as fault:
                raise connect.explained(getattr(fault, "orig", None) or fault, self.path) from fault
            if self._watch and transaction.written:
                self._watch.note(transaction.now)
            return done

    def _commit(self, connection: Connection, transaction: Transaction) -> None:
        """Commit. Where the disk fails in the middle of it, look whether the entries stand."""
        try:
            connection.commit()
        except DBAPIError as fault:
            found = connect.explained(fault.orig or fault, self.path)
            if not isinstance(found, LedgerDiskError):
                raise
            connection.close()
            if not self._stands(transaction.written):
                raise found from fault

    def _stands(self, written: list[Entry]) -> bool:
        """Whether what was written survived a commit that failed. Raises OutcomeUnknownError."""
        if not written:
            return False
        last = written[-1]
        try:
            with self._readers.connect() as connection:
                entry = reading.entry_of_key(connection, last.key)
        except (DBAPIError, LedgerError) as fault:
            raise OutcomeUnknownError from fault
        return entry is not None and entry.hash == last.hash


@contextlib.contextmanager
def half_made(path: Path) -> Iterator[Path]:
    """A place beside `path` to make a file in; it takes its name at the end, whole, and only if that is free.

    A journal left beside `path` by a file that is gone counts as a file too: SQLite would play it back into
    the new one. Raises LedgerExistsError if something stands there.
    """
    for taken in (path, *(path.with_name(path.name + tail) for tail in ("-journal", "-wal"))):
        if taken.exists():
            raise LedgerExistsError(path=str(taken))
    fresh = path.with_name(f".{path.name}.{os.getpid()}.{threading.get_ident()}.new")
    if not path.parent.is_dir():
        raise LedgerMissingError(path=str(path.parent))
    try:
        fresh.unlink(missing_ok=True)
        yield fresh
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
    finally:
        fresh.unlink(missing_ok=True)
        fresh.with_name(fresh.name + "-journal").unlink(missing_ok=True)


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


def _lay_out(path: Path, body: str) -> None:
    """Tables, guards, marks and the first entry, in one transaction."""
    engine = create_engine("sqlite://", creator=lambda: connect.raw(path, create=True), poolclass=NullPool)
    try:
        with engine.connect() as connection:
            connection.exec_driver_sql("BEGIN IMMEDIATE")
            METADATA.create_all(connection, checkfirst=False)
            for guard in GUARDS.values():
                connection.exec_driver_sql(guard)
            connection.execute(ENTRIES.insert().values(n=1, body=body, hash=digest(body)))
            connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.exec_driver_sql(f"PRAGMA user_version = {SCHEMA_VERSION}")
            connection.commit()
    except DBAPIError as fault:
        raise connect.explained(fault.orig or fault, path) from fault

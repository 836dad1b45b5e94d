"""The append-only chain: creating, opening, appending, reading, whether a file or a server keeps it.

Every unit of work takes a connection of its own, so one object may be used from any thread and no read
transaction stays open while a screen waits. Writers of one process queue at a lock of the object, writers of
several processes at the store's.
"""

import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import Self, TypeVar
from uuid import uuid4
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError

from floorterm.entries import Draft, Entry, canonical
from floorterm.ledger import clock as clocks
from floorterm.ledger import reading
from floorterm.ledger.bodies import start_body
from floorterm.ledger.faults import (
    LedgerDamagedError,
    LedgerDiskError,
    LedgerError,
    LedgerReadOnlyError,
    OutcomeUnknownError,
    ServerLostError,
    TimeZoneError,
)
from floorterm.ledger.file_store import FileStore, create_file
from floorterm.ledger.guards import CLOSING
from floorterm.ledger.last_seen import LastSeen, check_seen
from floorterm.ledger.pins import DEFAULT_PROFILE, PinProfile
from floorterm.ledger.restored import RESTORED
from floorterm.ledger.store import Store
from floorterm.ledger.transaction import Transaction
from floorterm.ledger.values import Guard, Head, Place, Ref, Start, is_server

Clock = Callable[[], datetime]
NewId = Callable[[], str]
_Done = TypeVar("_Done")
_DATABASE_FAULTS = (DBAPIError, UnicodeDecodeError)  # the second as in `connect.FAULTS`


def random_id() -> str:
    """A random identifier (UUID version 4)."""
    return str(uuid4())


class Chain:
    """An opened ledger. Safe to share between threads; a guard may read from it, not append to it."""

    def __init__(
        self,
        store: Store,
        *,
        clock: Clock | None = None,
        new_id: NewId | None = None,
        read_only: bool = False,
        pin_profile: PinProfile = DEFAULT_PROFILE,
        memory: LastSeen | None = None,
    ) -> None:
        self.store = store
        self._set_clock = clock
        self._new_id = new_id or random_id
        self._watch = clocks.Watch() if clock is None else None  # a set clock is nobody's clock to watch
        self._apart = clocks.Apart()
        self._read_only = read_only
        self._pin_profile = pin_profile
        self._lock = threading.RLock()
        self._memory = memory
        self._start: Start = self._read(lambda connection: reading.start(connection, store.name))
        self._seen = memory.of(self._place(), self._start.hash) if memory else None

    @property
    def path(self) -> Path:
        """The ledger's file. Raises ValueError where a server keeps it."""
        if not isinstance(self.store, FileStore):
            raise ValueError(f"{self.store.name} is no file")
        return self.store.path

    # --- creating and opening -------------------------------------------------------------------

    @classmethod
    def create(
        cls,
        place: Place,
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

        `place` is a file's path or a server's URL. Raises LedgerExistsError, NetworkDriveError, TimeZoneError
        or another LedgerError.
        """
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
            at=(clock or clocks.wall_clock)(),
        )
        _create(place, canonical(body))
        return cls(_opened(place), clock=clock, new_id=new_id, pin_profile=pin_profile)

    @classmethod
    def open(
        cls,
        place: Place,
        *,
        clock: Clock | None = None,
        new_id: NewId | None = None,
        read_only: bool = False,
        pin_profile: PinProfile = DEFAULT_PROFILE,
        memory: LastSeen | None = None,
    ) -> Self:
        """Open a ledger that `create` made. Raises a LedgerError that says why a place is refused.

        With a `memory`, what was seen at an earlier opening counts too (`head` and recording compare).
        """
        return cls(
            _opened(place),
            clock=clock,
            new_id=new_id,
            read_only=read_only,
            pin_profile=pin_profile,
            memory=memory,
        )

    def close(self) -> None:
        """Let go of connections that are kept for the next use; the ledger can still be used."""
        self.store.close()

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
        """The clock that the ledger was opened with, else this machine's."""
        return (self._set_clock or clocks.wall_clock)()

    def new_id(self) -> str:
        """A fresh identifier, for instance an idempotency key, from the source given at opening."""
        return self._new_id()

    # --- reading --------------------------------------------------------------------------------

    def start(self) -> Start:
        """What the first entry says of plant and chain."""
        return self._start

    def head(self) -> Head:
        """The last entry's number, hash and time.

        Raises OlderCopyError or AnotherHistoryError where an entry that was seen before is not there any more.
        """
        seen = self._seen

        def read(connection: Connection) -> Head:
            found = reading.head(connection, self._start.chain)
            check_seen(connection, found, seen)
            if found != seen and reading.last_kind(connection) not in CLOSING:
                self._saw(found)
            return found

        return self._read(read)

    def _place(self) -> str:
        """Where the ledger is, however it was named."""
        return str(self.store.path.resolve()) if isinstance(self.store, FileStore) else self.store.name

    def _saw(self, head: Head) -> None:
        """Remember; but not the end of a chain that goes on elsewhere, since its copy never had that entry."""
        if self._seen is None or head.n > self._seen.n or head.chain != self._seen.chain:
            self._seen = head
            if self._memory:
                self._memory.keep(self._place(), self._start.hash, head)

    def chain_hash(self, n: int) -> str:
        """The hash of an entry as it is stored, whether its body can be read or not; empty if there is none."""
        return self._read(lambda connection: reading.hash_of(connection, n))

    def chain_at(self, n: int) -> str:
        """The identifier that the chain had at an entry: every restore gives it another from there on."""
        later = self.entries(kinds=(RESTORED,), after_n=n, limit=1)
        return str(later[0].value["was"]) if later else self.head().chain

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

    def look_up(self, key: str) -> Entry | None:
        """What stands under an idempotency key, for good: to learn what became of an act whose outcome is not known.

        Nothing is recorded. Raises a LedgerError where that cannot be known yet.
        """
        self.store.check_same()
        try:
            with self.store.settled() as connection:
                entry = reading.entry_of_key(connection, key)
            if entry is not None:
                self.store.assure()
        except _DATABASE_FAULTS as fault:
            raise self._explained(fault) from fault
        return entry

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

    def lines(self, after_n: int = 0, up_to_n: int | None = None) -> Iterator[reading.Line]:
        """Bodies exactly as they are stored, with their hashes, in order: what a copy is made of."""
        while page := self._read(lambda connection: reading.lines(connection, after_n, up_to_n)):  # noqa: B023
            yield from page
            if page[-1].n <= after_n:  # a damaged tree would be walked in circles for ever
                raise LedgerDamagedError(path=self.store.name)
            after_n = page[-1].n

    # --- units of work --------------------------------------------------------------------------

    def _explained(self, fault: BaseException) -> Exception:
        return self.store.explained(getattr(fault, "orig", None) or fault)

    def _read(self, work: Callable[[Connection], _Done]) -> _Done:
        self.store.check_same()
        try:
            with self.store.reader() as connection:
                return work(connection)
        except _DATABASE_FAULTS as fault:
            raise self._explained(fault) from fault

    def unit_of_work(self, work: Callable[[Transaction], _Done], *, any_layout: bool = False) -> _Done:
        """One transaction: `work` may read, append and change tables; returned only after the commit.

        `any_layout` is for migrating alone.
        """
        if self._read_only:
            raise LedgerReadOnlyError(path=self.store.name)
        with self._lock:
            self.store.check_same()
            try:
                with self.store.migrator() if any_layout else self.store.writer() as connection:
                    now = self._set_clock() if self._set_clock else self.store.time(connection)
                    transaction = Transaction(
                        connection,
                        path=self.store.name,
                        start=self._start,
                        now=now,
                        new_id=self._new_id,
                        step_since=self._watch.step if self._watch else None,
                        apart=self._apart.news(self.now() - now),
                        seen=self._seen,
                    )
                    done = work(transaction)
                    self._commit(connection, transaction)
            except _DATABASE_FAULTS as fault:
                raise self._explained(fault) from fault
            if transaction.repeated:
                self._assure()
            if self._watch and transaction.written:
                self._watch.note(transaction.now)
                self._apart.note(transaction.apart)
            if transaction.written and transaction.written[-1].kind not in CLOSING:
                self._saw(transaction.head())
            return done

    def _commit(self, connection: Connection, transaction: Transaction) -> None:
        """Commit. Where the disk or the way to the server fails in the middle of it, look what stands."""
        try:
            connection.commit()
        except DBAPIError as fault:
            found = self._explained(fault)
            if not isinstance(found, LedgerDiskError | ServerLostError):
                raise
            connection.close()
            if not self._stands(transaction.written):
                raise found from fault

    def _stands(self, written: list[Entry]) -> bool:
        """Whether what was written survived a commit that failed, for good. Raises OutcomeUnknownError."""
        if not written:
            return False
        try:
            entry = self.look_up(written[-1].key)
        except LedgerError as fault:
            raise OutcomeUnknownError from fault
        return entry is not None and entry.hash == written[-1].hash

    def _assure(self) -> None:
        """What was found in the ledger is said to be recorded only once it is durable. Raises OutcomeUnknownError."""
        try:
            self.store.assure()
        except (DBAPIError, LedgerError) as fault:
            raise OutcomeUnknownError from fault


def _create(place: Place, body: str) -> None:
    if is_server(place):
        from floorterm.ledger.server_making import create_on_server  # noqa: PLC0415  only where a server is named

        create_on_server(str(place), body)
    else:
        create_file(Path(place), body)


def _opened(place: Place) -> Store:
    if is_server(place):
        from floorterm.ledger.server import ServerStore  # noqa: PLC0415  only where a server is named

        return ServerStore(str(place))
    return FileStore(Path(place))

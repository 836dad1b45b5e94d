"""A ledger on a PostgreSQL server, for a plant that has outgrown one machine (extra `server`).

One database holds one chain. A writer begins with an advisory lock that lasts until its transaction ends and
only then reads the head, under READ COMMITTED: under a stricter level the snapshot would be older than the lock.
The server must keep what it acknowledges (`fsync`, `full_page_writes`, `synchronous_commit`): each is read back
on every connection, and a server that does not is refused.
"""

import contextlib
import weakref
from collections.abc import Iterator, Mapping
from datetime import datetime
from types import MappingProxyType
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError

from floorterm.ledger.copy_faults import MoveUnfinishedError, check_layout
from floorterm.ledger.faults import (
    LedgerBusyError,
    LedgerDamagedError,
    LedgerDiskError,
    LedgerError,
    LedgerFullError,
    LedgerGuardsOffError,
    LedgerMissingError,
    LedgerPartMissingError,
    LedgerReadOnlyError,
    LedgerSettingError,
    NewerLedgerError,
    NotALedgerError,
    OldServerError,
    ServerAccountError,
    ServerExtraError,
    ServerLostError,
    ServerUrlError,
)
from floorterm.ledger.server_guards import LAYOUT_VERSION, LEAST_SERVER, LOCK_KEY

BUSY_SECONDS = 5
_LOST_SECONDS = 3
_DURABLE: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "fsync": ("on",),
        "full_page_writes": ("on",),
        "synchronous_commit": ("on", "remote_apply"),
        "transaction_isolation": ("read committed",),
    }
)
_OPTIONS = " ".join(
    f"-c {name}={value}"
    for name, value in {
        "lock_timeout": f"{BUSY_SECONDS}s",
        "statement_timeout": "60s",
        "idle_in_transaction_session_timeout": "60s",  # a terminal that vanished does not hold the chain
        "default_transaction_isolation": r"read\ committed",
        "client_encoding": "UTF8",
    }.items()
)
# The server's own error codes (PostgreSQL manual, appendix A)
_OF_PLACE: Mapping[str, type[LedgerError]] = MappingProxyType(
    {
        "3D000": LedgerMissingError,
        "25006": LedgerReadOnlyError,
        "XX001": LedgerDamagedError,
        "XX002": LedgerDamagedError,
    }
)
_PART_MISSING = ("42P01", "42703")  # a table, a column: whether it is a ledger at all was asked before
_OF_DISK: Mapping[str, type[LedgerError]] = MappingProxyType(
    {"53100": LedgerFullError, "58030": LedgerDiskError}
)
_ACCOUNT = ("28P01", "28000", "42501")
_SECRET = frozenset({"password", "sslpassword"})  # settings of the driver that a URL can carry behind its `?`
_LOST_CLASSES = ("08", "57", "53")  # connection, operator intervention, no resources


def read_url(place: str) -> URL:
    """The URL of a place. A password in it is refused: it would show in process lists and logs.

    Passwords belong into the account's password file or the service's environment, as the server's own tools
    read them. Raises ServerUrlError.
    """
    try:
        url = make_url(place).set(drivername="postgresql+psycopg")
        _check_names(url)
    except (ArgumentError, ValueError):
        raise ServerUrlError(reason="it is no URL") from None
    if url.password or not _SECRET.isdisjoint(url.query):
        raise ServerUrlError(reason="it carries a password; put that into the account's password file")
    if not url.database:
        raise ServerUrlError(reason="it names no database")
    return url


def _check_names(url: URL) -> None:
    """Raises ValueError for what the driver would choke on: control characters, hosts that no name server knows."""
    values = [
        url.username or "",
        url.database or "",
        *(one for many in url.normalized_query.values() for one in many),
    ]
    hosts = [url.host or "", *url.normalized_query.get("host", ())]
    if not all(value.isprintable() for value in (*values, *hosts)):
        raise ValueError("a control character")
    for host in ",".join(hosts).split(","):
        if not host.startswith("/"):
            host.encode("idna")


def engine_of(url: URL) -> Engine:
    """Connections to a server, kept for the next use, and asked first whether they still live."""
    try:
        engine = create_engine(
            url,
            pool_pre_ping=True,
            pool_size=2,
            connect_args={
                "connect_timeout": _LOST_SECONDS,
                "options": _OPTIONS,
                "application_name": "floorterm",
                "keepalives_idle": _LOST_SECONDS,
                "keepalives_interval": 1,
                "keepalives_count": 3,
                "tcp_user_timeout": 2 * _LOST_SECONDS * 1000,
                "prepare_threshold": None,
            },
        )
    except (ModuleNotFoundError, NoSuchModuleError):
        raise ServerExtraError(place=name_of(url)) from None
    event.listen(engine, "connect", _check_settings)
    return engine


def name_of(url: URL) -> str:
    """The place as people read it."""
    host = url.host or str(url.query.get("host", "")) or "local socket"
    return f"{url.database} on {host}{f':{url.port}' if url.port else ''}"


def _check_settings(connection: Any, _record: Any) -> None:
    """What makes a commit durable, and lets the guards work, read back from the server."""
    with connection.cursor() as cursor:
        for name, allowed in _DURABLE.items():
            found = cursor.execute(f"SHOW {name}").fetchone()[0]
            if found not in allowed:
                raise LedgerSettingError(name=name, wanted=allowed[0], found=str(found))
        found = cursor.execute("SHOW session_replication_role").fetchone()[0]
        if found == "replica":  # as if every guard were switched off
            raise LedgerGuardsOffError(found=str(found))
        version = cursor.connection.info.server_version
    connection.rollback()
    if version < LEAST_SERVER:
        raise OldServerError(found=str(version // 10000), wanted=str(LEAST_SERVER // 10000))


def explained(fault: BaseException, place: str) -> LedgerError:
    """The LedgerError that a fault of the server or of the way to it stands for."""
    if isinstance(fault, LedgerError):
        return fault
    code = getattr(fault, "sqlstate", None) or ""
    told = str(fault).strip()
    reason = told.splitlines()[0] if told else type(fault).__name__
    if code == "55P03":
        return LedgerBusyError(seconds=BUSY_SECONDS)
    if code in _PART_MISSING:
        return LedgerPartMissingError(path=place, what=reason)
    if code in _OF_PLACE:
        return _OF_PLACE[code](path=place)
    if code in _OF_DISK:
        return _OF_DISK[code]()
    if code in _ACCOUNT or "authentication failed" in told or "no password supplied" in told:
        return ServerAccountError(place=place, reason=reason)
    if not code and "does not exist" in told:  # refused at the door: the driver has no code for it
        missing = LedgerMissingError if "database" in told else ServerAccountError
        return missing(path=place) if missing is LedgerMissingError else missing(place=place, reason=reason)
    if not code or code[:2] in _LOST_CLASSES:
        return ServerLostError(place=place)
    return LedgerError(reason=reason)


class ServerStore:
    """The store of a ledger on a server."""

    def __init__(self, place: str, *, unfinished: bool = False) -> None:
        """Open the database; a copy that is not in use yet only where that is meant (`unfinished`).

        Raises NotALedgerError, MoveUnfinishedError, NewerLedgerError, or another LedgerError.
        """
        url = read_url(place)
        self._unfinished = unfinished
        self._name = name_of(url)
        self._engine = engine_of(url)
        # whoever lets go of a ledger without closing it leaves no connection standing at the server
        weakref.finalize(self, self._engine.dispose)
        with explaining(self._name), self._engine.connect() as connection:
            if connection.execute(text("SELECT to_regclass('ledger_layout')")).scalar() is None:
                raise NotALedgerError(path=self._name)
            self._layout = self._layout_now(connection)

    @property
    def name(self) -> str:
        """Database and host."""
        return self._name

    @property
    def layout(self) -> int:
        """As it was when the database was opened."""
        return self._layout

    def _layout_now(self, connection: Connection) -> int:
        version = connection.execute(text("SELECT version FROM ledger_layout")).scalar()
        if version is not None and version < 0:
            if not self._unfinished:
                raise MoveUnfinishedError(path=self._name)
            version = -version
        if version is None or version > LAYOUT_VERSION:
            raise NewerLedgerError(path=self._name, version=version or 0, known=LAYOUT_VERSION)
        return int(version)

    def set_layout(self, connection: Connection, layout: int) -> None:
        """In the table of the layout."""
        connection.execute(text("UPDATE ledger_layout SET version = :layout"), {"layout": layout})

    def check_same(self) -> None:
        """Nothing to ask without a connection: a transaction compares the first entry's hash."""

    @contextlib.contextmanager
    def reader(self) -> Iterator[Connection]:
        """A connection on which each statement is a transaction of its own and cannot write."""
        with self._engine.connect().execution_options(
            isolation_level="AUTOCOMMIT", postgresql_readonly=True
        ) as connection:
            yield connection

    @contextlib.contextmanager
    def snapshot(self) -> Iterator[Connection]:
        """A connection on which everything is read as it stood at one moment."""
        with self._engine.connect().execution_options(
            isolation_level="REPEATABLE READ", postgresql_readonly=True
        ) as connection:
            yield connection

    @contextlib.contextmanager
    def writer(self) -> Iterator[Connection]:
        """A transaction that holds the chain's advisory lock."""
        with self.settled() as connection:
            check_layout(self._layout_now(connection), LAYOUT_VERSION, self._name)
            yield connection

    @contextlib.contextmanager
    def migrator(self) -> Iterator[Connection]:
        """The same, whatever the layout, and for as long as a copy and a step of a large ledger take."""
        with self.settled() as connection:
            for limit in ("idle_in_transaction_session_timeout", "statement_timeout"):
                connection.exec_driver_sql(f"SET LOCAL {limit} = 0")
            yield connection

    def time(self, connection: Connection) -> datetime:
        """The server's, at this moment rather than at the transaction's begin."""
        found: datetime = connection.execute(text("SELECT clock_timestamp()")).scalar_one()
        return found

    @contextlib.contextmanager
    def settled(self) -> Iterator[Connection]:
        """A connection that waited for the lock: whoever held it has committed, rolled back or been ended."""
        with self._engine.connect() as connection:
            connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": LOCK_KEY})
            yield connection

    def assure(self) -> None:
        """Nothing to do: a server shows nobody what it has not written out yet."""

    def explained(self, fault: BaseException) -> LedgerError:
        """By the server's error codes."""
        return explained(fault, self._name)

    def close(self) -> None:
        """End the connections; another use begins new ones."""
        self._engine.dispose()


@contextlib.contextmanager
def explaining(place: str) -> Iterator[None]:
    """Faults of the database leave as LedgerErrors."""
    try:
        yield
    except DBAPIError as fault:
        raise explained(fault.orig or fault, place) from fault

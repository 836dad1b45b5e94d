"""Reading rows through a connection. Long reads go in pages, each a statement of its own, so that a reader
never keeps the file from a writer for long; since entries only ever follow, pages taken one after the other
fit together.
"""

from collections.abc import Iterator
from datetime import date, datetime
from typing import Any

from msgspec import Struct
from msgspec.structs import replace
from sqlalchemy import ColumnElement, Connection, Row, Select, func, select

from floorterm.entries import Entry, stamp
from floorterm.ledger.faults import (
    NoSuchEntryError,
    UnreadableEntryError,
    UnreadablePeopleError,
)
from floorterm.ledger.restored import RESTORED
from floorterm.ledger.rows import to_entry, to_head, to_ref, to_start
from floorterm.ledger.tables import ENTRIES, PEOPLE
from floorterm.ledger.values import Head, Ref, Start
from floorterm.people import LockoutStatus, Permission, Person

PAGE = 2000
LINES_PAGE = 500
_COLUMNS = ENTRIES.c
_REF = (
    _COLUMNS.n, _COLUMNS.at, _COLUMNS.kind, _COLUMNS.line, _COLUMNS.changeover, _COLUMNS.pos, _COLUMNS.step,
    _COLUMNS.person,
)  # fmt: skip


class Filters(Struct, frozen=True):
    """Which entries: those that fit everything that is given."""

    changeover: str | None = None
    line: str | None = None
    kinds: tuple[str, ...] | None = None
    after_n: int = 0
    since: datetime | None = None
    until: datetime | None = None
    up_to_n: int | None = None

    def __post_init__(self) -> None:
        """Raise ValueError for a time without its zone before anything is asked of the database."""
        for at in (self.since, self.until):
            if at is not None:
                stamp(at)

    def narrowed(self, query: Select[Any]) -> Select[Any]:
        """The query with these conditions."""
        if self.changeover is not None:
            query = query.where(_COLUMNS.changeover == self.changeover)
        if self.line is not None:
            query = query.where(_COLUMNS.line == self.line)
        if self.kinds is not None:
            query = query.where(_COLUMNS.kind.in_(self.kinds))
        if self.after_n or self.up_to_n is not None:
            query = query.where(_COLUMNS.n > self.after_n)
        if self.up_to_n is not None:
            query = query.where(_COLUMNS.n <= self.up_to_n)
        if self.since is not None:
            query = query.where(_COLUMNS.at >= stamp(self.since))
        if self.until is not None:
            query = query.where(_COLUMNS.at < stamp(self.until))
        return query

    def between_numbers(self, connection: Connection) -> "Filters | None":
        """The same, with a period's first and last number beside it, found in the index of times alone.

        None if the period has no entry.

        Else a database that may use one index walks all entries of a kind, or all after the first page. The
        numbers of a period need not follow each other (the clock may have been set back): the times still decide.
        """
        if self.since is None and self.until is None:
            return self
        # the offset keeps the planner from looking for the least number before the times
        period = Filters(since=self.since, until=self.until).narrowed(select(_COLUMNS.n)).offset(0).subquery()
        first, last = connection.execute(select(func.min(period.c.n), func.max(period.c.n))).one()
        return None if first is None else replace(self, after_n=max(self.after_n, first - 1), up_to_n=last)


def _paged(
    connection: Connection, query: Select[Any], limit: int | None, newest_first: bool
) -> Iterator[Row[Any]]:
    """Rows of a query whose first column is the number, page by page."""
    left = limit
    order = _COLUMNS.n.desc() if newest_first else _COLUMNS.n
    last: int | None = None
    while left is None or left > 0:
        size = PAGE if left is None else min(PAGE, left)
        page = query.order_by(order).limit(size)
        if last is not None:
            page = page.where(_COLUMNS.n < last if newest_first else _COLUMNS.n > last)
        rows = connection.execute(page).all()
        yield from rows
        if len(rows) < size:
            return
        if last is not None and (rows[-1][0] - last) * (-1 if newest_first else 1) <= 0:
            # a damaged tree would be walked in circles for ever
            raise UnreadableEntryError(n=last, reason="the numbers of the entries do not go up")
        last = rows[-1][0]
        left = None if left is None else left - len(rows)


def entries(
    connection: Connection, filters: Filters, *, limit: int | None = None, newest_first: bool = False
) -> list[Entry]:
    """Entries that fit the filters."""
    columns = (_COLUMNS.n, _COLUMNS.body, _COLUMNS.hash)
    rows = _fitting(connection, columns, filters, limit, newest_first)
    return [to_entry(row.n, row.body, row.hash) for row in rows]


def refs(
    connection: Connection, filters: Filters, *, limit: int | None = None, newest_first: bool = False
) -> list[Ref]:
    """The same entries without their values."""
    return [to_ref(row) for row in _fitting(connection, _REF, filters, limit, newest_first)]


def _fitting(
    connection: Connection,
    columns: tuple[ColumnElement[Any], ...],
    filters: Filters,
    limit: int | None,
    newest_first: bool,
) -> Iterator[Row[Any]]:
    numbered = filters.between_numbers(connection)
    if numbered is not None:
        yield from _paged(connection, numbered.narrowed(select(*columns)), limit, newest_first)


class Line(Struct, frozen=True):
    """An entry as it is stored: its number, its text, its hash."""

    n: int
    body: str
    hash: str


def lines(connection: Connection, after_n: int, up_to_n: int | None) -> list[Line]:
    """The next page of stored lines after a number, at most up to another; empty at the end."""
    query = select(_COLUMNS.n, _COLUMNS.body, _COLUMNS.hash).where(_COLUMNS.n > after_n)
    if up_to_n is not None:
        query = query.where(_COLUMNS.n <= up_to_n)
    return [Line(*row) for row in connection.execute(query.order_by(_COLUMNS.n).limit(LINES_PAGE))]


def entry(connection: Connection, n: int) -> Entry:
    """Entry number n. Raises NoSuchEntryError."""
    row = connection.execute(select(_COLUMNS.body, _COLUMNS.hash).where(_COLUMNS.n == n)).first()
    if row is None:
        raise NoSuchEntryError(n=n)
    return to_entry(n, row.body, row.hash)


def entry_of_key(connection: Connection, key: str) -> Entry | None:
    """The entry with an idempotency key, if it was recorded."""
    query = select(_COLUMNS.n, _COLUMNS.body, _COLUMNS.hash).where(_COLUMNS.key == key)
    row = connection.execute(query).first()
    return None if row is None else to_entry(row.n, row.body, row.hash)


_LAST = select(func.max(_COLUMNS.n)).scalar_subquery()
_LAST_RESTORE = select(func.max(_COLUMNS.n)).where(_COLUMNS.kind == RESTORED).scalar_subquery()


def head(connection: Connection, first_chain: str) -> Head:
    """The last entry's number, hash and time, and the identifier that the chain has there.

    `first_chain` is the one of entry 1; every restore gives another.
    """
    query = select(_COLUMNS.n, _COLUMNS.hash, _COLUMNS.at, _LAST_RESTORE.label("restored"))
    row = connection.execute(query.where(_COLUMNS.n == _LAST)).first()
    if row is None:
        raise UnreadableEntryError(n=1, reason="there is none")
    restored = None if row.restored is None else entry(connection, row.restored)
    return to_head(row.n, row.hash, row.at, restored, first_chain)


def last_kind(connection: Connection) -> str:
    """What the last entry is."""
    query = select(_COLUMNS.kind).where(_COLUMNS.n == _LAST)
    return connection.execute(query).scalar() or ""


def last_pos(connection: Connection, changeover: str) -> int:
    """The last position of a changeover, 0 if it has none."""
    query = select(func.max(_COLUMNS.pos)).where(_COLUMNS.changeover == changeover)
    return connection.execute(query).scalar() or 0


def start_hash(connection: Connection) -> str:
    """The hash of entry 1, by which a swapped file is known."""
    return hash_of(connection, 1)


def hash_of(connection: Connection, n: int) -> str:
    """The hash of an entry; empty if there is none of that number."""
    return connection.execute(select(_COLUMNS.hash).where(_COLUMNS.n == n)).scalar() or ""


def start(connection: Connection, path: str) -> Start:
    """What entry 1 says. Raises NotALedgerError if there is none."""
    row = connection.execute(select(_COLUMNS.body, _COLUMNS.hash).where(_COLUMNS.n == 1)).first()
    return to_start(row.body if row else "", row.hash if row else "", path)


def people(connection: Connection) -> tuple[Person, ...]:
    """Everybody, disabled people too, in order of their codes."""
    return tuple(_person(row) for row in connection.execute(select(PEOPLE).order_by(PEOPLE.c.code)))


def person(connection: Connection, code: str) -> Person | None:
    """Somebody by code."""
    row = connection.execute(select(PEOPLE).where(PEOPLE.c.code == code)).first()
    return None if row is None else _person(row)


def person_of_badge(connection: Connection, badge: str) -> Person | None:
    """Somebody by the code on their badge."""
    row = connection.execute(select(PEOPLE).where(PEOPLE.c.badge == badge)).first()
    return None if row is None else _person(row)


def _person(row: Row[Any]) -> Person:
    try:
        return Person(
            code=row.code,
            name=row.name,
            permission=Permission(row.permission),
            duties=frozenset(str(row.duties).splitlines()),
            lockout=LockoutStatus(row.lockout),
            trained_on=date.fromisoformat(row.trained_on) if row.trained_on else None,
            valid_to=date.fromisoformat(row.valid_to) if row.valid_to else None,
            badge=row.badge or "",
            active=bool(row.active),
        )
    except (TypeError, ValueError) as fault:
        raise UnreadablePeopleError(reason=str(fault)) from fault

"""Verifying a ledger on a server: the guards as the server has them, then every stored byte, then the people.

All of it is read in one snapshot, which on this kind of server keeps nobody from writing.
"""

from collections.abc import Iterable, Iterator
from typing import Any

from sqlalchemy import Connection, Row, text

from floorterm.ledger.guards import COLUMNS
from floorterm.ledger.layouts import has_guard
from floorterm.ledger.seal import Seal
from floorterm.ledger.server import ServerStore, explaining
from floorterm.ledger.server_guards import FUNCTIONS, SERVER_GUARDS
from floorterm.ledger.walk import PERSON_COLUMNS, Passing, Report, Walk

_PAGE = 2000
_ENTRIES = text(
    f"SELECT n, convert_to(body::text, 'UTF8') AS raw, hash, {', '.join(COLUMNS)} FROM entries ORDER BY n"
)
_PEOPLE = text(f"SELECT {', '.join(PERSON_COLUMNS)} FROM people ORDER BY code")
# tgtype is a set of bits: row 1, before 2, insert 4, delete 8, update 16, truncate 32
_TRIGGERS = text(
    """SELECT t.tgname, c.relname, t.tgtype, t.tgenabled, p.prosrc
    FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid JOIN pg_proc p ON p.oid = t.tgfoid
    WHERE NOT t.tgisinternal
      AND c.relnamespace = (SELECT relnamespace FROM pg_class WHERE oid = to_regclass('entries'))"""
)
_BITS = {"ROW": 1, "BEFORE": 2, "INSERT": 4, "DELETE": 8, "UPDATE": 16, "TRUNCATE": 32}


def verify_server(place: str, seals: Iterable[Seal] = (), *, passing: Passing = None) -> Report:
    """Verify the ledger at a URL, while it is in use. Raises a LedgerError if there is none or no way to it."""
    store = ServerStore(place)
    walk = Walk.against(seals, passing)
    try:
        with explaining(store.name), store.snapshot() as connection:
            _guards(connection, walk, store.layout)
            for row in _streamed(connection):
                n, raw, hash_, *columns = tuple(row)
                walk.compare_columns(n, walk.take(n, bytes(raw), hash_), columns)
            walk.compare_people(connection.execute(_PEOPLE).all())
    finally:
        store.close()
    return walk.report()


def _streamed(connection: Connection) -> Iterator[Row[Any]]:
    """Rows through a cursor of the server, so that a million entries need no more memory than a page."""
    yield from connection.execute(_ENTRIES, execution_options={"yield_per": _PAGE})


def _guards(connection: Connection, walk: Walk, layout: int) -> None:
    found = {row.tgname: tuple(row)[1:] for row in connection.execute(_TRIGGERS)}
    for name, guard in SERVER_GUARDS.items():
        if not has_guard(name, layout):
            continue
        bits = sum(bit for word, bit in _BITS.items() if word in guard.when)
        enabled_always_or_by_default = ("O", "A")
        table, type_, enabled, source = found.pop(name, ("", 0, "", ""))
        wanted = (guard.table, bits, FUNCTIONS[guard.function])
        if (table, type_, source) != wanted or enabled not in enabled_always_or_by_default:
            walk.note(0, "guards", name=name)
    for name in found:  # a foreign trigger could do anything
        walk.note(0, "guards", name=name)

"""Verifying a ledger on a server: the guards as the server has them, then every stored byte, then the people.

All of it is read in one snapshot, which on this kind of server keeps nobody from writing.
"""

from collections.abc import Iterable, Iterator
from typing import Any

from sqlalchemy import Connection, Row, text

from floorterm.ledger.guards import COLUMNS
from floorterm.ledger.layouts import has_guard
from floorterm.ledger.schema import METADATA
from floorterm.ledger.seal import Seal
from floorterm.ledger.server import ServerStore, explaining
from floorterm.ledger.server_guards import FUNCTIONS, SERVER_GUARDS
from floorterm.ledger.walk import PERSON_COLUMNS, Passing, Report, Walk

_PAGE = 2000
_ENTRIES = text(
    f"SELECT n, convert_to(body::text, 'UTF8') AS raw, hash, {', '.join(COLUMNS)} FROM entries ORDER BY n"
)
_PEOPLE = text(f"SELECT {', '.join(PERSON_COLUMNS)} FROM people ORDER BY code")
# What is read here is described in the server's manual, chapter "System Catalogs".
_HERE = "(SELECT relnamespace FROM pg_class WHERE oid = to_regclass('entries'))"
_TABLES = text(
    f"""SELECT relname, relpersistence, relrowsecurity, relispartition OR relhassubclass AS kin
    FROM pg_class WHERE relkind IN ('r', 'p') AND relnamespace = {_HERE}"""
)
# tgtype is a set of bits: row 1, before 2, insert 4, delete 8, update 16, truncate 32. A trigger of ours has no
# condition, names no columns, and its function runs with the rights of whoever asks and with a search path of its own.
_TRIGGERS = text(
    f"""SELECT t.tgname, c.relname, t.tgtype, p.prosrc,
        t.tgenabled IN ('O', 'A') AND t.tgqual IS NULL AND t.tgattr::text = '' AND t.tgnargs = 0
        AND NOT p.prosecdef AND p.pronamespace = {_HERE}
        AND p.proconfig = ARRAY['search_path=' || quote_ident(n.nspname) || ', pg_temp'] AS strict
    FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid JOIN pg_proc p ON p.oid = t.tgfoid
        JOIN pg_namespace n ON n.oid = c.relnamespace
    WHERE NOT t.tgisinternal AND c.relnamespace = {_HERE}"""
)
# a rule rewrites what is asked of a table before any trigger sees it
_RULES = text(
    f"""SELECT r.rulename FROM pg_rewrite r JOIN pg_class c ON c.oid = r.ev_class
    WHERE c.relkind IN ('r', 'p') AND c.relnamespace = {_HERE}"""
)
_CONSTRAINTS = text(f"SELECT conname, convalidated FROM pg_constraint WHERE connamespace = {_HERE}")
_GENERATED = text(
    "SELECT attname FROM pg_attribute WHERE attrelid = to_regclass('entries') AND attgenerated = 's'"
)
_BITS = {"ROW": 1, "BEFORE": 2, "INSERT": 4, "DELETE": 8, "UPDATE": 16, "TRUNCATE": 32}


def verify_server(place: str, seals: Iterable[Seal] = (), *, passing: Passing = None) -> Report:
    """Verify the ledger at a URL, while it is in use. Raises a LedgerError if there is none or no way to it."""
    store = ServerStore(place)
    walk = Walk.against(seals, passing)
    try:
        with explaining(store.name), store.snapshot() as connection:
            _guards(connection, walk, store.layout)
            missing = _tables(connection, walk)
            _constraints(connection, walk)
            for row in _streamed(connection):
                n, raw, hash_, *columns = tuple(row)
                walk.compare_columns(n, walk.take(n, bytes(raw), hash_), columns)
            if "people" not in missing:
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
        wanted = (guard.table, bits, FUNCTIONS[guard.function], True)
        if found.pop(name, None) != wanted:
            walk.note(0, "guards", name=name)
    foreign = [*found, *(row.rulename for row in connection.execute(_RULES))]
    for name in foreign:  # a foreign trigger or rule could do anything
        walk.note(0, "foreign_guard", name=name)


def _tables(connection: Connection, walk: Walk) -> set[str]:
    """Tables that are missing; one that forgets in a crash, hides rows or takes in those of another is told too."""
    found = {row.relname: row for row in connection.execute(_TABLES)}
    wanted = {*METADATA.tables, "ledger_layout"}
    for name in sorted(wanted):
        row = found.get(name)
        if row is None:
            walk.note(0, "table_missing", name=name)
        elif row.relpersistence != "p" or row.relrowsecurity or row.kin:
            walk.note(0, "table_altered", name=name)
    return wanted - found.keys()


def _constraints(connection: Connection, walk: Walk) -> None:
    """The limits that the tables were made with, by their names, and the columns made from the bodies."""
    found = {row.conname for row in connection.execute(_CONSTRAINTS) if row.convalidated}
    wanted = {str(one.name) for table in METADATA.tables.values() for one in table.constraints if one.name}
    generated = {row.attname for row in connection.execute(_GENERATED)}
    for name in sorted((wanted - found) | (set(COLUMNS) - generated)):
        walk.note(0, "guards", name=name)

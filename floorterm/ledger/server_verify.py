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
from floorterm.ledger.server_guards import FUNCTIONS, RIGHTS, SERVER_GUARDS
from floorterm.ledger.server_layout import made_columns, made_limits, plain
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
        AND NOT p.prosecdef AND p.provolatile = 'v' AND p.proowner = c.relowner AND p.pronamespace = {_HERE}
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
# newer servers list NOT NULL here too (n); the columns say that by themselves
_LIMITS = text(
    f"""SELECT c.relname, k.conname, pg_get_constraintdef(k.oid) AS made
    FROM pg_constraint k JOIN pg_class c ON c.oid = k.conrelid
    WHERE k.contype <> 'n' AND c.relname = ANY(:tables) AND c.relnamespace = {_HERE}"""
)
_COLUMNS = text(
    f"""SELECT c.relname, a.attname, upper(format_type(a.atttypid, a.atttypmod))
        || CASE WHEN a.attcollation = t.typcollation THEN '' ELSE ' COLLATE "' || l.collname || '"' END AS type,
        a.attnotnull, a.attgenerated::text, coalesce(pg_get_expr(d.adbin, d.adrelid), '') AS made
    FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid JOIN pg_type t ON t.oid = a.atttypid
        LEFT JOIN pg_collation l ON l.oid = a.attcollation
        LEFT JOIN pg_attrdef d ON d.adrelid = a.attrelid AND d.adnum = a.attnum
    WHERE a.attnum > 0 AND NOT a.attisdropped AND c.relname = ANY(:tables) AND c.relnamespace = {_HERE}"""
)
# whoever can do what the owner can (the owner's members, superusers) is not asked for what was granted besides
_RIGHTS = text(
    f"""SELECT c.relname, coalesce(r.rolname, 'PUBLIC') AS role, x.privilege_type
    FROM pg_class c CROSS JOIN LATERAL (
            SELECT * FROM aclexplode(c.relacl) UNION ALL
            SELECT g.* FROM pg_attribute a, aclexplode(a.attacl) g WHERE a.attrelid = c.oid) x
        LEFT JOIN pg_roles r ON r.oid = x.grantee
    WHERE c.relname = ANY(:tables) AND c.relnamespace = {_HERE}
        AND (x.grantee = 0 OR NOT pg_has_role(x.grantee, c.relowner, 'MEMBER'))"""
)
_NAMES = {"tables": list(RIGHTS)}
_BITS = {"ROW": 1, "BEFORE": 2, "INSERT": 4, "DELETE": 8, "UPDATE": 16, "TRUNCATE": 32}


def verify_server(
    place: str, seals: Iterable[Seal] = (), *, passing: Passing = None, unfinished: bool = False
) -> Report:
    """Verify the ledger at a URL, while it is in use, or a copy before it is in use (`unfinished`).

    Raises a LedgerError if there is none or no way to it.
    """
    store = ServerStore(place, unfinished=unfinished)
    walk = Walk.against(seals, passing)
    try:
        with explaining(store.name), store.snapshot() as connection:
            _guards(connection, walk, store.layout)
            missing = _tables(connection, walk)
            _limits(connection, walk, missing)
            _columns(connection, walk, missing)
            _rights(connection, walk)
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
    for name in sorted(RIGHTS):
        row = found.get(name)
        if row is None:
            walk.note(0, "table_missing", name=name)
        elif row.relpersistence != "p" or row.relrowsecurity or row.kin:
            walk.note(0, "table_altered", name=name)
    return RIGHTS.keys() - found.keys()


def _limits(connection: Connection, walk: Walk, missing: set[str]) -> None:
    """Keys and conditions, by what they say: one that is gone, or altered, or holds off what should be recorded."""
    found = {(row.relname, plain(row.made)): row.conname for row in connection.execute(_LIMITS, _NAMES)}
    for table, made in made_limits().items():
        for limit, name in made.items():
            if table not in missing and found.pop((table, limit), None) is None:
                walk.note(0, "guards", name=name)
    for name in found.values():
        walk.note(0, "foreign_guard", name=name)


def _columns(connection: Connection, walk: Walk, missing: set[str]) -> None:
    """Types, what may be empty, and how the generated ones are made from the bodies."""
    found = {
        (row.relname, row.attname): (row.type, row.attnotnull, row.attgenerated, plain(row.made))
        for row in connection.execute(_COLUMNS, _NAMES)
    }
    wanted = {key: made for key, made in made_columns().items() if key[0] not in missing}
    for table, name in sorted(
        key for key in wanted.keys() | found.keys() if wanted.get(key) != found.get(key)
    ):
        walk.note(0, "column_altered", name=name, table=table)


def _rights(connection: Connection, walk: Walk) -> None:
    """What roles may do that no terminal needs, such as changing an entry."""
    for row in connection.execute(_RIGHTS, _NAMES):
        if row.privilege_type not in RIGHTS[row.relname].split(", "):
            walk.note(0, "rights", role=row.role, right=row.privilege_type, table=row.relname)

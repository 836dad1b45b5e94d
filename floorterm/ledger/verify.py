"""Verifying a ledger file or an export without trusting either: the stored bytes are hashed as they stand.

Only the standard library touches the file. A cut tail, an old copy or a chain computed anew show against a
seal kept elsewhere, never by themselves.
"""

import contextlib
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

from floorterm.ledger import connect
from floorterm.ledger.export_lines import ExportFault, LineOfEntry, read_lines
from floorterm.ledger.faults import LedgerError, LedgerMissingError, NotALedgerError, NotAnExportError
from floorterm.ledger.file_layout import INDICES, TABLES, parts, plain
from floorterm.ledger.guards import COLUMNS, GUARDS
from floorterm.ledger.layouts import has_guard
from floorterm.ledger.seal import Seal
from floorterm.ledger.values import Place, is_server
from floorterm.ledger.walk import PERSON_COLUMNS, Passing, Problem, Report, Walk

__all__ = [
    "Problem",
    "Report",
    "verify_export",
    "verify_exports",
    "verify_file",
    "verify_ledger",
    "verify_place",
]

PAGE = 2000
_PAGE = f"SELECT n, body, hash, {', '.join(COLUMNS)} FROM entries WHERE n >= ? ORDER BY n LIMIT {PAGE}"
_FIRST = -(2**63)


def verify_place(
    place: Place, seals: Iterable[Seal] = (), *, passing: Passing = None, unfinished: bool = False
) -> Report:
    """Verify the ledger at a place: a file (or an export), or a server's URL. Raises a LedgerError.

    `passing` is told text and hash of each entry, in order, as it passes. `unfinished`: a server's copy that is not
    in use yet is meant.
    """
    if is_server(place):
        from floorterm.ledger.server_verify import verify_server  # noqa: PLC0415  extra `server`

        return verify_server(str(place), seals, passing=passing, unfinished=unfinished)
    return verify_file(Path(place), seals, passing=passing)


def verify_file(path: Path, seals: Iterable[Seal] = (), *, passing: Passing = None) -> Report:
    """Verify whatever the file is, a ledger or an export. Raises LedgerError if it is neither."""
    seals = tuple(seals)
    try:
        return verify_ledger(path, seals, passing=passing)
    except NotALedgerError:
        if path.is_file() and _begins_like_one(path):
            return verify_export(path, seals, passing=passing)
        raise


def _begins_like_one(path: Path) -> bool:
    """Whether a file that is known to be no ledger begins as an export does.

    Opening it is harmless only then: nobody holds a lock on it.
    """
    with path.open("rb") as file:
        return file.read(1) == b"{"


def _is_export(path: Path) -> bool:
    try:
        connect.check_file(path)
        with contextlib.closing(connect.raw(path, read_only=True)) as connection:
            connect.check_ours(connection, path)
    except NotALedgerError:
        return _begins_like_one(path)
    except LedgerError:
        pass  # a ledger of a newer version, a damaged one, or nothing that can be opened
    return False


def verify_ledger(path: Path, seals: Iterable[Seal] = (), *, passing: Passing = None) -> Report:
    """Verify a ledger file: SQLite's own check, guards, tables, hashes, chain, generated columns, people, seals.

    May run while the ledger is in use; it reads to the head that it finds at the end. Raises a LedgerError if
    the file is no ledger of ours or cannot be opened.
    """
    connect.check_file(path)
    connection = connect.raw(path, read_only=True)
    try:
        layout = connect.check_ours(connection, path)
        walk = Walk.against(seals, passing)
        try:
            connection.text_factory = _readable  # damaged text must not stop the check that finds it
            _integrity(connection, walk)
            _guards(connection, walk, layout)
            _tables(connection, walk)
            for row in _rows(connection):
                _take(walk, row)
            _people(connection, walk)
        except connect.FAULTS as fault:
            walk.note(0, "integrity", reason=str(fault))
        return walk.report()
    finally:
        connection.close()


def _readable(text: bytes) -> str:
    return text.decode("utf-8", errors="replace")


def _integrity(connection: sqlite3.Connection, walk: Walk) -> None:
    """SQLite's own check; where it breaks off (a text that is no JSON any more), the walk still goes on."""
    try:
        for (text,) in connection.execute("PRAGMA integrity_check"):
            if text != "ok":
                walk.note(0, "integrity", reason=text)
    except connect.FAULTS as fault:
        walk.note(0, "integrity", reason=str(fault))


def _guards(connection: sqlite3.Connection, walk: Walk, layout: int) -> None:
    found = dict(connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall())
    for name, statement in GUARDS.items():
        if has_guard(name, layout) and found.pop(name, None) != statement:
            walk.note(0, "guards", name=name)
    for name in found:  # a foreign trigger could do anything
        walk.note(0, "guards", name=name)


def _tables(connection: sqlite3.Connection, walk: Walk) -> None:
    """Tables and indices, by how they were made; what else stands in the file is nobody's business but the guards'."""
    query = "SELECT type, name, tbl_name, CAST(sql AS TEXT) FROM sqlite_master WHERE sql IS NOT NULL"
    found = {name: (sort, table, made) for sort, name, table, made in connection.execute(query)}
    for name, made in TABLES.items():
        sort, _, now = found.get(name, ("", "", ""))
        if sort != "table":
            walk.note(0, "table_missing", name=name)
        elif plain(now) != plain(made) and not _parts(walk, name, now, made):
            walk.note(0, "table_altered", name=name)
    for name, made in INDICES.items():
        sort, _, now = found.get(name, ("", "", ""))
        if sort != "index" or plain(now) != plain(made):
            walk.note(0, "index_altered", name=name)
    for name, (sort, table, _) in found.items():  # a foreign index could hold off what should be recorded
        if sort == "index" and table in TABLES and name not in INDICES:
            walk.note(0, "foreign_guard", name=name)


def _parts(walk: Walk, table: str, now: str, made: str) -> bool:
    """Tell which columns and limits of a table are others than they were made; False if none is."""
    known = walk.noted
    (columns, limits), (columns_made, limits_made) = parts(now), parts(made)
    for name in sorted(columns.keys() | columns_made.keys()):
        if columns.get(name) != columns_made.get(name):
            walk.note(0, "column_altered", name=name, table=table)
    for name in sorted(limits.keys() | limits_made.keys()):
        if limits.get(name) != limits_made.get(name):
            walk.note(0, "guards" if name in limits_made else "foreign_guard", name=name)
    return walk.noted > known


def _rows(connection: sqlite3.Connection) -> Iterator[tuple[Any, ...]]:
    """Every row in order, page by page; the last page and the people after it are read in one transaction."""
    after = _FIRST
    while len(rows := _page(connection, after)) == PAGE:
        yield from rows
        after = rows[-1][0] + 1
    connection.execute("BEGIN")
    while rows := _page(connection, after):
        yield from rows
        after = rows[-1][0] + 1


def _page(connection: sqlite3.Connection, after: int) -> list[tuple[Any, ...]]:
    """Rows from number `after` on. A damaged tree can give others, and would be walked in circles for ever."""
    try:
        connection.text_factory = str
        rows = connection.execute(_PAGE, (after,)).fetchall()
    except (UnicodeDecodeError, sqlite3.OperationalError):  # damaged text: each is looked at by itself
        connection.text_factory = bytes
        rows = connection.execute(_PAGE, (after,)).fetchall()
    wanted = after
    for n, *_ in rows:
        if not isinstance(n, int) or n < wanted:
            raise sqlite3.DatabaseError("the numbers of the entries do not go up")
        wanted = n + 1
    return rows


def _take(walk: Walk, row: tuple[Any, ...]) -> None:
    n, body, hash_, *columns = row
    if isinstance(body, bytes) and isinstance(hash_, bytes):
        hash_, columns = _readable(hash_), [_read(value) for value in columns]
    elif isinstance(body, str) and isinstance(hash_, str):
        body = body.encode("utf-8")
    else:
        walk.note(n, "column", column="body, hash")
        return
    walk.compare_columns(n, walk.take(n, body, hash_), columns)


def _read(value: Any) -> Any:
    return _readable(value) if isinstance(value, bytes) else value


def _people(connection: sqlite3.Connection, walk: Walk) -> None:
    rows = connection.execute(f"SELECT {', '.join(PERSON_COLUMNS)} FROM people ORDER BY code").fetchall()
    connection.execute("ROLLBACK")
    walk.compare_people([_read(value) for value in row] for row in rows)


def verify_export(path: Path, seals: Iterable[Seal] = (), *, passing: Passing = None) -> Report:
    """Verify an export (JSON Lines): hashes, chain, the seal at its end, seals kept elsewhere.

    An export of a part begins at its own first entry and takes on trust what that one followed. Raises
    LedgerMissingError if there is no file.
    """
    return verify_exports((path,), seals, passing=passing)


def verify_exports(paths: Sequence[Path], seals: Iterable[Seal] = (), *, passing: Passing = None) -> Report:
    """Verify exports of parts that follow each other, as one chain: a year's archive and the next. As above.

    Of several, each must be an export: raises NotAnExportError for a ledger or any other file.
    """
    for path in paths:
        if not path.is_file():
            raise LedgerMissingError(path=str(path))
        if len(paths) > 1 and not _is_export(path):
            raise NotAnExportError(path=str(path))
    walk = Walk.against(seals, passing)
    for path in paths:
        _walk_export(path, walk)
    return walk.report()


def _walk_export(path: Path, walk: Walk) -> None:
    own: Seal | None = None
    for line, found in read_lines(path):
        if isinstance(found, ExportFault):
            walk.note(walk.n + 1, "line", line=line, reason=found.reason)
        elif isinstance(found, LineOfEntry):
            if own is not None:
                walk.note(found.n, "own_seal")
            if not walk.entries and found.n > 1:
                walk.begin_at(found.n, found.prev)
            walk.take(found.n or walk.n + 1, found.body, found.hash)
        else:
            own = found
    if own is None:
        walk.note(0, "no_seal")
    elif (own.n, own.hash) != (walk.n, walk.head) or (walk.chain and own.chain != walk.chain):
        walk.note(own.n, "own_seal")
    walk.chain = walk.chain or (own.chain if own else "")

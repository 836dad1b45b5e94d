"""What somebody with the file and a database tool could do."""

import json
import sqlite3
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from floorterm.entries import canonical, digest
from floorterm.ledger.guards import GUARDS

Rows = list[tuple[int, str, str]]


def rewrite(path: Path, change: Callable[[Rows], Iterable[tuple[Any, Any, Any]]]) -> None:
    """Drop the guards, put other rows in place of the entries, put the guards back."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("BEGIN")
    rows = connection.execute("SELECT n, body, hash FROM entries ORDER BY n").fetchall()
    for name in GUARDS:
        connection.execute(f"DROP TRIGGER {name}")
    connection.execute("DELETE FROM entries")
    connection.executemany("INSERT INTO entries (n, body, hash) VALUES (?, ?, ?)", change(rows))
    for statement in GUARDS.values():
        connection.execute(statement)
    connection.execute("COMMIT")
    connection.close()


def with_value(row: tuple[int, str, str], **changes: object) -> tuple[int, str, str]:
    """The row with other fields in its body, the hash as it was."""
    n, body, hash_ = row
    return n, canonical(json.loads(body) | changes), hash_


def moved(row: tuple[int, str, str], n: int, **changes: object) -> tuple[int, str, str]:
    """The row under another number, its hash computed, its predecessor as it was."""
    text = canonical(json.loads(row[1]) | changes | {"n": n})
    return n, text, digest(text)


def recomputed(rows: Iterable[tuple[int, str, str]]) -> Rows:
    """The rows with every number, previous hash and hash computed anew: a chain that holds."""
    found: Rows = []
    prev = "0" * 64
    for n, (_, body, _) in enumerate(rows, 1):
        text = canonical(json.loads(body) | {"n": n, "prev": prev})
        prev = digest(text)
        found.append((n, text, prev))
    return found

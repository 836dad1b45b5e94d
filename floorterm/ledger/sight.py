"""A ledger file read without the ledger's machinery: for what stands on the screen before that is imported.

Plain `sqlite3`, opened so that nothing can be written, and never waiting for long. It reads as much as a first screen
asks for; what rows stand for is `rows`, as for the ledger itself, and a test compares both on every ledger at hand.
What cannot be read here is said by the ledger when it opens, with its reasons.
"""

import sqlite3
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any
from urllib.parse import quote

from floorterm.entries import Entry
from floorterm.ledger.clock import wall_clock
from floorterm.ledger.connect import FAULTS, check_file, check_ours, check_sqlite, explained
from floorterm.ledger.faults import NoSuchEntryError, UnreadableEntryError
from floorterm.ledger.restored import RESTORED
from floorterm.ledger.rows import to_entry, to_head, to_ref, to_start
from floorterm.ledger.values import Head, Ref, Start

_PATIENCE_S = 0.05  # for a writer that holds the file: a first screen does not wait for it
_ENTRY = "n, body, hash"
_REF = "n, at, kind, line, changeover, pos, step, person"


class Sight:
    """A ledger file as it can be seen at once. Every method raises a LedgerError where it cannot be read."""

    def __init__(self, path: Path, clock: Callable[[], datetime] = wall_clock) -> None:
        check_sqlite()
        check_file(path)
        self._path = path
        self._clock = clock
        try:
            self._connection = sqlite3.connect(
                f"file:{quote(str(path.absolute()))}?mode=ro", uri=True, timeout=_PATIENCE_S
            )
        except FAULTS as fault:
            raise explained(fault, path) from fault
        try:
            check_ours(self._connection, path)
            self._start = self._first()
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Let go of the file."""
        self._connection.close()

    def now(self) -> datetime:
        """The machine's time, or that of the clock given."""
        return self._clock()

    def start(self) -> Start:
        """What entry 1 says."""
        return self._start

    def _first(self) -> Start:
        rows = self._rows("SELECT body, hash FROM entries WHERE n = 1")
        body, hash_ = rows[0] if rows else ("", "")
        return to_start(body, hash_, str(self._path))

    def head(self) -> Head:
        """The last entry. It is not compared with what a terminal saw before: opening the ledger is."""
        rows = self._rows(
            "SELECT n, hash, at, (SELECT max(n) FROM entries WHERE kind = ?) FROM entries"
            " WHERE n = (SELECT max(n) FROM entries)",
            RESTORED,
        )
        if not rows:
            raise UnreadableEntryError(n=1, reason="there is none")
        n, hash_, at, restored = rows[0]
        return to_head(n, hash_, at, None if restored is None else self.entry(restored), self._start.chain)

    def entry(self, n: int) -> Entry:
        """Entry number n."""
        rows = self._rows(f"SELECT {_ENTRY} FROM entries WHERE n = ?", n)
        if not rows:
            raise NoSuchEntryError(n=n)
        return to_entry(*rows[0])

    def entries(
        self,
        *,
        changeover: str | None = None,
        kinds: Iterable[str] | None = None,
        after_n: int = 0,
        limit: int | None = None,
        newest_first: bool = False,
    ) -> list[Entry]:
        """Entries that fit everything that is given, in order of their numbers."""
        return [
            to_entry(*row) for row in self._fitting(_ENTRY, changeover, kinds, after_n, limit, newest_first)
        ]

    def refs(
        self, *, kinds: Iterable[str] | None = None, after_n: int = 0, limit: int | None = None
    ) -> list[Ref]:
        """The same without their values."""
        return [to_ref(row) for row in self._fitting(_REF, None, kinds, after_n, limit, newest_first=False)]

    def _fitting(
        self,
        columns: str,
        changeover: str | None,
        kinds: Iterable[str] | None,
        after_n: int,
        limit: int | None,
        newest_first: bool,
    ) -> Sequence[tuple[Any, ...]]:
        asked: list[object] = [after_n]
        where = "n > ?"
        if changeover is not None:
            where += " AND changeover = ?"
            asked.append(changeover)
        if kinds is not None:
            wanted = tuple(kinds)
            where += f" AND kind IN ({', '.join('?' * len(wanted))})"
            asked += wanted
        order = "n DESC" if newest_first else "n"
        asked.append(-1 if limit is None else limit)
        return self._rows(f"SELECT {columns} FROM entries WHERE {where} ORDER BY {order} LIMIT ?", *asked)

    def _rows(self, statement: str, *values: object) -> list[tuple[Any, ...]]:
        try:
            return self._connection.execute(statement, values).fetchall()
        except FAULTS as fault:
            raise explained(fault, self._path) from fault

"""What one acknowledged entry costs with each pair of journal settings, against a raw write that is synced.

    python -m tests.benchmarks.durability_cost [entries] [folder]

The raw write is one page of 4,096 bytes at the end of a file, then `fdatasync`: what the disk itself asks for. Then
entries are appended through the whole ledger, and through SQLite alone (one row of the same size in a table with the
same indexes). Rounds alternate, so that a busy moment meets every one. Give a folder on the disk that is meant.
"""

import os
import sqlite3
import statistics
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from itertools import count
from pathlib import Path

from tests.durability.session import settings
from tests.ledger.conftest import note, staffed

PAGE = 4096  # bytes
ROUNDS = 5
COMBINATIONS = (
    ("DELETE", "EXTRA"),
    ("TRUNCATE", "EXTRA"),
    ("PERSIST", "EXTRA"),
    ("WAL", "FULL"),
    ("DELETE", "FULL"),
    ("WAL", "NORMAL"),
    ("DELETE", "OFF"),
)
Once = Callable[[], object]


@contextmanager
def _raw_write(path: Path) -> Iterator[Once]:
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND)

    def once() -> None:
        os.write(handle, b"x" * PAGE)
        os.fdatasync(handle)

    yield once
    os.close(handle)


@contextmanager
def _row(path: Path, journal: str, synchronous: str) -> Iterator[Once]:
    """On a connection that stays open, as a program without any of the ledger's care would keep it."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        for statement in (
            f"PRAGMA journal_mode = {journal}",
            f"PRAGMA synchronous = {synchronous}",
            "CREATE TABLE it (n INTEGER PRIMARY KEY, body TEXT, a TEXT UNIQUE, b TEXT, c TEXT, d TEXT)",
            *(f"CREATE INDEX of_{name} ON it ({name})" for name in "bcd"),
        ):
            connection.execute(statement).fetchall()
        numbers = count()

        def once() -> None:
            text = f"{next(numbers):09}"
            values = ("x" * 500, text, "L1", "C-0001", text)
            connection.execute("INSERT INTO it (body, a, b, c, d) VALUES (?, ?, ?, ?, ?)", values)

        yield once


def _entry(path: Path) -> Once:
    ledger = staffed(path)
    return lambda: ledger.append(note(ledger.new_id()))


def _milliseconds(once: Once, times: int) -> list[float]:
    found = []
    for _ in range(times):
        begin = time.perf_counter()
        once()
        found.append(1000 * (time.perf_counter() - begin))
    return found


def main(entries: int = 500, folder: str | None = None) -> None:
    """A line for each: median and 99th percentile of a write, and how many raw writes the median is."""
    each = entries // ROUNDS
    times: defaultdict[str, list[float]] = defaultdict(list)
    with tempfile.TemporaryDirectory(dir=folder) as name, ExitStack() as open_:
        place = Path(name)
        raw = open_.enter_context(_raw_write(place / "raw"))
        ledgers = {pair: _entry(place / f"{'-'.join(pair)}.db") for pair in COMBINATIONS}
        rows = {
            pair: open_.enter_context(_row(place / f"{'-'.join(pair)}.row", *pair)) for pair in COMBINATIONS
        }
        for _ in range(ROUNDS):
            times["raw write, synced"] += _milliseconds(raw, each)
            for pair in COMBINATIONS:
                with settings(*pair):
                    times[f"entry, {' + '.join(pair)}"] += _milliseconds(ledgers[pair], each)
                times[f"row, {' + '.join(pair)}"] += _milliseconds(rows[pair], each)
    base = statistics.median(times["raw write, synced"])
    for way in sorted(times, key=lambda it: ("raw write", "entry", "row").index(it.split(",")[0])):
        median, slow = statistics.median(times[way]), statistics.quantiles(times[way], n=100)[98]
        _say(f"{way:<26}p50 {median:6.2f} ms   p99 {slow:7.2f} ms   {median / base:5.1f} raw writes")


def _say(text: str) -> None:
    print(text, flush=True)  # noqa: T201  a script that prints


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:2]), *sys.argv[2:3])

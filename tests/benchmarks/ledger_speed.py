"""How fast the ledger records, reads and verifies on this machine, beside the floor of each.

    python tests/benchmarks/ledger_speed.py [ENTRIES]     default 100,000 entries to verify

Prints: the commit of a sign-off beside a bare synced write and a bare SQLite commit with the same settings;
opening and reading; verification beside hashing the same texts and nothing else; one PIN.
"""

import hashlib
import os
import sqlite3
import statistics
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

from floorterm.entries import Draft, canonical, digest
from floorterm.ledger import DEFAULT_PROFILE, Ledger, connect, pins, verify_ledger
from floorterm.people import Permission, Person


def _milliseconds(work: Callable[[int], object], times: int) -> str:
    spent = []
    for number in range(times):
        begin = time.perf_counter()
        work(number)
        spent.append((time.perf_counter() - begin) * 1000)
    cuts = statistics.quantiles(spent, n=100)
    return f"p50 {cuts[49]:8.2f} ms   p99 {cuts[98]:8.2f} ms"


def _say(what: str, figure: str) -> None:
    print(f"{what:<58} {figure}", flush=True)  # noqa: T201  a script that prints


def _sign_off(number: int) -> Draft:
    return Draft(
        kind="step.signed",
        key=f"key-{number:08d}-aaaa-bbbb-cccc-dddddddddddd",
        person="P01",
        identity="session",
        meaning="performed",
        terminal="T1",
        line="line-1",
        changeover=f"C-{number // 60:05d}",
        step=f"screen-clean/pull-screen-{number % 60}",
        value={"step": f"screen-clean/pull-screen-{number % 60}", "outcome": "done", "number": "41.2"},
    )


def _new(path: Path) -> Ledger:
    ledger = Ledger.create(path, plant_id="bench", plant_name="Bench", time_zone="America/Denver")
    ledger.add_person(Person("P01", "Pat Example", Permission.ADMINISTRATOR), "908172")
    return ledger


def _floors(folder: Path) -> None:
    handle = os.open(folder / "plain", os.O_WRONLY | os.O_CREAT | os.O_APPEND)

    def write(_: int) -> None:
        os.write(handle, b"x" * 500)
        os.fsync(handle)

    _say("a synced write of 500 bytes (floor)", _milliseconds(write, 300))
    os.close(handle)
    bare = connect.raw(folder / "bare.db", create=True)
    bare.execute("CREATE TABLE t (n INTEGER PRIMARY KEY, body TEXT, hash TEXT)")

    def commit(number: int) -> None:
        bare.execute("BEGIN IMMEDIATE")
        bare.execute("INSERT INTO t (body, hash) VALUES (?, ?)", ("x" * 500, str(number)))
        bare.execute("COMMIT")

    _say("a bare SQLite commit, journal DELETE, synchronous EXTRA", _milliseconds(commit, 300))
    bare.close()


def _recording(ledger: Ledger) -> None:
    _say("a sign-off recorded (Ledger.append)", _milliseconds(lambda n: ledger.append(_sign_off(n)), 500))
    _say("reading the head", _milliseconds(lambda _: ledger.head(), 300))
    _say(
        "reading the 60 entries of a changeover",
        _milliseconds(lambda _: ledger.entries(changeover="C-00003"), 100),
    )
    _say("opening the ledger", _milliseconds(lambda _: Ledger.open(ledger.path), 100))


def _fill(path: Path, count: int) -> list[bytes]:
    """Many entries in one transaction, as rows, through the guards; gives the bodies for the floor."""
    ledger = Ledger.open(path)
    head = ledger.head()
    start = ledger.entry(head.n)
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA synchronous = OFF")
    connection.execute("BEGIN IMMEDIATE")
    prev, bodies = head.hash, []
    for n in range(head.n + 1, head.n + 1 + count):
        draft = _sign_off(n)
        body = canonical(
            {
                "at": start.body.partition('"at":"')[2][:27],
                "changeover": f"F-{n // 60:06d}",
                "key": draft.key + "-f",
                "kind": draft.kind,
                "line": draft.line,
                "meaning": draft.meaning,
                "n": n,
                "name": "Pat Example",
                "offset": start.offset,
                "person": draft.person,
                "pos": n % 60 + 1,
                "prev": prev,
                "role": "operator",
                "step": draft.step,
                "terminal": draft.terminal,
                "v": 1,
                "value": dict(draft.value),
            }
        )
        prev = digest(body)
        connection.execute("INSERT INTO entries (n, body, hash) VALUES (?, ?, ?)", (n, body, prev))
        bodies.append(body.encode())
    connection.execute("COMMIT")
    connection.close()
    return bodies


def _verifying(path: Path, count: int) -> None:
    bodies = _fill(path, count)
    begin = time.perf_counter()
    for body in bodies:
        hashlib.sha256(body).hexdigest()
    floor = len(bodies) / (time.perf_counter() - begin)
    size = path.stat().st_size / len(bodies)
    del bodies
    begin = time.perf_counter()
    report = verify_ledger(path)
    spent = time.perf_counter() - begin
    if not report.ok:
        raise SystemExit(f"the ledger does not hold: {report.problems[0].text}")
    _say(f"hashing {count:,} texts and nothing else (floor)", f"{floor:12,.0f} a second")
    speed = report.entries / spent
    _say("verifying the ledger", f"{speed:12,.0f} a second, {floor / speed:.1f} x the floor's time")
    _say("size", f"{size:12,.0f} bytes an entry")
    tracemalloc.start()
    verify_ledger(path)
    _say("most memory that verifying took", f"{tracemalloc.get_traced_memory()[1] / 1e6:12.1f} MB")
    tracemalloc.stop()
    ledger = Ledger.open(path)
    big = 10**8
    _say(
        f"a sign-off recorded behind {count:,} entries",
        _milliseconds(lambda n: ledger.append(_sign_off(big + n)), 300),
    )
    _say("opening it", _milliseconds(lambda _: Ledger.open(path), 50))


def main() -> None:
    """Everything, in a folder of its own that is removed again."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    _say("SQLite", sqlite3.sqlite_version)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _floors(folder)
        ledger = _new(folder / "ledger.db")
        _recording(ledger)
        _verifying(ledger.path, count)
    phc = pins.hash_pin("908172", DEFAULT_PROFILE)
    _say("checking a PIN, default cost", _milliseconds(lambda _: pins.matches(phc, "908172"), 20))


if __name__ == "__main__":
    main()

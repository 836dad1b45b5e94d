"""Writers that run in processes of their own, for tests that race or kill them."""

import itertools
from collections.abc import Iterable
from multiprocessing.connection import Connection
from multiprocessing.context import ForkServerContext
from pathlib import Path

from floorterm.ledger import Ledger
from tests.ledger.conftest import note


def write_for_ever(path: str, name: str, pipe: Connection) -> None:
    """Record one entry after the other; each is acknowledged with number and hash once it is recorded."""
    ledger = Ledger.open(Path(path))
    for number in itertools.count():
        entry = ledger.append(note(f"{name}-{number}"))
        pipe.send_bytes(f"{entry.n} {entry.hash}".encode())


def drained(pipe: Connection) -> dict[int, str]:
    """What a killed writer had acknowledged: hashes by number."""
    found: dict[int, str] = {}
    try:
        while True:
            number, hash_ = pipe.recv_bytes().decode().split()
            found[int(number)] = hash_
    except EOFError:
        return found


def write_some(place: str, name: str, count: int, pipe: Connection) -> None:
    """Wait for the start, then record so many entries; `place` is a file's path or a server's URL."""
    ledger = Ledger.open(place)
    pipe.send_bytes(b"ready")
    pipe.recv_bytes()
    for number in range(count):
        ledger.append(note(f"{name}-{number}", person="P01" if name < "w1" else "P02"))
    pipe.send_bytes(b"done")


def write_once_and_hang(path: str, key: str, pipe: Connection) -> None:
    """Record an entry and never say so: the reply that is lost."""
    ledger = Ledger.open(Path(path))
    ledger.append(note(key, changeover="", terminal="T1"))
    pipe.recv_bytes()


def race(processes: ForkServerContext, place: str, names: Iterable[str], count: int) -> None:
    """Let writers of these names record so many entries each, all beginning at one moment."""
    started = []
    for name in names:
        ours, theirs = processes.Pipe()
        process = processes.Process(target=write_some, args=(place, name, count, theirs))
        process.start()
        started.append((process, ours))
    for _, pipe in started:
        assert pipe.recv_bytes() == b"ready"
    for _, pipe in started:
        pipe.send_bytes(b"go")
    for process, pipe in started:
        assert pipe.recv_bytes() == b"done"
        process.join()

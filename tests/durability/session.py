"""A scripted session of a real ledger on a simulated disk, its power cut at every call that changes the disk.

For each cut some images of what may be left are drawn. Each is written to real files and opened by the ledger with
Python's own SQLite, as on the morning after.
"""

import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from functools import cache
from hashlib import sha256
from pathlib import Path
from random import Random
from unittest.mock import patch

from msgspec.structs import replace

from floorterm.entries import Entry
from floorterm.ledger import CHEAP_PROFILE, Ledger, LedgerError, connect, verify_ledger
from floorterm.people import Permission, Person
from tests.durability.disk import Disk
from tests.durability.driver import using
from tests.durability.machine import Machine
from tests.ledger.conftest import OPENING, PIN, Clock, counted, note, staffed_file

NAME = "ledger.db"
CHANGES = ("xWrite", "xTruncate", "xSync", "xDelete", "xDelete and sync", "xOpen")
NEW = Person("P03", "Kim Example", Permission.OPERATOR)
Files = dict[str, bytes]


@contextmanager
def settings(journal: str, synchronous: str) -> Iterator[None]:
    """Other settings than the program's own, for controls and comparisons."""
    levels = {"OFF": 0, "NORMAL": 1, "FULL": 2, "EXTRA": 3}
    changed = {
        "journal_mode": ("journal_mode", journal, journal.lower()),
        "synchronous": ("synchronous", synchronous, levels[synchronous]),
    }
    with patch.object(connect, "_WRITERS", tuple(changed.get(it[0], it) for it in connect._WRITERS)):
        yield


@contextmanager
def stage(folder: Path, files: Files | None = None) -> Iterator[tuple[Disk, Path]]:
    """A disk that holds the crew's ledger; a file stands in its place for those who only ask whether one is there."""
    path = folder / NAME
    path.write_bytes(b"on the simulated disk")
    yield Disk(files or {NAME: _crew_file()}), path


@cache
def _crew_file() -> bytes:
    """The same pages in every run: the ORM keeps a table's indexes in a set and makes them in any order."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / NAME
        path.write_bytes(staffed_file(OPENING))
        with closing(sqlite3.connect(path, isolation_level=None)) as connection:
            found = "SELECT name, sql FROM sqlite_master WHERE type = 'index' AND sql NOT NULL ORDER BY name"
            for name, statement in connection.execute(found).fetchall():
                connection.execute(f"DROP INDEX {name}")
                connection.execute(statement)
            connection.execute("VACUUM")
        return path.read_bytes()


def open_ledger(path: Path) -> Ledger:
    """A program's own way to the ledger: what one object remembers, another does not."""
    return Ledger.open(path, clock=Clock(), new_id=counted(6), pin_profile=CHEAP_PROFILE)


def acts(ledger: Ledger, rounds: int) -> Iterator[list[Entry]]:
    """What is done in the session; each act gives the entries that it was told are recorded."""
    for number in range(rounds):
        yield [ledger.append(note(f"one-{number}", line=f"L{number % 3}"))]
        yield ledger.append_all([note(f"two-{number}"), note(f"three-{number}", changeover="C-0002")])
    yield [ledger.add_person(NEW, PIN, by="A01")]
    yield [ledger.append(note("long", person=NEW.code, value={"text": "x" * 9000}))]
    yield [ledger.change_person(replace(NEW, name="Kim Other"), by="A01", reason="married")]
    ledger.check_pin("P01", PIN)
    yield [ledger.entry(ledger.seal("paper").n + 1)]


@dataclass(frozen=True, slots=True)
class Cut:
    """One power cut: what may be left, what had been acknowledged, and before which call it came."""

    files: Files
    acknowledged: int
    call: str


@dataclass
class Session:
    """What a session acknowledged, after which numbers an act was whole, and its power cuts."""

    entries: list[Entry] = field(default_factory=list)
    whole: set[int] = field(default_factory=set)
    cuts: list[Cut] = field(default_factory=list)
    calls: int = 0


def play(folder: Path, *, seed: int, images: int, rounds: int) -> Session:
    """Play the session and cut it before every call that changes the disk, and at its end."""
    luck = Random(seed)
    session = Session()
    known: set[tuple[bytes, int]] = set()
    with stage(folder) as (disk, path):

        def cut(call: str, name: str) -> None:
            if call not in CHANGES:
                return
            session.calls += 1
            for _ in range(images):
                files = disk.after_cut(luck)
                mark = _mark(files), len(session.entries)
                if mark not in known:
                    known.add(mark)
                    session.cuts.append(Cut(files, len(session.entries), f"{call} {name}"))

        with using(Machine(disk, folder, cut)):
            session.entries.extend(start := open_ledger(path).entries())
            session.whole.add(len(start))
            session.cuts.clear()  # until here nothing was acknowledged
            for told in acts(open_ledger(path), rounds):
                session.entries.extend(told)
                session.whole.add(len(session.entries))
        cut("xOpen", "nothing more")
    return session


def _mark(files: Files) -> bytes:
    found = sha256()
    for name, content in sorted(files.items()):
        found.update(name.encode() + b"\0" + sha256(content).digest())
    return found.digest()


@dataclass(frozen=True, slots=True)
class Found:
    """The morning after one cut."""

    cut: Cut
    lost: int = 0  # acknowledged entries that are gone or other than they were
    fault: str = ""  # why the record does not hold, empty if it does


def check(cut: Cut, session: Session, folder: Path) -> Found:
    """Hold what a cut left against what had been acknowledged."""
    entries, fault = found_in(cut.files, folder)
    kept = {entry.n: entry.body for entry in entries}
    lost = sum(kept.get(entry.n) != entry.body for entry in session.entries[: cut.acknowledged])
    half = "" if len(kept) in session.whole else f"half an act, up to entry {len(kept)}"
    return Found(cut, lost, fault or half)


def found_in(files: Files, folder: Path) -> tuple[list[Entry], str]:
    """What Python's own SQLite finds in these files, as on the morning after, and why it does not hold."""
    folder.mkdir(exist_ok=True)
    for old in folder.iterdir():
        old.unlink()
    for name, content in files.items():
        (folder / name).write_bytes(content)
    try:
        entries = Ledger.open(folder / NAME).entries()
        report = verify_ledger(folder / NAME)
    except LedgerError as fault:
        return [], type(fault).__name__
    return entries, "" if report.ok else report.problems[0].text


def check_all(session: Session, folder: Path) -> Iterator[Found]:
    """Every cut of a session."""
    yield from (check(cut, session, folder) for cut in session.cuts)

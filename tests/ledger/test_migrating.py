"""Ledgers of earlier layouts: each that ever was still opens, is brought up to date, and keeps what was signed."""

import shutil
import sqlite3
from pathlib import Path

import pytest

from floorterm.demo.clock import SetClock
from floorterm.ledger import (
    CHEAP_PROFILE,
    Ledger,
    LedgerError,
    LedgerExistsError,
    NewerLedgerError,
    verify_file,
)
from floorterm.ledger.copy_faults import CopyNotSoundError, MigrationFaultError, OldLayoutError
from floorterm.ledger.guards import GUARDS, SCHEMA_VERSION
from floorterm.ledger.layouts import STEPS, Step
from floorterm.ledger.migrating import Migrated, migrate
from floorterm.library.model import Library
from floorterm.plant import Plant
from tests.conftest import PIN, START
from tests.ledger.conftest import new_ledger, note, staffed
from tests.ledger.tamper import rewrite

KEPT = Path(__file__).parents[1] / "data" / "ledgers"


@pytest.fixture(params=sorted(KEPT.glob("layout-*.db")), ids=lambda path: path.stem)
def old(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A ledger that an earlier version wrote."""
    path = tmp_path / "ledger.db"
    shutil.copyfile(request.param, path)
    return path


def _rows(path: Path) -> list[tuple[int, bytes, bytes]]:
    connection = sqlite3.connect(path)
    connection.text_factory = bytes
    try:
        return connection.execute("SELECT n, body, hash FROM entries ORDER BY n").fetchall()
    finally:
        connection.close()


def _migrated(path: Path, *steps: Step) -> Migrated:
    done = migrate(path, path.with_name("before.db"), steps=steps or STEPS)
    assert done is not None
    return done


def test_there_is_a_kept_ledger_of_every_earlier_layout() -> None:
    found = [
        sqlite3.connect(path).execute("PRAGMA user_version").fetchone()[0]
        for path in sorted(KEPT.glob("*.db"))
    ]
    assert found == list(range(1, SCHEMA_VERSION))


def test_an_old_ledger_is_read_and_verified_and_says_that_it_cannot_be_written(
    old: Path, library: Library
) -> None:
    before = old.read_bytes()
    ledger = Ledger.open(old)
    assert verify_file(old).ok
    plant = Plant(library, ledger, "T1")
    assert [state.work for state in plant.line_now("L1").works] == ["C-0001"]
    with pytest.raises(OldLayoutError, match="floorterm migrate"):
        ledger.append(note("k1", person="AA"))
    assert old.read_bytes() == before


def test_a_migrated_ledger_keeps_every_byte_that_was_signed(old: Path, library: Library) -> None:
    before, bytes_before = _rows(old), old.read_bytes()
    done = _migrated(old)
    assert _rows(old)[: len(before)] == before
    assert (done.was, done.now, done.entry.n) == (1, SCHEMA_VERSION, len(before) + 1)
    assert (done.entry.kind, done.entry.value["from"], done.entry.value["to"]) == ("schema.migrated", 1, 2)
    assert _rows(done.backup) == before, "a copy was made first"
    assert verify_file(done.backup).ok
    assert done.backup.read_bytes()[96:] == bytes_before[96:], (
        "a backup is the file itself, but for its change counter"
    )
    ledger = Ledger.open(old, clock=SetClock(START), pin_profile=CHEAP_PROFILE)
    assert ledger.check_pin("AA", PIN).code == "AA"
    assert Plant(library, ledger, "T1").line_now("L1").changeover is not None
    assert ledger.append(note("k1", person="AA")).n == done.entry.n + 1
    assert verify_file(old).ok


def test_a_migrated_ledger_is_laid_out_like_a_new_one(old: Path, tmp_path: Path) -> None:
    def laid_out(path: Path) -> set[tuple[str, str, str]]:
        connection = sqlite3.connect(path)
        try:
            return set(connection.execute("SELECT type, name, coalesce(sql, '') FROM sqlite_master"))
        finally:
            connection.close()

    _migrated(old)
    assert laid_out(old) == laid_out(new_ledger(tmp_path / "new.db").path)


def test_migrating_again_does_nothing(old: Path) -> None:
    _migrated(old)
    before = old.read_bytes()
    assert migrate(old, old.with_name("again.db")) is None
    assert old.read_bytes() == before
    assert not old.with_name("again.db").exists()


_UNGUARDED = "; ".join(f"DROP TRIGGER {name}" for name in ("entries_stay", "entries_remain")).split("; ")


@pytest.mark.parametrize(
    "statements",
    [
        (*_UNGUARDED, "UPDATE entries SET body = body || ' ' WHERE n = 3"),
        (*_UNGUARDED, "UPDATE entries SET hash = upper(hash) WHERE n = 3"),
        (*_UNGUARDED, "DELETE FROM entries WHERE n = 12"),
        ("INSERT INTO entries (n, body, hash) SELECT 13, replace(replace(body, '\"n\":12', '\"n\":13'), "
         "'\"prev\":\"', '\"prev\":\"' || hash || '\",\"x\":\"'), hash FROM entries WHERE n = 12",),
        ("DROP TABLE entries",),
        ("no statement at all",),
    ],
    ids=["body", "hash", "row", "guarded", "table", "fault"],
)  # fmt: skip
def test_a_step_that_would_change_what_was_signed_is_undone(old: Path, statements: tuple[str, ...]) -> None:
    before = old.read_bytes()
    bad = Step(to=2, why="bad", file=statements, server=())
    with pytest.raises(LedgerError):
        _migrated(old, bad)
    assert old.read_bytes()[100:] == before[100:], "but for the header's counters"
    assert verify_file(old).ok
    assert Ledger.open(old).store.layout == 1


def test_the_refusal_says_so(old: Path) -> None:
    with pytest.raises(MigrationFaultError, match="changed what was signed"):
        _migrated(
            old, Step(to=2, why="bad", file=(*_UNGUARDED, "DELETE FROM entries WHERE n = 12"), server=())
        )


def test_a_ledger_that_does_not_hold_is_not_migrated(old: Path) -> None:
    connection = sqlite3.connect(old)
    connection.execute("DROP TRIGGER people_remain")
    connection.execute("DELETE FROM people WHERE code = 'BB'")
    connection.commit()
    connection.close()
    with pytest.raises(CopyNotSoundError):
        _migrated(old)
    assert Ledger.open(old).store.layout == 1


def test_the_copy_overwrites_nothing(old: Path) -> None:
    old.with_name("before.db").write_text("kept")
    with pytest.raises(LedgerExistsError):
        _migrated(old)
    assert Ledger.open(old).store.layout == 1


def test_a_terminal_of_the_older_version_stops_when_the_layout_moves_under_it(
    old: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It opened the file before; the program that runs on here stands for the older one."""
    monkeypatch.setattr("floorterm.ledger.file_store.SCHEMA_VERSION", 1)
    running = Ledger.open(old)
    running.append(note("k1", person="AA"))
    _migrated(old)
    with pytest.raises(NewerLedgerError, match="Install the newer version"):
        running.append(note("k2", person="AA"))


def test_a_newer_file_is_neither_read_nor_migrated(path: Path) -> None:
    staffed(path)
    connection = sqlite3.connect(path)
    connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    connection.close()
    with pytest.raises(NewerLedgerError):
        migrate(path, path.with_name("before.db"))


def test_a_closed_ledger_takes_no_entry_from_any_program(ledger: Ledger) -> None:
    """With the guard of layout 1 alone, a database tool could go on."""
    rewrite(ledger.path, lambda rows: rows)
    closing = note("closing", kind="work.note")
    ledger.append(closing)
    last = ledger.head()
    connection = sqlite3.connect(ledger.path)
    row = "INSERT INTO entries (n, body, hash) VALUES (?, json_object('v', 1, 'n', ?, 'prev', ?, 'kind', ?, 'at', '2026', 'key', ?), printf('%064d', 0))"  # noqa: E501
    connection.execute(row, (last.n + 1, last.n + 1, last.hash, "ledger.moved", "a"))
    with pytest.raises(sqlite3.IntegrityError, match="this ledger is closed"):
        connection.execute(row, (last.n + 2, last.n + 2, "0" * 64, "work.note", "b"))
    connection.execute("DROP TRIGGER entries_end")
    connection.execute(row, (last.n + 2, last.n + 2, "0" * 64, "work.note", "b"))
    connection.rollback()
    connection.close()
    assert "entries_end" in GUARDS

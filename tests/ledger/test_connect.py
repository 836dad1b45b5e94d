"""Opening: settings set and read back, files that are refused, faults with their sentences."""

import os
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from floorterm.ledger import (
    Ledger,
    LedgerBusyError,
    LedgerCannotOpenError,
    LedgerDamagedError,
    LedgerEmptyError,
    LedgerError,
    LedgerExistsError,
    LedgerFullError,
    LedgerMissingError,
    LedgerReadOnlyError,
    LedgerSettingError,
    NewerLedgerError,
    NotALedgerError,
    OldSqliteError,
    OutcomeUnknownError,
    chain,
    connect,
)
from floorterm.ledger.guards import APPLICATION_ID, SCHEMA_VERSION
from tests.conftest import bound_by_permissions
from tests.ledger.conftest import new_ledger, note, staffed
from tests.ledger_faults import commits_fail


def _pragmas(path: Path) -> dict[str, int]:
    connection = sqlite3.connect(path)
    found = {
        name: connection.execute(f"PRAGMA {name}").fetchone()[0]
        for name in ("application_id", "user_version", "journal_mode")
    }
    connection.close()
    return found


def _do(path: Path, statement: str) -> None:
    connection = sqlite3.connect(path)
    connection.execute(statement)
    connection.commit()
    connection.close()


def test_every_writing_connection_keeps_the_settings_that_make_entries_durable(path: Path) -> None:
    # SQLite documentation, PRAGMA synchronous: 3 is EXTRA, which also syncs the folder after the journal is
    # removed; with DELETE journals only EXTRA keeps the newest commit through a power cut.
    new_ledger(path)
    connection = connect.raw(path)
    assert connect.settings_of(connection) == {
        "busy_timeout": 5000,
        "cell_size_check": 1,
        "foreign_keys": 1,
        "recursive_triggers": 1,
        "journal_mode": "delete",
        "synchronous": 3,
        "fullfsync": 1,
        "checkpoint_fullfsync": 1,
    }
    connection.close()


def test_the_settings_hold_on_the_connections_that_append(ledger: Ledger) -> None:
    seen = []

    def look(transaction: object) -> None:
        dbapi = transaction.connection.connection.dbapi_connection  # type: ignore[attr-defined]
        seen.append((connect.settings_of(dbapi), dbapi.in_transaction))

    ledger.unit_of_work(look)
    settings, in_transaction = seen[0]
    assert (settings["journal_mode"], settings["synchronous"], in_transaction) == ("delete", 3, True)


def test_a_setting_that_does_not_stick_is_refused(path: Path) -> None:
    new_ledger(path)
    _do(path, "PRAGMA journal_mode = WAL")
    connection = _deaf(path)
    with pytest.raises(LedgerSettingError) as caught:
        connect._settle(connection, read_only=False)
    connection.close()
    assert (caught.value.say.facts["name"], caught.value.say.facts["found"]) == ("journal_mode", "wal")


def _deaf(path: Path) -> sqlite3.Connection:
    class Deaf(sqlite3.Connection):
        """SQLite's answer to a PRAGMA that could not be followed is the old value."""

        def execute(self, statement: str, *rest: object) -> sqlite3.Cursor:  # type: ignore[override]
            if statement.startswith("PRAGMA journal_mode = "):
                return super().execute("PRAGMA journal_mode")
            return super().execute(statement)

    return sqlite3.connect(path, factory=Deaf)


def test_a_ledger_left_in_write_ahead_logging_comes_back_to_the_safe_mode(path: Path) -> None:
    staffed(path)
    _do(path, "PRAGMA journal_mode = WAL")
    Ledger.open(path).append(note("k"))
    assert _pragmas(path)["journal_mode"] == "delete"


def test_the_file_is_marked_as_ours(path: Path) -> None:
    new_ledger(path)
    found = _pragmas(path)
    assert (found["application_id"], found["user_version"]) == (0x464C5452, 2)
    assert (APPLICATION_ID, SCHEMA_VERSION) == (0x464C5452, 2)


def test_creating_leaves_nothing_but_the_ledger(path: Path) -> None:
    new_ledger(path)
    assert [file.name for file in path.parent.iterdir()] == [path.name]


@pytest.mark.parametrize("taken", ["ledger.db", "ledger.db-journal", "ledger.db-wal"])
def test_creating_overwrites_nothing_and_trusts_no_journal_of_a_lost_file(path: Path, taken: str) -> None:
    path.with_name(taken).write_bytes(b"kept")
    with pytest.raises(LedgerExistsError):
        new_ledger(path)
    assert path.with_name(taken).read_bytes() == b"kept"
    assert len(list(path.parent.iterdir())) == 1


def test_creating_where_there_is_no_folder_says_so(tmp_path: Path) -> None:
    with pytest.raises(LedgerMissingError, match="nowhere"):
        new_ledger(tmp_path / "nowhere" / "ledger.db")


def test_opening_creates_nothing(path: Path) -> None:
    with pytest.raises(LedgerMissingError):
        Ledger.open(path)
    with pytest.raises(LedgerMissingError):
        Ledger.open(path / "below")
    assert list(path.parent.iterdir()) == []


def test_a_file_of_zero_length_is_refused(path: Path) -> None:
    path.touch()
    with pytest.raises(LedgerEmptyError):
        Ledger.open(path)
    assert path.stat().st_size == 0


def test_files_that_are_not_ours_are_refused_and_untouched(path: Path) -> None:
    path.write_bytes(b"no database at all, but long enough to look at" * 50)
    before = path.read_bytes()
    with pytest.raises(NotALedgerError):
        Ledger.open(path)
    assert path.read_bytes() == before
    path.unlink()
    _do(path, "CREATE TABLE entries (n INTEGER PRIMARY KEY)")
    before = path.read_bytes()
    with pytest.raises(NotALedgerError):
        Ledger.open(path)
    assert path.read_bytes() == before
    with pytest.raises(NotALedgerError):
        Ledger.open(path.parent)


def test_a_marked_file_without_a_first_entry_is_refused(path: Path) -> None:
    new_ledger(path)
    for statement in ("DROP TRIGGER entries_remain", "DELETE FROM entries"):
        _do(path, statement)
    with pytest.raises(NotALedgerError):
        Ledger.open(path)


def test_a_newer_ledger_is_refused_with_both_versions(path: Path) -> None:
    new_ledger(path)
    _do(path, f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    with pytest.raises(NewerLedgerError) as caught:
        Ledger.open(path)
    assert (caught.value.say.facts["version"], caught.value.say.facts["known"]) == (
        SCHEMA_VERSION + 1,
        SCHEMA_VERSION,
    )


def test_a_path_with_odd_characters_is_opened_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "ledger ?mode=memory&#%41 ñ.db"
    new_ledger(path)
    assert path.exists()
    assert Ledger.open(path).head().n == 1


def test_an_old_sqlite_is_refused() -> None:
    with pytest.raises(OldSqliteError, match=r"3\.37\.2"):
        connect.check_sqlite((3, 37, 2))
    connect.check_sqlite()


needs_posix = pytest.mark.skipif(not hasattr(os, "setresuid"), reason="file permissions of another kind")


@needs_posix
def test_a_file_without_permission_says_so(open_folder: Path) -> None:
    path = open_folder / "ledger.db"
    new_ledger(path)
    path.chmod(0)
    with bound_by_permissions(), pytest.raises(LedgerCannotOpenError):
        Ledger.open(path)


@needs_posix
def test_a_file_that_may_only_be_read_is_read_and_says_so_when_asked_to_record(open_folder: Path) -> None:
    path = open_folder / "ledger.db"
    staffed(path)
    path.chmod(0o444)
    with bound_by_permissions():
        ledger = Ledger.open(path)
        assert ledger.head().n == 5
        with pytest.raises(LedgerReadOnlyError):
            ledger.append(note("k"))


def test_a_lock_held_by_a_stranger_is_waited_for_and_then_told(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ledger = staffed(path)
    head = ledger.head()
    monkeypatch.setattr(
        connect,
        "_ALWAYS",
        tuple((n, "20", 20) if n == "busy_timeout" else (n, v, w) for n, v, w in connect._ALWAYS),
    )
    stranger = sqlite3.connect(path, isolation_level=None)
    stranger.execute("BEGIN IMMEDIATE")
    with pytest.raises(LedgerBusyError):
        ledger.append(note("k"))
    assert ledger.head() == head
    stranger.execute("ROLLBACK")
    stranger.close()
    assert ledger.append(note("k")).n == head.n + 1


def test_a_full_disk_is_told_and_leaves_everything_recorded_before(ledger: Ledger, path: Path) -> None:
    # PRAGMA max_page_count makes SQLite answer SQLITE_FULL exactly as a full disk does.
    connection = connect.raw(path)
    pages = connection.execute("PRAGMA page_count").fetchone()[0]
    connection.execute(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(sqlite3.OperationalError) as caught:
        connection.execute("CREATE TABLE filler AS SELECT randomblob(100000) AS x")
    connection.close()
    assert isinstance(connect.explained(caught.value, path), LedgerFullError)
    assert ledger.append(note("k")).n == 6


def test_a_damaged_page_is_told_as_damage(ledger: Ledger, path: Path) -> None:
    for number in range(60):
        ledger.append(note(f"k{number}", value={"text": "x" * 400}))
    content = bytearray(path.read_bytes())
    page = int.from_bytes(content[16:18], "big")
    for start in range(page, len(content), page):
        content[start : start + 8] = b"\xff" * 8
    path.write_bytes(content)
    with pytest.raises((LedgerDamagedError, NotALedgerError)):
        Ledger.open(path).entries()


class _CodedError(Exception):
    def __init__(self, code: int) -> None:
        super().__init__("as SQLite says it")
        self.sqlite_errorcode = code


@pytest.mark.parametrize(
    ("code", "kind"),
    [
        (sqlite3.SQLITE_BUSY_SNAPSHOT, LedgerBusyError),
        (sqlite3.SQLITE_READONLY_DIRECTORY, LedgerReadOnlyError),
        (sqlite3.SQLITE_CORRUPT_INDEX, LedgerDamagedError),
        (sqlite3.SQLITE_CANTOPEN_ISDIR, LedgerCannotOpenError),
        (sqlite3.SQLITE_FULL, LedgerFullError),
        (sqlite3.SQLITE_IOERR_FSYNC, connect.LedgerDiskError),
        (sqlite3.SQLITE_ERROR, LedgerError),
    ],
)
def test_every_code_of_sqlite_becomes_its_own_sentence(
    code: int, kind: type[LedgerError], path: Path
) -> None:
    found = connect.explained(_CodedError(code), path)
    assert type(found) is kind


def test_a_commit_that_failed_is_looked_up_and_found_recorded(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    head = ledger.head()
    with monkeypatch.context() as patch:
        commits_fail(patch, sqlite3.SQLITE_IOERR_FSYNC, kept=True, commits=1)
        entry = ledger.append(note("k"))
    assert entry.n == head.n + 1
    assert ledger.append(note("k")) == entry


def test_a_commit_that_failed_is_looked_up_and_found_missing(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    head = ledger.head()
    with monkeypatch.context() as patch:
        commits_fail(patch, sqlite3.SQLITE_IOERR_FSYNC, commits=1)
        with pytest.raises(connect.LedgerDiskError):
            ledger.append(note("k"))
    assert ledger.head() == head


def test_what_stands_on_a_disk_that_keeps_failing_is_not_said_to_be_recorded(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It can be read, and may yet be lost at a power cut; the same key finds it when the disk works again."""
    with monkeypatch.context() as patch:
        commits_fail(patch, sqlite3.SQLITE_IOERR_FSYNC, kept=True, commits=2)
        with pytest.raises(OutcomeUnknownError):
            ledger.append(note("k"))
    assert ledger.append(note("k")).n == ledger.head().n


def test_a_repeated_act_is_made_durable_before_it_is_said_to_be_recorded(ledger: Ledger, path: Path) -> None:
    """Whoever wrote it may have been stopped before the disk was asked to keep it."""
    entry = ledger.append(note("k"))
    before = _commits(path)
    assert ledger.append(note("k")) == entry
    assert _commits(path) == before + 1, "a commit of its own, synced like any other"


def test_what_became_of_a_key_is_looked_up_without_recording_anything(ledger: Ledger, path: Path) -> None:
    entry = ledger.append(note("k"))
    before = _commits(path)
    assert ledger.look_up("k") == entry
    assert _commits(path) == before + 1, "and made durable"
    assert ledger.look_up("never") is None
    assert ledger.head().n == entry.n


def _commits(path: Path) -> int:
    """SQLite's file format, section 1.3.8: the file change counter at offset 24."""
    return int.from_bytes(path.read_bytes()[24:28], "big")


def test_a_commit_that_failed_and_cannot_be_looked_up_is_said_to_be_unknown(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        commits_fail(patch, sqlite3.SQLITE_IOERR_FSYNC, kept=True, commits=1)

        def gone(*_: object) -> None:
            raise LedgerCannotOpenError(path="x")

        patch.setattr(chain.reading, "entry_of_key", _second_time(chain.reading.entry_of_key, gone))
        with pytest.raises(OutcomeUnknownError):
            ledger.append(note("k"))
    assert ledger.append(note("k")).n == ledger.head().n


def _second_time(first: Callable[..., object], then: Callable[..., object]) -> Callable[..., object]:
    """What answers like `first` once and like `then` from there on."""
    calls = iter((first,))

    def answer(*args: object) -> object:
        return next(calls, then)(*args)

    return answer

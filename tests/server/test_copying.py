"""A ledger taken from a file to a server, and from a server into a file: the same chain, whole or not at all."""

from pathlib import Path

import pytest

from floorterm.ledger import (
    CHEAP_PROFILE,
    Ledger,
    LedgerExistsError,
    RefusedError,
    back_up,
    verify_file,
)
from floorterm.ledger.chain import Chain
from floorterm.ledger.copying import move_ledger
from floorterm.ledger.faults import LedgerClosedError, LedgerFullError, LedgerMissingError
from floorterm.ledger.server_verify import verify_server
from tests.ledger.conftest import PIN, Clock, note, staffed
from tests.server.conftest import Server


def test_a_backup_of_a_server_is_a_ledger_file_with_the_same_head(ledger: Ledger, tmp_path: Path) -> None:
    ledger.append(note("k1"))
    target = tmp_path / "backup.db"
    seal = back_up(ledger, target, by="A01")
    report = verify_file(target, [seal])
    assert report.ok, report.problems
    assert (report.n, report.head, report.sealed_n) == (seal.n, seal.hash, seal.n)
    copy = Ledger.open(target, clock=Clock(), pin_profile=CHEAP_PROFILE)
    assert copy.people() == ledger.people()
    assert copy.check_pin("P01", PIN).code == "P01"
    assert [entry.kind for entry in ledger.entries(after_n=seal.n)] == ["backup.made", "seal.made"]


def test_a_file_moves_to_a_server_and_is_closed(server: Server, database: str, tmp_path: Path) -> None:
    file = staffed(tmp_path / "ledger.db")
    file.append(note("k1"))
    before = file.head()
    seal, last = move_ledger(file, server.url(database), by="A01", terminal="T1")
    assert (seal.n, seal.hash) == (before.n, before.hash)
    with pytest.raises(LedgerClosedError) as caught:
        file.append(note("k2"))
    assert database in str(caught.value)
    assert file.head().n == last.n
    assert verify_file(file.path, [seal]).ok, "the closed file still verifies"

    moved = Ledger.open(server.url(database), clock=Clock(), pin_profile=CHEAP_PROFILE)
    assert moved.append(note("k2")).n == seal.n + 1
    assert moved.check_pin("P02", PIN).code == "P02"
    report = verify_server(server.url(database), [seal])
    assert report.ok, report.problems
    assert report.sealed_n == seal.n


def test_only_an_administrator_moves_a_ledger_and_nothing_was_made(
    server: Server, database: str, tmp_path: Path
) -> None:
    file = staffed(tmp_path / "ledger.db")
    with pytest.raises(RefusedError):
        move_ledger(file, server.url(database), by="S01")
    assert server.sql("SELECT to_regclass('entries')", database) == [(None,)]
    assert file.append(note("k1")).n == 6


def test_a_move_that_fails_leaves_the_file_in_use(server: Server, place: str, tmp_path: Path) -> None:
    file = staffed(tmp_path / "ledger.db")
    with pytest.raises(LedgerMissingError):
        move_ledger(file, server.url("nowhere"), by="A01")
    taken = server.url(place.split("/")[3].split("?", maxsplit=1)[0])
    with pytest.raises(LedgerExistsError):
        move_ledger(file, taken, by="A01")
    assert file.append(note("k1")).n == 6


def test_a_move_that_fails_at_the_files_last_entry_leaves_no_second_ledger(
    server: Server, database: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = staffed(tmp_path / "ledger.db")

    def full(*_: object) -> None:
        raise LedgerFullError

    with monkeypatch.context() as patched:
        patched.setattr(Chain, "_commit", full)
        with pytest.raises(LedgerFullError):
            move_ledger(file, server.url(database), by="A01")
    assert server.sql("SELECT count(*) FROM pg_tables WHERE schemaname = 'public'", database) == [(0,)]
    assert file.append(note("k1")).n == 6
    assert move_ledger(file, server.url(database), by="A01")[0].n == 6, "and it can be moved again"

"""A ledger taken from a file to a server, and from a server into a file: the same chain, whole or not at all."""

from pathlib import Path

import pytest

from floorterm.ledger import (
    CHEAP_PROFILE,
    Ledger,
    LedgerExistsError,
    RefusedError,
    back_up,
    server_making,
    verify_file,
)
from floorterm.ledger.chain import Chain
from floorterm.ledger.copy_faults import MoveUnfinishedError
from floorterm.ledger.copying import move_ledger
from floorterm.ledger.faults import LedgerClosedError, LedgerFullError, LedgerMissingError, ServerLostError
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


def test_wherever_a_move_is_broken_off_one_ledger_at_most_is_in_use_and_the_same_move_again_ends_it(
    server: Server, database: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file, target = staffed(tmp_path / "ledger.db"), server.url(database)

    def broken_off(where: object, name: str, fault: BaseException, told: type[BaseException]) -> None:
        def fail(*_: object) -> None:
            raise fault

        with monkeypatch.context() as patched:
            patched.setattr(where, name, fail)
            with pytest.raises(told):
                move_ledger(file, target, by="A01", role="terminal")

    broken_off(Chain, "_commit", LedgerFullError(), LedgerFullError)
    assert server.sql("SELECT count(*) FROM pg_tables WHERE schemaname = 'public'", database) == [(0,)]
    broken_off(Chain, "_commit", KeyboardInterrupt(), KeyboardInterrupt)  # as at a kill, nothing is tidied up
    with pytest.raises(MoveUnfinishedError):
        Ledger.open(target)
    assert file.append(note("k1")).n == 6
    broken_off(server_making, "put_in_use", ServerLostError(place="x"), MoveUnfinishedError)
    for place in (target, server.url(database, "terminal")):
        with pytest.raises(MoveUnfinishedError):
            Ledger.open(place)
    with pytest.raises(LedgerClosedError):
        file.append(note("k2"))

    assert file.check_pin("A01", PIN).code == "A01", "whoever ends it can sign in at the closed file"
    with pytest.raises(RefusedError):
        move_ledger(file, target, by="S01")
    seal, last = move_ledger(file, target, by="A01", role="terminal")
    assert (seal.n, last.n, verify_server(target, [seal]).sealed_n) == (6, 7, 6)
    assert Ledger.open(server.url(database, "terminal"), clock=Clock()).append(note("k2")).n == 7
    with pytest.raises(LedgerClosedError):
        move_ledger(file, target, by="A01")

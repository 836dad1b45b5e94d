"""A ledger moved from its file to another file: one chain goes on, in one place."""

from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner

from floorterm.cli import main
from floorterm.ledger import (
    CHEAP_PROFILE,
    Ledger,
    LedgerClosedError,
    LedgerExistsError,
    LedgerFullError,
    RefusedError,
    move_ledger,
    verify_file,
)
from floorterm.ledger.archive import archive_year
from floorterm.ledger.rotation import Keep, back_up_into
from floorterm.ledger.transaction import Transaction
from tests.ledger.conftest import PIN, Clock, note


def test_the_moved_file_goes_on_and_the_old_one_is_closed_and_says_where(
    ledger: Ledger, tmp_path: Path
) -> None:
    ledger.append(note("k1"))
    before, target = ledger.head(), tmp_path / "carried" / "ledger.db"
    target.parent.mkdir()
    seal, last = move_ledger(ledger, target, by="A01", identity="pin", terminal="T1")
    assert (seal.n, seal.hash, last.n) == (before.n, before.hash, before.n + 1)
    with pytest.raises(LedgerClosedError, match="carried"):
        ledger.append(note("k2"))

    moved = Ledger.open(target, clock=Clock(), pin_profile=CHEAP_PROFILE)
    assert moved.append(note("k2")).n == seal.n + 1
    assert moved.check_pin("P02", PIN).code == "P02"
    for file in (ledger.path, target):
        report = verify_file(file, [seal])
        assert report.ok, report.problems
        assert report.sealed_n == seal.n


def test_nothing_is_overwritten_and_a_move_that_fails_leaves_the_file_in_use(
    ledger: Ledger, tmp_path: Path
) -> None:
    taken = tmp_path / "taken.db"
    taken.write_text("somebody's")
    head = ledger.head()
    with pytest.raises(LedgerExistsError):
        move_ledger(ledger, taken, by="A01")
    with pytest.raises(RefusedError):
        move_ledger(ledger, tmp_path / "new.db", by="S01")
    assert not (tmp_path / "new.db").exists()
    assert taken.read_text() == "somebody's"
    assert ledger.append(note("k1")).n == head.n + 1


def test_a_copy_is_taken_away_again_where_the_old_file_cannot_be_closed(
    ledger: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise LedgerFullError(path="ledger.db")

    target, head = tmp_path / "new.db", ledger.head()
    monkeypatch.setattr(Transaction, "append", full)
    with pytest.raises(LedgerFullError):
        move_ledger(ledger, target, by="A01")
    assert not target.exists()
    assert ledger.head() == head


def test_a_closed_ledger_is_exported_backed_up_and_archived_without_an_entry(
    ledger: Ledger, clock: Clock, tmp_path: Path
) -> None:
    folder = tmp_path / "copies"
    folder.mkdir()
    old = back_up_into(ledger, folder, Keep(9, 9, 9)).path
    seal, last = move_ledger(ledger, tmp_path / "new.db", by="A01")
    clock.advance(400 * 86400)
    ledger.path.chmod(0o444)
    for number, command in enumerate(
        (["export", str(folder / "all.jsonl")], ["backup", str(folder / "copy.db")],
         ["backup", "--into", str(folder), "--keep", "1/0/0"])
    ):  # fmt: skip
        done = CliRunner().invoke(main, [*command, "--db", str(ledger.path)])
        assert done.exit_code == 0, done.output
        assert f"the record goes on at {tmp_path / 'new.db'}" in done.stdout
        assert len(list(folder.iterdir())) == number + 2
    assert archive_year(ledger, 2026, folder, ZoneInfo("UTC")).path.exists()
    assert old.exists(), "nothing is removed where that cannot be recorded"
    for made in folder.iterdir():
        report = verify_file(made, [seal] if made != old else [])
        assert report.ok, report.problems
        assert made == old or report.n == last.n
    assert ledger.head().n == last.n

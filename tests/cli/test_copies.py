"""backup, drill and restore as a person at a shell has them."""

import json
import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from floorterm.cli import main
from floorterm.ledger import Ledger, verify_file
from floorterm.plant import Plant
from tests.conftest import PIN


def _run(*arguments: str, typed: str = "") -> Result:
    return CliRunner().invoke(main, arguments, input=typed)


@pytest.fixture
def db(plant: Plant) -> Path:
    """A plant's ledger of eight entries."""
    return plant.ledger.path


def test_backups_in_a_folder_are_rotated_and_the_removed_ones_named(db: Path, tmp_path: Path) -> None:
    folder = tmp_path / "backups"
    folder.mkdir()
    first = _run("backup", "--into", str(folder), "--db", str(db))
    assert first.exit_code == 0, first.output
    assert "verified" in first.output
    made = next(folder.iterdir())
    second = _run("backup", "--into", str(folder), "--keep", "0/0/0", "--db", str(db))
    assert second.exit_code == 0, second.output
    assert f"Removed by --keep 0/0/0: {made}" in second.output
    assert [verify_file(path).ok for path in folder.iterdir()] == [True]


def test_a_backup_needs_one_place_and_a_rule_that_can_be_read(db: Path, tmp_path: Path) -> None:
    assert _run("backup", "--db", str(db)).exit_code == 2
    assert _run("backup", str(tmp_path / "x"), "--into", str(tmp_path), "--db", str(db)).exit_code == 2
    bad = _run("backup", "--into", str(tmp_path), "--keep", "many", "--db", str(db))
    assert (bad.exit_code, "days/weeks/months" in bad.output) == (1, True)


def test_a_drill_proves_what_a_backup_is_worth(db: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.db"
    assert _run("backup", str(copy), "--db", str(db)).exit_code == 0
    done = _run("drill", str(copy), "--db", str(db), "--json")
    assert done.exit_code == 0, done.output
    proof = json.loads(done.output)
    assert proof.keys() == {
        "path", "sha256", "plant", "chain", "n", "hash", "people", "sealed_n", "behind", "entry_n", "open_works",
    }  # fmt: skip
    assert (proof["n"], proof["behind"], proof["people"], proof["open_works"]) == (9, 2, 6, [])
    live = Ledger.open(db, read_only=True)
    entry = live.entry(proof["entry_n"])
    assert (entry.kind, entry.value["head_hash"]) == ("backup.drilled", live.entry(9).hash)
    assert "Recorded as entry" in _run("drill", str(copy), "--db", str(db)).output


def test_a_drill_of_what_is_no_good_copy_fails_and_records_nothing(db: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.db"
    assert _run("backup", str(copy), "--db", str(db)).exit_code == 0
    Ledger.open(copy).seal("elsewhere")  # the copy went on by itself
    head = Ledger.open(db).head()
    done = _run("drill", str(copy), "--db", str(db))
    assert (done.exit_code, "another history" in done.output) == (1, True)
    copy.write_bytes(copy.read_bytes()[:5000])
    assert _run("drill", str(copy), "--db", str(db)).exit_code == 1
    assert Ledger.open(db).head() == head


def test_a_restore_says_what_is_missing_and_goes_on_with_two_people(db: Path, tmp_path: Path) -> None:
    copy, witness = tmp_path / "copy.db", tmp_path / "seals.txt"
    made = _run("backup", str(copy), "--db", str(db))
    ledger = Ledger.open(db)
    sealed = ledger.seal("paper")
    witness.write_text(f"{made.output.splitlines()[1]}\n\n{sealed}\n", encoding="utf-8")
    db.unlink()
    asked = ("restore", str(copy), "--by", "SS", "--and", "AA", "--seals", str(witness), "--db", str(db))
    refused = _run(*asked, typed=f"the disk failed\n{PIN}\n111222\n")
    assert refused.exit_code == 1
    assert not db.exists()
    done = _run(*asked, typed=f"the disk failed\n{PIN}\n{PIN}\n")
    assert done.exit_code == 0, done.output
    assert (
        f"This copy ends at 9, and entry {sealed.n} is known of {sealed.at}: 2 entries are missing."
        in done.output
    )
    kept = re.search(r"^floorterm seal: .*$", done.output, re.MULTILINE)
    assert kept is not None
    with witness.open("a", encoding="utf-8") as file:
        file.write(kept[0] + "\n")
    again = _run("verify", "--db", str(db))
    assert (again.exit_code, "SS + AA answer for it" in again.output) == (0, True)


def test_a_restore_asks_for_the_newest_seal(db: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.db"
    _run("backup", str(copy), "--db", str(db))
    asked = ("restore", str(copy), "--by", "SS", "--and", "AA", "--db", str(db))
    assert "This is not a seal" in _run(*asked, typed="none\n").output
    db.unlink()
    done = _run(*asked, "--reason", "new disk", typed=f"\n{PIN}\n{PIN}\n")
    assert (done.exit_code, "nobody can say what is missing" in done.output) == (0, True)


def test_going_on_with_an_older_copy_in_place_is_said_too(db: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.db"
    _run("backup", str(copy), "--db", str(db))
    seal = str(Ledger.open(db).seal("paper"))
    db.write_bytes(copy.read_bytes())
    asked = (
        "restore",
        "--as-it-stands",
        "--by",
        "SS",
        "--and",
        "AA",
        "--reason",
        "no newer one",
        "--db",
        str(db),
    )
    done = _run(*asked, "--seal", seal, typed=f"{PIN}\n{PIN}\n")
    assert done.exit_code == 0, done.output
    assert "2 entries are missing" in done.output
    assert Ledger.open(db).entry(10).kind == "ledger.restored"
    assert _run("restore", str(copy), *asked[1:]).exit_code == 2


def test_an_older_ledger_is_migrated_once(tmp_path: Path) -> None:
    old = tmp_path / "old.db"
    shutil.copyfile(Path(__file__).parents[1] / "data" / "ledgers" / "layout-1.db", old)
    assert "floorterm migrate" in _run("backup", str(tmp_path / "copy.db"), "--db", str(old)).output
    done = _run("migrate", "--db", str(old))
    assert (done.exit_code, "from layout 1 to 2" in done.output) == (0, True), done.output
    assert len(list(tmp_path.glob("old.db.before-*"))) == 1
    again = _run("migrate", "--db", str(old))
    assert (again.exit_code, "already" in again.output) == (0, True)
    assert _run("migrate", "--db", "postgresql://nobody@localhost/x").exit_code == 2

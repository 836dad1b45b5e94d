"""`floorterm verify` with seals, and `floorterm seal`."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from floorterm.cli import main
from floorterm.ledger import Ledger, Seal
from floorterm.ledger.witness import read_seals
from floorterm.review.seal_code import code_modules, half_blocks
from tests.ledger.conftest import note, staffed
from tests.ledger.tamper import recomputed, rewrite


def _run(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments), env={"FLOORTERM_DB": ""})


@pytest.fixture
def db(tmp_path: Path) -> Path:
    ledger = staffed(tmp_path / "ledger.db")
    ledger.append(note("a"))
    ledger.close()
    return tmp_path / "ledger.db"


def test_a_seal_is_printed_added_and_recorded_and_verify_takes_it_in_every_form(
    db: Path, tmp_path: Path
) -> None:
    file = tmp_path / "seals.txt"
    done = _run("seal", "--to", "the safe", "--file", str(file), "--db", str(db))
    assert done.exit_code == 0, done.output
    (seal,) = read_seals(file)
    printed = done.stdout.splitlines()
    assert printed[0] == str(seal)
    assert tuple(printed[1:-1]) == half_blocks(code_modules(seal.code))
    made = Ledger.open(db).entry(7)
    assert (made.kind, made.value["to"], made.value["n"]) == ("seal.made", "the safe", 6)
    for given in (["--since-seal", str(seal)], ["--since-seal", seal.code], ["--seals", str(file)]):
        checked = _run("verify", str(db), *given)
        assert checked.exit_code == 0, checked.output
        assert f"1-6 match the seal of {seal.at}." in checked.stdout
        assert "One newer entry is chained, not sealed." in checked.stdout


def test_an_output_without_such_characters_gets_the_line_alone(db: Path) -> None:
    done = CliRunner(charset="latin-1").invoke(main, ["seal", "--to", "paper", "--db", str(db)])
    assert done.exit_code == 0, done.output
    assert Seal.parse(done.stdout).n == 6
    assert "cannot be drawn" in done.stderr


def test_the_code_is_the_squares_that_were_made() -> None:
    modules = code_modules("FLOORTERM SEAL 1")
    lines = half_blocks(modules)
    upper = [[character in "█▀" for character in line] for line in lines]
    lower = [[character in "█▄" for character in line] for line in lines]
    found = [tuple(row) for pair in zip(upper, lower, strict=True) for row in pair]
    assert found[: len(modules)] == list(modules)
    assert not any(any(row) for row in found[len(modules) :])
    assert not any(modules[0])
    assert modules[2][2:9] == (True,) * 7  # the edge of a finder pattern


def _unread(file: Path, db: Path) -> subprocess.CompletedProcess[str]:
    """As `floorterm seal ... | head -1`, with a reader that is gone before the first line."""
    read, write = os.pipe()
    os.close(read)
    with os.fdopen(write) as closed:
        return subprocess.run(
            [sys.executable, "-m", "floorterm", "seal", "--to", "paper", "--file", str(file), "--db", str(db)],
            stdout=closed, stderr=subprocess.PIPE, text=True, check=False,
        )  # fmt: skip


def test_a_seal_is_in_its_file_though_nobody_reads_what_is_printed(db: Path, tmp_path: Path) -> None:
    file = tmp_path / "seals.txt"
    done = _unread(file, db)
    (seal,) = read_seals(file)
    (made,) = Ledger.open(db).entries(kinds=("seal.made",))
    assert made.value["n"] == seal.n
    assert (done.returncode, done.stderr) == (1, "")
    assert "second place" in _unread(tmp_path / "no" / "seals.txt", db).stderr


def test_verify_ends_with_1_and_names_what_the_seal_says(db: Path, tmp_path: Path) -> None:
    file = tmp_path / "seals.txt"
    _run("seal", "--to", "the safe", "--file", str(file), "--db", str(db))
    whole = db.read_bytes()
    rewrite(db, lambda rows: rows[:4])
    cut = _run("verify", str(db), "--seals", str(file))
    assert cut.exit_code == 1
    assert "ends before entry 6" in cut.stdout
    db.write_bytes(whole)
    rewrite(db, lambda rows: recomputed([*rows[:5], (6, rows[5][1].replace('"a"', '"b"'), "")]))
    changed = _run("verify", "--db", str(db), "--seals", str(file))
    assert changed.exit_code == 1
    assert "Entry 6 is the first sealed one that differs" in changed.stdout
    staffed(tmp_path / "other.db")
    seal = file.read_text().replace("chain id-1", "chain id-9")
    other = _run("verify", str(tmp_path / "other.db"), "--since-seal", seal)
    assert other.exit_code == 1
    assert "another chain" in other.stdout


def test_the_verdict_stands_in_the_document(db: Path) -> None:
    done = _run("verify", str(db), "--json")
    told = json.loads(done.stdout)
    assert told["verdict"] == [
        "No seal was given: a cut tail, an old copy put back or a chain computed anew would not show.",
        "6 newer ones are chained, not sealed.",
    ]
    assert (told["seals"], told["sealed_n"], told["differs_n"]) == (0, 0, 0)


def test_a_text_that_is_no_seal_ends_with_2_and_its_line(db: Path, tmp_path: Path) -> None:
    file = tmp_path / "seals.txt"
    file.write_text("# kept in the office\nfloorterm seal: entry x\n")
    done = _run("verify", str(db), "--seals", str(file))
    assert done.exit_code == 2
    assert "Line 2" in done.stderr
    assert _run("verify", str(db), "--since-seal", "nothing").exit_code == 2
    assert _run("verify", str(db), "--seals", str(tmp_path / "none.txt")).exit_code == 2


def test_a_seal_says_where_it_goes(db: Path, tmp_path: Path) -> None:
    assert _run("seal", "--db", str(db)).exit_code == 2
    away = _run("seal", "--to", "x", "--file", str(tmp_path / "no" / "seals.txt"), "--db", str(db))
    assert away.exit_code == 1
    assert "second place" in away.stderr
    assert away.stdout.startswith("floorterm seal: entry 6 ")


def test_a_timer_brings_what_is_due(db: Path, tmp_path: Path) -> None:
    from floorterm.library import starter_folder

    none = _run("seal", "--due", "--db", str(db), "--checklists", str(starter_folder()))
    assert none.exit_code == 2
    folder, witness = tmp_path / "plant", tmp_path / "witness.txt"
    for source in starter_folder().rglob("*.yaml"):
        target = folder / source.relative_to(starter_folder())
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(source.read_bytes())
    plant = folder / "plant.yaml"
    plant.write_text(
        f"{plant.read_text(encoding='utf-8')}\nrecord:\n  witness: {witness}\n", encoding="utf-8"
    )
    away = _run("seal", "--due", "--db", str(db), "--checklists", str(folder))
    assert away.exit_code == 1
    witness.touch()
    done = _run("seal", "--due", "--db", str(db), "--checklists", str(folder))
    assert done.exit_code == 0, done.output
    assert len(read_seals(witness)) == 1

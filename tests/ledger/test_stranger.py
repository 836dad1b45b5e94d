"""A stranger verifies: with the one file, run by Python alone, and with what the page says, written anew here."""

import hashlib
import json
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner
from msgspec.structs import replace

from floorterm.cli import main
from floorterm.ledger import Ledger, Seal, verify_file, write_export
from floorterm.ledger.restored import RESTORED, Known, Restored
from floorterm.stranger import NAMES, verify_record, write_beside
from tests.ledger.conftest import note, staffed
from tests.ledger.tamper import Rows, moved, recomputed, rewrite, with_value

SCRIPT = Path(verify_record.__file__)
SEALED = 9


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, Seal]:
    """A ledger of 14 entries, as bytes, and a seal of entry 9."""
    ledger = staffed(tmp_path_factory.mktemp("record") / "ledger.db")
    for number in range(SEALED - 5):
        ledger.append(note(f"k{number}"))
    seal = ledger.seal("paper")
    for number in range(4):
        ledger.append(note(f"m{number}"))
    return ledger.path.read_bytes(), seal


def _stranger(*arguments: object) -> subprocess.CompletedProcess[str]:
    """The verifier as a stranger runs it: no packages, no settings, another folder."""
    command = [sys.executable, "-I", "-S", str(SCRIPT), *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd="/")


def _by_the_page(path: Path, seals: tuple[tuple[int, str], ...]) -> bool:
    """Written from FORMAT.md alone: whether the chain holds and every seal fits."""
    if path.read_bytes().startswith(b"SQLite"):
        connection = sqlite3.connect(path)
        connection.text_factory = bytes
        entries = [
            (body, hash_.decode())
            for body, hash_ in connection.execute("SELECT body, hash FROM entries ORDER BY n")
        ]
        connection.close()
    else:
        *lines, last = map(json.loads, path.read_bytes().splitlines())
        entries = [(line["body"].encode(), line["hash"]) for line in lines]
        seals = (*seals, (last["seal"]["n"], last["seal"]["hash"])) if "seal" in last else ((-1, ""),)
    prev, hashes = "0" * 64, {}
    for number, (body, hash_) in enumerate(entries, 1):
        said = json.loads(body)
        if hashlib.sha256(body).hexdigest() != hash_ or said["n"] != number or said["prev"] != prev:
            return False
        if (said["kind"] == "ledger.start") != (number == 1):
            return False
        prev = hashes[number] = hash_
    return all(hashes.get(n) == digits for n, digits in seals)


def _exported(db: Path) -> Path:
    """The rows of a ledger file as an export's lines, whatever they say, with the seal of the last."""
    connection = sqlite3.connect(db)
    rows = connection.execute("SELECT n, body, hash FROM entries ORDER BY n").fetchall()
    connection.close()
    target = db.with_suffix(".jsonl")
    lines = [json.dumps({"body": body, "hash": hash_}) for _, body, hash_ in rows]
    end = {"n": json.loads(rows[-1][1])["n"], "hash": rows[-1][2], "chain": "id-1", "at": "", "plant": "p"}
    target.write_text("\n".join([*lines, json.dumps({"seal": end})]) + "\n", encoding="utf-8")
    return target


def _edited(rows: Rows) -> Rows:
    return [*rows[:6], with_value(rows[6], value={"text": "other"}), *rows[7:]]


# what was done to the rows; whether the chain alone finds it; whether the seal of entry 9 does
TAMPERED: tuple[tuple[str, Callable[[Rows], Rows], bool, bool], ...] = (
    ("nothing", lambda rows: rows, False, False),
    ("a text edited", _edited, True, True),
    ("a text edited and all later hashes computed anew", lambda rows: recomputed(_edited(rows)), False, True),
    ("the same after the seal", lambda rows: recomputed([*rows[:12], with_value(rows[12], reason="x"), rows[13]]),
     False, False),
    ("the end cut before the seal", lambda rows: rows[:7], False, True),
    ("the end cut after the seal", lambda rows: rows[:11], False, False),
    ("one deleted", lambda rows: rows[:6] + rows[7:], True, True),
    ("one deleted, the rest computed anew", lambda rows: recomputed(rows[:6] + rows[7:]), False, True),
    ("one put in", lambda rows: recomputed([*rows[:7], moved(rows[6], 8, key="x", pos=50), *rows[7:]]), False, True),
    ("two swapped", lambda rows: [*rows[:6], moved(rows[7], 7), moved(rows[6], 8), *rows[8:]], True, True),
    ("a hash replaced", lambda rows: [*rows[:6], (*rows[6][:2], "0" * 64), *rows[7:]], True, True),
    ("no beginning", lambda rows: recomputed([with_value(rows[0], kind="day.opened", key="d"), *rows[1:]]), True, True),
)  # fmt: skip


@pytest.mark.parametrize(
    ("what", "change", "by_chain", "by_seal"), TAMPERED, ids=[row[0] for row in TAMPERED]
)
def test_the_strangers_the_program_and_the_page_find_the_same(
    record: tuple[bytes, Seal],
    tmp_path: Path,
    what: str,
    change: Callable[[Rows], Rows],
    by_chain: bool,
    by_seal: bool,
) -> None:
    content, seal = record
    db = tmp_path / "ledger.db"
    db.write_bytes(content)
    rewrite(db, change)
    for path in (db, _exported(db)):
        for seals, found in (((), by_chain), ((seal,), by_chain or by_seal)):
            given = [part for one in seals for part in ("--seal", str(one))]
            assert verify_file(path, seals).ok is not found
            assert verify_record.main([str(path), *given]) == found
            assert _by_the_page(path, tuple((one.n, one.hash) for one in seals)) is not found


def test_python_alone_runs_it_on_the_file_and_on_an_export_with_seals(
    record: tuple[bytes, Seal], tmp_path: Path
) -> None:
    content, seal = record
    db, witness = tmp_path / "ledger.db", tmp_path / "seals.txt"
    db.write_bytes(content)
    ledger = Ledger.open(db)
    head = ledger.head()
    write_export(ledger, tmp_path / "export.jsonl")
    write_export(ledger, tmp_path / "part.jsonl", after_n=SEALED)
    witness.write_text(f"# kept in the office\n\n{seal}\n{seal.code}\n", encoding="utf-8")
    for name in ("ledger.db", "export.jsonl", "part.jsonl"):
        done = _stranger(tmp_path / name, "--seals", witness)
        assert done.returncode == 0, done.stdout + done.stderr
        assert f"sealed up to entry {SEALED}," in done.stdout
        assert done.stderr == ""
    assert f"head {head.hash}" in _stranger(tmp_path / "export.jsonl").stdout
    before = db.read_bytes()
    rewrite(db, lambda rows: recomputed(_edited(rows)))
    assert _stranger(db).returncode == 0
    told = _stranger(db, "--seals", witness)
    assert told.returncode == 1
    assert f"entry {SEALED}: is not the one that was sealed" in told.stdout
    assert db.read_bytes() != before  # and reading changed nothing: the file is opened for reading only
    export = tmp_path / "export.jsonl"
    export.write_text(export.read_text(encoding="utf-8").replace("Sam Ortiz", "Sam Oritz"), encoding="utf-8")
    told = _stranger(export)
    assert told.returncode == 1
    assert "entry 3: the hash is not that of the text" in told.stdout


@pytest.mark.parametrize(
    "break_", [lambda text: text[: text.rindex("{")], lambda text: text + text.splitlines()[0],
               lambda text: text.replace('"seal"', '"steal"'), lambda text: text[:-40],
               lambda text: text.replace('"hash"', '"hush"', 1), lambda text: "{}\n" + text,
               lambda text: '{"body":' * 9000 + text, lambda text: "[" + text]
)  # fmt: skip
def test_a_broken_export_does_not_hold_and_ends_in_words(
    record: tuple[bytes, Seal],
    tmp_path: Path,
    break_: Callable[[str], str],
    capsys: pytest.CaptureFixture[str],
) -> None:
    db = tmp_path / "ledger.db"
    db.write_bytes(record[0])
    export = _exported(db)
    broken = break_(export.read_text(encoding="utf-8"))
    export.write_text(broken, encoding="utf-8")
    assert verify_record.main([str(export)]) == (1 if broken.startswith("{") else 2)
    assert capsys.readouterr()


def test_a_damaged_database_ends_in_words(
    record: tuple[bytes, Seal], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every 997th byte turned over: what was recorded is another one only where the chain or the seal says so."""
    content, _ = record
    db = tmp_path / "ledger.db"
    db.write_bytes(content)
    head = Ledger.open(db).head()
    newest = ["--seal", str(Seal(chain=head.chain, plant="p", n=head.n, hash=head.hash, at="x"))]

    def rows() -> object:
        connection = sqlite3.connect(db)
        connection.text_factory = bytes
        try:
            return connection.execute("SELECT n, body, hash FROM entries NOT INDEXED ORDER BY n").fetchall()
        except sqlite3.Error:
            return None
        finally:
            connection.close()

    wanted = rows()
    found = 0
    for place in range(100, len(content), 997):
        flipped = bytearray(content)
        flipped[place] ^= 0xFF
        db.write_bytes(flipped)
        status = verify_record.main([str(db), *newest])
        assert status in (0, 1)
        assert status == 1 or rows() == wanted, f"byte {place}"
        found += status
    assert found > 5


def test_a_database_without_its_first_entry_does_not_hold(record: tuple[bytes, Seal], tmp_path: Path) -> None:
    db = tmp_path / "ledger.db"
    db.write_bytes(record[0])
    rewrite(db, lambda rows: rows[1:])
    assert verify_record.main([str(db)]) == 1


@pytest.mark.parametrize(
    ("arguments", "said"),
    [([], "verify_record.py RECORD"), (["none"], "No such file"), (["--seal"], "lacks its value"),
     (["--other", "x"], "not an option"), (["--seal", "nothing", "x"], "not a seal")],
)  # fmt: skip
def test_what_cannot_be_read_ends_with_2(
    arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert verify_record.main(arguments) == 2
    assert said in capsys.readouterr().err


def test_a_foreign_seal_and_a_foreign_file_are_told(
    record: tuple[bytes, Seal], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    content, seal = record
    db = tmp_path / "ledger.db"
    db.write_bytes(content)
    assert verify_record.main([str(db), "--seal", str(replace(seal, chain="another"))]) == 1
    assert "another chain" in capsys.readouterr().out
    rewrite(db, lambda rows: recomputed([with_value(rows[0], chain="\x1b[2J", v="\x1b[2J"), *rows[1:]]))
    assert verify_record.main([str(db), "--seal", str(seal)]) == 1
    assert "\x1b" not in capsys.readouterr().out
    (tmp_path / "x").write_text("nothing of ours")
    assert verify_record.main([str(tmp_path / "x")]) == 2


def test_a_restore_is_told_with_what_it_admits_and_what_it_does_not(
    record: tuple[bytes, Seal], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    content, seal = record
    db = tmp_path / "ledger.db"
    db.write_bytes(content)
    lost = replace(seal, n=11, hash="b" * 64)
    head, known = Ledger.open(db).entry(10).hash, Known(11, "b" * 64, "id-1")
    kept = Restored(chain="id-new", was="id-1", kept_n=10, kept_hash=head, known=known)

    def restored(rows: Rows) -> Rows:
        entry = moved(rows[10], 11, kind=RESTORED, value=kept.value(), person="S01", witness="P01", key="r")
        return recomputed([*rows[:10], entry, *rows[12:]])

    rewrite(db, restored)
    assert verify_record.main([str(db), "--seal", str(seal), "--seal", str(lost)]) == 0
    told = capsys.readouterr().out
    assert "a copy that ended at 10 was put in place; S01 and P01 answer for it" in told
    assert "entry 11 was sealed and is lost: a restore says so" in told
    assert "sealed up to entry 9," in told
    assert verify_file(db, (seal, lost)).ok
    for wrong in (replace(lost, n=12), replace(seal, chain="id-9")):
        assert verify_record.main([str(db), "--seal", str(wrong)]) == 1
        assert not verify_file(db, (wrong,)).ok


def test_it_comes_with_an_export_and_overwrites_nothing(record: tuple[bytes, Seal], tmp_path: Path) -> None:
    db = tmp_path / "ledger.db"
    db.write_bytes(record[0])

    def export(name: str) -> int:
        command = ["export", str(tmp_path / name), "--with-verifier", "--db", str(db)]
        return CliRunner().invoke(main, command).exit_code

    assert export("one.jsonl") == 0
    assert export("two.jsonl") == 0  # the same files stand there already
    assert (tmp_path / NAMES[0]).read_bytes() == SCRIPT.read_bytes()
    command = [sys.executable, "-I", "-S", str(tmp_path / NAMES[0]), str(tmp_path / "two.jsonl")]
    assert subprocess.run(command, capture_output=True, check=False).returncode == 0
    (tmp_path / NAMES[1]).write_text("mine")
    assert export("three.jsonl") == 1
    assert (tmp_path / NAMES[1]).read_text() == "mine"
    with pytest.raises(FileExistsError):
        write_beside(tmp_path)


def test_it_is_short_and_imports_the_standard_library_alone() -> None:
    text = SCRIPT.read_text(encoding="utf-8")
    assert len(text.splitlines()) < 300
    imported = {
        line.split()[1].split(".")[0] for line in text.splitlines() if line.startswith(("import ", "from "))
    }
    assert imported <= set(sys.stdlib_module_names)
    assert len((SCRIPT.parent / NAMES[1]).read_text(encoding="utf-8").split()) < 800  # a page

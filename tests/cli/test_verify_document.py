"""`floorterm verify --document`: what each case says, on real files of every form."""

import json
import sqlite3
from collections.abc import Callable
from pathlib import Path
from shutil import copytree

import pytest
from click.testing import CliRunner, Result

from floorterm.cli import main
from floorterm.demo.clock import SetClock
from floorterm.ledger import CHEAP_PROFILE, Ledger, Seal, back_up
from floorterm.ledger.restore import Signed, Standing, restore
from floorterm.library import starter_folder
from floorterm.plant import Plant
from floorterm.review.origin import origin_in
from tests.conftest import PIN, Plants
from tests.lockout.ledger_jobs import inspected, left_early

MOMENT = {"SOURCE_DATE_EPOCH": "1795555320"}  # 2026-11-24 14:22 at the plant


@pytest.fixture
def plant(plants: Plants, clock: SetClock, tmp_path: Path) -> Plant:
    return plants.copy(tmp_path / "ledger.db", clock, left_early)


@pytest.fixture
def db(plant: Plant) -> Path:
    return plant.ledger.path


def _report(db: Path, form: str, language: str = "en") -> Path:
    out = db.with_name(f"document.{form}")
    asked = ["report", "lockout", "P-0001/stamper-1", "--format", form, "--language", language, "--by", "VV"]
    done = CliRunner(env=MOMENT).invoke(main, [*asked, "--db", str(db), "--out", str(out)])
    assert done.exit_code == 0, done.output
    return out


def _verify(db: Path, document: Path, *more: str) -> Result:
    return CliRunner().invoke(main, ["verify", "--db", str(db), "--document", str(document), *more])


@pytest.mark.parametrize("form", ["html", "pdf", "json", "csv", "xlsx"])
def test_a_document_matches_also_when_the_record_has_gone_on(form: str, db: Path, plant: Plant) -> None:
    document = _report(db, form, "es")
    inspected(plant)
    done = _verify(db, document, "--json")
    assert done.exit_code == 0, done.output
    said = json.loads(done.stdout)
    assert said["case"] == "matches"
    assert said["seal"].startswith("floorterm seal: entry ")


@pytest.mark.parametrize("what", [(), ("2026-11-24/early",)])
def test_the_report_of_a_shift_is_made_anew_as_any_other(
    what: tuple[str, ...], db: Path, plant: Plant
) -> None:
    out = db.with_name("shift.json")
    asked = ["report", "shift", *what, "--format", "json", "--db", str(db), "--out", str(out)]
    done = CliRunner(env=MOMENT).invoke(main, asked)
    assert done.exit_code == 0, done.output
    inspected(plant)
    assert _verify(db, out).exit_code == 0
    out.write_bytes(out.read_bytes().replace(b"P-0001", b"P-0002", 1))
    assert _verify(db, out).exit_code == 1


@pytest.mark.parametrize(
    ("form", "alter"),
    [
        ("html", lambda data: data.replace(b"V. Voss", b"V. Moss", 1)),
        ("json", lambda data: data.replace(b"V. Voss", b"V. Moss", 1)),
        ("pdf", lambda data: data + b"\n% more"),
        ("csv", lambda data: data.replace(b"V. Voss", b"V. Moss", 1)),
        ("xlsx", lambda data: data + b"\n"),
    ],
)
def test_a_document_that_was_altered_is_told(form: str, alter: Callable[[bytes], bytes], db: Path) -> None:
    document = _report(db, form)
    before = document.read_bytes()
    document.write_bytes(alter(before))
    assert document.read_bytes() != before
    done = _verify(db, document)
    assert done.exit_code == 1
    assert "DOCUMENT ALTERED" in done.output


def _rewritten(db: Path) -> None:
    with sqlite3.connect(db) as connection:
        connection.execute("DROP TRIGGER entries_stay")
        connection.execute("UPDATE entries SET hash = ? WHERE n = 3", ("0" * 64,))


def _cut(db: Path) -> None:
    with sqlite3.connect(db) as connection:
        (guard,) = connection.execute(
            "SELECT sql FROM sqlite_master WHERE name = 'entries_remain'"
        ).fetchone()
        connection.execute("DROP TRIGGER entries_remain")
        connection.execute("DELETE FROM entries WHERE n = (SELECT max(n) FROM entries)")
        connection.execute(guard)


@pytest.mark.parametrize("harm", [_rewritten, _cut])
def test_a_record_that_was_altered_does_not_confirm_it(harm: Callable[[Path], None], db: Path) -> None:
    document = _report(db, "html")
    harm(db)
    done = _verify(db, document)
    assert done.exit_code == 1
    assert "LEDGER ALTERED" in done.output


def test_another_record_says_so(db: Path, plant: Plant, tmp_path: Path) -> None:
    document = _report(db, "html")
    other = tmp_path / "other.db"
    Ledger.create(other, plant_id="p", plant_name="Other", time_zone="UTC", pin_profile=CHEAP_PROFILE).close()
    done = _verify(other, document)
    assert done.exit_code == 1
    assert "OTHER CHAIN" in done.output
    assert plant.ledger.start().chain in done.output


@pytest.mark.parametrize("data", [b"<html>hello</html>", b"", b"floorterm-document-1:AAAA."])
def test_what_names_no_seal_is_not_ours(data: bytes, db: Path, tmp_path: Path) -> None:
    file = tmp_path / "some.html"
    file.write_bytes(data)
    done = _verify(db, file)
    assert done.exit_code == 2
    assert "NOT OURS" in done.output


def test_other_checklists_are_not_taken_for_an_altered_document(db: Path, tmp_path: Path) -> None:
    document = _report(db, "html")
    other = tmp_path / "checklists"
    copytree(starter_folder(), other)
    plant_file = other / "plant.yaml"
    plant_file.write_text(plant_file.read_text(encoding="utf-8") + "\n# another word\n", encoding="utf-8")
    done = _verify(db, document, "--checklists", str(other))
    assert done.exit_code == 1
    assert "CANNOT BE COMPARED" in done.output


def test_two_origins_in_one_file_are_none(db: Path) -> None:
    data = _report(db, "html").read_bytes()
    assert origin_in(data) is not None
    assert origin_in(data + data.replace(b"document-1:ey", b"document-1:eX")) is None


def test_a_restore_keeps_what_it_kept_and_says_what_was_lost(db: Path, plant: Plant) -> None:
    """A restored chain has another identifier; a document from before is judged by its own entry."""
    copy = db.with_name("copy.db")
    before = _report(db, "json").rename(db.with_name("before.json"))
    back_up(plant.ledger, copy)
    inspected(plant)
    after = _report(db, "json").rename(db.with_name("after.json"))
    known = Seal.of(plant.ledger.head(), plant.ledger.start().plant)
    restore(copy, db, _sign, seals=(known,), pin_profile=CHEAP_PROFILE)
    assert json.loads(_verify(db, before, "--json").stdout)["case"] == "matches"
    assert json.loads(_verify(db, after, "--json").stdout)["case"] == "lost"
    db.unlink()
    restore(copy, db, _sign, pin_profile=CHEAP_PROFILE)
    assert json.loads(_verify(db, after, "--json").stdout)["case"] == "not_named"


def _sign(ledger: Ledger, _: Standing) -> Signed:
    for code in ("SS", "AA"):
        ledger.check_pin(code, PIN)
    return Signed(by="SS", witness="AA", reason="the disk failed")

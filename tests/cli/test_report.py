"""`floorterm report`: each kind in each form, the same bytes for the same moment, and what cannot be written."""

import errno
import io
import json
import os
from pathlib import Path

import pypdf
import pytest
from click.testing import CliRunner, Result

from floorterm.cli import main
from floorterm.demo.clock import SetClock
from floorterm.inspecting import inspections
from floorterm.plant import Plant
from tests.conftest import Plants
from tests.lockout.ledger_jobs import inspected, left_early

MOMENT = {"SOURCE_DATE_EPOCH": "1795555320"}  # 2026-11-24 14:22 at the plant


def _run(*arguments: str) -> Result:
    return CliRunner(env=MOMENT).invoke(main, ["report", *arguments])


@pytest.fixture
def plant(plants: Plants, clock: SetClock, tmp_path: Path) -> Plant:
    return plants.copy(tmp_path / "ledger.db", clock, _inspected_and_left_early)


def _inspected_and_left_early(plant: Plant, clock: SetClock) -> None:
    inspected(plant)
    left_early(plant, clock)


@pytest.fixture
def db(plant: Plant) -> tuple[str, int]:
    """The ledger's file, and the number of the inspection."""
    (inspection,) = inspections(plant)
    return str(plant.ledger.path), inspection.n


def _asked(kind: str, db: tuple[str, int]) -> list[str]:
    what = {
        "audit": [],
        "lockout": ["P-0001/stamper-1"],
        "inspection": [str(db[1])],
        "changeover": ["P-0001"],
        "deviations": ["--since", "2026-11-20"],
        "study": [],
        "sheet": ["lockout-line-1"],
        "shift": ["2026-11-24/early"],
    }
    month = ["--month", "2026-11"] if kind == "audit" else []
    return [kind, *what[kind], *month, "--db", db[0], "--by", "VV"]


KINDS = ["audit", "changeover", "deviations", "lockout", "inspection", "sheet", "shift", "study"]


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_written_in_every_form_and_twice_the_same(
    kind: str, db: tuple[str, int], tmp_path: Path
) -> None:
    asked = _asked(kind, db)
    text = _run(*asked)
    assert text.exit_code == 0, text.output
    assert "Printed by V. Voss (VV) on 2026-11-24 14:22 -07:00" in " ".join(text.output.split())
    page = _run(*asked, "--format", "html", "--language", "es")
    assert page.output.startswith("<!DOCTYPE html>")
    assert 'lang="es"' in page.output
    value = json.loads(_run(*asked, "--format", "json").stdout)
    assert value.keys() == {
        "title", "subtitle", "language", "printed", "at", "foot", "cautions", "blocks", "sealed", "origin",
    }  # fmt: skip
    assert value["at"] == "2026-11-24T21:22:00Z"
    files = [tmp_path / "one.pdf", tmp_path / "two.pdf"]
    for file in files:
        done = _run(*asked, "--format", "pdf", "--out", str(file))
        assert done.exit_code == 0, done.output
    assert files[0].read_bytes() == files[1].read_bytes()
    reader = pypdf.PdfReader(io.BytesIO(files[0].read_bytes()))
    assert "V. Voss (VV)" in " ".join(reader.pages[0].extract_text().split())


def test_the_seal_on_paper_is_the_head_of_the_ledger(db: tuple[str, int], plant: Plant) -> None:
    head = plant.ledger.head()
    value = json.loads(_run(*_asked("audit", db), "--format", "json").stdout)
    assert value["sealed"]["line"].startswith(f"floorterm seal: entry {head.n} ")
    assert head.hash in value["sealed"]["line"].replace(" ", "")


def test_a_sheet_needs_no_ledger() -> None:
    done = _run("sheet", "lockout-press-2", "--by", "the safety officer")
    assert done.exit_code == 0, done.output
    assert "Printed by the safety officer" in " ".join(done.output.split())


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["audit", "--format", "pdf"], "--out"),
        (["sheet"], "lockout-dies-1, lockout-dies-2"),
        (["sheet", "lockout-line-9"], "no procedure 'lockout-line-9'"),
        (["sheet", "lockout-line-1", "--line", "L2"], "Known are: L1"),
    ],
)
def test_what_cannot_be_written_is_said_with_what_can(arguments: list[str], said: str) -> None:
    done = _run(*arguments)
    assert done.exit_code == 2
    assert said in done.stderr


def test_what_the_ledger_does_not_have_is_said_with_what_it_has(db: tuple[str, int]) -> None:
    for kind, what, said in (
        ("lockout", "P-0009/x", "P-0001/stamper-1"),
        ("inspection", "3", f"Known are: {db[1]}"),
    ):
        done = _run(kind, what, "--db", db[0])
        assert done.exit_code == 2
        assert said in done.stderr
    assert _run("audit", "--by", "XX", "--db", db[0]).exit_code == 2
    assert _run("audit", "--profile", "XX", "--db", db[0]).exit_code == 2


def test_a_file_that_cannot_be_written_is_no_traceback(tmp_path: Path) -> None:
    done = _run("sheet", "lockout-press-2", "--format", "html", "--out", str(tmp_path / "no" / "x.html"))
    assert done.exit_code == 2
    assert "cannot be written" in done.stderr


def test_a_shift_that_is_none_names_those_there_are(db: tuple[str, int]) -> None:
    done = _run("shift", "2026-11-24/noon", "--db", db[0])
    assert done.exit_code == 2
    assert "2026-11-24/early, 2026-11-24/late, 2026-11-24/night" in done.output


def test_a_full_disk_leaves_no_half_document_and_keeps_the_one_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Half a page of text could pass for the whole document."""
    out = tmp_path / "sheet.txt"
    sheet = ["sheet", "lockout-line-1", "--out", str(out)]
    write = Path.write_bytes

    def half(path: Path, data: bytes) -> int:
        write(path, data[: len(data) // 2])
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as full:
        full.setattr(Path, "write_bytes", half)
        told = _run(*sheet)
    assert (told.exit_code, list(tmp_path.iterdir())) == (2, [])
    assert "No space left" in told.stderr
    assert _run(*sheet).exit_code == 0
    out.chmod(0o600)
    before = out.read_bytes()
    with monkeypatch.context() as full:
        full.setattr(Path, "write_bytes", half)
        assert _run(*sheet, "--language", "es").exit_code == 2
    assert (list(tmp_path.iterdir()), out.read_bytes()) == ([out], before)
    assert _run(*sheet, "--language", "es").exit_code == 0
    assert out.read_bytes() != before
    assert out.stat().st_mode & 0o777 == 0o600

"""`floorterm calibrate`: a proposal from files of check samples, refusals with file, line and field."""

import hashlib
import json
import math
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from msgspec.structs import replace

from floorterm.cli import main
from floorterm.flush import washout
from floorterm.flush.from_library import line_model
from floorterm.ledger import Ledger
from floorterm.library import load, starter_folder
from floorterm.people import LockoutStatus, Permission, Person
from tests.cli.lightness import run_without


def _run(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["calibrate", *map(str, arguments)])


@pytest.fixture(scope="module")
def larger(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Readings of line L2 with its contents 10 % larger than in its file, and a fixed error of 2 %."""
    line = line_model(load(starter_folder()).lines["L2"])
    units = tuple(
        replace(unit, mixed_kg=unit.mixed_kg * 1.1, plug_kg=unit.plug_kg * 1.1) for unit in line.units
    )
    curve = washout(replace(line, units=units))
    rows = []
    for place, wanted in enumerate((0.93, 0.75, 0.5, 0.25, 0.1, 0.03, 0.008)):
        kg = round(curve.kg_to_reach(wanted), 1)
        read = curve.residual(kg) * math.exp(0.02 * (-1) ** place)
        rows.append(f"{kg:.1f};{read:.6f}".replace(".", ","))
    path = tmp_path_factory.mktemp("samples") / "larger.csv"
    path.write_text("m_kg;residual\n" + "\n".join(rows) + "\n999;<0,0001\n", encoding="utf-8")
    return path


def test_a_proposal_names_values_uncertainty_and_the_change_of_every_pair(larger: Path) -> None:
    done = _run("--line", "L2", larger, "--json", "--on", "2030-01-01")
    assert done.exit_code == 0, done.output
    said = json.loads(done.stdout)
    assert said["factor_low"] < said["factor"] < said["factor_high"]
    assert said["factor"] == pytest.approx(1.1, abs=0.03)
    assert said["accepted"] is False
    assert {"unit", "field", "old", "new", "low", "high"} == said["values"][0].keys()
    changed = [pair for pair in said["pairs"] if pair["residual_limit"] < 1]
    assert changed
    for pair in changed:
        assert pair["old_kg"] < pair["proposed_kg"] <= pair["upper_kg"]
        assert pair["change_kg"] == pair["upper_kg"] - pair["old_kg"]
    fragrances = [one for one in load(starter_folder()).fragrances.values() if "L2" in one.lines]
    assert len(said["pairs"]) + len(said["pairs_without_figure"]) == len(fragrances) * (len(fragrances) - 1)
    assert any("below the detection limit" in note for note in said["notes"])


@pytest.mark.parametrize(
    ("language", "word"), [("en", "A person accepts it"), ("es", "La acepta una persona")]
)
def test_people_read_that_a_person_accepts(larger: Path, language: str, word: str) -> None:
    done = _run("--line", "L2", larger, "--language", language)
    assert done.exit_code == 0, done.output
    assert done.stdout.rstrip().endswith(f"{word}.")


def test_the_old_kg_are_those_of_the_flush_command(larger: Path) -> None:
    said = json.loads(_run("--line", "L2", larger, "--json", "--on", "2030-01-01").stdout)
    pair = next(one for one in said["pairs"] if one["residual_limit"] < 1)
    flush = CliRunner().invoke(
        main,
        [
            *("flush", "--line", "L2", "--from", pair["outgoing"], "--to", pair["incoming"]),
            *("--on", "2030-01-01", "--json"),
        ],
    )
    assert json.loads(flush.stdout)["required_kg"] == pair["old_kg"]


def test_one_unit_and_several_changeovers(larger: Path) -> None:
    done = _run("--line", "L2", larger, larger, "--json")
    assert done.exit_code == 0, done.output
    assert any("From 2 changeovers" in note for note in json.loads(done.stdout)["notes"])
    alone = _run("--line", "L2", larger, "--unit", "ribbon-mixer", "--json")
    assert alone.exit_code == 0, alone.output
    assert {one["unit"] for one in json.loads(alone.stdout)["values"]} == {"ribbon-mixer"}
    upstream = _run("--line", "L2", larger, "--unit", "bin")
    assert upstream.exit_code == 2
    assert "mixed_kg: these readings say nothing" in upstream.stderr
    assert "unit: nowhere is not known" in _run("--line", "L2", larger, "--unit", "nowhere").stderr


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("m_kg,residual\n100,0.9\n200,25%\n", "line 3, residual"),
        ("m_kg,residual\n100,0.1\n200,0.3\n300,0.6\n400,0.9\n", "residual: the readings do not fall"),
        ("m_kg,residual\n100,0.9\n", "1 usable readings"),
        ("", "no reading at all"),
    ],
)
def test_what_cannot_be_used_leaves_with_2_a_reason_and_no_number(
    tmp_path: Path, text: str, word: str
) -> None:
    path = tmp_path / "bad.csv"
    path.write_text(text, encoding="utf-8")
    done = _run("--line", "L1", path, "--json")
    assert done.exit_code == 2
    assert word in done.stderr
    assert not done.stdout


def test_files_that_are_missing_or_no_text_are_told(tmp_path: Path) -> None:
    (tmp_path / "b.csv").write_bytes(b"\xff\xfe\x00")
    assert "UTF-8" in _run("--line", "L1", tmp_path / "b.csv").stderr
    assert "No such file" in _run("--line", "L1", tmp_path / "none.csv").stderr
    assert "There is no line" in _run("--line", "L9", tmp_path / "none.csv").stderr


def test_calibration_needs_no_numeric_library(larger: Path) -> None:
    heavy = ("textual", "sqlalchemy", "sqlmodel", "sqlite3", "numpy", "scipy", "jinja2")
    run_without(heavy, ("calibrate", "--line", "L2", str(larger)))


# --- accepting ----------------------------------------------------------------------------------------


@pytest.fixture
def db(tmp_path: Path) -> Path:
    """A ledger with its administrator and a supervisor, who both have the PIN of the demo."""
    path = tmp_path / "plant.db"
    made = CliRunner().invoke(
        main, ["init", "--admin", "AD", "--name", "A. Min", "--db", str(path)], input="246810\n246810\n"
    )
    assert made.exit_code == 0, made.output
    ledger = Ledger.open(path)
    for code, permission in (("SU", Permission.SUPERVISOR), ("OP", Permission.OPERATOR)):
        person = Person(
            code=code,
            name=f"P. {code}",
            permission=permission,
            duties=frozenset({"supervisor"}),
            lockout=LockoutStatus.OTHER,
        )
        ledger.add_person(person, "246810", by="AD")
    return path


def _accept(db: Path, larger: Path, by: str = "SU", *more: str) -> Result:
    arguments = [
        "--line",
        "L2",
        str(larger),
        "--accept",
        "--by",
        by,
        "--reason",
        "first sampling",
        "--db",
        str(db),
    ]
    return CliRunner().invoke(main, ["calibrate", *arguments, *more], input="246810\n")


def test_an_accepted_proposal_is_an_entry_with_old_and_new_figures_errors_and_the_digest_of_the_file(
    larger: Path, db: Path
) -> None:
    done = _accept(db, larger, "SU", "--json")
    assert done.exit_code == 0, done.output
    said = json.loads(done.stdout)
    assert said["accepted"] is True
    entry = Ledger.open(db, read_only=True).entry(said["entry"])
    assert (entry.kind, entry.line, entry.person, entry.reason) == (
        "line.calibrated",
        "L2",
        "SU",
        "first sampling",
    )
    assert entry.value["files"] == [
        {"name": "larger.csv", "sha256": hashlib.sha256(larger.read_bytes()).hexdigest()}
    ]
    proposed = {(one["unit"], one["field"]): one for one in said["values"]}
    assert len(entry.value["values"]) == len(proposed) > 2
    for one in entry.value["values"]:
        wanted = proposed[one["unit"], one["field"]]
        for name in ("old", "new", "low", "high"):
            assert float(one[name]) == pytest.approx(wanted[name], rel=1e-5)
        assert 0 < float(one["se"]) < float(one["new"]) * 0.2
    assert float(entry.value["spread"]) >= 0.06


def test_worksheets_and_flush_use_the_accepted_figures_while_the_file_stays_and_check_says_so(
    larger: Path, db: Path
) -> None:
    pair = [
        "flush",
        "--line",
        "L2",
        "--from",
        "palmarosa",
        "--to",
        "petitgrain",
        "--on",
        "2030-01-01",
        "--json",
    ]

    def flush() -> dict[str, Any]:
        done = CliRunner().invoke(main, [*pair, "--db", str(db)])
        assert done.exit_code == 0, done.output
        found = json.loads(done.stdout)
        assert isinstance(found, dict)
        return found

    before = flush()
    entry = json.loads(_accept(db, larger, "SU", "--json").stdout)["entry"]
    after = flush()
    assert (before["calibration_entry"], after["calibration_entry"]) == (None, entry)
    assert after["required_kg"] > before["required_kg"]
    assert set(after["measured"]) == {"ribbon-mixer", "refiner-plodder", "head"}
    assert after["sure_kg"] / after["required_kg"] < before["sure_kg"] / before["required_kg"]
    assert "bin" in after["assumed"], "what the dose does not pass was not measured"
    checked = CliRunner().invoke(main, ["check", "--db", str(db)])
    assert checked.exit_code == 0, checked.output
    assert "L2 refiner-plodder mixed_kg: 24 in the file, 26." in checked.stdout
    assert f"accepted by entry {entry}" in checked.stdout
    again = CliRunner().invoke(main, ["calibrate", "--line", "L2", str(larger), "--db", str(db)])
    assert f"accepted by entry {entry}" in again.stdout
    assert "times 1.000" in again.stdout, "the same samples ask for nothing more"


def test_only_a_supervisor_with_a_reason_accepts(larger: Path, db: Path) -> None:
    done = _accept(db, larger, "OP")
    assert done.exit_code == 1
    assert "Only a supervisor or the safety officer accepts" in done.stderr
    missing = CliRunner().invoke(
        main, ["calibrate", "--line", "L2", str(larger), "--accept", "--by", "SU", "--db", str(db)]
    )
    assert missing.exit_code == 2
    assert "--reason" in missing.stderr
    wrong = CliRunner().invoke(
        main,
        [
            "calibrate",
            "--line",
            "L2",
            str(larger),
            "--accept",
            "--by",
            "SU",
            "--reason",
            "x",
            "--db",
            str(db),
        ],
        input="000001\n",
    )
    assert wrong.exit_code == 1
    assert not Ledger.open(db, read_only=True).entries(kinds=("line.calibrated",))

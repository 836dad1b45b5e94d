"""The command line as a program sees it: exit statuses, JSON keys, sentences on standard error."""

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from floorterm.cli import main
from floorterm.demo import shipped
from floorterm.ledger import Ledger
from floorterm.library import starter_folder
from floorterm.plant import Plant
from tests.cli.lightness import run_without
from tests.conftest import PIN


def _run(*arguments: str, typed: str = "") -> Result:
    return CliRunner().invoke(main, arguments, input=typed)


@pytest.fixture
def db(tmp_path: Path) -> Path:
    """A fresh ledger with its administrator."""
    path = tmp_path / "plant.db"
    done = _run("init", "--admin", "AD", "--name", "A. Dmin", "--db", str(path), typed=f"{PIN}\n{PIN}\n")
    assert done.exit_code == 0, done.output
    return path


def test_help_lists_every_command_without_importing_what_they_need() -> None:
    heavy = ("textual", "sqlalchemy", "sqlmodel", "pydantic", "rich", "numpy", "scipy", "jinja2", "yaml")
    said = run_without(heavy, ("--help",))
    for command in (
        "check",
        "worksheet",
        "flush",
        "demo",
        "init",
        "people",
        "holds",
        "verify",
        "backup",
        "export",
    ):
        assert command in said


def test_a_command_that_computes_imports_neither_screen_nor_database() -> None:
    heavy = ("textual", "sqlalchemy", "sqlmodel", "sqlite3", "numpy", "scipy")
    run_without(heavy, ("flush", "--line", "L1", "--from", "clove-leaf", "--to", "plain"))


def test_commands_that_read_the_record_load_neither_screen_nor_orm() -> None:
    heavy = ("textual", "sqlmodel", "sqlalchemy.orm", "numpy", "scipy")
    commands = ((name, "--db", str(shipped())) for name in ("status", "next", "locks", "shift"))
    assert "Line 1" in run_without(heavy, *commands)


def test_check_says_that_the_starter_plant_is_well() -> None:
    done = _run("check", "--json")
    assert done.exit_code == 0, done.output
    said = json.loads(done.stdout)
    assert said["well"] is True
    assert said["faults"] == []
    assert said["lines"] >= 2
    assert said["fragrances"] >= 8
    assert said["most_steps"] >= 45


def test_check_names_every_fault_with_its_place_and_leaves_with_1(tmp_path: Path) -> None:
    folder = tmp_path / "plant"
    shutil.copytree(starter_folder(), folder)
    file = folder / "fragrances" / "juniper.yaml"
    lines = file.read_text(encoding="utf-8").splitlines()
    row = next(i for i, line in enumerate(lines) if line.startswith("dose:"))
    lines[row] = "dose: 12"
    lines.append("colr: red")
    file.write_text("\n".join(lines), encoding="utf-8")
    done = _run("check", "--checklists", str(folder), "--json")
    assert done.exit_code == 1
    faults = json.loads(done.stdout)["faults"]
    places = {(Path(fault["path"]).name, fault["line"]) for fault in faults}
    assert {("juniper.yaml", row + 1), ("juniper.yaml", len(lines))} <= places
    assert any("colour" in str(fault) for fault in faults), "a near miss is offered"
    spoken = _run("check", "--checklists", str(folder))
    assert spoken.exit_code == 1
    assert "juniper.yaml" in spoken.stdout


def test_a_folder_that_is_not_there_is_said_and_not_a_traceback(tmp_path: Path) -> None:
    for command in (["check"], ["flush", "--line", "L1", "--matrix"]):
        done = _run(*command, "--checklists", str(tmp_path / "nowhere"))
        assert done.exit_code in (1, 2)
        assert "Traceback" not in done.output
        assert "nowhere" in done.output


def test_flush_says_kg_bars_minutes_and_why() -> None:
    done = _run(
        "flush", "--line", "L1", "--from", "clove-leaf", "--to", "petitgrain", "--on", "2026-11-24", "--json"
    )
    assert done.exit_code == 0, done.output
    said = json.loads(done.stdout)
    assert said["status"] == "ok"
    assert said["governing"]["criterion"] == "colour", "dark brown into pale green"
    assert said["required_kg"] > 0
    assert said["bars"] > 0
    assert said["minutes"] > 0
    assert all(one["source"] for one in said["candidates"])
    spoken = _run("flush", "--line", "L1", "--from", "clove-leaf", "--to", "petitgrain", "--on", "2026-11-24")
    assert f"{said['required_kg']} kg" in spoken.stdout
    assert "The colour decides" in spoken.stdout
    assert "Eugenol" in spoken.stdout, "every other limit is shown as well"
    assert "delta_e_2000" not in spoken.stdout


def test_the_flush_matrix_has_every_pair_of_a_line() -> None:
    done = _run("flush", "--line", "L2", "--matrix", "--json")
    said = json.loads(done.stdout)
    names = {pair["outgoing"] for pair in said["pairs"]}
    assert len(said["pairs"]) == len(names) * (len(names) - 1)


def test_bad_usage_leaves_with_2_and_the_reason() -> None:
    for arguments, reason in (
        (["flush", "--line", "L7", "--matrix"], "L7"),
        (["flush", "--line", "L1"], "--matrix"),
        (["flush", "--line", "L1", "--from", "soap", "--to", "plain"], "soap"),
        (["worksheet", "--line", "L1"], "--procedure"),
        (["worksheet", "--line", "L1", "--from", "plain", "--to", "plain"], "nothing to change"),
        (["dance"], "dance"),
    ):
        done = _run(*arguments)
        assert done.exit_code == 2, arguments
        assert reason in done.stderr, arguments


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("form", ["text", "html"])
def test_a_worksheet_prints_with_every_step(form: str, language: str) -> None:
    done = _run(
        "worksheet",
        "--line",
        "L1",
        "--from",
        "clove-leaf",
        "--to",
        "plain",
        "--format",
        form,
        "--language",
        language,
    )
    assert done.exit_code == 0, done.output
    count = len(
        json.loads(
            _run("worksheet", "--line", "L1", "--from", "clove-leaf", "--to", "plain", "--json").stdout
        )["sections"]
    )
    assert count > 8
    assert ("Clavo" in done.stdout or "clavo" in done.stdout) == (language == "es")


def test_a_plant_is_set_up_from_nothing(db: Path) -> None:
    added = _run(
        "people", "add", "SU", "--name", "S. Uper", "--permission", "supervisor", "--duty", "supervisor",
        "--by", "AD", "--db", str(db), typed=f"{PIN}\n",
    )  # fmt: skip
    assert added.exit_code == 0, added.output
    one_time = added.stdout.strip().split()[-1]
    assert len(one_time) == 6
    ledger = Ledger.open(db)
    ledger.change_pin("SU", one_time, "735091")
    held = _run(
        "holds", "L1", "plain", "--by", "SU", "--reason", "first day", "--db", str(db), typed="735091\n"
    )  # fmt: skip
    assert held.exit_code == 0, held.output
    listed = json.loads(_run("people", "list", "--json", "--db", str(db)).stdout)
    assert [person["code"] for person in listed] == ["AD", "SU"]
    assert _run("verify", "--db", str(db)).exit_code == 0


def test_a_wrong_pin_or_no_permission_leaves_with_1_and_nothing_recorded(db: Path) -> None:
    before = Ledger.open(db).head().n
    wrong = _run("people", "add", "X1", "--name", "X", "--by", "AD", "--db", str(db), typed="111119\n")
    assert wrong.exit_code == 1
    assert Ledger.open(db).head().n == before
    held = _run("holds", "L1", "plain", "--by", "AD", "--reason", "r", "--db", str(db), typed=f"{PIN}\n")
    assert held.exit_code == 1
    assert "supervisor" in held.stderr


@pytest.mark.parametrize(("admin", "pin"), [("AD", "111111"), ("A D", PIN)])
def test_an_init_that_was_refused_can_be_done_again(tmp_path: Path, admin: str, pin: str) -> None:
    """A ledger without its administrator would stand in the way for ever: nobody can be added to it."""
    path = tmp_path / "plant.db"
    first = _run("init", "--admin", admin, "--name", "A. Dmin", "--db", str(path), typed=f"{pin}\n{pin}\n")
    assert first.exit_code == 2
    assert not path.exists()
    again = _run("init", "--admin", "AD", "--name", "A. Dmin", "--db", str(path), typed=f"{PIN}\n{PIN}\n")
    assert again.exit_code == 0, again.output


@pytest.fixture
def ours(tmp_path: Path) -> str:
    """A ledger made with checklists of its own, which have no palmarosa."""
    folder = tmp_path / "ours"
    shutil.copytree(starter_folder(), folder)
    (folder / "fragrances" / "palmarosa.yaml").unlink()
    path = str(tmp_path / "plant.db")
    made = _run(
        "init", "--admin", "AD", "--name", "A", "--checklists", str(folder), "--db", path, typed=f"{PIN}\n{PIN}\n"
    )  # fmt: skip
    assert made.exit_code == 0, made.output
    return path


def test_what_a_line_holds_is_judged_by_the_checklists_that_the_ledger_names(ours: str) -> None:
    said = _run("holds", "L1", "palmarosa", "--by", "AD", "--reason", "seen", "--db", ours)
    assert said.exit_code == 2
    assert "'palmarosa' does not run on L1." in said.output


@pytest.mark.parametrize("command", ["worksheet", "flush"])
def test_a_pair_of_a_named_ledger_is_that_of_its_own_checklists(ours: str, command: str) -> None:
    pair = (command, "--line", "L1", "--from", "palmarosa", "--to", "plain")
    assert _run(*pair).exit_code == 0
    refused = _run(*pair, "--db", ours)
    assert refused.exit_code == 2
    assert "palmarosa" in refused.stderr
    assert _run(*pair, "--db", ours, "--checklists", str(starter_folder())).exit_code == 0


def test_check_is_about_the_checklists_of_a_named_ledger(ours: str) -> None:
    plant = Path(ours).with_name("ours") / "plant.yaml"
    plant.write_text(plant.read_text(encoding="utf-8") + "nonsense: 1\n", encoding="utf-8")
    found = json.loads(_run("check", "--json", "--db", ours).stdout)
    assert found["checklists"] == str(plant.parent)
    assert [fault["field"] for fault in found["faults"]] == ["nonsense"]


def test_a_duty_that_the_plant_does_not_have_is_refused_before_the_pin(db: Path) -> None:
    before = Ledger.open(db).head().n
    add = ("people", "add", "X1", "--name", "X", "--by", "AD", "--db", str(db))
    said = _run(*add, "--duty", "quality", "--duty", "line operator")
    assert said.exit_code == 2
    assert "'line operator'" in said.stderr
    assert "line_operator" in said.stderr
    assert "PIN" not in said.output
    assert Ledger.open(db).head().n == before
    assert _run(*add, "--duty", "line_operator", typed=f"{PIN}\n").exit_code == 0


def test_a_reason_that_no_record_may_keep_is_said_and_not_a_traceback(db: Path) -> None:
    said = _run("holds", "L1", "plain", "--by", "AD", "--reason", "a\x07b", "--db", str(db), typed=f"{PIN}\n")
    assert said.exit_code == 1
    assert "cannot be kept" in said.output


def test_a_pin_is_never_an_option() -> None:
    for command in (["init"], ["holds"], ["people", "add"], ["people", "reset-pin"], ["people", "disable"]):
        assert "--pin" not in _run(*command, "--help").output


def test_backup_and_export_are_verified_by_verify(db: Path, tmp_path: Path) -> None:
    copy, lines = tmp_path / "copy.db", tmp_path / "ledger.jsonl"
    assert _run("backup", str(copy), "--db", str(db)).exit_code == 0
    assert _run("export", str(lines), "--db", str(db)).exit_code == 0
    for file in (copy, lines):
        done = _run("verify", str(file), "--json")
        assert done.exit_code == 0, done.output
        assert json.loads(done.stdout)["ok"] is True


def test_verify_names_the_entry_that_was_altered(db: Path, tmp_path: Path) -> None:
    lines = tmp_path / "ledger.jsonl"
    assert _run("export", str(lines), "--db", str(db)).exit_code == 0
    text = lines.read_text(encoding="utf-8")
    assert "A. Dmin" in text
    lines.write_text(text.replace("A. Dmin", "B. Dmin"), encoding="utf-8")
    done = _run("verify", str(lines))
    assert done.exit_code == 1
    assert "entry 2" in done.stdout


def test_a_ledger_that_is_not_there_is_said(tmp_path: Path) -> None:
    done = _run("verify", "--db", str(tmp_path / "none.db"))
    assert done.exit_code == 2
    assert "none.db" in done.stderr


def test_a_one_time_pin_is_issued_by_whom_the_table_of_rights_names(plant: Plant) -> None:
    """A supervisor helps an operator in the night: no administrator is there then."""
    db = str(plant.ledger.path)

    def reset(code: str, by: str) -> Result:
        return _run("people", "reset-pin", code, "--by", by, "--db", db, typed=f"{PIN}\n")

    for code, by in (("SS", "VV"), ("AA", "BB"), ("VV", "SS"), ("AD", "AD")):
        refused = reset(code, by)
        assert refused.exit_code == 1
        assert "Another person resets a PIN" in refused.stderr or "own" in refused.stderr
    for code, by in (("AA", "SS"), ("BB", "VV"), ("SS", "AD")):
        done = reset(code, by)
        assert done.exit_code == 0, done.output
        assert f"One-time PIN of {code}: " in done.stdout

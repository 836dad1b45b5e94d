"""README keeps its word: its commands, its example, its tables, its JSON keys."""

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from floorterm.cli import main
from floorterm.library.facts import FACTS

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")


def _json(*arguments: str) -> object:
    done = CliRunner().invoke(main, [*arguments, "--json"])
    return json.loads(done.stdout)


def test_the_two_commands_stand_each_on_one_line() -> None:
    assert "\n    python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/floorterm demo\n" in README
    tested = "python3 -m venv .venv && .venv/bin/pip install -e '.[dev]' && .venv/bin/python -m pytest"
    assert f"\n    {tested}\n" in README


def test_the_example_in_python_runs_as_it_stands() -> None:
    example = re.search(r"## From Python.*?```python\n(.*?)```", README, re.DOTALL)
    assert example
    done = subprocess.run(
        [sys.executable, "-c", example.group(1)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert re.search(r"Eugen\S* .*decides: \d+ kg, \d+ bars, \d+ min", done.stdout), done.stdout


def test_the_example_with_the_plants_own_words_runs_as_it_stands() -> None:
    examples = re.findall(r"```python\n(.*?)```", README, re.DOTALL)
    assert len(examples) == 2
    done = subprocess.run([sys.executable, "-c", examples[1]], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert re.search(r"^proposed: \w+$", done.stdout, re.MULTILINE), done.stdout
    assert re.search(r"contents x \d\.\d\d: \d+ kg becomes \d+ kg, \d+ kg to be sure", done.stdout), (
        done.stdout
    )


def test_the_flush_commands_run_as_they_stand(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    section = README.split("## The flush")[1]
    commands = re.findall(r"^floorterm (flush .*)$", section, re.MULTILINE)
    for option in ("--explain", "--strategy", "--limit", "--json", "--state", "--samples", "--svg"):
        assert any(option in command for command in commands), option
    for name, kind in (("state.yaml", "yaml"), ("samples.csv", "")):
        told = re.search(rf"`{name}`.*?```{kind}\n(.*?)```", section, re.DOTALL)
        assert told
        (tmp_path / name).write_text(told.group(1), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    for command in commands:
        done = CliRunner().invoke(main, command.split(), env={"FLOORTERM_DB": ""})
        assert done.exit_code == 0, f"{command}: {done.output}"
    assert (tmp_path / "curve.svg").read_text(encoding="utf-8").startswith("<svg")


def _every_key(value: object) -> set[str]:
    """The keys of a document at every depth; units and other names of the plant do not count as keys."""
    if isinstance(value, dict):
        return set(value).union(*(_every_key(inner) for key, inner in value.items() if key != "intervals"))
    if isinstance(value, list):
        return set().union(*(_every_key(inner) for inner in value))
    return set()


def test_every_fact_that_when_may_ask_for_is_in_the_table() -> None:
    told = set(
        re.findall(r"`([a-z_]+)`", README.split("The facts that `when:` may ask for:")[1].split("## ")[0])
    )
    assert told >= FACTS.keys()


def test_every_command_is_in_the_table() -> None:
    table = README.split("## Commands")[1]
    for command in (
        "demo",
        "check",
        "worksheet",
        "flush",
        "plan",
        "init",
        "people",
        "holds",
        "verify",
        "backup",
        "export",
    ):
        assert f"`floorterm {command}" in table, command


def _told(name: str) -> set[str]:
    row = re.search(rf"^- `{name}`: (.*?)(?=^- |^\n|\Z)", README, re.DOTALL | re.MULTILINE)
    assert row, name
    return set(re.findall(r"`([a-z_]+)`", row.group(1)))


def test_the_keys_of_the_json_documents_are_those_told(tmp_path: Path) -> None:
    check = _json("check")
    assert isinstance(check, dict)
    assert check.keys() <= _told("check")
    flush = _json("flush", "--line", "L1", "--from", "clove-leaf", "--to", "plain")
    assert isinstance(flush, dict)
    assert flush.keys() | flush["candidates"][0].keys() <= _told("flush")
    checks = tmp_path / "checks.csv"
    checks.write_text("m_kg,residual\n150,0.8\n400,0.05\n", encoding="utf-8")
    state = tmp_path / "state.yaml"
    state.write_text("plodder: 0.1\n", encoding="utf-8")
    pair = ("flush", "--line", "L1", "--from", "clove-leaf", "--to", "petitgrain")
    for more in (("--explain", "--samples", str(checks)), ("--state", str(state))):
        assert _every_key(_json(*pair, *more)) <= _told("flush")
    late = tmp_path / "late.csv"
    rows = ((110, 0.995), (160, 0.5), (210, 0.26), (270, 0.17), (340, 0.14), (430, 0.051), (540, 0.027))
    late.write_text("m_kg,residual\n" + "".join(f"{kg},{r}\n" for kg, r in rows), encoding="utf-8")
    assert _every_key(_json("calibrate", "--line", "L1", str(late))) <= _told("calibrate")
    plan = _json(
        "plan", "--line", "L2", "--from", "palmarosa", "litsea", "plain", "juniper", "--first", "plain"
    )
    assert _every_key(plan) <= _told("plan")
    matrix = _json("flush", "--line", "L2", "--matrix")
    assert isinstance(matrix, dict)
    assert matrix.keys() <= _told("flush")
    db = str(tmp_path / "x.db")
    made = CliRunner().invoke(
        main, ["init", "--admin", "AD", "--name", "A", "--db", db], input="246810\n246810\n"
    )
    assert made.exit_code == 0, made.output
    sheet = _json("report", "sheet", "lockout-line-1")
    assert isinstance(sheet, dict)
    assert sheet.keys() <= _told("report")
    due = _json("lockout", "due", "--db", db)
    assert isinstance(due, list)
    assert due[0].keys() <= _told("lockout due")
    trained = _json("people", "training", "--db", db)
    assert isinstance(trained, list)
    assert trained[0].keys() <= _told("lockout due")
    people = _json("people", "list", "--db", db)
    assert isinstance(people, list)
    assert people[0].keys() <= _told("people list")
    verified = _json("verify", "--db", db)
    assert isinstance(verified, dict)
    assert verified.keys() <= _told("verify")


def test_every_picture_that_is_shown_exists() -> None:
    pictures = re.findall(r"!\[[^]]*\]\(([^)]+)\)", README)
    assert len(pictures) >= 6
    for picture in pictures:
        assert (Path(__file__).parents[1] / picture).is_file(), picture

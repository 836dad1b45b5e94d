"""What the screens say, as plain lines: the same facts, no Textual, nothing cut."""

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from floorterm.cli import main
from floorterm.demo import open_still, shipped
from floorterm.plant import Plant
from floorterm.terminal.early import why_not
from floorterm.terminal.plain import locks_text, next_text, shift_text, status_text
from floorterm.terminal.views.shown import work_view

COMMANDS = ("status", "next", "locks", "shift")


@pytest.fixture(scope="module")
def still() -> Plant:
    """The demo plant in the middle of a lockout, its clock standing."""
    return open_still()


def test_status_says_of_each_line_what_it_holds_and_what_is_on(still: Plant) -> None:
    text = "\n".join(status_text(still, "en"))
    assert "Line 1  holds Clove leaf, going to Plain" in text
    assert "locks on: R. Ode" in text
    assert "Line 2  holds " in text


def test_next_says_the_step_with_its_caution_and_what_enter_would_ask(still: Plant) -> None:
    (state,) = still.line_now("L1").works
    person = still.ledger.person("RO")
    text = list(next_text(still, work_view(still, state, person, "en"), "en"))
    assert text[0].startswith("Line 1  Clove leaf > Plain  C-0011")
    assert any(line.startswith("NOW  ") for line in text)
    assert any(line.startswith("Wear  ") for line in text)


def test_locks_names_every_point_whole_and_defers_to_the_lock_at_the_machine(still: Plant) -> None:
    text = list(locks_text(still, "L1", None, "en"))
    assert "The lock at the machine is the authority" in text[1]
    points = still.line_now("L1").works[0].worksheet.jobs[0].points
    for point in points:
        assert sum(point.name["en"] in line for line in text) >= 1, point.name
    assert not [line for line in text if "…" in line or "F10" in line]


def test_shift_lists_the_work_that_is_on(still: Plant) -> None:
    text = list(shift_text(still, "en"))
    assert text[0].startswith("Shift  ")
    assert any("Clove leaf > Plain" in line for line in text)


@pytest.mark.parametrize("language", ["en", "es"])
def test_no_line_is_empty_cut_or_padded(still: Plant, language: str) -> None:
    works = still.line_now("L1").works
    for lines in (
        status_text(still, language),
        next_text(still, work_view(still, works[0], None, language), language),
        locks_text(still, "L1", None, language),
        shift_text(still, language),
    ):
        found = list(lines)
        assert len(found) >= 3
        for line in found:
            assert line == line.strip()
            assert line
            assert "   " not in line
            assert "…" not in line


def _json(*arguments: str) -> object:
    done = CliRunner().invoke(main, [*arguments, "--json"])
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def test_the_json_documents_have_the_keys_that_are_told(tmp_path: Path) -> None:
    db = shutil.copy(shipped(), tmp_path / "demo.db")
    status, shift = _json("status", "--db", str(db)), _json("shift", "--db", str(db))
    assert isinstance(status, dict)
    assert isinstance(shift, dict)
    assert status.keys() == {"lines", "text"}
    assert [set(line) for line in status["lines"]] == [
        {"line", "holds", "works", "waiting", "locks_on", "open_deviations"}
    ] * 2
    assert shift.keys() == {"since", "until", "text"}
    (work,) = _json("next", "--line", "L1", "--person", "RO", "--db", str(db))  # type: ignore[misc,attr-defined]
    assert work.keys() == {"work", "line", "step", "refused", "text"}
    assert (work["work"], work["line"]) == ("C-0011", "L1")
    first, second = _json("locks", "--db", str(db))  # type: ignore[misc,attr-defined]
    assert {lock["owner"] for lock in first["locks"]} == {"RO"}
    assert first["locks"][0].keys() == {"work", "point", "lock", "owner", "since"}
    assert second["locks"] == []


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("next", "--line", "L9"), "There is no line 'L9'"),
        (("locks", "--person", "NOBODY"), "NOBODY"),
    ],
)
def test_what_is_not_there_is_said_with_status_2(arguments: tuple[str, ...], said: str) -> None:
    done = CliRunner().invoke(main, [*arguments, "--db", str(shipped())])
    assert done.exit_code == 2
    assert said in done.stderr


def test_a_command_that_prints_imports_no_textual() -> None:
    code = (
        "import sys\nfrom floorterm.cli import main\n"
        "for name in sys.argv[2:]:\n"
        "    main([name, '--db', sys.argv[1]], standalone_mode=False)\n"
        "sys.exit('textual' in sys.modules and 'textual was imported' or 0)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(shipped()), *COMMANDS, "verify"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "Clove leaf" in done.stdout


def test_a_terminal_that_cannot_draw_is_told_these_commands() -> None:
    said = why_not({"TERM": "dumb"}, stdin_tty=True, stdout_tty=True)
    for command in COMMANDS:
        assert command in said


def test_the_review_of_a_shift_as_lines_and_for_programs(tmp_path: Path) -> None:
    db = tmp_path / "demo.db"
    shutil.copyfile(shipped(), db)
    asked = ["shift", "--review", "--of", "2026-11-24/early", "--db", str(db)]
    text = CliRunner().invoke(main, asked).output
    for part in (
        "Shift review  early shift",
        "NOT SIGNED",
        "planned 135:30, standard 135:30",
        "Lockouts still open: 1",
    ):
        assert part in text
    told = json.loads(CliRunner().invoke(main, [*asked, "--json"]).stdout)
    assert told["summary"]["shift"] == "2026-11-24/early"
    assert told["text"] == text.splitlines()
    assert (told["signatures"], told["changed"]) == ([], [])
    for work in told["summary"]["works"]:
        minutes = work.get("minutes")
        if minutes is not None:
            assert (
                sum(part["seconds"] for part in minutes["parts"])
                == minutes["actual_s"] - minutes["planned_s"]
            )
    spanish = CliRunner().invoke(main, [*asked, "--language", "es"]).output
    assert "Revisión del turno  turno de mañana" in spanish
    none = CliRunner().invoke(main, ["shift", "--of", "noon", "--db", str(db)])
    assert (none.exit_code, "2026-11-24/early" in none.output) == (2, True)

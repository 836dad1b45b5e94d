"""Every entry but the first names the terminal: made by a command, at a terminal's desk, by the demo, by the ledger."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

import floorterm
from floorterm.changeover.acts import Note
from floorterm.cli import main
from floorterm.demo import shipped
from floorterm.ledger import Ledger
from floorterm.plant import Plant
from tests.conftest import PIN, who
from tests.terminal.shell import opened, until

_ROOT = Path(floorterm.__file__).parent
_Function = (ast.FunctionDef, ast.AsyncFunctionDef)


def _optional(tree: ast.AST) -> Iterator[str]:
    """What takes a terminal that may be left out: functions, and values that become entries."""
    for node in ast.walk(tree):
        if isinstance(node, _Function):
            of = dict(zip((one.arg for one in node.args.kwonlyargs), node.args.kw_defaults, strict=True))
            late = node.args.args[len(node.args.args) - len(node.args.defaults) :]
            if of.get("terminal") is not None or "terminal" in (one.arg for one in late):
                yield node.name
        elif isinstance(node, ast.ClassDef) and node.name in ("Draft", "PeopleAct"):
            yield node.name


def _named(tree: ast.AST, asked: set[str]) -> set[str]:
    """What a module calls them."""
    aliases = (one for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) for one in node.names)
    return asked | {one.asname for one in aliases if one.asname and one.name in asked}


def test_whoever_makes_an_entry_says_at_which_terminal() -> None:
    texts = {path: path.read_text(encoding="utf-8") for path in _ROOT.rglob("*.py")}
    asked = {
        name for text in texts.values() if "terminal: str =" in text for name in _optional(ast.parse(text))
    }
    called = re.compile(rf"\b({'|'.join(asked)})(\(| as )")
    trees = {path: ast.parse(text) for path, text in texts.items() if called.search(text)}
    assert {"Draft", "PeopleAct", "write_export", "back_up", "seal", "check_pin"} <= asked
    silent = [
        f"{path.relative_to(_ROOT)}:{node.lineno} {ast.unparse(node.func)}"
        for path, tree in trees.items()
        for named in (_named(tree, asked),)
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and ast.unparse(node.func).rpartition(".")[2] in named
        and not any("terminal" in ast.unparse(one) for one in (*node.args, *node.keywords))
    ]
    assert silent == []


def test_what_the_command_line_records_names_it(plant: Plant, tmp_path: Path) -> None:
    db, folder, before = str(plant.ledger.path), tmp_path / "backups", plant.ledger.head().n
    folder.mkdir()
    commands = (
        ["people", "add", "NN", "--name", "N. New", "--duty", "packer", "--by", "AD"],
        ["holds", "L1", "plain", "--by", "SS", "--reason", "seen"],
        ["seal", "--to", "paper"],
        ["export", str(tmp_path / "all.jsonl")],
        ["backup", str(tmp_path / "copy.db")],
        ["backup", "--into", str(folder), "--keep", "0/0/0"],
        ["backup", "--into", str(folder), "--keep", "0/0/0"],
        ["drill", str(tmp_path / "copy.db")],
        ["move", str(tmp_path / "moved.db"), "--by", "AD"],
    )
    for command in commands:
        done = CliRunner().invoke(main, [*command, "--db", db], input=f"{PIN}\n")
        assert done.exit_code == 0, (command, done.output)
    made = plant.ledger.entries(after_n=before)
    assert {entry.kind for entry in made} >= {
        "person.added", "person.pin_reset", "line.holds", "seal.made", "export.made", "backup.made",
        "backup.removed", "backup.drilled", "ledger.moved",
    }  # fmt: skip
    assert [(entry.n, entry.kind, entry.terminal) for entry in made if entry.terminal != "cli"] == []


async def test_what_is_recorded_at_a_desk_names_its_terminal(plant: Plant) -> None:
    at_seven = Plant(plant.library, plant.ledger, "T7")
    work = plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "begin").work
    async with opened(at_seven) as (app, pilot):
        app.session.begin(plant.ledger.person("AA"))
        before = plant.ledger.head().n
        assert app.desk.record(work, Note(text="here"))
        await until(pilot, lambda: plant.ledger.head().n > before)
    assert [entry.terminal for entry in plant.ledger.entries(after_n=before)] == ["T7"]


def test_what_the_demo_shows_names_its_terminals() -> None:
    entries = Ledger.open(shipped(), read_only=True).entries()
    assert [entry.n for entry in entries if entry.person and not entry.terminal] == []


@pytest.mark.parametrize("name", ["", "  ", "\x1b[2J", "a\u202eb", "T" * 21])
def test_a_name_that_no_entry_can_carry_is_refused_at_the_start(name: str, tmp_path: Path) -> None:
    done = CliRunner().invoke(main, ["open", "--terminal", name, "--db", str(tmp_path / "none.db")])
    assert done.exit_code == 2
    assert "a name of 1 to 20 characters" in done.stderr

"""A PIN stands nowhere but in its owner's head: no file, export, log, command line or program text holds one."""

import logging
from pathlib import Path

import click
import pytest
from click.testing import CliRunner
from textual.worker import WorkerFailed

import floorterm
from floorterm.cli import main
from floorterm.demo import shipped
from floorterm.demo.scenario import read_scenario
from floorterm.ledger import Ledger, WrongPinError, write_export
from floorterm.plant import Plant
from floorterm.terminal.crash import keep
from floorterm.terminal.log import open_log
from tests.conftest import PIN
from tests.terminal.shell import opened, text_of, until, until_top

WRONG = "975310"


def _commands(command: click.Command, name: str = "floorterm") -> list[tuple[str, click.Command]]:
    found = [(name, command)]
    if isinstance(command, click.Group):
        context = click.Context(command)
        for one in command.list_commands(context):
            inner = command.get_command(context, one)
            assert inner is not None
            found += _commands(inner, f"{name} {one}")
    return found


def test_no_command_takes_a_pin_on_its_command_line() -> None:
    """What stands there, everybody on the machine can read."""
    every = _commands(main)
    assert len(every) > 30
    for name, command in every:
        for param in command.params:
            words = {part for text in (param.name or "", *param.opts) for part in text.strip("-").split("_")}
            assert not words & {"pin", "pins", "password", "secret"}, (name, param.name)


def test_what_is_typed_is_not_shown(plant: Plant) -> None:
    told = CliRunner().invoke(
        main,
        ["holds", "L1", "plain", "--by", "SS", "--reason", "seen", "--db", str(plant.ledger.path)],
        input=f"{PIN}\n",
    )
    assert told.exit_code == 0, told.output
    assert PIN not in told.output


def test_no_file_of_the_record_holds_a_pin_or_leaves_with_its_hash(plant: Plant, tmp_path: Path) -> None:
    with pytest.raises(WrongPinError):
        plant.ledger.check_pin("AA", WRONG, terminal="T1")
    plant.ledger.check_pin("AA", PIN, terminal="T1")
    write_export(plant.ledger, tmp_path / "export.jsonl")
    kept, left = plant.ledger.path.read_bytes(), (tmp_path / "export.jsonl").read_bytes()
    for pin in (PIN, WRONG):
        assert pin.encode() not in kept
        assert pin.encode() not in left
    assert b"$argon2id$" in kept
    assert b"$argon2" not in left


async def test_a_terminal_logs_no_pin_and_no_name(plant: Plant, tmp_path: Path) -> None:
    log = tmp_path / "terminal.log"
    before = list(logging.getLogger("floorterm").handlers)
    assert open_log(log) == ""
    try:
        async with opened(plant) as (app, pilot):
            await pilot.press("f10")
            await until_top(pilot, "SignInScreen")
            await pilot.press("a", "a", "enter", *WRONG, "enter")
            await until(pilot, lambda: "is not the PIN of" in text_of(app))
            await pilot.press(*PIN, "enter")
            await until(pilot, lambda: app.session.person)
    finally:
        for handler in set(logging.getLogger("floorterm").handlers) - set(before):
            logging.getLogger("floorterm").removeHandler(handler)
            handler.close()
    text = log.read_text(encoding="utf-8")
    assert "record open" in text
    assert not [word for word in (PIN, WRONG, "A. Abel") if word in text]


def test_only_the_demo_has_a_pin_of_its_own() -> None:
    pin = read_scenario().pin
    package = Path(floorterm.__file__).parent
    lines = [
        f"{path.relative_to(package)}: {line.strip()}"
        for path in package.rglob("*")
        if path.suffix in (".py", ".yaml", ".json", ".typ", ".html")
        for line in path.read_text(encoding="utf-8").splitlines()
        if pin in line
    ]
    assert lines
    assert [line for line in lines if "demo" not in line.lower()] == [], (
        "only what speaks of the demo names it"
    )


def test_every_entry_that_somebody_signed_says_how_they_were_recognised() -> None:
    signed = [entry for entry in Ledger.open(shipped(), read_only=True).entries() if entry.person]
    assert len(signed) > 1000
    assert [entry.n for entry in signed if not entry.identity] == []


def test_the_file_of_a_crash_says_where_and_never_with_what(tmp_path: Path) -> None:
    """Textual's own traceback would show every variable; a PIN that is being checked is one."""

    def checking(pin: str) -> None:
        raise RuntimeError(f"no more than {len(pin)} digits")

    for of_worker in (False, True):
        try:
            checking(PIN)
        except RuntimeError as fault:
            path = keep(WorkerFailed(fault) if of_worker else fault, tmp_path / str(of_worker))
        assert path is not None
        text = path.read_text(encoding="utf-8")
        assert "in checking" in text
        assert "no more than 6 digits" in text
        assert PIN not in text

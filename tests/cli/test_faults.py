"""Exit status and sentence of the commands while something is wrong with the ledger's file: one table."""

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from floorterm.cli import main
from floorterm.plant import Plant
from tests.conftest import PIN, who
from tests.ledger_faults import (
    Fault,
    another_file,
    damaged,
    disk_full,
    empty,
    locked_by_a_stranger,
    missing,
    no_permission,
    of_a_newer_version,
    read_only,
)

READING = {
    "status": "status",
    "next": "next",
    "locks": "locks",
    "shift": "shift",
    "worksheet": "worksheet --work C-0001",
    "report": "report audit",
    "people": "people list --json",
    "verify": "verify",
}
WRITING = {
    "seal": "seal --to office",
    "export": "export TARGET",
    "backup": "backup TARGET",
    "holds": "holds L2 plain --by SS --reason stated",
    "disable": "people disable BB --by AD",
}
# fault, what is said, status of commands that read (0 well, 2 cannot be read), of those that write (1 not recorded)
FAULTS: list[tuple[Fault, str, int, int]] = [
    (missing, "There is no ledger at", 2, 2),
    (empty, "is empty", 2, 2),
    (another_file, "is not a floorterm ledger", 2, 2),
    (of_a_newer_version, "written by a newer version", 2, 2),
    (damaged, "is damaged", 2, 2),
    (no_permission, "cannot be opened by this account", 2, 2),
    (read_only, "can be read, not written", 0, 1),
    (locked_by_a_stranger, "Another program held the ledger", 0, 1),
    (disk_full, "The disk is full", 0, 1),
]
# what is damaged falls short of what `verify` checks; it says so on standard output, like all that it finds
OTHERWISE = {(damaged, "verify"): 1}


@pytest.fixture
def path(plant: Plant) -> Path:
    """The file of a ledger with a changeover under way."""
    plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "begin")
    return plant.ledger.path


def _run(path: Path, command: str, copies: Path) -> Result:
    target = copies / "target"
    words = [str(target) if word == "TARGET" else word for word in command.split()]
    done = CliRunner().invoke(main, [*words, "--db", str(path)], input=f"{PIN}\n")
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    assert not any(copies.iterdir()) or done.exit_code == 0, "nothing is left of a copy that failed"
    return done


@pytest.mark.parametrize(
    ("fault", "said", "reading", "writing"), FAULTS, ids=[one[0].__name__ for one in FAULTS]
)
def test_each_command_ends_with_the_status_and_the_sentence_of_the_fault(
    fault: Fault,
    said: str,
    reading: int,
    writing: int,
    path: Path,
    open_folder: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    before = path.read_bytes()
    for commands, wanted in ((READING, reading), (WRITING, writing)):
        for name, command in commands.items():
            with fault(path, monkeypatch):
                done = _run(path, command, open_folder)
            assert done.exit_code == OTHERWISE.get((fault, name), wanted), (name, done.output)
            if done.exit_code:
                assert said in " ".join(done.output.split()), name
            if done.exit_code == 2:
                assert done.stdout == "", name
    assert path.read_bytes() == before, "nothing was recorded, and nothing half"


def test_without_a_fault_every_one_of_these_commands_ends_well(path: Path, open_folder: Path) -> None:
    for name, command in (READING | WRITING).items():
        done = _run(path, command, open_folder)
        assert done.exit_code == 0, (name, done.output)
        for file in open_folder.iterdir():
            file.unlink()


@pytest.mark.parametrize("command", ["export TARGET", "backup TARGET"])
def test_a_copy_that_the_account_may_not_write_is_said(
    command: str, path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    closed = tmp_path / "closed"
    closed.mkdir(mode=0o755)
    with read_only(path, monkeypatch):
        done = _run(path, command, closed)
    assert done.exit_code == 1
    assert f"{closed / 'target'} could not be written: Permission denied" in done.stderr

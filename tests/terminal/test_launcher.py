"""The script that keeps a terminal open: it cleans up after what was killed, starts again, and ends when told to."""

import os
import re
import subprocess
from pathlib import Path

import pytest
from click.testing import CliRunner

from floorterm.cli import main
from floorterm.cli.launcher import MODES
from tests.terminal.pty_run import PseudoTerminal

# stands for the program: it leaves the worst behind and is killed, then ends by a fault, then is told to go
_PROGRAM = """#!/bin/sh
echo "$@" >> "$0.runs"
case $(wc -l < "$0.runs" | tr -d ' ') in
1) printf '\\033[?1049h\\033[?1000h\\033[?25l'; stty raw -echo; kill -9 $$ ;;
2) stty -a > "$0.found"; exit 1 ;;
*) exit 143 ;;
esac
"""


def script(folder: Path, program: str, monkeypatch: pytest.MonkeyPatch, *options: str) -> Path:
    """The launcher's script, for a program that stands in for floorterm on the way to it."""
    (folder / "floorterm").write_text(program, encoding="utf-8")
    (folder / "floorterm").chmod(0o755)
    monkeypatch.setenv("PATH", f"{folder}{os.pathsep}{os.environ['PATH']}")
    done = CliRunner().invoke(main, ["launcher", *options])
    assert done.exit_code == 0, done.output
    path = folder / "keep"
    path.write_text(done.stdout, encoding="utf-8")
    subprocess.run(["sh", "-n", path], check=True)
    return path


def test_after_a_kill_the_screen_is_set_right_before_the_next_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    name = "L 1'$(touch x)"
    kept = script(tmp_path, _PROGRAM, monkeypatch, "--terminal", name, "--db", "l.db", "--panel", "246x184")
    (tmp_path / "sleep").write_text("#!/bin/sh\n", encoding="utf-8")  # nobody waits here
    (tmp_path / "sleep").chmod(0o755)
    terminal = PseudoTerminal(["sh", str(kept)])
    assert terminal.exit_status() == 143
    runs = (tmp_path / "floorterm.runs").read_text(encoding="utf-8").splitlines()
    assert len(runs) == 3
    assert f"--terminal {name} " in runs[0]
    assert runs[0].endswith("--panel 246x184")
    found = re.split(r"[\s;]+", (tmp_path / "floorterm.found").read_text(encoding="utf-8"))
    assert {"icanon", "echo", "isig", "icrnl"} <= set(found)
    assert not terminal.screen.cursor.hidden


def test_every_mode_that_the_program_sets_is_one_that_the_script_resets() -> None:
    """From the driver's own text: a later version that sets another one is known by this."""
    import textual.drivers.linux_driver as driver

    text = Path(driver.__file__).read_text(encoding="utf-8")
    code = "\n".join(line for line in text.splitlines() if not line.lstrip().startswith("#"))
    found = {int(mode) for mode in re.findall(r"\\x1b\[\?(\d+)h", code)} - {
        7,
        25,
    }  # lines wrap and a cursor shows, as ever
    assert {1049, 1000, 1003} <= found <= set(MODES)

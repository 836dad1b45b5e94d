"""A whole changeover at the look of a Linux console, in tmux: real keys, a real picture, a real process."""

import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from floorterm.ledger import verify_file
from tests.terminal.outside import Walk, plant_for

pytestmark = pytest.mark.skipif(shutil.which("tmux") is None, reason="no tmux on this machine")
_GAP_S = 0.04  # slower than a scanner


class Tmux:
    """A window of 80x24 in a tmux server of its own."""

    def __init__(self, socket: Path, command: str) -> None:
        self._base = ("tmux", "-S", str(socket), "-f", "/dev/null")
        self._run("new-session", "-d", "-x", "80", "-y", "24", "-s", "t", command)
        self._run("set-option", "-s", "escape-time", "10")

    def _run(self, *arguments: str) -> str:
        return subprocess.run((*self._base, *arguments), check=True, capture_output=True, text=True).stdout

    @property
    def text(self) -> str:
        return self._run("capture-pane", "-p", "-t", "t")

    def press(self, key: str) -> None:
        self._run("send-keys", "-t", "t", key)
        time.sleep(_GAP_S)

    def type(self, text: str) -> None:
        for character in text:
            self._run("send-keys", "-t", "t", "-l", character)
            time.sleep(_GAP_S)

    def scan(self, code: str) -> None:
        self._run("send-keys", "-t", "t", "-l", f"{code}\r")

    def rest(self) -> None:
        time.sleep(0.03)

    def end(self) -> None:
        self._run("kill-server")


def test_a_changeover_is_walked_from_lines_to_release_on_a_console_in_tmux(tmp_path: Path) -> None:
    plant = plant_for(tmp_path)
    log, memory = tmp_path / "t.log", tmp_path / "state"
    run = f"{sys.executable} -m floorterm open --db {plant.ledger.path} --log {log}"
    command = f"TERM=linux XDG_STATE_HOME={memory} exec {run}"
    terminal = Tmux(tmp_path / "tmux", command)
    try:
        walk = Walk(terminal, plant)
        work = walk.from_lines_to_release()
    finally:
        terminal.end()
    state = plant.state(work)
    steps = {step.id for step in state.worksheet.steps()}
    assert len(steps) >= 45
    assert set(state.signed) == steps
    assert state.status == "released"
    assert walk.scans >= 5
    assert verify_file(plant.ledger.path).ok

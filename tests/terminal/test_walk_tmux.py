"""A whole changeover at the look of a Linux console, in tmux: real keys, a real picture, a real process."""

import os
import shutil
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import pytest

from floorterm.ledger import verify_file
from tests.terminal.outside import Walk, plant_for
from tests.terminal.test_launcher import script

pytestmark = pytest.mark.skipif(shutil.which("tmux") is None, reason="no tmux on this machine")
SIZED_AT, KILLED_AT = 5, 9  # after so many steps
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
        self._run("send-keys", "-t", "t", "-l", text)

    def scan(self, code: str) -> None:
        self._run("send-keys", "-t", "t", "-l", f"{code}\r")

    def rest(self) -> None:
        time.sleep(0.03)

    def resize(self, columns: int, lines: int) -> None:
        self._run("resize-window", "-t", "t", "-x", str(columns), "-y", str(lines))

    def flags(self) -> list[str]:
        """Whether the mouse is reported, the other screen is on, the cursor shows."""
        names = "#{mouse_any_flag} #{alternate_on} #{cursor_flag}"
        return self._run("display-message", "-p", "-t", "t", names).split()

    def end(self) -> None:
        self._run("kill-server")


def _sized(walk: Walk) -> None:
    """Larger, too small to be whole, and back."""
    terminal = walk.terminal
    assert isinstance(terminal, Tmux)
    for columns, lines, said in ((120, 40, False), (79, 23, True), (80, 24, False)):
        terminal.resize(columns, lines)
        walk.until(partial(_shows, terminal, "is small", said), f"{columns} x {lines}")


def _shows(terminal: "Tmux", words: str, shown: bool) -> bool:
    return "NOW" in terminal.text and (words in terminal.text) == shown


@pytest.mark.longest
def test_a_changeover_is_walked_on_a_console_in_tmux_through_sizes_and_a_kill(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The launcher's script keeps the terminal; at the end it is told to go, and the shell has its screen back."""
    plant = plant_for(tmp_path)
    pid = tmp_path / "floorterm.pid"
    program = f'#!/bin/sh\necho $$ > "{pid}"\nexec "{sys.executable}" -m floorterm "$@"\n'
    kept = script(
        tmp_path, program, monkeypatch, "--db", str(plant.ledger.path), "--log", str(tmp_path / "t.log")
    )
    for name, value in {
        "COLUMNS": "80",
        "LINES": "24",
    }.items():  # some shells export them: no size comes from there
        monkeypatch.setenv(name, value)
    command = f"TERM=linux XDG_STATE_HOME={tmp_path / 'state'} sh {kept}; echo status $?; stty -a; cat"
    terminal = Tmux(tmp_path / "tmux", command)

    def between(walk: Walk, signed: int) -> None:
        if signed == SIZED_AT:
            _sized(walk)
        elif signed == KILLED_AT:
            os.kill(int(pid.read_text(encoding="utf-8")), signal.SIGKILL)
            walk.come_back()

    try:
        walk = Walk(terminal, plant, between)
        work = walk.from_lines_to_release()
        os.kill(int(pid.read_text(encoding="utf-8")), signal.SIGTERM)
        walk.sees("status 143", "iexten")
        assert {"icanon", "echo", "icrnl"} <= set(terminal.text.replace(";", " ").split())
        assert terminal.flags() == ["0", "0", "1"]
    finally:
        terminal.end()
    state = plant.state(work)
    steps = {step.id for step in state.worksheet.steps()}
    assert len(steps) >= 45
    assert set(state.signed) == steps
    assert state.status == "released"
    assert walk.scans >= 5
    assert verify_file(plant.ledger.path).ok

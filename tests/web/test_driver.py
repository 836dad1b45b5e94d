"""The terminal's end of the pipe: where the server is gone, however it went, no terminal stays behind."""

import os
import subprocess
import sys

from floorterm.plant import Plant
from floorterm.terminal.early import BROWSER_DRIVER


def test_a_terminal_whose_server_was_killed_ends_by_itself_also_while_it_opens(plant: Plant) -> None:
    terminal = subprocess.Popen(
        (sys.executable, "-m", "floorterm", "open", "--db", str(plant.ledger.path)),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "TEXTUAL_DRIVER": BROWSER_DRIVER, "TERM": "xterm-256color"},
    )
    assert terminal.stdin
    assert terminal.stdout
    assert terminal.stderr
    with terminal.stderr:
        assert terminal.stdout.readline() == b"__GANGLION__\n"
        terminal.stdin.close()
        terminal.stdout.close()
        assert (terminal.wait(20), terminal.stderr.read()) == (0, b"")

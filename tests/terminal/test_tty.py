"""The shell in a real pseudo-terminal: silence when nothing happens, a scanner's burst, being told to go."""

import contextlib
import os
import signal
import sys
import termios
from collections.abc import Iterator
from pathlib import Path

import pytest

from floorterm.plant import Plant
from tests.terminal.pty_run import PseudoTerminal

_RUN = """
import sys
from datetime import UTC, datetime
from floorterm.terminal import launch

def opener():
    from floorterm.demo.clock import SetClock
    from floorterm.ledger import Ledger
    from floorterm.library import load, starter_folder
    from floorterm.plant import Plant
    clock = SetClock(datetime(2026, 11, 24, 13, 0, tzinfo=UTC))
    return Plant(load(starter_folder()), Ledger.open(sys.argv[1], clock=clock), "T1")

sys.exit(launch(opener, plain="plain" in sys.argv))
"""
_LEAVES_THE_OTHER_SCREEN = b"\x1b[?1049l"


class Noted(PseudoTerminal):
    """Keeps what was written, and how the terminal was set before."""

    def __init__(self, command: list[str], env: dict[str, str] | None = None) -> None:
        self.written = bytearray()
        super().__init__(command, env)
        feed = self.stream.feed

        def noted(data: bytes) -> None:
            self.written += data
            feed(data)

        self.stream.feed = noted  # type: ignore[method-assign,assignment]


def _run(path: Path, env: dict[str, str] | None = None) -> Noted:
    return Noted([sys.executable, "-c", _RUN, str(path)], env)


@pytest.fixture
def path(plant: Plant) -> Path:
    """The file of a plant's ledger."""
    return plant.ledger.path


@pytest.fixture
def terminal(path: Path) -> Iterator[Noted]:
    """The program, with its record open."""
    started = _run(path)
    started.wait_for(lambda text: "Lines" in text and "Line 1" in text)
    yield started
    with contextlib.suppress(OSError):  # most tests have seen it go
        started.kill()


def _settle(terminal: PseudoTerminal, quiet_s: float = 0.7) -> None:
    before = -1
    while before != terminal.received:
        before = terminal.received
        terminal.pump(quiet_s)


def test_an_idle_terminal_writes_not_one_byte(terminal: Noted) -> None:
    """Three seconds are longer than the tick at which the record and the clock are looked at."""
    _settle(terminal)
    before = terminal.received
    terminal.pump(3.0)
    assert terminal.received == before


def test_a_burst_of_a_scanner_arrives_whole_and_presses_nothing(terminal: Noted) -> None:
    _settle(terminal)
    terminal.send(b"22NO-SUCH-CODE-2222\r")
    text = terminal.wait_for(lambda text: "Scanned" in text, 20)
    assert "22NO-SUCH-CODE-2222" in text
    assert "> 1 Line 1" in text


@pytest.mark.parametrize(("number", "status"), [(signal.SIGTERM, 143), (signal.SIGHUP, 129)])
def test_told_to_go_it_gives_the_terminal_back(terminal: Noted, number: signal.Signals, status: int) -> None:
    _settle(terminal)
    os.kill(terminal.pid, number)
    assert terminal.exit_status() == status
    assert _LEAVES_THE_OTHER_SCREEN in terminal.written
    assert terminal.written.rindex(b"\x1b[?25h") > terminal.written.index(b"\x1b[?1049h")


def test_ctrl_q_leaves_with_status_0_and_the_terminal_echoes_again(terminal: Noted) -> None:
    _settle(terminal)
    line = os.dup(terminal.fd)  # the settings of a pseudo-terminal are seen from both of its ends
    try:
        assert not termios.tcgetattr(line)[3] & termios.ICANON
        terminal.send(b"\x11")
        assert terminal.exit_status() == 0
        assert termios.tcgetattr(line)[3] & termios.ICANON
        assert termios.tcgetattr(line)[3] & termios.ECHO
    finally:
        os.close(line)


def test_a_console_gets_sixteen_colours_and_works_by_keys(path: Path) -> None:
    terminal = _run(path, env={"TERM": "linux"})
    try:
        terminal.wait_for(lambda text: "Lines" in text and "Line 1" in text)
        terminal.send(b"\x1b[B")
        terminal.wait_for(lambda text: "> 2 Line 2" in text, 20)
        assert b"38;2;" not in terminal.written, "24-bit colours were sent to a console"
    finally:
        terminal.kill()

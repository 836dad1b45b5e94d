"""The shell in real pseudo-terminals of three kinds: what it sends to each, and how it gives each back."""

import contextlib
import os
import re
import signal
import sys
import termios
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from floorterm.plant import Plant
from tests.terminal.pty_run import PseudoTerminal

_RUN = """
import sys
from datetime import UTC, datetime
from floorterm.terminal.launching import launch

def opener():
    from floorterm.demo.clock import SetClock
    from floorterm.ledger import Ledger
    from floorterm.library import load, starter_folder
    from floorterm.plant import Plant
    clock = SetClock(datetime(2026, 11, 24, 13, 0, tzinfo=UTC))
    return Plant(load(starter_folder()), Ledger.open(sys.argv[1], clock=clock), "T1")

sys.exit(launch(opener))
"""
_PROGRAM = (sys.executable, "-c", _RUN)
_ONE_COLOUR = {b"", b"0", b"1", b"3", b"4", b"7"}  # plain, bold, italic, underlined, reversed
_LEAVES_THE_OTHER_SCREEN = b"\x1b[?1049l"


class Noted(PseudoTerminal):
    """Keeps what was written, and how the terminal was set before."""

    def __init__(self, command: Sequence[str], env: dict[str, str] | None = None) -> None:
        self.written = bytearray()
        super().__init__(command, env)
        feed = self.stream.feed

        def noted(data: bytes) -> None:
            self.written += data
            feed(data)

        self.stream.feed = noted  # type: ignore[method-assign,assignment]


@pytest.fixture
def path(plant: Plant) -> Path:
    """The file of a plant's ledger."""
    return plant.ledger.path


@contextlib.contextmanager
def _running(*command: str, env: dict[str, str] | None = None) -> Iterator[Noted]:
    """The program, with its record open."""
    started = Noted(command, env)
    try:
        started.wait_for(lambda text: "Lines" in text and "> 1 Line 1" in text)
        yield started
    finally:
        with contextlib.suppress(OSError):  # most tests have seen it go
            started.kill()


def _settle(terminal: PseudoTerminal, quiet_s: float = 0.7) -> None:
    before = -1
    while before != terminal.received:
        before = terminal.received
        terminal.pump(quiet_s)


def _given_back(terminal: Noted) -> bool:
    """Whether the last words were those that leave the other screen and show the cursor."""
    shown, drawn = terminal.written.rindex(b"\x1b[?25h"), terminal.written.index(b"\x1b[?1049h")
    return _LEAVES_THE_OTHER_SCREEN in terminal.written and shown > drawn


def test_it_is_silent_takes_a_scan_whole_and_goes_when_its_line_hangs_up(path: Path) -> None:
    """Three idle seconds are longer than the tick at which the record and the clock are looked at."""
    with _running(*_PROGRAM, str(path)) as terminal:
        _settle(terminal)
        before = terminal.received
        terminal.pump(3.0)
        assert terminal.received == before, "an idle terminal wrote something"
        terminal.send(b"22NO-SUCH-CODE-2222\r")
        text = terminal.wait_for(lambda text: "Scanned" in text, 20)
        assert "22NO-SUCH-CODE-2222" in text
        assert "> 1 Line 1" in text
        terminal.send(b"\x1a\x1b[B")  # Ctrl+Z does nothing: the next key finds the program running
        terminal.wait_for(lambda text: "> 2 Line 2" in text, 20)
        os.kill(terminal.pid, signal.SIGHUP)
        assert terminal.exit_status() == 129
        assert _given_back(terminal)


def test_a_console_gets_sixteen_colours_few_bytes_a_key_and_echoes_again(path: Path) -> None:
    env = {"TERM": "linux", "TEXTUAL_DISABLE_KITTY_KEY": "1"}
    with _running(*_PROGRAM, str(path), env=env) as terminal:
        _settle(terminal)
        assert b"\x1b[>1u" not in terminal.written, "keys by number were asked for"
        before = terminal.received
        terminal.send(b"\x1b[B")
        terminal.wait_for(lambda text: "> 2 Line 2" in text, 20)
        _settle(terminal, 0.2)
        assert terminal.received - before <= 3000  # 0.26 s at 115,200 baud
        assert b"38;2;" not in terminal.written, "24-bit colours were sent to a console"
        line = os.dup(terminal.fd)  # the settings of a pseudo-terminal are seen from both of its ends
        try:
            assert not termios.tcgetattr(line)[3] & termios.ICANON
            terminal.send(b"\x11")
            assert terminal.exit_status() == 0
            assert termios.tcgetattr(line)[3] & termios.ICANON
            assert termios.tcgetattr(line)[3] & termios.ECHO
        finally:
            os.close(line)


def test_an_old_terminal_gets_ascii_without_colours_from_a_home_that_cannot_be_written(path: Path) -> None:
    """Through the command; its home is no folder, so neither a log nor what was seen last can be kept there."""
    home = {"HOME": "/dev/null/home", "XDG_STATE_HOME": "", "XDG_CONFIG_HOME": "", "XDG_CACHE_HOME": ""}
    command = (sys.executable, "-m", "floorterm", "open", "--language", "es", "--db", str(path))
    terminal = Noted(command, {"TERM": "vt220", "LANG": "C", "COLUMNS": "40", "LINES": "9", **home})
    try:
        terminal.wait_for(lambda text: "Lineas" in text and "> 1 " in text)
        terminal.send(b"/")
        terminal.wait_for(lambda text: "Todas las teclas" in text, 20)
        terminal.send(b"\x1b")  # Esc alone: no further byte comes
        terminal.wait_for(lambda text: "Lineas" in text and "> 1 " in text, 20)
        os.kill(terminal.pid, signal.SIGTERM)
        assert terminal.exit_status() == 143
        assert _given_back(terminal)
        assert terminal.written.isascii()
        sent = {
            one for style in re.findall(rb"\x1b\[([\d;]*)m", terminal.written) for one in style.split(b";")
        }
        assert sent <= _ONE_COLOUR
        assert b"7" in sent, "nothing is reversed"
    finally:
        with contextlib.suppress(OSError):
            terminal.kill()

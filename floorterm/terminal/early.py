"""The terminal before its screens: what is typed and scanned is kept, and plain lines stand until Textual draws.

Standard library alone. Typed bytes are not read here: with echo and line editing off the system keeps them, in their
order and unaltered (a scanner's carriage return too), until Textual reads them; so there is one reader of keys.
"""

import atexit
import contextlib
import os
import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from types import FrameType
from typing import Any

from floorterm.terminal.repertoire import Characters, folded

try:
    import termios
except ImportError:  # a system without these settings: keys typed too early are its own affair
    termios = None  # type: ignore[assignment]

_CLEAR = "\x1b[?1049h\x1b[H\x1b[2J"
_BACK = "\x1b[?1000l\x1b[?1003l\x1b[?1004l\x1b[?1006l\x1b[?2004l\x1b[?1049l\x1b[?25h"  # as far as anybody had come


class EarlyTerminal:
    """The terminal that this program was started at, from the first moment to the last."""

    def __init__(self, fd_in: int, fd_out: int, characters: Characters = "all") -> None:
        self._in = fd_in
        self._out = fd_out
        self._characters = characters
        self._found: list[Any] | None = None
        self._shown = False

    def take(self) -> None:
        """Nothing typed from here on is echoed, altered, taken for a signal or thrown away."""
        if termios is None:
            return
        with contextlib.suppress(termios.error):
            found = termios.tcgetattr(self._in)
            mine = [*found[:6], list(found[6])]
            mine[3] &= ~(termios.ECHO | termios.ICANON | termios.IEXTEN | termios.ISIG)
            mine[0] &= ~(termios.ICRNL | termios.INLCR | termios.IGNCR | termios.IXON | termios.IXOFF)
            mine[6][termios.VMIN], mine[6][termios.VTIME] = 1, 0
            termios.tcsetattr(self._in, termios.TCSANOW, mine)  # what flushes would throw typed keys away
            self._found = found

    def show(self, lines: Sequence[str]) -> None:
        """Plain lines, in one write; each is cut to the width of the terminal, and no more than its height stand."""
        columns, rows = self._size()
        text = "\r\n".join(folded(line, self._characters)[:columns] for line in lines[:rows])
        self._shown = True  # before the write: a signal may end this program the moment after it
        with contextlib.suppress(OSError):
            os.write(self._out, f"{_CLEAR}{text}".encode(sys.stdout.encoding or "utf-8", "replace"))

    def _size(self) -> tuple[int, int]:
        with contextlib.suppress(OSError):
            columns, rows = os.get_terminal_size(self._out)
            return columns or 80, rows or 24  # a serial line knows of no size
        return 80, 24

    def left(self) -> None:
        """Whoever drew on it meanwhile has left the other screen already."""
        self._shown = False

    def give_back(self) -> None:
        """As it was found."""
        found, self._found = self._found, None
        if self._shown:
            self._shown = False
            with contextlib.suppress(OSError):
                os.write(self._out, _BACK.encode())
        if found is not None:
            with contextlib.suppress(termios.error):
                termios.tcsetattr(self._in, termios.TCSANOW, found)


@contextlib.contextmanager
def early_terminal(characters: Characters) -> Iterator[EarlyTerminal]:
    """The terminal of this process, given back however it ends, by a signal too."""
    terminal = EarlyTerminal(sys.stdin.fileno(), sys.stdout.fileno(), characters)
    atexit.register(terminal.give_back)
    before = _on_signals(_leave)
    try:
        terminal.take()
        yield terminal
    finally:
        terminal.give_back()
        atexit.unregister(terminal.give_back)
        for name, handler in before.items():
            signal.signal(name, handler)


def _on_signals(handler: Callable[[int, FrameType | None], None]) -> dict[int, Any]:
    """What stood there before."""
    numbers = [getattr(signal, name, None) for name in ("SIGTERM", "SIGHUP")]
    before: dict[int, Any] = {}
    with contextlib.suppress(ValueError):  # signals are the main thread's
        for number in filter(None, numbers):
            before[number] = signal.signal(number, handler)
    return before


def _leave(number: int, _: FrameType | None) -> None:
    raise SystemExit(128 + number)

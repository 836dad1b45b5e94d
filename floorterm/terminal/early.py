"""The terminal before its screens: what is typed and scanned is kept, and plain lines stand until Textual draws.

Standard library alone, and little of it. Typed bytes are not read here: with echo and line editing off the system
keeps them, in their order and unaltered (a scanner's carriage return too), until Textual reads them; so there is one
reader of keys.
"""

import atexit
import contextlib
import os
import signal
import sys

try:
    import termios
except ImportError:  # a system without these settings: keys typed too early are its own affair
    termios = None  # type: ignore[assignment]

TYPE_CHECKING = False  # `typing` itself would take a tenth of the time until the first lines
if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from types import FrameType
    from typing import Any, Self, TextIO

    from floorterm.terminal.repertoire import Characters

BROWSER_DRIVER = "floorterm.web.driver:BrowserDriver"  # as TEXTUAL_DRIVER: the screens go to a browser
_CLEAR = "\x1b[?1049h\x1b[H\x1b[2J"
_BACK = "\x1b[?1000l\x1b[?1003l\x1b[?1004l\x1b[?1006l\x1b[?2004l\x1b[?1049l\x1b[?25h"  # as far as anybody had come


def why_not(env: "Mapping[str, str]", *, stdin_tty: bool, stdout_tty: bool) -> str:
    """Why no screen can be drawn here ("" if one can), with the commands that print the same."""
    commands = (
        "floorterm status, next, locks and shift print the same without a screen,"
        " floorterm worksheet prints a worksheet."
    )
    if not (stdin_tty and stdout_tty):
        return f"floorterm needs a terminal; input or output is none. {commands}"
    if env.get("TERM", "") in ("", "dumb"):
        return f"The terminal says that it cannot place text (TERM is {env.get('TERM') or 'not set'}). {commands}"
    return ""


def why_not_here() -> str:
    """The same of this process; a browser takes every screen."""
    if in_browser(os.environ):
        return ""
    stdin_tty, stdout_tty = (is_terminal(stream) for stream in (sys.stdin, sys.stdout))
    return why_not(os.environ, stdin_tty=stdin_tty, stdout_tty=stdout_tty)


def in_browser(env: "Mapping[str, str]") -> bool:
    """Whether the screens go to a browser rather than to a terminal."""
    return env.get("TEXTUAL_DRIVER") == BROWSER_DRIVER


def is_terminal(stream: "TextIO | None") -> bool:
    """Whether a standard stream is a terminal; one that was closed before the start is None."""
    try:
        return stream is not None and stream.isatty()
    except ValueError:  # closed since
        return False


class EarlyTerminal:
    """The terminal that this program was started at, from the first moment to the last.

    As a context it is given back however the program ends, by a signal too.
    """

    def __init__(self, fd_in: int, fd_out: int, characters: "Characters | None" = None) -> None:
        self._in = fd_in
        self._out = fd_out
        self._characters = characters
        self._found: list[Any] | None = None
        self._before: dict[int, Any] = {}
        self.shown = False  # whether lines of it stand there

    def __enter__(self) -> "Self":
        atexit.register(self.give_back)
        self._before = _on_signals(_leave)
        self.take()
        return self

    def __exit__(self, *_: object) -> None:
        self.give_back()
        atexit.unregister(self.give_back)
        for number, handler in self._before.items():
            signal.signal(number, handler)

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
            self._found = found  # before the change: a signal may end this program the moment after it
            termios.tcsetattr(self._in, termios.TCSANOW, mine)  # what flushes would throw typed keys away

    def show(self, lines: "Sequence[str]") -> None:
        """Plain lines, in one write; each is cut to the width of the terminal, and no more than its height stand."""
        columns, rows = self._size()
        text = "\r\n".join(self._fit(line, columns) for line in lines[:rows])
        self.shown = True  # before the write: a signal may end this program the moment after it
        with contextlib.suppress(OSError):
            os.write(self._out, f"{_CLEAR}{text}".encode(sys.stdout.encoding or "utf-8", "replace"))

    def _fit(self, line: str, columns: int) -> str:
        if line.isascii():
            return line[:columns]
        from floorterm.terminal.repertoire import characters_here, cut, folded  # noqa: PLC0415  not for plain words

        return folded(cut(line, columns), self._characters or characters_here())

    def _size(self) -> tuple[int, int]:
        with contextlib.suppress(OSError):
            columns, rows = os.get_terminal_size(self._out)
            return columns or 80, rows or 24  # a serial line knows of no size
        return 80, 24

    def left(self) -> None:
        """Whoever drew on it meanwhile has left the other screen already."""
        self.shown = False

    def give_back(self) -> None:
        """As it was found."""
        if self._found is not None:  # kept until it is done: a signal may come in between
            with contextlib.suppress(termios.error):
                termios.tcsetattr(self._in, termios.TCSANOW, self._found)
            self._found = None
        if self.shown:
            self.shown = False
            with contextlib.suppress(OSError):
                os.write(self._out, _BACK.encode())


def early_here() -> EarlyTerminal:
    """The terminal of this process."""
    return EarlyTerminal(sys.stdin.fileno(), sys.stdout.fileno())


def _on_signals(handler: "Callable[[int, FrameType | None], None]") -> "dict[int, Any]":
    """What stood there before."""
    numbers = [getattr(signal, name, None) for name in ("SIGTERM", "SIGHUP")]
    before: dict[int, Any] = {}
    with contextlib.suppress(ValueError):  # signals are the main thread's
        for number in filter(None, numbers):
            before[number] = signal.signal(number, handler)
    return before


def _leave(number: int, _: "FrameType | None") -> None:
    raise SystemExit(128 + number)

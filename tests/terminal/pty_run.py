"""Run a command in a real pseudo-terminal of 80x24, wait for the Lines heading, quit, and pass its exit status on.

Also used as a script: `python tests/terminal/pty_run.py floorterm demo`.
"""

import fcntl
import os
import pty
import select
import signal
import struct
import sys
import termios
import time
from collections.abc import Callable, Sequence

import pyte

COLUMNS, ROWS = 80, 24
# A terminal on the ledger argv[1] that notes in argv[2] what is carried out, from the moment at which the record is
# opened: nothing is carried out before.
NOTING = """
import sys
from pathlib import Path
from floorterm.terminal.launching import launch

def opener():
    from floorterm.terminal.app import FloorApp
    from floorterm.terminal.opening import opened
    carry_out = FloorApp.carry_out
    async def noted(app, given):
        with open(sys.argv[2], "a") as file:
            print(given if isinstance(given, str) else given.key, file=file)
        await carry_out(app, given)
    FloorApp.carry_out = noted
    return opened(Path(sys.argv[1]), None, "FIRST")

sys.exit(launch(opener, place=Path(sys.argv[1])))
"""


class PseudoTerminal:
    """A child process in a pseudo-terminal, with the screen that it draws."""

    def __init__(self, command: Sequence[str], env: dict[str, str] | None = None) -> None:
        self.screen = pyte.Screen(COLUMNS, ROWS)
        self.stream = pyte.ByteStream(self.screen)
        self.received = 0
        pid, fd = pty.fork()
        if pid == 0:
            try:
                os.execvpe(command[0], list(command), {**os.environ, "TERM": "xterm-256color", **(env or {})})
            except OSError:
                os._exit(127)
        self.pid, self.fd = pid, fd
        fcntl.ioctl(fd, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))

    def pump(self, seconds: float) -> bool:
        """Take what the child writes within that time; False when it has closed the terminal."""
        until = time.monotonic() + seconds
        while (left := until - time.monotonic()) > 0:
            ready, _, _ = select.select([self.fd], [], [], left)
            if not ready:
                return True
            try:
                data = os.read(self.fd, 65536)
            except OSError:
                return False
            if not data:
                return False
            self.received += len(data)
            self.stream.feed(data)
            return True
        return True

    def wait_for(self, seen: Callable[[str], bool], limit_s: float = 60.0) -> str:
        """Pump until the screen's text satisfies `seen`; AssertionError with the screen when it never does."""
        until = time.monotonic() + limit_s
        while time.monotonic() < until:
            text = self.text()
            if seen(text):
                return text
            if not self.pump(0.1):
                break
        raise AssertionError(f"never seen within {limit_s} s; the screen was:\n{self.text()}")

    def text(self) -> str:
        """The screen as lines of text."""
        return "\n".join(self.screen.display)

    def send(self, keys: bytes) -> None:
        """Send keys at once, as a scanner does or as one key press."""
        os.write(self.fd, keys)

    def type(self, text: str, gap_s: float = 0.06) -> None:
        """Type as a person does: key after key, slower than any scanner, and Enter."""
        for character in f"{text}\r":
            self.send(character.encode())
            until = time.monotonic() + gap_s
            while time.monotonic() < until:
                self.pump(until - time.monotonic())

    def exit_status(self, limit_s: float = 20.0) -> int:
        """Wait for the child to end. AssertionError when it does not."""
        until = time.monotonic() + limit_s
        while time.monotonic() < until:
            done, status = os.waitpid(self.pid, os.WNOHANG)
            if done:
                os.close(self.fd)
                return os.waitstatus_to_exitcode(status)
            self.pump(0.05)
        raise AssertionError(f"still running after {limit_s} s; the screen was:\n{self.text()}")

    def kill(self) -> None:
        """End the child the hard way, as a cut of its power would."""
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self.fd)


def main(command: Sequence[str]) -> int:
    """Run, wait for the Lines heading with the plant opened, quit with Ctrl+Q."""
    terminal = PseudoTerminal(command)
    text = terminal.wait_for(lambda screen: "Lines" in screen and "Line 1" in screen)
    print(text)  # noqa: T201  the log of a check shows what was seen
    terminal.send(b"\x11")
    status = terminal.exit_status()
    print(f"exit status {status}, {terminal.received} bytes drawn")  # noqa: T201
    return status


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

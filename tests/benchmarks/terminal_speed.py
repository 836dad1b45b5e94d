"""Start-up, key latency and bytes a key in a real pseudo-terminal of 80x24.

Run apart: `python -m tests.benchmarks.terminal_speed`. Figures are medians on this machine; take the ratio to the
minimal application, not the milliseconds, to another one.
"""

import statistics
import sys
import tempfile
import time
from pathlib import Path

from tests.terminal.pty_run import PseudoTerminal

_HELLO = """
from textual.app import App
from textual.widgets import Static
class Hello(App):
    def compose(self):
        yield Static("hello world")
Hello().run()
"""
ROUNDS = 7
KEYS = 40
_QUIET_S = 0.04


def _until(terminal: PseudoTerminal, text: str) -> float:
    begun = time.perf_counter()
    while text not in terminal.text():
        assert terminal.pump(20), f"it closed before {text!r}"
    return time.perf_counter() - begun


def _start(command: list[str], *texts: str) -> list[float]:
    """Seconds from the start of the process until each text stands on the screen."""
    begun = time.perf_counter()
    terminal = PseudoTerminal(command)
    seen = []
    for text in texts:
        _until(terminal, text)
        seen.append(time.perf_counter() - begun)
    terminal.send(b"\x11")
    terminal.exit_status()
    return seen


def _key(terminal: PseudoTerminal, key: bytes) -> tuple[float, int]:
    """Seconds from a key to the last byte that answers it, and how many bytes there were."""
    terminal.pump(_QUIET_S)
    before, begun = terminal.received, time.perf_counter()
    terminal.send(key)
    last = begun
    while True:
        count = terminal.received
        terminal.pump(_QUIET_S if terminal.received > before else 1.0)
        if terminal.received == count:
            return last - begun, terminal.received - before
        last = time.perf_counter()


def _keys(keys: list[bytes]) -> None:
    """Cursor keys on Lines: times to the last byte, and bytes."""
    terminal = PseudoTerminal([sys.executable, "-m", "floorterm", "demo"])
    _until(terminal, "Line 1")
    found = [_key(terminal, keys[i % len(keys)]) for i in range(KEYS)]
    terminal.kill()
    times = sorted(seconds * 1000 for seconds, _ in found)
    size = statistics.median(count for _, count in found)
    print(  # noqa: T201
        f"cursor key on Lines: p50 {statistics.median(times):.1f} ms, p99 {times[-1]:.1f} ms, {size:.0f} bytes"
    )


def main() -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as folder:
        hello = Path(folder) / "hello.py"
        hello.write_text(_HELLO, encoding="utf-8")
        hellos = [_start([sys.executable, str(hello)], "hello world")[0] for _ in range(ROUNDS)]
    demo = [_start([sys.executable, "-m", "floorterm", "demo"], "Lines", "Line 1") for _ in range(ROUNDS)]
    floor = statistics.median(hellos)
    first = statistics.median(times[0] for times in demo)
    opened = statistics.median(times[1] for times in demo)
    print(f"minimal application, first frame: {floor * 1000:.0f} ms")  # noqa: T201
    print(f"floorterm, first frame:           {first * 1000:.0f} ms, {first / floor:.2f} x")  # noqa: T201
    print(f"floorterm, record on screen:      {opened * 1000:.0f} ms, {opened / floor:.2f} x")  # noqa: T201
    _keys([b"\x1b[B", b"\x1b[A"])


if __name__ == "__main__":
    main()

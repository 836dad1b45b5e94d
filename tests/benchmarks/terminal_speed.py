# ruff: noqa: T201
"""The terminal against its budgets: start, keys, bytes, memory, scans, in real pseudo-terminals, from the built wheel.

    python -m tests.benchmarks.terminal_speed [--keys N] [--rounds N] [--only start|keys|scans]

A minimal application (one line of text) is started in turn with the program in the same minute: times are ratios to
it, since machines and their loads differ. The program comes from a wheel that is built and unpacked for the run, its
bytecode compiled; its libraries are this environment's. Exit status 1 where a ratio or a count of bytes is over its
budget by more than half; milliseconds alone never fail.
"""

import argparse
import fcntl
import math
import os
import pty
import re
import select
import shutil
import signal
import statistics
import struct
import subprocess
import sys
import tempfile
import termios
import time
from pathlib import Path

from floorterm.terminal.pictures import SCREENS, SIZES
from floorterm.wording import words
from tests.terminal.pty_run import NOTING

SLACK = 1.5
QUIET_S = 0.04
HELLO = """
from textual.app import App
from textual.widgets import Static
class Hello(App):
    def compose(self):
        yield Static("hello world")
Hello().run()
"""
_KEYS = {
    "enter": "\r", "question_mark": "?", "up": "\x1b[A", "down": "\x1b[B", "right": "\x1b[C", "left": "\x1b[D",
    "f1": "\x1bOP", "f2": "\x1bOQ", "f3": "\x1bOR", "f4": "\x1bOS", "f5": "\x1b[15~", "f6": "\x1b[17~",
    "f7": "\x1b[18~", "f8": "\x1b[19~", "f9": "\x1b[20~", "f10": "\x1b[21~",
}  # fmt: skip
CURSOR_BYTES = {(80, 24): 3000, (120, 40): 6000}
_PROGRAM = [
    sys.executable,
    "-c",
    "from floorterm.entry import main; main()",
]  # what the installed script does
_OPEN = words("terminal.lines_question", "en").split()[0].encode()


class Terminal:
    """A program in a pseudo-terminal, its bytes with the time at which they came."""

    def __init__(self, command: list[str], env: dict[str, str], size: tuple[int, int] = (80, 24)) -> None:
        self.data = b""
        self.begun = time.perf_counter()
        self.pid, self.fd = pty.fork()
        if self.pid == 0:
            os.chdir(env.get("HOME", "."))  # else Python would find the program here before the wheel
            os.execvpe(command[0], command, {**os.environ, "TERM": "xterm-256color", **env})
        fcntl.ioctl(self.fd, termios.TIOCSWINSZ, struct.pack("HHHH", size[1], size[0], 0, 0))

    def read(self, seconds: float) -> bool:
        """Take what comes first within that time; False if nothing did."""
        ready, _, _ = select.select([self.fd], [], [], seconds)
        if ready:
            self.data += os.read(self.fd, 1 << 16)
        return bool(ready)

    def until(self, pattern: bytes, since: int = 0) -> float:
        """Seconds from the start until a pattern stands in what was written."""
        while not re.search(pattern, self.data[since:], re.S):
            if not self.read(60):
                raise SystemExit(f"never written: {pattern!r}; last: {self.data[-400:]!r}")
        return time.perf_counter() - self.begun

    def settle(self, seconds: float) -> None:
        """Until nothing has come for so long."""
        while self.read(seconds):
            pass

    def send(self, keys: str) -> None:
        os.write(self.fd, keys.encode())

    def key(self, keys: str) -> tuple[float, int]:
        """Seconds from a key to the last byte that answers it, and how many there were."""
        before = len(self.data)
        begun = last = time.perf_counter()
        self.send(keys)
        while self.read(QUIET_S if len(self.data) > before else 0.5):
            last = time.perf_counter()
        return last - begun, len(self.data) - before

    def memory_mb(self) -> float:
        """Resident memory."""
        status = Path(f"/proc/{self.pid}/status")
        if not status.exists():
            return math.nan
        return int(re.search(r"VmRSS:\s+(\d+)", status.read_text())[1]) / 1024  # type: ignore[index]

    def end(self) -> None:
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self.fd)


class Judge:
    """Prints each figure beside its budget, and remembers whether one is over it by more than the slack."""

    def __init__(self) -> None:
        self.over: list[str] = []

    def say(self, what: str, found: float, budget: float, unit: str, *, fails: bool = True) -> None:
        mark = ""
        if found > budget:
            mark = "  over" if found <= budget * SLACK or not fails else "  TOO MUCH"
        if mark == "  TOO MUCH":
            self.over.append(what)
        print(f"{what:<46} {found:>9.2f} {unit:<8} budget {budget:g}{mark}", flush=True)


def unpacked(folder: Path) -> dict[str, str]:
    """The environment in which Python finds the program as its wheel has it."""
    env = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    pip = [sys.executable, "-m", "pip", "-q", "--disable-pip-version-check"]
    subprocess.run([*pip, "wheel", "--no-deps", "-w", str(folder / "wheels"), "."], check=True, env=env)
    (wheel,) = (folder / "wheels").glob("floorterm-*.whl")
    site = folder / "site"
    subprocess.run([*pip, "install", "--no-deps", "--target", str(site), str(wheel)], check=True, env=env)
    subprocess.run([sys.executable, "-m", "compileall", "-q", str(site)], check=True, env=env)
    state = {f"XDG_{kind}_HOME": str(folder / kind.lower()) for kind in ("STATE", "DATA", "CACHE")}
    return {"PYTHONPATH": str(site), "HOME": str(folder), "PYTHONDONTWRITEBYTECODE": "", **state}


def start(judge: Judge, env: dict[str, str], folder: Path, rounds: int) -> float:
    """Start against the minimal application; the latter's seconds."""
    (folder / "hello.py").write_text(HELLO, encoding="utf-8")
    command = [*_PROGRAM, "open", "--db", str(folder / "demo.db")]
    found: dict[str, list[float]] = {}
    first = Terminal(command, env)  # from here on the terminal remembers what it said
    first.until(_OPEN)
    while not list(folder.rglob("*.sight")):
        first.read(1)
    first.end()
    for _ in range(rounds):
        hello = Terminal([sys.executable, str(folder / "hello.py")], env)
        floor = hello.until(b"hello world")
        hello.end()
        moved = Terminal(command, env | {"XDG_STATE_HOME": str(folder / "none")})
        for name, pattern in {"moved plain": rb"\n> ", "moved first": b"nobody signed in"}.items():
            found.setdefault(name, []).append(moved.until(pattern) / floor)
        moved.end()
        ours = Terminal(command, env)
        plain = ours.until(rb"\n> ")  # the step that a work has come to
        drawn = len(ours.data)
        framed = ours.until(b"nobody signed in", drawn)
        memory = ours.memory_mb()
        ours.settle(QUIET_S)
        painted = len(ours.data) - drawn
        opened = ours.until(_OPEN, drawn)
        ours.settle(1.0)
        grown = ours.memory_mb()
        answers = [ours.key(_KEYS["f9"])[0] for _ in range(2)]
        ours.settle(0.5)
        for name, value in {
            "hello": floor, "plain": plain / floor, "first": framed / floor, "opened": opened / floor,
            "painted": painted, "memory": memory, "grown": grown, "answer": max(answers) / floor,
        }.items():  # fmt: skip
            found.setdefault(name, []).append(value)
        ours.end()
    middle = {name: statistics.median(values) for name, values in found.items()}
    print(f"minimal application: {middle['hello'] * 1000:.0f} ms, median of {rounds}")
    judge.say("current step readable (plain frame)", middle["plain"], 0.2, "x hello")
    judge.say("first Textual frame, real state", middle["first"], 1.15, "x hello")
    judge.say("  the same, record moved meanwhile: plain frame", middle["moved plain"], 0.7, "x hello")
    judge.say("  and first Textual frame", middle["moved first"], 1.5, "x hello")
    judge.say("record open, signing possible", middle["opened"], 3.5, "x hello")
    judge.say("first paint, 80x24", middle["painted"] / 1000, 17, "kB")
    judge.say("memory at the first frame", middle["memory"], 40, "MB")
    judge.say("memory with the record open", middle["grown"], 75, "MB")
    busy = sorted(one for _ in range(rounds) for one in _keys_while_it_opens(command, env))
    worst = busy[math.ceil(0.99 * len(busy)) - 1] / middle["hello"]
    judge.say(f"key while the record is opened, p99 of {len(busy)}", worst, 100 / 240, "x hello")
    idle = Terminal(command, env)
    idle.until(_OPEN)
    if time.time() % 60 > 50:  # a minute that passes is told: the clock, and the minutes of works
        time.sleep(61 - time.time() % 60)
    idle.settle(3.0)
    judge.say("five idle seconds of one minute", _unasked(idle, 5), 0, "B")
    idle.key(_KEYS["f1"])  # a screen of which nothing but the clock moves
    idle.settle(1.0)
    judge.say("a clock whose minute passes", _unasked(idle, 63 - time.time() % 60), 60, "B")
    idle.end()
    return middle["hello"]


def _unasked(terminal: Terminal, seconds: float) -> int:
    """Bytes that come within that time without a key."""
    before, until = len(terminal.data), time.perf_counter() + seconds
    while (left := until - time.perf_counter()) > 0:
        terminal.read(left)
    return len(terminal.data) - before


def _keys_while_it_opens(command: list[str], env: dict[str, str]) -> list[float]:
    """Seconds that cursor keys take in the list of all keys, which needs no record, while the record is opened."""
    terminal = Terminal(command, env)
    terminal.until(b"nobody signed in")
    terminal.settle(QUIET_S)
    terminal.key("?")
    until, found = time.perf_counter() + 0.4, []
    while time.perf_counter() < until:
        found.append(terminal.key(_KEYS["up" if len(found) % 2 else "down"]))
    terminal.end()
    return [seconds for seconds, count in found if count]


def keys(judge: Judge, env: dict[str, str], hello: float, count: int) -> None:
    """Cursor keys on every screen, at both sizes."""
    for size in SIZES:
        size_text = f"{size[0]}x{size[1]}"
        taken: list[float] = []
        for name, path in SCREENS.items():
            screen = Terminal([*_PROGRAM, "demo"], env, size)
            screen.until(_OPEN)
            screen.settle(0.6)
            for key in path:
                screen.send(_KEYS.get(key, key))
                screen.settle(1.5)
            found = [screen.key(_KEYS["down" if i % 2 == 0 else "up"]) for i in range(count)]
            screen.end()
            found = [one for one in found if one[1]]
            if not found:
                print(f"  {name:<14} has nothing that a cursor key moves")
                continue
            times = sorted(seconds for seconds, _ in found)
            taken += times
            print(
                f"  {name:<14} {size_text:<7} p50 {statistics.median(times) * 1000:6.1f} ms"
                f"  p99 {times[math.ceil(0.99 * len(times)) - 1] * 1000:6.1f} ms"
                f"  = {statistics.median(times) / hello:.3f} x hello, at most {max(n for _, n in found)} B"
            )
            answered = [n for _, n in found]
            judge.say(
                f"bytes a cursor key, {name}, {size_text}",
                statistics.median(answered),
                CURSOR_BYTES[size],
                "B",
            )
        taken.sort()
        judge.say(f"cursor key p50, {size_text}", statistics.median(taken) / hello, 10 / 240, "x hello")
        worst = taken[math.ceil(0.99 * len(taken)) - 1]
        judge.say(f"cursor key p99, {size_text}", worst / hello, 20 / 240, "x hello")


def scans(judge: Judge, env: dict[str, str], folder: Path, processes: int = 4, each: int = 8) -> None:
    """Codes of 20 characters and Enter, from the first instant of a process until its record has long been open."""
    lost = 0
    for process in range(processes):
        notes = folder / f"scans-{process}"
        terminal = Terminal([sys.executable, "-c", NOTING, str(folder / "demo.db"), str(notes)], env)
        codes = []
        for place in range(each):
            at = (place + process / processes) * 0.06
            while (left := terminal.begun + at - time.perf_counter()) > 0:
                terminal.read(left)
            codes.append(f"SCAN-{process}-{place:02}-ABCDE12345X")
            assert len(codes[-1]) == 21
            terminal.send(f"{codes[-1]}\r")
        terminal.until(_OPEN)
        terminal.settle(1.0)
        terminal.end()
        carried = notes.read_text().splitlines() if notes.exists() else []
        lost += len(codes) - sum(a == b for a, b in zip(codes, carried, strict=False))
    print(f"scans from the start of the process: {processes * each}, lost or out of order: {lost}")
    if lost:
        judge.over.append("scans lost")


def main() -> None:
    """Print the figures; exit status 1 where one is over its budget by more than half."""
    ask = argparse.ArgumentParser()
    ask.add_argument("--rounds", type=int, default=9)
    ask.add_argument("--keys", type=int, default=20)
    ask.add_argument("--only", choices=["start", "keys", "scans"])
    asked = ask.parse_args()
    judge = Judge()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        env = unpacked(folder)
        shutil.copyfile("demo.db", folder / "demo.db")
        print(f"load average {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")
        hello = start(judge, env, folder, asked.rounds if asked.only != "scans" else 1)
        if asked.only in (None, "scans"):
            scans(judge, env, folder)
        if asked.only in (None, "keys"):
            keys(judge, env, hello, asked.keys)
    for one in judge.over:
        print(f"over its budget by more than half: {one}")
    sys.exit(bool(judge.over))


if __name__ == "__main__":
    main()

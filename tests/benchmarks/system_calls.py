"""Every system call of one append fails in turn, or is the one at which the program is killed: Python's own SQLite.

    python -m tests.benchmarks.system_calls

`strace` (Linux) injects the fault into a running process. Printed for each call: how often an append makes it, how it
failed, and what the person was told; whatever does not agree with the record is a fault. The short form in the suite
lets every call of a simulated disk fail instead (`tests/durability/test_faults.py`), where power cuts follow too.
"""

import multiprocessing
import re
import shutil
import signal
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from multiprocessing.connection import Connection
from multiprocessing.context import ForkServerContext
from pathlib import Path

from floorterm.ledger import Ledger, LedgerError, OutcomeUnknownError, verify_file
from tests.ledger.conftest import note, staffed

KEY = "the act"
RECORDED = "recorded"
KILLED = "killed"
_BROKEN = ("EIO", "EINTR")
ERRORS = {
    "openat": ("EACCES", "EMFILE", "ENOSPC", *_BROKEN),
    "pread64": _BROKEN,
    "pwrite64": ("ENOSPC", "EDQUOT", "EFBIG", *_BROKEN),
    "fdatasync": ("ENOSPC", *_BROKEN),
    "fsync": ("ENOSPC", *_BROKEN),
    "unlink": ("EACCES", "EROFS", *_BROKEN),
    "fcntl": ("EAGAIN", "ENOLCK", *_BROKEN),
    "newfstatat": ("EACCES", "EIO"),
    "fchown": ("EPERM", "EIO"),
    "close": ("EIO",),
}


def _append_when_told(path: str, pipe: Connection) -> None:
    ledger = Ledger.open(Path(path))
    ledger.append(note("everything is loaded"))
    pipe.send("ready")
    pipe.recv()
    try:
        ledger.append(note(KEY))
        pipe.send(RECORDED)
    except LedgerError as fault:
        pipe.send(type(fault).__name__)
    pipe.recv()


def _told(processes: ForkServerContext, path: Path, *options: str) -> str:
    """What a process says of its append while `strace` does something to its calls."""
    path.write_bytes(path.with_suffix(".whole").read_bytes())
    ours, theirs = processes.Pipe()
    process = processes.Process(target=_append_when_told, args=(str(path), theirs))
    process.start()
    theirs.close()
    ours.recv()
    tracer = subprocess.Popen(
        ["strace", "-p", str(process.pid), "-o", str(path.with_suffix(".calls")), *options],
        stderr=subprocess.PIPE,
        text=True,
    )
    assert tracer.stderr is not None
    attached = tracer.stderr.readline()
    assert "attached" in attached, attached
    ours.send("go")
    try:
        told: str = ours.recv()
    except (EOFError, ConnectionResetError):
        told = KILLED
    tracer.send_signal(signal.SIGINT)
    tracer.communicate()
    process.kill()
    process.join()
    return told


def _wrong(path: Path, told: str, before: int) -> list[str]:
    """What does not agree between the record and what was told."""
    found = []
    now = Ledger.open(path).head().n
    allowed = {before, before + 1}
    if told == RECORDED:
        allowed = {before + 1}
    elif told not in (KILLED, OutcomeUnknownError.__name__):
        allowed = {before}
    if now not in allowed:
        found.append(f"told {told}, and there are {now - before} entries more")
    if Ledger.open(path).append(note(KEY)).n != before + 1:
        found.append("the same key again does not give one entry")
    if not verify_file(path).ok:
        found.append("the record does not hold")
    return found


def _calls(text: str) -> Counter[str]:
    return Counter(name for name in re.findall(r"^(\w+)\(", text, re.MULTILINE) if name in ERRORS)


def trials(folder: Path) -> Iterator[tuple[str, int, str, str, list[str]]]:
    """Name and number of a call, what was done to it, what was told, and what was wrong about that."""
    path = folder / "ledger.db"
    staffed(path)
    shutil.copy(path, path.with_suffix(".whole"))
    before = Ledger.open(path).head().n + 1
    processes = multiprocessing.get_context("forkserver")
    processes.set_forkserver_preload(["tests.ledger.writers", "floorterm.ledger.ledger"])
    assert _told(processes, path) == RECORDED
    made = _calls(path.with_suffix(".calls").read_text())
    for name, count in made.items():
        for fault in (*(f"error={error}" for error in ERRORS[name]), "signal=KILL"):
            for number in range(1, count + 1):
                options = ("-e", f"trace={name}", "-e", f"inject={name}:{fault}:when={number}")
                told = _told(processes, path, *options)
                yield name, number, fault, told, _wrong(path, told, before)


def main() -> int:
    """How many trials were not as they must be."""
    if shutil.which("strace") is None:
        _say("not tried: there is no strace on this machine")
        return 0
    wrong = total = 0
    with tempfile.TemporaryDirectory() as folder:
        told_of: dict[tuple[str, str], Counter[str]] = {}
        for name, number, fault, told, found in trials(Path(folder)):
            total += 1
            told_of.setdefault((name, fault), Counter())[told] += 1
            if found:
                wrong += 1
                _say(f"{name} {number}, {fault}: {'; '.join(found)}")
    for (name, fault), told_all in told_of.items():
        listed = ", ".join(f"{count} {said}" for said, count in told_all.most_common())
        _say(f"{name:<11}{fault:<15}{listed}")
    _say(f"{total} trials, {wrong} of them wrong")
    return wrong


def _say(text: str) -> None:
    print(text, flush=True)  # noqa: T201  a script that prints


if __name__ == "__main__":
    sys.exit(1 if main() else 0)

"""Writers of one ledger, each killed by SIGKILL at a random moment and replaced at once, ten thousand times.

    python -m tests.benchmarks.kills [kills] [writers] [seed]

Every writer acknowledges each entry through a pipe once it is recorded. After every 500 kills the record is held
against what was acknowledged: number and hash of each, the whole chain, positions without a gap; then a new file is
begun. A kill says nothing about a power cut: those are simulated (`python -m tests.benchmarks.power_cuts`).
"""

import multiprocessing
import random
import sys
import tempfile
import time
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path

from floorterm.ledger import Ledger, verify_file
from tests.ledger.conftest import staffed
from tests.ledger.writers import drained, write_for_ever

A_FILE = 500  # kills
LONGEST_S = 0.15  # a writer lives no longer; opening takes some milliseconds of it


@dataclass
class _Writer:
    process: BaseProcess
    pipe: Connection
    until: float

    def end(self) -> dict[int, str]:
        """Kill it; what it had acknowledged."""
        time.sleep(max(0.0, self.until - time.monotonic()))
        self.process.kill()
        self.process.join()
        return drained(self.pipe)


def _started(path: Path, name: str, luck: random.Random) -> _Writer:
    context = multiprocessing.get_context("fork")  # nothing is open in this process, and no thread runs
    ours, theirs = context.Pipe(duplex=False)
    process = context.Process(target=write_for_ever, args=(str(path), name, theirs))
    process.start()
    theirs.close()
    return _Writer(process, ours, time.monotonic() + luck.uniform(0, LONGEST_S))


def kill_often(path: Path, kills: int, writers: int, luck: random.Random) -> tuple[int, int, list[str]]:
    """How many entries there are then, how many of them were acknowledged, and whatever is wrong with them."""
    staffed(path).close()
    running = [_started(path, f"w{number}", luck) for number in range(writers)]
    acknowledged: dict[int, str] = {}
    for number in range(kills):
        writer = min(running, key=lambda it: it.until)
        running.remove(writer)
        acknowledged |= writer.end()
        running.append(_started(path, f"w{number + writers}", luck))
    for writer in running:
        acknowledged |= writer.end()
    entries = Ledger.open(path).entries(after_n=5)
    report = verify_file(path)
    wrong = [problem.text for problem in report.problems]
    kept = {entry.n: entry.hash for entry in entries}
    wrong += [f"entry {n} was acknowledged" for n, hash_ in acknowledged.items() if kept.get(n) != hash_]
    if [entry.pos for entry in entries] != list(range(1, len(entries) + 1)):
        wrong.append("the positions have a gap")
    return len(entries), len(acknowledged), wrong


def main(kills: int = 10_000, writers: int = 3, seed: int = 1) -> int:
    """How many things were wrong."""
    luck = random.Random(seed)
    begin = time.monotonic()
    entries = acknowledged = wrong = 0
    with tempfile.TemporaryDirectory() as folder:
        for first in range(0, kills, A_FILE):
            there, told, found = kill_often(
                Path(folder) / f"{first}.db", min(A_FILE, kills - first), writers, luck
            )
            entries, acknowledged, wrong = entries + there, acknowledged + told, wrong + len(found)
            for text in found:
                _say(f"kills {first} to {first + A_FILE}: {text}")
    _say(
        f"{kills:,} kills, {writers} writers, seed {seed}: {entries:,} entries, {acknowledged:,} of them acknowledged "
        f"before the kill, {wrong} lost or broken; {time.monotonic() - begin:.0f} s"
    )
    return wrong


def _say(text: str) -> None:
    print(text, flush=True)  # noqa: T201  a script that prints


if __name__ == "__main__":
    sys.exit(1 if main(*(int(word) for word in sys.argv[1:4])) else 0)

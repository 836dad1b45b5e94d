"""Several writers at once, and writers killed in the middle: one line, nothing acknowledged missing.

Ten thousand kills: `python -m tests.benchmarks.kills`. Killing a process says nothing about power cuts: those are
simulated (`tests/durability`).
"""

import multiprocessing
import random
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from multiprocessing.context import ForkServerContext
from pathlib import Path
from threading import Barrier

import pytest

from floorterm.ledger import Asked, Ledger, RefusedError, verify_file
from floorterm.wording import Refusal, Say
from tests.ledger import writers
from tests.ledger.conftest import Clock, note, staffed


@pytest.fixture(scope="module")
def processes() -> ForkServerContext:
    """A server that has the ledger loaded already and starts each writer as a fork of itself."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["tests.ledger.writers", "floorterm.ledger.ledger"])
    return context


def test_threads_sharing_one_ledger_never_fork_the_chain(ledger: Ledger) -> None:
    with ThreadPoolExecutor(4) as pool:
        entries = list(pool.map(lambda number: ledger.append(note(f"k{number}")), range(40)))
    assert sorted(entry.pos for entry in entries) == list(range(1, 41))
    assert len({entry.n for entry in entries}) == 40
    report = verify_file(ledger.path)
    assert (report.ok, report.n) == (True, 45)


def test_threads_with_the_same_key_record_one_entry_and_both_get_it(ledger: Ledger) -> None:
    start = Barrier(4)

    def sign(_: int) -> object:
        start.wait()
        return ledger.append(note("the same"))

    with ThreadPoolExecutor(4) as pool:
        entries = list(pool.map(sign, range(4)))
    assert all(entry == entries[0] for entry in entries)
    assert ledger.head().n == 6


def test_of_two_who_sign_the_same_step_one_is_refused(ledger: Ledger, path: Path) -> None:
    def free(asked: Asked) -> Sequence[Refusal]:
        signed = [entry for entry in asked.entries(changeover="C-0001") if entry.step == "flush/weigh"]
        return [Refusal(Say("ledger.no_such_entry", {"n": entry.n}), "site policy") for entry in signed]

    start = Barrier(6)

    def sign(number: int) -> bool:
        own = Ledger.open(path, clock=Clock())  # as two terminals would: no lock in common but the file's
        start.wait()
        try:
            own.append(note(f"k{number}", person=("P01", "P02")[number % 2], step="flush/weigh"), free)
        except RefusedError:
            return False
        return True

    with ThreadPoolExecutor(6) as pool:
        assert sorted(pool.map(sign, range(6))) == [False] * 5 + [True]
    assert ledger.head().n == 6


def test_processes_racing_on_one_changeover_never_fork_the_chain(
    path: Path, processes: ForkServerContext
) -> None:
    staffed(path)
    writers.race(processes, str(path), ("w0", "w1", "w2"), 15)
    ledger = Ledger.open(path)
    entries = ledger.entries(changeover="C-0001")
    assert [entry.pos for entry in entries] == list(range(1, 46))
    assert len({entry.key for entry in entries}) == 45
    assert verify_file(path).ok


def test_a_reply_lost_to_a_kill_is_found_by_the_same_key(path: Path, processes: ForkServerContext) -> None:
    ledger = staffed(path)
    ours, theirs = processes.Pipe()
    process = processes.Process(target=writers.write_once_and_hang, args=(str(path), "lost", theirs))
    process.start()
    while ledger.head().n < 6:
        time.sleep(0.005)
    process.kill()
    process.join()
    ours.close()
    entry = ledger.append(note("lost", changeover=""))
    assert (entry.n, entry.key, ledger.head().n) == (6, "lost", 6)


@pytest.mark.parametrize("seed", range(4))
def test_a_kill_at_any_moment_loses_nothing_that_was_acknowledged(
    path: Path, processes: ForkServerContext, seed: int
) -> None:
    """Five rounds a seed, two writers each, both killed at a random moment."""
    staffed(path)
    moments = random.Random(seed)
    acknowledged: dict[int, str] = {}
    for round_ in range(5):
        running = []
        for name in ("w0", "w1"):
            ours, theirs = processes.Pipe(duplex=False)
            target = (str(path), f"{name}-{seed}-{round_}", theirs)
            process = processes.Process(target=writers.write_for_ever, args=target)
            process.start()
            theirs.close()
            running.append((process, ours))
        running[0][1].poll(20)
        time.sleep(moments.uniform(0, 0.08))
        for process, _ in running:
            process.kill()
        for process, pipe in running:
            process.join()
            acknowledged |= writers.drained(pipe)
        report = verify_file(path)
        assert report.ok, report.problems
    assert acknowledged
    ledger = Ledger.open(path)
    assert all(ledger.entry(n).hash == hash_ for n, hash_ in acknowledged.items())
    assert [entry.pos for entry in ledger.entries(changeover="C-0001")] == list(range(1, ledger.head().n - 4))
    assert ledger.append(note("after")).n == report.n + 1

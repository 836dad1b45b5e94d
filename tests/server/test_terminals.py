"""Two terminals on one server: what one signs shows on the other without a key; a server away is said at once."""

import asyncio
import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
from textual.pilot import Pilot

from floorterm.changeover.acts import Note
from floorterm.demo import open_still
from floorterm.ledger import CHEAP_PROFILE, Ledger
from floorterm.ledger.copying import copy_rows
from floorterm.ledger.server_making import laying_out_server
from floorterm.ledger.server_verify import verify_server
from floorterm.plant import Plant, Who
from floorterm.terminal import desk
from floorterm.terminal.app import FloorApp
from tests.server.conftest import Server
from tests.terminal import other_terminal
from tests.terminal.other_terminal import STEP, begun_for_two
from tests.terminal.shell import opened, text_of

_LIMIT_S = 10.0  # five times the time between two looks at the record


def two_terminals(server: Server, database: str) -> tuple[Plant, Plant]:
    """The demo plant on a server, opened twice."""
    demo = open_still()
    place = server.url(database)
    with demo.ledger.store.snapshot() as read, laying_out_server(place) as write:
        copy_rows(read, write)

    def terminal(name: str) -> Plant:
        ledger = Ledger.open(place, clock=demo.now, pin_profile=CHEAP_PROFILE)
        return Plant(demo.library, ledger, name)

    return terminal("T1"), terminal("T2")


def test_of_two_terminals_that_sign_the_same_step_at_one_moment_one_is_recorded_and_the_other_reads_who_it_was(
    plant: Plant, server: Server, database: str
) -> None:
    """Each a process with its own connection, on what a file's plant began."""
    work = begun_for_two(plant)
    place = server.url(database)
    with plant.ledger.store.snapshot() as read, laying_out_server(place) as write:
        copy_rows(read, write)
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["tests.terminal.other_terminal", "floorterm.ledger.server"])
    told = other_terminal.both_sign(context, plant, place, work, STEP)
    signed = Plant(plant.library, Ledger.open(place), "T3").state(work).signed[STEP]
    loser = told[("AA", "CC").index(signed.person) - 1]
    assert told.count("recorded") == 1
    assert f"{signed.name} signed this at " in loser
    assert verify_server(place).ok


async def _seen(pilot: Pilot[int], app: FloorApp, true: Callable[[], bool]) -> None:
    """Look, without a key, until the limit."""
    loop = asyncio.get_running_loop()
    end = loop.time() + _LIMIT_S
    while not true():
        assert loop.time() < end, f"not within {_LIMIT_S} s; the screen was:\n{text_of(app)}"
        await pilot.pause(0.05)


async def test_what_one_terminal_records_shows_on_the_other_without_a_key(
    server: Server, database: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    here, there = two_terminals(server, database)
    async with opened(here) as (app, pilot):
        assert "holds Palmarosa" in text_of(app)
        supervisor = there.ledger.person("CI")
        there.state_holds(Who(supervisor, "pin"), "L2", ("juniper",), "flushed by hand", key="k1")
        await _seen(pilot, app, lambda: "holds Juniper" in text_of(app))
        monkeypatch.setattr(desk, "SILENT_S", 0.2)
        with _standing_still(server, database):
            await app.look_at_record()
            await pilot.pause()
            assert "NO RECORD" in text_of(app), "a server that stands still breaks no connection"
            assert "holds Juniper" in text_of(app), "what was read stays"
        monkeypatch.undo()
        await app.look_at_record()
        await pilot.pause()
        assert "NO RECORD" not in text_of(app)


@contextmanager
def _standing_still(server: Server, database: str) -> Iterator[None]:
    """Every process of the server that works for this database is stopped: it neither answers nor hangs up."""
    asked = f"SELECT pid FROM pg_stat_activity WHERE datname = '{database}'"
    pids = [int(str(pid)) for (pid,) in server.sql(asked)]
    for pid in pids:
        os.kill(pid, signal.SIGSTOP)
    try:
        yield
    finally:
        for pid in pids:
            os.kill(pid, signal.SIGCONT)


async def test_a_server_that_went_away_is_said_and_found_again_by_itself(
    server: Server, database: str
) -> None:
    here, _ = two_terminals(server, database)
    async with opened(here) as (app, pilot):
        server.sql(f"ALTER DATABASE {database} ALLOW_CONNECTIONS false")
        server.sql(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
            f" WHERE datname = '{database}' AND application_name = 'floorterm'"
        )
        await _seen(pilot, app, lambda: "NO RECORD" in text_of(app))
        app.session.begin(open_still().ledger.person("CI"))
        assert app.desk.record("C-0011", Note(text="on paper"), key="k2")
        await _seen(pilot, app, lambda: not app.desk.pending)
        assert "NOT RECORDED" in text_of(app)
        server.sql(f"ALTER DATABASE {database} ALLOW_CONNECTIONS true")
        await _seen(pilot, app, lambda: "NO RECORD" not in text_of(app))
        assert app.desk.record("C-0011", Note(text="on paper"), key="k2")
        await _seen(pilot, app, lambda: not app.desk.pending)
        assert [
            entry.key for entry in here.ledger.entries(changeover="C-0011", newest_first=True, limit=1)
        ] == ["k2"]

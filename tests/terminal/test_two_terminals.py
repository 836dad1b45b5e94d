"""Two terminals of one machine, each a process, on one file: one signs, the other hears who; what one records shows."""

import multiprocessing
from multiprocessing.context import ForkServerContext

import pytest

from floorterm.ledger import verify_file
from floorterm.plant import Plant
from tests.terminal import other_terminal
from tests.terminal.other_terminal import STEP, begun_for_two
from tests.terminal.shell import opened, text_of, until


@pytest.fixture(scope="module")
def processes() -> ForkServerContext:
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["tests.terminal.other_terminal", "floorterm.ledger.ledger"])
    return context


def test_of_two_who_sign_the_same_step_at_one_moment_one_is_recorded_and_the_other_reads_who_it_was(
    plant: Plant, processes: ForkServerContext
) -> None:
    started = begun_for_two(plant)
    head = plant.ledger.head().n
    told = other_terminal.both_sign(processes, plant, plant.ledger.path, started, STEP)
    signed = plant.state(started).signed[STEP]
    loser = told[("AA", "CC").index(signed.person) - 1]
    assert told.count("recorded") == 1
    assert f"{signed.name} signed this at {signed.at:%H:%M}" in loser
    assert plant.ledger.head().n == head + 1
    assert verify_file(plant.ledger.path).ok


async def test_what_another_process_records_shows_on_the_open_screen_without_a_key(
    plant: Plant, processes: ForkServerContext
) -> None:
    ours, theirs = processes.Pipe()
    place, at = plant.ledger.path, plant.ledger.now()
    process = processes.Process(target=other_terminal.state_holds, args=(place, at, "L2", "juniper", theirs))
    process.start()
    async with opened(plant) as (app, pilot):
        await until(pilot, ours.poll)
        assert ours.recv() == "ready"
        assert "holds Juniper" not in text_of(app)
        ours.send("go")
        await until(pilot, lambda: "holds Juniper" in text_of(app))
        assert ours.recv() == "recorded"
    process.join()

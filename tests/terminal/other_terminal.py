"""Another terminal of the plant, in a process of its own: what it does is told through a pipe."""

from datetime import datetime
from multiprocessing.connection import Connection
from multiprocessing.context import ForkServerContext
from typing import TYPE_CHECKING

from floorterm.changeover.acts import SignStep
from floorterm.demo.clock import SetClock
from floorterm.ledger import CHEAP_PROFILE, Ledger, RefusedError
from floorterm.library import load, starter_folder
from floorterm.people import LockoutStatus, Person
from floorterm.plant import Plant, Who
from floorterm.wording import sentence
from tests.conftest import PIN, who

if TYPE_CHECKING:
    from floorterm.ledger import Place


STEP = "prep/read-worksheet"


def begun_for_two(plant: Plant) -> str:
    """A changeover, and a second line operator beside A. Abel."""
    second = Person("CC", "C. Cole", duties=frozenset({"line_operator"}), lockout=LockoutStatus.AFFECTED)
    plant.ledger.add_person(second, PIN, by="AD")
    return plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "begin").work


def _opened(place: "Place", at: datetime, name: str) -> Plant:
    ledger = Ledger.open(place, clock=SetClock(at), pin_profile=CHEAP_PROFILE)
    return Plant(load(starter_folder()), ledger, name)


def sign(place: "Place", at: datetime, code: str, work: str, step: str, pipe: Connection) -> None:
    """Read the work, wait for the word, then sign: says "recorded", or what a person reads instead."""
    plant = _opened(place, at, f"T-{code}")
    plant.state(work)
    pipe.send("ready")
    pipe.recv()
    try:
        plant.act(work, SignStep(step=step), Who(plant.ledger.person(code), "pin"), key=f"by-{code}")
    except RefusedError as refused:
        pipe.send(" ".join(sentence(refusal.say) for refusal in refused.refusals))
    else:
        pipe.send("recorded")


def state_holds(place: "Place", at: datetime, line: str, fragrance: str, pipe: Connection) -> None:
    """State what a line holds when told to, as the supervisor would at another terminal."""
    plant = _opened(place, at, "T2")
    pipe.send("ready")
    pipe.recv()
    plant.state_holds(
        Who(plant.ledger.person("SS"), "pin"), line, (fragrance,), "flushed by hand", key="by-T2"
    )
    pipe.send("recorded")


def both_sign(processes: ForkServerContext, plant: Plant, place: "Place", work: str, step: str) -> list[str]:
    """What AA and CC are told who sign the same step at one moment, each at a terminal of its own."""
    pipes, running = [], []
    for code in ("AA", "CC"):
        ours, theirs = processes.Pipe()
        process = processes.Process(target=sign, args=(place, plant.ledger.now(), code, work, step, theirs))
        process.start()
        pipes.append(ours)
        running.append(process)
    for pipe in pipes:
        assert pipe.recv() == "ready"
    for pipe in pipes:
        pipe.send("go")
    told = [str(pipe.recv()) for pipe in pipes]
    for process in running:
        process.join()
    return told

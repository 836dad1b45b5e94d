"""A real terminal, killed by SIGKILL at random moments of a changeover.

What the screen had acknowledged is in the record, the chain holds, and the screen comes back at the step where the
record stands. This shows kills, not power cuts: for those stand the settings that the ledger reads back.
"""

import random
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from floorterm.changeover.acts import SignStep
from floorterm.changeover.bench import usual_entry
from floorterm.changeover.entering import worked_act
from floorterm.changeover.queries import needs_pin
from floorterm.changeover.state import State
from floorterm.changeover.view import view
from floorterm.changeover.worksheet import Step
from floorterm.ledger import Ledger
from floorterm.ledger.verify import verify_file
from floorterm.library.model import Library
from floorterm.people import LockoutStatus, Permission, Person
from floorterm.plant import Plant, Who, new_key
from floorterm.terminal.patience import SETTLE_S
from tests.conftest import PIN
from tests.terminal.pty_run import PseudoTerminal

ROUNDS = 4
CODE = "ZZ"


@pytest.fixture
def real(tmp_path: Path, library: Library) -> Plant:
    """A plant on the wall clock with one person who has every duty, and a changeover begun on line 1."""
    ledger = Ledger.create(
        tmp_path / "ledger.db",
        plant_id=library.plant.id,
        plant_name=library.plant.name,
        time_zone=library.plant.time_zone,
    )
    ledger.add_person(Person(code="AD", name="A. Dmin", permission=Permission.ADMINISTRATOR), PIN, by="")
    everything = Person(
        code=CODE,
        name="Z. Zorn",
        permission=Permission.SUPERVISOR,
        duties=frozenset(duty.id for duty in library.plant.duties),
        lockout=LockoutStatus.AUTHORIZED,
        trained_on=datetime.now(UTC).date(),
    )
    witness = Person(code="WW", name="W. Witt", duties=everything.duties)
    for person in (everything, witness):
        ledger.add_person(person, PIN, by="AD")
    plant = Plant(library, ledger, "T1")
    who = Who(ledger.person(CODE), "pin")
    plant.state_holds(who, "L1", ("plain",), "first statement", key=new_key())
    plant.start_changeover(who, "L1", "petitgrain", new_key())
    return plant


def _shown(plant: Plant, state: State) -> Step | None:
    """The step that the screen shows to this person."""
    found = view(state, plant.ledger.person(CODE), plant.now(), "en").step
    return state.worksheet.step(found.id) if found else None


def _enter(terminal: PseudoTerminal, step: Step) -> None:
    """Type, or scan, what records a step within its limits."""
    match step.kind:
        case "reading":
            low = step.low if step.low is not None else step.high
            terminal.type(str(low if low is not None else 1))
        case "choice":
            terminal.type("1")
        case "scan":
            terminal.send(step.expect.encode() + b"\r")
            terminal.wait_for(lambda text: f"> {step.expect}" in text)
            terminal.type("")  # a scan never signs: Enter does
        case "text":
            terminal.type("lot 7")
        case _:
            time.sleep(SETTLE_S)  # what has just appeared takes Enter after a moment
            terminal.send(b"\r")


def _easy(plant: Plant, state: State, step: Step) -> bool:
    """Steps that one person records with a few keys; the rest is signed past the screen."""
    if (
        step.kind not in ("confirm", "reading", "choice", "scan", "text")
        or step.witness
        or step.mark
        or step.worked_out
    ):
        return False
    return not needs_pin(state.worksheet, SignStep(step=step.id), step)


def _sign_past_the_screen(plant: Plant, work: str, step: Step) -> None:
    if step.worked_out:
        act = worked_act(step, usual_entry(step), None)
        plant.act(work, act, Who(plant.ledger.person(CODE), "pin"), key=new_key())
        return
    entry = {
        "reading": {"number": str(step.low if step.low is not None else step.high or 1)},
        "choice": {"choice": step.choices[0].id if step.choices else ""},
        "scan": {"scanned": step.expect},
        "text": {"text": "lot 7"},
    }.get(step.kind, {})
    act = SignStep(step=step.id, counter=41_000 if step.mark else None, **entry)  # type: ignore[arg-type]
    witness = plant.ledger.person("WW") if step.witness else None
    plant.act(work, act, Who(plant.ledger.person(CODE), "pin"), key=new_key(), witness=witness)


def _easy_steps(plant: Plant, work: str) -> Iterator[Step]:
    """The steps to be typed, one after the other, as the record moves on."""
    while True:
        state = plant.state(work)
        step = _shown(plant, state)
        if step is None or step.kind in ("flush", "wait"):
            return
        if _easy(plant, state, step):
            yield step
        else:
            _sign_past_the_screen(plant, work, step)


def _start(path: Path) -> PseudoTerminal:
    """Open the program, go to the changeover, sign in."""
    terminal = PseudoTerminal([sys.executable, "-m", "floorterm", "open", "--db", str(path)])
    terminal.wait_for(lambda text: "Line 1" in text and "steps to go" in text)
    terminal.send(b"\r")
    terminal.wait_for(lambda text: "NOW" in text)
    terminal.send(b"\x1b[21~")  # F10
    terminal.wait_for(lambda text: "Who are you" in text)
    terminal.type(CODE)
    terminal.wait_for(lambda text: "PIN" in text and "Z. Zorn" in text)
    terminal.type(PIN)
    terminal.wait_for(lambda text: "NOW" in text and "Z. Zorn" in text)
    return terminal


def _stands_at(text: str, step: Step) -> bool:
    """Whether the screen shows that step as the one in hand."""
    plain = " ".join(text.split())
    start = " ".join(step.text["en"].replace("\n", " ").split())[:30]
    return f"NOW {start}" in plain


def test_killed_at_random_moments_it_comes_back_where_the_record_stands(real: Plant, tmp_path: Path) -> None:
    path = tmp_path / "ledger.db"
    dice = random.Random(20261124)
    work = real.works("L1")[0].work
    acknowledged: list[str] = []
    steps = _easy_steps(real, work)
    for _ in range(ROUNDS):
        terminal = _start(path)
        step = _shown(real, real.state(work))
        assert step is not None
        terminal.wait_for(lambda text, step=step: _stands_at(text, step))
        for _ in range(dice.randint(1, 4)):
            step = next(steps)
            terminal.wait_for(lambda text, step=step: _stands_at(text, step))
            _enter(terminal, step)
            terminal.wait_for(lambda text, step=step: not _stands_at(text, step))
            acknowledged.append(step.id)
        last = next(steps)
        terminal.wait_for(lambda text, last=last: _stands_at(text, last))
        _enter(terminal, last)
        terminal.pump(dice.uniform(0, 0.15))
        terminal.kill()
        report = verify_file(path)
        assert report.ok, report.problems
        signed = real.state(work).signed
        missing = [name for name in acknowledged if name not in signed]
        assert missing == [], "acknowledged on screen, not in the record"
    assert len(acknowledged) >= ROUNDS

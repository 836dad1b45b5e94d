"""A changeover walked at a terminal that is another process: by what the record says next and what the screen shows.

Nothing of the application is in reach here: keys go in, a picture comes out, and the ledger's file is read beside it.
"""

import re
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from shutil import copytree
from typing import Protocol

from floorterm.changeover.view import view
from floorterm.changeover.worksheet import Step
from floorterm.ledger import CHEAP_PROFILE, Ledger
from floorterm.library import load, starter_folder
from floorterm.people import LockoutStatus, Permission, Person
from floorterm.plant import Plant, Who
from floorterm.terminal.patience import SETTLE_S
from tests.conftest import PIN
from tests.terminal.test_walk import LINE, OUTGOING, PEOPLE, WITNESSES, entered

CODE, NAME = "NM-JUN", "Juniper"  # what comes after palmarosa: no strip-down, more than sixty steps
PATIENCE_S = 60.0  # a busy machine is slow, never wrong


class Terminal(Protocol):
    """A terminal as a person has it."""

    @property
    def text(self) -> str:
        """What stands on the screen."""

    def press(self, key: str) -> None:
        """One key, by its name: F6, Enter, Down."""

    def type(self, text: str) -> None:
        """Characters, all at once: without Enter they are no scan."""

    def scan(self, code: str) -> None:
        """A scanner's burst, with its Enter."""

    def rest(self) -> None:
        """Let a moment pass, and take in what was drawn."""


def plant_for(folder: Path) -> Plant:
    """The starter plant in files of its own: nobody waits for a dwell, and only witness and release give their PIN."""
    checklists = folder / "checklists"
    copytree(starter_folder(), checklists)
    for path in checklists.rglob("*.yaml"):
        said = path.read_text(encoding="utf-8")
        said = re.sub(r"dwell_min: \d+", "dwell_min: 0.01", said)
        said = re.sub(r"again_for: \[.*\]", "again_for: [witness, disposition, release]", said)
        path.write_text(said, encoding="utf-8")
    library = load(checklists)
    ledger = Ledger.create(
        folder / "ledger.db",
        plant_id=library.plant.id,
        plant_name=library.plant.name,
        time_zone=library.plant.time_zone,
        checklists=str(checklists),
        pin_profile=CHEAP_PROFILE,
    )
    ledger.add_person(Person(code="AD", name="A. Dmin", permission=Permission.ADMINISTRATOR), PIN, by="")
    today = date.today()  # noqa: DTZ011  training is by the plant's days
    for one in PEOPLE:
        trained = {"trained_on": today - timedelta(days=100), "valid_to": today + timedelta(days=400)}
        fields = {name: getattr(one, name) for name in ("code", "name", "permission", "duties", "badge")}
        person = Person(**fields, **trained, lockout=LockoutStatus.AUTHORIZED)
        ledger.add_person(person, PIN, by="AD")
    plant = Plant(library, ledger, "T1")
    supervisor = Who(ledger.person("SS"), "pin")
    for line, holds in {"L1": "plain", LINE: OUTGOING}.items():
        plant.state_holds(supervisor, line, (holds,), "first statement", key=ledger.new_id())
    return plant


class Counter:
    """The bar counter of the line."""

    bars = 40_000

    def counted(self) -> int:
        self.bars += 1217
        return self.bars


class Walk:
    """R. Ode walks a changeover from Lines to the release; witnesses come when the screen calls them."""

    def __init__(
        self, terminal: Terminal, plant: Plant, between: "Callable[[Walk, int], None] | None" = None
    ) -> None:
        """`between` is told after every step how many are signed: something may happen to the terminal then."""
        self.terminal, self.plant, self._between = terminal, plant, between
        self.scans = 0
        self._counter = Counter()
        self._scanned: tuple[str, float] = ("", 0.0)

    def until(self, true: Callable[[], object], what: str) -> None:
        end = time.monotonic() + PATIENCE_S
        while not true():
            assert time.monotonic() < end, f"waited in vain for {what}; the screen was:\n{self.terminal.text}"
            self.terminal.rest()

    def sees(self, *words: str) -> None:
        """Wait for words on the screen."""
        self.until(lambda: all(one in self.terminal.text for one in words), ", ".join(words))

    def from_lines_to_release(self) -> str:
        """The whole of it. Gives the work."""
        terminal = self.terminal
        self.sees("Line 2", "holds")
        terminal.press("Down")
        self.sees("> 2 Line 2")
        terminal.press("F6")
        self.sees("which fragrance comes?", CODE)
        row = next(text for text in terminal.text.splitlines() if CODE in text)
        terminal.press(re.sub(r"\D*(\d+).*", r"\1", row))
        self.until(lambda: re.search(rf"> \d {NAME}", terminal.text), "the chosen row")
        self._enter_what_appeared()
        self.sees("is this what you want to start")
        self._enter_what_appeared()
        self._sign_in("OO")
        self.sees("step 1 of")
        (work,) = [state.work for state in self.plant.works(LINE)]
        while (step := self._next(work)) is not None:
            self._sign(work, step)
            if self._between is not None:
                self._between(self, len(self.plant.state(work).signed))
        self.until(lambda: "RELEASE" in terminal.text.upper(), "the release")
        self._enter_what_appeared()
        self._pin()
        self.until(lambda: self.plant.state(work).status == "released", "the release")
        return work

    def come_back(self) -> None:
        """To the step in hand, at a terminal that was started again: the work on is the first line."""
        self.sees("> 1 Line 2", "steps to go")
        self.terminal.press("Enter")
        self.sees("NOW")
        self.terminal.press("F10")
        self._sign_in("OO")

    def _next(self, work: str) -> Step | None:
        state = self.plant.state(work)
        shown = view(state, self.plant.ledger.person("OO"), self.plant.now(), "en").step
        return state.worksheet.step(shown.id) if shown else None

    def _sign(self, work: str, step: Step) -> None:
        terminal, n = self.terminal, self.plant.state(work).last_n
        state = self.plant.state(work)
        place = [one.id for one in state.worksheet.steps()].index(step.id) + 1
        self.sees(f"step {place} of")
        shown = view(state, self.plant.ledger.person("OO"), self.plant.now(), "en").step
        assert shown is not None
        if step.kind == "wait":
            self.until(lambda: "REFUSED" not in terminal.text, "the dwell")
        given = entered(step, shown.entry, self._counter)
        for option in given.chosen:
            if option not in shown.entry.chosen:
                terminal.press(str([one.id for one in shown.entry.options].index(option) + 1))
        if given.text and shown.entry.mode == "code":
            self._scan(given.text)
        elif given.text:
            self._type(given.text)
        if given.text or given.chosen != shown.entry.chosen:  # whoever enters a value has seen the step
            terminal.press("Enter")
        else:
            self._enter_what_appeared()
        if step.witness:
            self._witness(WITNESSES[step.witness])
        self.until(lambda: self.plant.state(work).last_n > n, f"{step.id} to be recorded")

    def _enter_what_appeared(self) -> None:
        """Enter signs what has been seen for a moment."""
        end = time.monotonic() + SETTLE_S
        self.until(lambda: time.monotonic() > end, "a moment")
        self.terminal.press("Enter")

    def _witness(self, code: str) -> None:
        """The signer may be asked for their own PIN first."""
        asked = re.compile(r"Who saw it\?|what is your PIN\?")
        self.until(lambda: asked.search(self.terminal.text), "who saw it")
        if "what is your PIN?" in self.terminal.text:
            self._pin()
        self._sign_in(code)

    def _scan(self, code: str) -> None:
        before, at = self._scanned
        if before == code:  # the same code again within two seconds is one scan
            self.until(lambda: time.monotonic() - at > 2.2, "another scan of the same code")
        self.terminal.scan(code)
        self._scanned = (code, time.monotonic())
        self.scans += 1
        self.sees(code)

    def _type(self, text: str) -> None:
        """Type and look: Enter comes when all of it (of much text the end) stands there, on a slow machine too."""
        self.terminal.type(text)
        end, hidden = f"{text[-20:]}_", f"{'* ' * len(text)}_"
        self.until(lambda: end in self.terminal.text or hidden in self.terminal.text, f"{text} on the screen")

    def _sign_in(self, code: str) -> None:
        """The person chooses themselves by code and gives the PIN."""
        self.until(lambda: re.search(r"Who (are you|saw it)\?", self.terminal.text), "who it is")
        self._type(code.lower())
        self.terminal.press("Enter")
        self._pin()

    def _pin(self) -> None:
        self.sees("what is your PIN?")
        self._type(PIN)
        self.terminal.press("Enter")
        self.until(lambda: "what is your PIN?" not in self.terminal.text, "the PIN to be right")

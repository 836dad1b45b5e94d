"""Several terminals and one record, every step of them decided by a seed, with kills, power cuts and lost replies.

In one form every terminal is a program of the machine that holds the file, as with SQLite. In the other the file
lies with a server: statements and answers go over links, and a link that breaks while the server is at work leaves
it to finish, so that the answer is lost and not the work. Ledger, transactions, guards and what is done after a
commit that failed are the program's own; of a server only its promises are simulated.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from random import Random

from floorterm.entries import Draft
from floorterm.ledger import (
    Asked,
    Ledger,
    LedgerBusyError,
    LedgerCannotOpenError,
    LedgerDiskError,
    LedgerError,
    LedgerFullError,
    OutcomeUnknownError,
    RefusedError,
    ServerLostError,
)
from floorterm.wording import Refusal, Say
from tests.durability.access import Access, OnThisMachine, OverLink, Site
from tests.durability.disk import Disk
from tests.durability.driver import Way, using
from tests.durability.faults import KINDS
from tests.durability.machine import Fault, Machine
from tests.durability.model import Act, Told, faults
from tests.durability.schedule import Gone, Schedule, Task
from tests.durability.session import found_in, stage
from tests.ledger.conftest import counted, note

MISHAPS = 6  # at most so many in one schedule, so that it comes to an end
PEOPLE = ("P01", "P02", "S01")
CHANGEOVER = "C-0001"
EXPECTED = (LedgerBusyError, LedgerCannotOpenError, LedgerDiskError, LedgerFullError, ServerLostError)


@dataclass(frozen=True, slots=True)
class Outcome:
    """One schedule: what was wrong with it, what happened, what was told, how many steps, and which."""

    seed: int
    problems: list[str]
    mishaps: list[str]
    told: list[Told]
    steps: int
    trace: str


def simulate(seed: int, folder: Path, *, server: bool, terminals: int = 3, acts: int = 2) -> Outcome:
    """One schedule from its seed to its end, and the record held against the model."""
    with stage(folder) as (disk, path), using(Machine(disk, folder)):
        world = World(seed, disk, path)
        access = OverLink if server else OnThisMachine
        names = (f"T{number + 1}" for number in range(terminals))
        world.terminals = [Terminal(world, name, access, acts) for name in names]
        return world.play()


class World:
    """The disk, whoever uses it, what they were told, and what befalls them."""

    def __init__(self, seed: int, disk: Disk, path: Path) -> None:
        self.luck = Random(seed)
        self.disk = disk
        self.path = path
        self.schedule = Schedule(self.luck)
        self.acts: list[Act] = []
        self.terminals: Sequence[Terminal] = ()
        self.problems: list[str] = []
        self.mishaps: list[str] = []
        self._seed = seed
        self._away_until = 0
        self._replies_lost = self.luck.random() < 0.5
        self._rate = self.luck.choice((0.001, 0.004, 0.012))  # of mishaps a step

    def play(self) -> Outcome:
        """Everything until all are done, then the look into the record."""
        start = Ledger.open(self.path).head().n
        self.schedule.run(self._befall)
        entries, fault = found_in(self.disk.files(), self.path.parent / "afterwards")
        self.problems += [fault] if fault else faults(self.acts, entries, start)
        told = [act.told for act in self.acts]
        return Outcome(
            self._seed, self.problems, self.mishaps, told, self.schedule.steps, self.schedule.trace
        )

    def step(self, call: str, name: str) -> Fault | None:
        """Before a call to the disk others may go on, and now and then the call fails."""
        self.schedule.pause(f"{call} {name}")
        if call in KINDS and self._mishap():
            code, share = self.luck.choice(KINDS[call])
            self.mishaps.append(f"{call} fails with {code}")
            return Fault(code, share)
        return None

    def loses_reply(self) -> bool:
        """One commit in eight is never answered, if replies are lost in this schedule."""
        if self._replies_lost and len(self.mishaps) < MISHAPS and self.luck.random() < 0.125:
            self.mishaps.append("lose_reply")
            return True
        return False

    def delay(self) -> int:
        """Short or long."""
        return self.luck.choice((0, 10, 100, 300))

    def _mishap(self) -> bool:
        return len(self.mishaps) < MISHAPS and self.luck.random() < self._rate

    def _befall(self) -> None:
        if self._mishap():
            terminal = self.luck.choice(self.terminals)
            happens = self.luck.choice((self.cut_power, terminal.kill, terminal.lose_link))
            if happens():
                self.mishaps.append(happens.__name__)

    def cut_power(self) -> bool:
        """What was not synced is forgotten or reordered; whoever worked on this disk is no more."""
        files = self.disk.after_cut(self.luck)
        ended = [terminal for terminal in self.terminals if terminal.lose_power()]
        self.disk = Disk(files)
        for terminal in ended:
            terminal.start()
        self._away_until = self.schedule.steps + self.luck.randrange(60)
        return True

    def reachable(self) -> bool:
        """A server is away for a while after a power cut."""
        return self.schedule.steps >= self._away_until


class Terminal:
    """Somebody who makes acts one after the other, and tries again with the same key where one failed."""

    def __init__(self, world: World, name: str, access: Callable[[Site], Access], acts: int) -> None:
        self._world = world
        self._name = name
        self._new_access = access
        self._left = acts
        self._pending: Act | None = None
        self._done: list[Act] = []
        self._new_key = counted()
        self.start()

    def start(self) -> None:
        """The program is started, or started anew."""
        self._access = self._new_access(self._world)
        self._task: Task = self._world.schedule.begin(self._name, self._live)

    def kill(self) -> bool:
        """The program is ended at once and started anew; False if it had done everything."""
        if not self.end():
            return False
        self.start()
        return True

    def end(self) -> bool:
        """The program is ended at once, if it had not done everything."""
        if self._task.over:
            return False
        self._access.program_ended()
        self._world.schedule.end(self._task)
        return True

    def lose_link(self) -> bool:
        """Whether there was a link that is broken now."""
        return not self._task.over and self._access.link_lost()

    def lose_power(self) -> bool:
        """The machine that has the disk lost its power; whether that ended the program here."""
        return self._access.power_lost() and self.end()

    def _live(self) -> None:
        ledger, access = None, self._access
        try:
            with using(Way(self._world.path.parent, access.opened)):
                while self._pending or self._left:
                    try:
                        ledger = ledger or access.ledger()
                        self._pending = self._pending or self._next(ledger)
                        self._try(ledger, self._pending)
                    except LedgerError as fault:
                        self._note(fault)
                        self._world.schedule.pause("waits")
        except Gone:
            pass

    def _note(self, fault: LedgerError) -> None:
        if not isinstance(fault, EXPECTED):
            self._world.problems.append(f"{self._name}: {type(fault).__name__} {fault}")

    def _next(self, ledger: Ledger) -> Act:
        luck = self._world.luck
        kind = luck.choice(("step", "step", "two", "again"))
        if kind == "again" and self._done:
            self._left -= 1
            return luck.choice(self._done)
        person = luck.choice(PEOPLE)
        if kind == "step":
            step = self._next_step(ledger)
            act = Act((self._draft(person, step=f"step/{step}"),), step=step)
        else:
            act = Act((self._draft(person), self._draft(person, changeover="")))
        self._left -= 1
        self._world.acts.append(act)
        return act

    def _draft(self, person: str, **fields: str) -> Draft:
        return note(
            f"{self._name}-{self._new_key()}",
            person,
            **({"changeover": CHANGEOVER, "terminal": self._name} | fields),
        )

    def _next_step(self, ledger: Ledger) -> int:
        """As the screen shows it: the first that nobody signed. What was acknowledged before is seen."""
        sure = {entry.hash for act in self._world.acts if act.told is Told.RECORDED for entry in act.entries}
        entries = ledger.entries()
        if not sure <= {entry.hash for entry in entries}:
            self._world.problems.append(f"{self._name} does not see what was acknowledged")
        return 1 + sum(entry.step.startswith("step/") for entry in entries)

    def _try(self, ledger: Ledger, act: Act) -> None:
        moment = self._world.schedule
        fresh = act.begin(moment.steps)
        try:
            entries = ledger.append_all(act.drafts, _only_next(act.step) if act.step else None)
        except RefusedError:
            if act.told is Told.RECORDED:
                self._world.problems.append(f"{act.drafts[0].key} was acknowledged, and is refused now")
            act.told = Told.NOT_RECORDED  # said inside a transaction: no earlier try stands or can come
            self._pending = None
        except OutcomeUnknownError:
            self._perhaps_give_up()
        except LedgerError as fault:
            self._note(fault)
            if fresh:
                act.told = Told.NOT_RECORDED
            self._perhaps_give_up()
        else:
            if act.told is Told.RECORDED and entries != act.entries:
                self._world.problems.append(f"{act.drafts[0].key} gives other entries now")
            if act.told is not Told.RECORDED:
                act.told, act.entries, act.ended = Told.RECORDED, entries, moment.steps
                self._done.append(act)
            self._pending = None

    def _perhaps_give_up(self) -> None:
        if self._world.luck.random() < 0.2:
            self._pending = None


def _only_next(step: int) -> Callable[[Asked], list[Refusal]]:
    """A rule that two terminals cannot both meet."""

    def guard(asked: Asked) -> list[Refusal]:
        signed = sum(entry.step.startswith("step/") for entry in asked.entries(changeover=CHANGEOVER))
        return (
            [] if signed == step - 1 else [Refusal(Say("ledger.no_such_entry", {"n": step}), "site policy")]
        )

    return guard

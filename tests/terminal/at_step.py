"""A real changeover brought to a step the quick way, so that a screen test begins where it matters."""

from collections.abc import Iterable
from datetime import timedelta

from msgspec.structs import replace

from floorterm.changeover.acts import Act, LockoutAct, SignStep
from floorterm.changeover.entering import likely_act
from floorterm.changeover.state import State
from floorterm.changeover.worksheet import Step
from floorterm.demo.clock import SetClock
from floorterm.lockout.model import Event
from floorterm.people import LockoutStatus, Person
from floorterm.plant import Plant
from tests.conftest import DAY, PIN, who

WITNESSES = {"supervisor": "SS", "quality": "QQ", "packer": "BB", "safety_officer": "VV"}
ODE = Person(
    code="OO",
    name="R. Ode",
    duties=frozenset({"line_operator", "mixer", "packer", "quality", "mechanic", "supervisor"}),
    lockout=LockoutStatus.AUTHORIZED,
    trained_on=DAY - timedelta(days=100),
    valid_to=DAY + timedelta(days=400),
    badge="BADGE-OO",
)


class Crew:
    """R. Ode, who has every duty, walks a changeover on line 2 with strip-down; others witness."""

    def __init__(self, plant: Plant, clock: SetClock, work: str) -> None:
        self.plant, self.clock, self.work = plant, clock, work
        self.ode = plant.ledger.person("OO")

    @classmethod
    def begin(cls, plant: Plant, clock: SetClock, *, line: str = "L2", outgoing: str = "palmarosa") -> "Crew":
        """Start the changeover."""
        plant.ledger.add_person(ODE, PIN, by="AD")
        supervisor = who(plant, "SS")
        plant.state_holds(supervisor, line, (outgoing,), "for a test", key=plant.ledger.new_id())
        started = plant.start_changeover(supervisor, line, "plain", plant.ledger.new_id())
        return cls(plant, clock, started.work)

    @property
    def state(self) -> State:
        return self.plant.state(self.work)

    def act(self, act: Act, code: str = "OO", witness: str = "") -> None:
        seen = self.plant.ledger.person(witness) if witness else None
        self.clock.advance(timedelta(seconds=1))
        self.plant.act(self.work, act, who(self.plant, code), key=self.plant.ledger.new_id(), witness=seen)

    def sign(self, step_id: str) -> None:
        step = self.state.worksheet.step(step_id)
        assert step is not None, step_id
        self.clock.advance(timedelta(minutes=float(step.dwell_min or 0)))
        self.act(self.good(step), witness=WITNESSES.get(step.witness, ""))

    def good(self, step: Step) -> SignStep:
        act = likely_act(self.state, step, self.ode)
        if step.event is Event.LOCK_ON:
            return replace(act, lock=f"OO-{step.point}")
        return act if step.mark else replace(act, counter=None)

    def to(self, step_id: str) -> "Crew":
        """Sign everything that the step comes after."""
        state = self.state  # every look at the record costs a query
        for name in self._before([step_id]):
            if name not in state.signed:
                self.sign(name)
        return self

    def finish(self) -> "Crew":
        """Sign every step."""
        for step in self.state.worksheet.steps():
            self.to(step.id)
            if step.id not in self.state.signed:
                self.sign(step.id)
        return self

    def join(self, code: str, job: str) -> None:
        """A further person under the lockout: review, own locks, own try-out."""
        self.act(LockoutAct(job=job, event=Event.REVIEW), code)
        for point in self.state.locks[job].job.required:
            self.act(LockoutAct(job=job, event=Event.LOCK_ON, points=(point,), lock=f"{code}-{point}"), code)
        self.act(LockoutAct(job=job, event=Event.VERIFY, result="zero"), code)

    def _before(self, names: Iterable[str]) -> list[str]:
        sheet = self.state.worksheet
        found: set[str] = set()
        waiting = [after for name in names for after in _after(sheet.step(name))]
        while waiting:
            name = waiting.pop()
            if name not in found and sheet.step(name) is not None:
                found.add(name)
                waiting.extend(_after(sheet.step(name)))
        return [step.id for step in sheet.steps() if step.id in found]


def _after(step: Step | None) -> tuple[str, ...]:
    return step.after if step is not None else ()

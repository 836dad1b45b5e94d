"""An invented lockout job with two points, its people, and a log that asks the guard before it records."""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta

from msgspec.structs import replace

from floorterm.lockout.effects import apply_event
from floorterm.lockout.guard import may_event
from floorterm.lockout.model import Event, Job, LockEvent, Point
from floorterm.lockout.state import LockOn, LockoutState
from floorterm.people import LockoutStatus, Person
from floorterm.wording import Refusal

START = datetime(2026, 3, 2, 14, 0, tzinfo=UTC)
MAIN = Point(
    id="D1",
    name={"en": "Main disconnect", "es": "Seccionador principal"},
    place={"en": "panel 4"},
    energies=("electrical",),
    magnitude="480 V",
    device="disconnect",
)
AIR = Point(
    id="V1",
    name={"en": "Air valve", "es": "Válvula de aire"},
    place={"en": "behind the plodder"},
    energies=("pneumatic",),
    magnitude="6 bar",
    device="line_valve",
    needs_release=True,
    release_how={"en": "open the vent"},
    reaccumulates=True,
    monitor_min=20,
)
JOB = Job(
    id="screen",
    procedure="plodder-head",
    revision=3,
    title={"en": "Plodder head"},
    machine={"en": "PL-1"},
    points=(MAIN, AIR),
    affected_duties=("operator", "packer"),
    inspection_due=date(2026, 12, 31),
    changed_on=date(2025, 6, 1),
)


def authorised(code: str, name: str) -> Person:
    return Person(
        code=code,
        name=name,
        lockout=LockoutStatus.AUTHORIZED,
        trained_on=date(2026, 1, 10),
        valid_to=date(2027, 1, 9),
    )


ODE = authorised("ODE", "R. Ode")
TAMM = authorised("TAMM", "M. Tamm")
ROOK = Person(code="ROOK", name="L. Rook", lockout=LockoutStatus.AFFECTED)
VEY = Person(code="VEY", name="S. Vey")
PEOPLE = {person.code: person for person in (ODE, TAMM, ROOK, VEY)}


def ev(word: str, by: Person = ODE, *points: str, **fields: object) -> LockEvent:
    """A proposal; number and time come when it is recorded."""
    fields.setdefault("lock", f"{by.code}-{points[0]}" if word == "lock_on" and points else "")
    event = LockEvent(n=0, at=START, event=Event(word), by=by.code, by_name=by.name, points=points)
    return replace(event, **fields)  # type: ignore[arg-type]


# One correct job of one person, cut where tests cut it (29 CFR 1910.147(c)(9), (d)(1)-(6), (e)(1)-(3)).
TOLD = [ev("notify_before", people=("operator", "packer"))]
REVIEWED = [*TOLD, ev("review")]
STOPPED = [*REVIEWED, ev("shut_down")]
ISOLATED = [*STOPPED, ev("isolate", ODE, "D1"), ev("isolate", ODE, "V1")]
LOCKED = [*ISOLATED, ev("lock_on", ODE, "D1"), ev("lock_on", ODE, "V1")]
RELIEVED = [*LOCKED, ev("release", ODE, "V1")]
PROVED = [*RELIEVED, ev("verify", result="zero")]
WORKING = [*PROVED, ev("work_start")]
ENDED = [*WORKING, ev("work_end")]
INSPECTED = [*ENDED, ev("inspect_area", result="ok")]
ACCOUNTED = [*INSPECTED, ev("account_people", people=("ODE",), result="ok")]
UNLOCKED = [*ACCOUNTED, ev("lock_off", ODE, "D1"), ev("lock_off", ODE, "V1")]
TOLD_AFTER = [*UNLOCKED, ev("notify_after", people=("operator", "packer"))]
ENERGISED = [*TOLD_AFTER, ev("re_energise", ODE, "V1"), ev("re_energise", ODE, "D1")]
RESTARTED = [*ENERGISED, ev("restart")]
CLOSED = [*RESTARTED, ev("close")]
# a second person under their own locks, with a verification of their own
JOINED = [
    ev("review", TAMM),
    ev("lock_on", TAMM, "D1"),
    ev("lock_on", TAMM, "V1"),
    ev("verify", TAMM, result="zero"),
]


@dataclass
class Log:
    """Events one after another, a minute apart; `ask` says what the guard would refuse next."""

    state: LockoutState = field(default_factory=lambda: LockoutState.initial(JOB, "L1"))
    now: datetime = START
    elsewhere: tuple[LockOn, ...] = ()

    def wait(self, minutes: float) -> "Log":
        self.now += timedelta(minutes=minutes)
        return self

    def ask(self, event: LockEvent, person: Person | None = None) -> tuple[Refusal, ...]:
        who = person or PEOPLE[event.by]
        return may_event(self.state, replace(event, at=self.now), who, self.now, self.elsewhere)

    def record(self, *events: LockEvent) -> "Log":
        """Record without asking."""
        for event in events:
            self.now += timedelta(minutes=1)
            numbered = replace(event, n=len(self.state.events) + 1, at=self.now)
            self.state = apply_event(self.state, numbered)
        return self

    def accept(self, *events: LockEvent) -> "Log":
        """Record what the guard accepts; a refusal fails the test."""
        for event in events:
            refusals = self.ask(event)
            assert not refusals, (event, refusals)
            self.record(event)
        return self


def log(*events: LockEvent) -> Log:
    return Log().record(*events)


def keys(refusals: tuple[Refusal, ...]) -> list[str]:
    return [refusal.say.key.removeprefix("lockout.") for refusal in refusals]

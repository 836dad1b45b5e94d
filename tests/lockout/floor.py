"""An invented lockout job in any mode, its people, and a floor on which acts are asked of the guard first.

The floor also hands its record to the audit, so that tests can compare what was let through with what is judged.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from msgspec.structs import replace

from floorterm.changeover.lockout_record import record_of_lockouts
from floorterm.lockout import audit
from floorterm.lockout.auditing import Finding
from floorterm.lockout.effects import apply_event
from floorterm.lockout.guard import may_event
from floorterm.lockout.model import Event, Job, LockEvent, Point, Policy
from floorterm.lockout.state import LockoutState
from floorterm.people import LockoutStatus, Permission, Person
from floorterm.wording import Refusal

START = datetime.fromisoformat("2026-06-02T13:00:00-07:00")
FIRM = "fitters"
POLICY = Policy(contractor_duties=(FIRM,))


def _point(name: str, **more: Any) -> Point:
    return Point(
        id=name,
        name={"en": f"Point {name}", "es": f"Punto {name}"},
        place={"en": "panel"},
        energies=("electrical",),
        magnitude="480 V",
        needs_release=True,
        **more,
    )


POINTS = (
    _point("D1", device="disconnect"),
    _point("V1", device="line_valve", reaccumulates=True, monitor_min=20),
)


def job(**more: Any) -> Job:
    more.setdefault("policy", POLICY)
    more.setdefault("other_removal", True)
    return Job(
        id="head",
        procedure="HEAD",
        revision=3,
        title={"en": "Head"},
        machine={"en": "PL-2"},
        points=more.pop("points", POINTS),
        affected_duties=("F1",),
        inspection_due=date(2027, 4, 20),
        changed_on=date(2026, 1, 15),
        **more,
    )


def person(code: str, *duties: str, **more: Any) -> Person:
    more.setdefault("lockout", LockoutStatus.AUTHORIZED)
    more.setdefault("trained_on", date(2026, 2, 10))
    more.setdefault("valid_to", date(2028, 2, 9))
    return Person(code=code, name=f"{code} Name", duties=frozenset(duties), **more)


PEOPLE: Mapping[str, Person] = {
    one.code: one
    for one in (
        *(person(code) for code in ("A1", "A2", "A3", "A4")),
        person("C1", FIRM),
        person("F1", lockout=LockoutStatus.AFFECTED),
        person("F2", lockout=LockoutStatus.AFFECTED),
        person("E1", permission=Permission.SUPERVISOR, lockout=LockoutStatus.OTHER),
        person("S1", lockout=LockoutStatus.OTHER),
        person("X1", valid_to=date(2026, 5, 1)),  # training ran out by the site's date
        person("X2", trained_on=date(2025, 11, 1)),  # trained before the procedure changed
    )
}


def ev(word: str, by: str, *points: str, **fields: Any) -> LockEvent:
    """A proposal; number and time come when it is recorded."""
    if word == "lock_on" and points:
        fields.setdefault("lock", f"{by}-{points[0]}")
    return LockEvent(
        n=0, at=START, event=Event(word), by=by, by_name=PEOPLE[by].name, points=points, **fields
    )


@dataclass
class Floor:
    """Acts one after another, a minute apart, each asked of the guard first."""

    state: LockoutState = field(default_factory=lambda: LockoutState.initial(job(), "L1"))
    now: datetime = START
    said: list[str] = field(default_factory=list)  # everything that was said at once, by key

    @classmethod
    def of(cls, **more: Any) -> "Floor":
        return cls(LockoutState.initial(job(**more), "L1"))

    def wait(self, minutes: float) -> "Floor":
        self.now += timedelta(minutes=minutes)
        return self

    def ask(self, event: LockEvent) -> tuple[Refusal, ...]:
        asked = replace(event, at=self.now)
        return may_event(self.state, asked, PEOPLE[event.by], self.now, (), PEOPLE)

    def keys(self, event: LockEvent) -> list[str]:
        return [refusal.say.key.removeprefix("lockout.") for refusal in self.ask(event)]

    def record(self, *events: LockEvent) -> "Floor":
        """Record without asking."""
        for event in events:
            self.now += timedelta(minutes=1)
            numbered = replace(event, n=len(self.state.events) + 1, at=self.now)
            before, self.state = self.state, apply_event(self.state, numbered)
            new = [one for one in self.state.shortfalls if one not in before.shortfalls]
            self.said += [one.key.removeprefix("lockout.short.") for one in new]
        return self

    def accept(self, *events: LockEvent) -> "Floor":
        """Record what the guard accepts; a refusal fails the test."""
        for event in events:
            refusals = self.ask(event)
            assert not refusals, (event, refusals)
            self.record(event)
        return self

    def findings(self) -> tuple[Finding, ...]:
        return audit(record_of_lockouts("W-1", {"head": self.state}, PEOPLE.values(), as_of=self.now))

    def rules(self, levels: str = "V") -> set[str]:
        return {one.rule for one in self.findings() if one.level in levels}

    @property
    def short(self) -> list[str]:
        """What the screen says at once, by key."""
        return [one.key.removeprefix("lockout.short.") for one in self.state.shortfalls]


def from_document(event: Mapping[str, Any]) -> LockEvent:
    """An event of a record document as the terminal records it."""
    lists = (event.get(key, ()) for key in ("to", "clear", "members", "witness"))
    people = tuple(code for codes in lists for code in codes)
    if "with" in event:
        people = (FIRM,)
    if "person" in event:
        people = (event["person"],)
    points = event.get("points", ())
    places = [event[key] for key in ("point", "at") if key in event]
    return ev(
        event["ev"],
        event["by"],
        *(() if points == "all" else (*points, *places)),
        lock=event.get("lock", ""),
        result=event.get("result", ""),
        people=people,
        how=event.get("direction", event.get("how", "")),
        owner=event.get("owner", ""),
        primary=event.get("primary", ""),
        coordinator=event.get("coordinator", ""),
        crews=event.get("crews", 0),
        directed_by=event.get("directed_by", ""),
    )


def walked(floor: Floor, events: Iterable[LockEvent]) -> Floor:
    return floor.accept(*events)

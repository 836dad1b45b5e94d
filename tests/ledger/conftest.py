"""A small ledger with an administrator, a supervisor and two operators, on a set clock."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

import pytest

from floorterm.entries import Draft
from floorterm.ledger import CHEAP_PROFILE, Ledger
from floorterm.people import LockoutStatus, Permission, Person

ADMIN = Person("A01", "Ada Lind", Permission.ADMINISTRATOR)
SUPERVISOR = Person("S01", "Sam Ortiz", Permission.SUPERVISOR)
OPERATOR = Person(
    "P01", "Zoë Müller", duties=frozenset({"mixer", "line_operator"}), lockout=LockoutStatus.AUTHORIZED
)
OTHER = Person("P02", "Jo Pell", badge="B-77")
CREW = (SUPERVISOR, OPERATOR, OTHER)
PIN = "246810"
OPENING = datetime(2026, 3, 2, 14, 5, tzinfo=UTC)


class Clock:
    """A clock that stands until it is moved."""

    def __init__(self, at: datetime = OPENING) -> None:
        self.at = at

    def __call__(self) -> datetime:
        return self.at

    def advance(self, seconds: float) -> None:
        self.at += timedelta(seconds=seconds)


def counted() -> Callable[[], str]:
    numbers = count(1)
    return lambda: f"id-{next(numbers)}"


def new_ledger(path: Path, clock: Clock | None = None) -> Ledger:
    """A ledger without people."""
    return Ledger.create(
        path,
        plant_id="example",
        plant_name="Example Plant",
        time_zone="America/Denver",
        clock=clock or Clock(),
        new_id=counted(),
        pin_profile=CHEAP_PROFILE,
    )


def staffed(path: Path, clock: Clock | None = None) -> Ledger:
    ledger = new_ledger(path, clock)
    ledger.add_person(ADMIN, PIN)
    for person in CREW:
        ledger.add_person(person, PIN, by="A01")
    return ledger


def note(key: str, person: str = "P01", **fields: object) -> Draft:
    """A draft of some entry."""
    given = {"kind": "work.note", "changeover": "C-0001", "line": "L1", "terminal": "T1"} | fields
    given.setdefault("value", {"text": key})
    return Draft(key=key, person=person, **given)  # type: ignore[arg-type]


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "ledger.db"


@pytest.fixture
def ledger(path: Path, clock: Clock) -> Ledger:
    return staffed(path, clock)

"""A small ledger with an administrator, a supervisor and two operators, on a set clock."""

import tempfile
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import cache
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


def counted(first: int = 1) -> Callable[[], str]:
    numbers = count(first)
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
    """A ledger with the crew: five entries. The file is made once for each opening time, then copied."""
    clock = clock or Clock()
    path.write_bytes(staffed_file(clock.at))
    return Ledger.open(path, clock=clock, new_id=counted(6), pin_profile=CHEAP_PROFILE)


@cache
def staffed_file(at: datetime) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        ledger = new_ledger(Path(folder) / "ledger.db", Clock(at))
        ledger.add_person(ADMIN, PIN)
        for person in CREW:
            ledger.add_person(person, PIN, by="A01")
        return ledger.path.read_bytes()


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

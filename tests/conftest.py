"""What tests of several rooms share: the starter library, a set clock, a real plant on a real file."""

import gc
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

import floorterm.library
import floorterm.plant_record
from floorterm.demo.clock import SetClock, counted_ids
from floorterm.ledger import CHEAP_PROFILE, Ledger
from floorterm.library import load, starter_folder
from floorterm.library.model import Library
from floorterm.people import LockoutStatus, Permission, Person
from floorterm.plant import Plant, Who

# The suite tries the same examples every time, so that a failure is a change's own; the longer, freely drawn
# searches are under tests/benchmarks.
settings.register_profile("suite", derandomize=True, deadline=None)
settings.load_profile("suite")

gc.set_threshold(
    100_000, 20, 100
)  # what the tests have imported stays: to look through it is a tenth of their time

# Thousands of synced writes are not the point either: where the machine has room in memory, folders of the tests
# are there. What a disk may do to a ledger is tried on a simulated one (tests/durability).
_MEMORY, _ROOM = Path("/dev/shm"), 2 * 1024**3
if "TMPDIR" not in os.environ and _MEMORY.is_dir() and shutil.disk_usage(_MEMORY).free > _ROOM:
    os.environ["TMPDIR"] = str(_MEMORY)
    tempfile.tempdir = None  # asked anew at the next folder

PIN = "246810"
_NOBODY = 65534
DAY = date(2026, 11, 24)
START = datetime(2026, 11, 24, 13, 0, tzinfo=UTC)  # 06:00 in the plant's zone

Prepare = Callable[[Plant, SetClock], object]


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """The longest tests begin, shared out among the processes: none is left alone with one at the end.

    A process gets the tests of one stretch of the list first, and only then what others have not begun.
    """
    processes = getattr(config, "workerinput", {}).get("workercount", 1)
    longest = [item for item in items if item.get_closest_marker("longest")]
    others = [item for item in items if not item.get_closest_marker("longest")]
    shared: list[pytest.Item] = []
    for process in range(processes):
        size = (len(items) - len(shared)) // (processes - process)
        own = longest[process::processes]
        rest = size - len(own)
        shared += [*own, *others[: max(rest, 0)]]
        del others[: max(rest, 0)]
    items[:] = [*shared, *others]


def pytest_collection_finish() -> None:
    """What was imported for the tests stays: whoever collects rubbish need not look through it."""
    gc.freeze()


@pytest.fixture(scope="session", autouse=True)
def library() -> Iterator[Library]:
    """The starter library, read once: it is immutable, so every command of a test process may share it."""
    starter = load(starter_folder())

    def shared(folder: Path) -> Library:
        return starter if folder == starter_folder() else load(folder)

    patched = pytest.MonkeyPatch()
    patched.setattr(floorterm.library, "load", shared, raising=False)
    yield starter
    patched.undo()


@pytest.fixture(scope="session", autouse=True)
def composed_once() -> Iterator[None]:
    """A worksheet is immutable too: the same question of the same library is answered once a process."""
    compose = floorterm.plant_record.compose
    known: dict[
        tuple[int, str], tuple[Library, Any]
    ] = {}  # the library is kept, so that its id stays its own

    def remembered(of: Library, *asked: Any, **more: Any) -> Any:
        key = (id(of), repr((asked, sorted(more.items()))))
        if key not in known:
            known[key] = (of, compose(of, *asked, **more))
        return known[key][1]

    patched = pytest.MonkeyPatch()
    patched.setattr(floorterm.plant_record, "compose", remembered)
    yield
    patched.undo()


@pytest.fixture(scope="session", autouse=True)
def own_state(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """What a terminal remembers from one start to the next is the tests' own, also in processes that they start."""
    patched = pytest.MonkeyPatch()
    patched.setenv("XDG_STATE_HOME", str(tmp_path_factory.mktemp("state")))
    yield
    patched.undo()


def _person(code: str, name: str, *duties: str, permission: Permission = Permission.OPERATOR) -> Person:
    return Person(
        code=code,
        name=name,
        permission=permission,
        duties=frozenset(duties),
        lockout=LockoutStatus.AUTHORIZED,
        trained_on=DAY - timedelta(days=100),
        valid_to=DAY + timedelta(days=400),
        badge=f"BADGE-{code}",
    )


PEOPLE = (
    _person("AA", "A. Abel", "line_operator"),
    _person("BB", "B. Brand", "mixer", "packer", "mechanic"),
    _person("QQ", "Q. Quist", "quality"),
    _person("SS", "S. Stern", "supervisor", permission=Permission.SUPERVISOR),
    _person("VV", "V. Voss", "safety_officer", permission=Permission.SAFETY_OFFICER),
)


@pytest.fixture
def clock() -> SetClock:
    """A clock that stands at 06:00 plant time until a test moves it."""
    return SetClock(START)


class Ids:
    """Counted identifiers; a copy of a ledger goes on with those after what its original was given."""

    def __init__(self, given: int = 0) -> None:
        self.given, self._next = 0, counted_ids()
        for _ in range(given):
            self()

    def __call__(self) -> str:
        self.given += 1
        return self._next()


def new_ledger(path: Path, library: Library, clock: SetClock, ids: Ids) -> Ledger:
    """A ledger with everybody in it, and nothing that they did."""
    ledger = Ledger.create(
        path,
        plant_id=library.plant.id,
        plant_name=library.plant.name,
        time_zone=library.plant.time_zone,
        clock=clock,
        new_id=ids,
        pin_profile=CHEAP_PROFILE,
    )
    admin = Person(code="AD", name="A. Dmin", permission=Permission.ADMINISTRATOR)
    ledger.add_person(admin, PIN, by="")
    for person in PEOPLE:
        ledger.add_person(person, PIN, by="AD")
    return ledger


class Plants:
    """Plants that were brought somewhere: made once a process, then each test has a copy of its own."""

    def __init__(self, folder: Path, library: Library) -> None:
        self._folder, self._library = folder, library
        self._made: dict[tuple[datetime, Prepare | None], tuple[Path, datetime, int]] = {}

    def copy(self, to: Path, clock: SetClock, prepare: Prepare | None = None) -> Plant:
        """A plant with its first statements, then what `prepare` does to it; the clock goes on from there."""
        key = (clock(), prepare)
        if key not in self._made:
            self._made[key] = self._make(self._folder / f"{len(self._made)}.db", *key)
        source, now, given = self._made[key]
        shutil.copyfile(source, to)
        if prepare is not None:
            clock.move_to(now)
        ledger = Ledger.open(to, clock=clock, new_id=Ids(given), pin_profile=CHEAP_PROFILE)
        return Plant(self._library, ledger, "T1")

    def _make(self, path: Path, at: datetime, prepare: Prepare | None) -> tuple[Path, datetime, int]:
        clock, ids = SetClock(at), Ids()
        ledger = new_ledger(path, self._library, clock, ids)
        plant = Plant(self._library, ledger, "T1")
        supervisor = Who(ledger.person("SS"), "pin")
        for line in self._library.lines:
            plant.state_holds(supervisor, line, ("plain",), "first statement", key=ledger.new_id())
        if prepare is not None:
            prepare(plant, clock)
        return path, clock(), ids.given


@pytest.fixture(scope="session")
def plants(tmp_path_factory: pytest.TempPathFactory, library: Library) -> Plants:
    """What plants are copied from."""
    return Plants(tmp_path_factory.mktemp("plants"), library)


@pytest.fixture
def plant(plants: Plants, tmp_path: Path, clock: SetClock) -> Plant:
    """A real plant on a real SQLite file: everybody's PIN is 246810, both lines hold plain soap."""
    return plants.copy(tmp_path / "ledger.db", clock)


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that every account may use (pytest's own is its owner's alone)."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o777)
        yield folder


@contextmanager
def bound_by_permissions() -> Iterator[None]:
    """As an account that file permissions bind: the administrator, whom they do not, is nobody for a while."""
    if os.geteuid() != 0:
        yield
        return
    os.setresuid(_NOBODY, _NOBODY, 0)
    try:
        yield
    finally:
        os.setresuid(0, 0, 0)


def who(plant: Plant, code: str) -> Who:
    """Somebody of the plant, recognised by PIN."""
    return Who(plant.ledger.person(code), "pin")

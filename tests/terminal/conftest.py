"""A changeover on a real plant, brought to a step once and copied for every test that begins there."""

import shutil
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

import pytest
from msgspec.structs import replace

from floorterm.demo.clock import SetClock
from floorterm.ledger import CHEAP_PROFILE, Ledger
from floorterm.library.model import Library
from floorterm.plant import Plant
from floorterm.terminal import crash
from tests.conftest import START, Ids, new_ledger
from tests.terminal.at_step import Crew

CrewAt = Callable[[str], Crew]
EVERY_STEP = "*"


@pytest.fixture(autouse=True)
def kept_faults(
    request: pytest.FixtureRequest,
    tmp_path_factory: pytest.TempPathFactory,
    monkeypatch: pytest.MonkeyPatch,
) -> Iterator[Path]:
    """Where faults of the program are kept: a terminal outlives them, a test that brings none about does not."""
    folder = tmp_path_factory.mktemp("faults")
    monkeypatch.setattr(crash, "_log_folder", lambda: folder)
    yield folder
    if request.node.get_closest_marker("own_fault") is None:
        assert [file.read_text(encoding="utf-8") for file in folder.iterdir()] == []


@pytest.fixture(scope="session")
def few_pins(library: Library) -> Library:
    """A plant that asks the PIN again for witnesses, dispositions and the release alone."""
    pins = replace(library.plant.pins, again_for=("witness", "disposition", "release"))
    return replace(library, plant=replace(library.plant, pins=pins))


@pytest.fixture(scope="session")
def prepared(
    tmp_path_factory: pytest.TempPathFactory, few_pins: Library
) -> Callable[[str], tuple[Path, datetime, str]]:
    """Ledger, time and work of a changeover whose record stands just before a step."""
    folder = tmp_path_factory.mktemp("prepared")
    made: dict[str, tuple[Path, datetime, str]] = {}
    ids = Ids()

    def begun(path: Path) -> tuple[Path, datetime, str]:
        clock = SetClock(START)
        ledger = new_ledger(path, few_pins, clock, ids)
        crew = Crew.begin(Plant(few_pins, ledger, "T1"), clock)
        return path, clock(), crew.work

    def brought_to(step: str, path: Path) -> tuple[Path, datetime, str]:
        start, now, work = prepare("")
        shutil.copyfile(start, path)
        clock = SetClock(now)
        ledger = Ledger.open(path, clock=clock, new_id=Ids(ids.given), pin_profile=CHEAP_PROFILE)
        crew = Crew(Plant(few_pins, ledger, "T1"), clock, work)
        if step == EVERY_STEP:
            crew.finish()
        else:
            crew.to(step)
        return path, clock(), work

    def prepare(step: str) -> tuple[Path, datetime, str]:
        if step not in made:
            path = folder / f"{len(made) + 1}.db" if step else folder / "start.db"
            made[step] = brought_to(step, path) if step else begun(path)
        return made[step]

    return prepare


@pytest.fixture
def crew_at(
    prepared: Callable[[str], tuple[Path, datetime, str]], tmp_path: Path, few_pins: Library
) -> CrewAt:
    """The crew on a copy of its own, just before a step ("" is the start, "*" the release)."""

    def at(step: str) -> Crew:
        source, now, work = prepared(step)
        copy = tmp_path / "ledger.db"
        shutil.copyfile(source, copy)
        clock = SetClock(now)
        ledger = Ledger.open(copy, clock=clock, pin_profile=CHEAP_PROFILE)
        plant = Plant(few_pins, ledger, "T1")
        return Crew(plant, clock, work)

    return at

"""Build the demo ledger: people, what the lines hold, the approval, then every run of the scenario."""

from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from floorterm.demo.clock import SetClock, counted_ids
from floorterm.demo.office import Office
from floorterm.demo.scenario import Character, Scenario, read_scenario
from floorterm.demo.walk import walk_all
from floorterm.ledger import Head, Ledger
from floorterm.library import load, starter_folder
from floorterm.people import Person
from floorterm.plant import Plant, Who


def build(path: Path, scenario: Scenario | None = None) -> Head:
    """Build a ledger at `path` from the scenario. The same scenario and checklists give the same head hash."""
    told = scenario or read_scenario()
    library = load(starter_folder())
    zone = ZoneInfo(library.plant.time_zone)

    def instant(local: datetime) -> datetime:
        return local.replace(tzinfo=zone).astimezone(UTC)

    clock = SetClock(instant(told.start))
    ledger = Ledger.create(
        path,
        plant_id=library.plant.id,
        plant_name=library.plant.name,
        time_zone=library.plant.time_zone,
        clock=clock,
        new_id=counted_ids(),
    )
    ledger.add_person(_person(told.administrator), told.pin, by="", terminal="T1")
    for character in told.people:
        ledger.add_person(
            _person(character), told.pin, by=told.administrator.code, identity="pin", terminal="T1"
        )
    plant = Plant(library, ledger, "T1")
    officer = Who(ledger.person(told.approved_by), "pin")
    plant.approve_library(officer, key=ledger.new_id())
    supervisor = Who(ledger.person(told.holds_by), "pin")
    for line, fragrance in told.holds.items():
        plant.state_holds(
            supervisor, line, (fragrance,), "first statement for the new ledger", key=ledger.new_id()
        )
    office = Office(plant, clock, tuple((act, instant(act.at)) for act in told.office))
    walk_all(plant, clock, ((run, instant(run.start)) for run in told.runs), told.usual, (office,))
    return ledger.head()


def _person(character: Character) -> Person:
    return Person(
        code=character.code,
        name=character.name,
        permission=character.permission,
        duties=frozenset(character.duties),
        lockout=character.lockout,
        trained_on=character.trained_on,
        valid_to=character.valid_to,
        badge=character.badge,
    )

"""Every worksheet of the starter plant can be walked to its release, and left from anywhere without a lock on."""

from collections.abc import Iterator
from datetime import UTC, date, datetime
from functools import cache

import pytest
from msgspec.structs import replace

from floorterm.changeover.compose import compose, compose_procedure
from floorterm.changeover.worksheet import Worksheet
from floorterm.library import load, starter_folder
from tests.changeover import sheets, walkers
from tests.changeover.sheets import Record

NOW = datetime(2026, 11, 24, 14, 0, tzinfo=UTC)
LIBRARY = load(starter_folder())
OWN = {duty.id for duty in LIBRARY.plant.duties} - set(LIBRARY.plant.lockout.contractor_duties)
CREW = tuple(
    replace(person, trained_on=date(2026, 11, 1), duties=frozenset(OWN))
    for person in (sheets.ODE, sheets.TAMM, sheets.PELL)
)


def pairs() -> Iterator[tuple[str, str, str]]:
    """Each fragrance of a line with the next one."""
    for line in LIBRARY.lines:
        made = [name for name, fragrance in LIBRARY.fragrances.items() if line in fragrance.lines]
        for index, outgoing in enumerate(made):
            yield line, outgoing, made[(index + 1) % len(made)]


def procedures() -> Iterator[tuple[str, str]]:
    for name, alone in LIBRARY.alone.items():
        for line in alone.lines:
            yield line, name


ALL = {"-".join(names): names for names in (*pairs(), *procedures())}


@cache
def worksheet(name: str) -> Worksheet:
    """Composed when a test asks for it: every process of a run reads this file, few try what is in it."""
    line, first, *second = ALL[name]
    if second:
        return compose(LIBRARY, line, first, *second, NOW.date())
    return compose_procedure(LIBRARY, line, first, NOW.date())


@pytest.mark.parametrize("name", ALL)
def test_each_worksheet_has_a_way_to_its_release(name):
    record = Record(worksheet(name), now=NOW)
    walkers.release(record, CREW)
    assert record.state.status == "released"
    assert not record.state.locks_on()


@pytest.mark.parametrize("name", ALL)
def test_each_worksheet_can_be_abandoned_half_way_and_the_locks_come_off(name):
    whole = Record(worksheet(name), now=NOW)
    walkers.release(whole, CREW)
    for cut in range(1, len(whole.entries) - 1, 13):
        record = Record(worksheet(name))
        record.entries, record.now = whole.entries[:cut], whole.entries[cut - 1].at
        record.state = sheets.fold("C-0001", record.entries)
        walkers.abandon(record, CREW)
        assert not record.state.locks_on()

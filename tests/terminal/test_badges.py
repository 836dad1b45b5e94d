"""A badge names a person: no field takes it, whatever it asks for."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest
from msgspec.structs import replace
from textual.pilot import Pilot

from floorterm.changeover.entering import EntrySpec
from floorterm.lockout.model import Event
from floorterm.people import Person
from floorterm.terminal.messages import Scanned
from floorterm.terminal.screens.dialogs import AskScreen
from floorterm.terminal.screens.work import WorkScreen
from floorterm.terminal.widgets.entry import Entry
from tests.conftest import PIN
from tests.terminal.at_step import Crew
from tests.terminal.conftest import CrewAt
from tests.terminal.shell import sign_in, until, until_top
from tests.terminal.test_work import at_work, notice, step_id

TAMM = Person(code="MT", name="M. Tamm", badge="NM-B-0112")
GONE = Person(code="GG", name="G. One", badge="NM-B-0113", active=False)


@asynccontextmanager
async def at_lock(crew: Crew) -> AsyncIterator[tuple[WorkScreen, Pilot[int]]]:
    """The step that asks for the number of the first lock."""
    step = next(one for one in crew.state.worksheet.steps() if one.event is Event.LOCK_ON)
    async with at_work(crew) as (screen, pilot):
        screen.show_step(step.id)
        await until(pilot, lambda: step_id(screen) == step.id and screen.entry.spec.mode == "code")
        yield screen, pilot


@pytest.fixture
def locking(crew_at: CrewAt) -> Crew:
    """R. Ode puts the first lock on; M. Tamm and G. One have badges too."""
    crew = crew_at("")
    step = next(one for one in crew.state.worksheet.steps() if one.event is Event.LOCK_ON)
    crew.to(step.id)
    for person in (TAMM, GONE):
        crew.plant.ledger.add_person(replace(person, active=True), PIN, by="AD")
    crew.plant.ledger.disable_person("GG", by="AD", reason="left")
    return crew


async def test_somebodys_badge_is_no_lock_number(locking: Crew) -> None:
    async with at_lock(locking) as (screen, pilot):
        step = step_id(screen)
        screen.post_message(Scanned(TAMM.badge))
        await until_top(pilot, "SignInScreen")
        await pilot.press("escape")
        await until(pilot, lambda: pilot.app.screen is screen)
        assert screen.entry.given.text == ""
        assert "somebody's badge" in notice(screen)
        screen.post_message(Scanned(TAMM.badge))
        await sign_in(pilot, "MT")
        await until(
            pilot, lambda: screen.app.session.person is not None and screen.app.session.person.code == "MT"
        )
        assert step not in locking.state.signed


@pytest.mark.parametrize("badge", [GONE.badge, "BADGE-OO"])
async def test_neither_the_own_badge_nor_a_disabled_one_is_a_lock_number(locking: Crew, badge: str) -> None:
    async with at_lock(locking) as (screen, pilot):
        screen.post_message(Scanned(badge))
        await until(pilot, lambda: "somebody's badge" in notice(screen))
        assert pilot.app.screen is screen
        assert screen.entry.given.text == ""
        screen.post_message(Scanned("LOCK-17"))
        await until(pilot, lambda: screen.entry.given.text == "LOCK-17")


async def test_a_dialogue_refuses_a_badge_and_takes_another_code(locking: Crew) -> None:
    async with at_lock(locking) as (screen, pilot):
        ask = AskScreen("Locks", "lock", EntrySpec(mode="code", prompt="lock"))
        pilot.app.push_screen(ask)
        await until_top(pilot, "AskScreen")
        ask.post_message(Scanned(TAMM.badge))
        await until(pilot, lambda: "somebody's badge" in notice(ask))  # type: ignore[arg-type]
        assert ask.query_one(Entry).given.text == ""
        assert pilot.app.screen is ask
        ask.post_message(Scanned("LOCK-17"))
        await until(pilot, lambda: ask.query_one(Entry).given.text == "LOCK-17")
        assert screen.app.session.person is not None
        assert screen.app.session.person.code == "OO"

"""A key that bounces or is held down signs nothing that nobody has seen; a deliberate one is never kept waiting."""

import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import timedelta

import pytest
from textual import events
from textual.pilot import Pilot

from floorterm.changeover.acts import LockoutAct, SignStep
from floorterm.lockout.model import Event
from floorterm.plant import Plant
from floorterm.terminal.app import FloorApp
from floorterm.terminal.messages import LedgerMoved, Scanned
from floorterm.terminal.patience import QUIET_S, SETTLE_S, Patience
from floorterm.terminal.screens.work import WorkScreen
from floorterm.terminal.widgets.zones import Zones
from tests.conftest import PIN, who
from tests.terminal.at_step import ODE, Crew
from tests.terminal.conftest import CrewAt
from tests.terminal.fingers import Fingers
from tests.terminal.shell import SMALL, opened, rows, until, until_top
from tests.terminal.test_locks import JOB, WORKING, at_locks, digit, offered, owners
from tests.terminal.test_work import at_work, step_id

PROCEDURES = ("lye-look", "shift-start")
_REPEAT_S = 0.033  # a key held down, after its first half second


def pressed(patience: Patience, *at: float) -> list[bool]:
    """Whether Enter, pressed at each of these times, is meant for "step"."""
    found = []
    for one in at:
        patience.press("enter", one)
        found.append(patience.takes("step"))
    return found


# --- the rule ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("at", "meant"),
    [
        ((100.1,), [False]),
        ((100.39,), [False]),
        ((100.41,), [True]),
        ((100.2, 100.45), [False, False]),  # it goes on bouncing
        ((100.2, 100.55), [False, True]),
        (tuple(100 + n * _REPEAT_S for n in range(60)), [False] * 60),  # held down for two seconds
        ((99.0,), [False]),  # it waited while something else came to be shown
    ],
)
def test_what_has_just_appeared_takes_enter_after_a_pause_in_keys(
    at: tuple[float, ...], meant: list[bool]
) -> None:
    patience = Patience(lambda: 100.0)
    patience.shows("step")
    assert pressed(patience, *at) == meant


def test_a_key_may_bounce_from_one_screen_to_the_next() -> None:
    now = [100.0]
    patience = Patience(lambda: now[0])
    patience.press("enter", 100.0)  # on whatever was shown
    now[0] = 99.0
    patience.shows("step")
    assert pressed(patience, 100.2) == [False]


def test_a_value_that_was_entered_is_no_bounce_and_equal_things_are_no_change() -> None:
    now = [100.0]
    patience = Patience(lambda: now[0])
    patience.shows("step")
    patience.press("enter", 100.1)
    assert patience.takes("step", seen=True)
    now[0] = 200.0
    patience.shows("step")
    assert pressed(patience, 200.0) == [True]
    assert (SETTLE_S, QUIET_S) == (0.4, 0.3)


def test_a_terminal_has_patience_unless_it_is_told_otherwise() -> None:
    app = FloorApp(lambda: None)  # type: ignore[arg-type, return-value]
    assert (app.patience.settle_s, app.patience.quiet_s) == (SETTLE_S, QUIET_S)
    before = app.patience.clock()
    event = events.Key("enter", "\r")
    assert before <= event.time <= app.patience.clock(), "keys and screens go by one clock"


# --- steps ------------------------------------------------------------------------------------------------------------


@asynccontextmanager
async def at_procedure(
    plant: Plant, procedure: str, patience: Patience
) -> AsyncIterator[tuple[WorkScreen, Pilot[int]]]:
    """R. Ode, who has every duty, at the first step of a procedure that stands alone."""
    plant.ledger.add_person(ODE, PIN, by="AD")
    line = plant.library.alone[procedure].lines[0]
    work = plant.start_procedure(who(plant, "SS"), line, procedure, "begin").work
    async with opened(plant, patience=patience) as (app, pilot):
        app.begin_session(plant.ledger.person("OO"))
        screen = WorkScreen(work)
        app.push_screen(screen)
        await until(pilot, lambda: screen.is_mounted and screen.view is not None)
        yield screen, pilot


@pytest.mark.parametrize("rhythm_s", [_REPEAT_S, 0.2])
@pytest.mark.parametrize("procedure", PROCEDURES)
async def test_enter_held_down_signs_the_step_that_was_seen_and_no_other(
    plant: Plant, procedure: str, rhythm_s: float
) -> None:
    fingers = Fingers()
    async with at_procedure(plant, procedure, fingers.patience()) as (screen, pilot):
        await fingers.press(pilot, "enter")
        await fingers.press(pilot, *["enter"] * 15, after_s=rhythm_s)
        assert len(screen.state.signed) == 1


@pytest.mark.parametrize("procedure", PROCEDURES)
async def test_a_deliberate_person_signs_step_after_step(plant: Plant, procedure: str) -> None:
    fingers = Fingers()
    async with at_procedure(plant, procedure, fingers.patience()) as (screen, pilot):
        for _ in range(2):
            step = step_id(screen)
            await fingers.press(pilot, "enter", after_s=SETTLE_S + 0.01)
            await until(pilot, lambda step=step: step in screen.state.signed)  # type: ignore[misc]


async def test_a_scan_and_a_typed_value_are_not_delayed(crew_at: CrewAt) -> None:
    crew, fingers = crew_at(""), Fingers()
    step = next(one for one in crew.state.worksheet.steps() if one.kind == "scan")
    crew.to(step.id)
    async with at_work(crew, patience=fingers.patience()) as (screen, pilot):
        screen.show_step(step.id)
        await until(pilot, lambda: step_id(screen) == step.id)
        pilot.app.screen.post_message(Scanned(step.expect))
        await until(pilot, lambda: screen.entry.given.text == step.expect)
        await fingers.press(pilot, "enter", after_s=0.01)
        await until(pilot, lambda: step.id in screen.state.signed)


async def test_a_step_that_another_terminal_has_just_led_to_is_not_signed_by_a_late_enter(
    plant: Plant,
) -> None:
    fingers = Fingers()
    async with at_procedure(plant, PROCEDURES[0], fingers.patience()) as (screen, pilot):
        old = step_id(screen)
        fingers.now += 1
        plant.act(screen.work, SignStep(step=old), who(plant, "OO"), key="elsewhere")
        screen.post_message(LedgerMoved())
        await until(pilot, lambda: step_id(screen) != old)
        new = step_id(screen)
        await fingers.press(pilot, "enter", after_s=0.2)
        assert new not in screen.state.signed
        await fingers.press(pilot, "enter")
        await until(pilot, lambda: new in screen.state.signed)


async def test_the_enter_of_a_pin_signs_no_step_by_bouncing(crew_at: CrewAt) -> None:
    crew, fingers = crew_at(""), Fingers()
    async with at_work(crew, by="", patience=fingers.patience()) as (screen, pilot):
        begun = crew.state.last_n
        await fingers.press(pilot, "enter")
        await until_top(pilot, "SignInScreen")
        await fingers.press(pilot, *"oo", "enter", *PIN, "enter", after_s=0.31)
        await until(pilot, lambda: pilot.app.screen is screen)
        await fingers.press(pilot, "enter", after_s=0.31)
        assert crew.state.last_n == begun


async def test_enter_held_down_on_lines_starts_nothing(plant: Plant) -> None:
    fingers = Fingers()
    async with opened(plant, patience=fingers.patience()) as (app, pilot):
        app.begin_session(plant.ledger.person("SS"))
        await pilot.pause()
        await fingers.press(pilot, "enter")
        await until_top(pilot, "StartChangeoverScreen")
        await until(pilot, lambda: rows(app).rows)
        await pilot.pause()
        await fingers.press(pilot, *["enter"] * 60, after_s=_REPEAT_S)
        assert not app.screen._confirming  # type: ignore[attr-defined]
        await fingers.press(pilot, "enter")
        assert app.screen._confirming  # type: ignore[attr-defined]
        await fingers.press(pilot, *["enter"] * 15, after_s=_REPEAT_S)
        assert plant.works() == ()
        await fingers.press(pilot, "enter")
        await until_top(pilot, "WorkScreen")
        (state,) = plant.works()
        await fingers.press(pilot, *["enter"] * 15, after_s=_REPEAT_S)
        assert not plant.state(state.work).signed


async def test_an_enter_kept_from_before_the_record_was_open_signs_no_step_that_nobody_saw(
    crew_at: CrewAt,
) -> None:
    """What leads to the step, and the PIN, are carried out in their order."""
    crew, fingers, gate = crew_at(""), Fingers(), threading.Event()
    begun = crew.state.last_n

    def opener() -> Plant:
        gate.wait(20)
        return crew.plant

    app = FloorApp(opener, scan_gap_s=0.0, patience=fingers.patience())
    async with app.run_test(size=SMALL) as pilot:
        for key in ("2", "enter", "f10", *"oo", "enter", *PIN, "enter", "enter", "enter"):
            await fingers.press(pilot, key)
        fingers.now += 5
        gate.set()
        await until(
            pilot, lambda: app.session.person is not None or type(app.screen).__name__ != "LinesScreen"
        )
        await until(pilot, lambda: not app.ear._kept and not app.desk.pending)
        await pilot.pause()
        assert crew.state.last_n == begun


# --- locks ------------------------------------------------------------------------------------------------------------


@pytest.fixture
def working(crew_at: CrewAt) -> Crew:
    """R. Ode is at work under the lockout."""
    return crew_at(WORKING)


@pytest.mark.parametrize("key", ["1", "enter"])
async def test_a_bounced_key_does_not_take_the_own_lock_off_after_leaving(working: Crew, key: str) -> None:
    fingers = Fingers()
    async with at_locks(working, patience=fingers.patience()) as (screen, pilot):
        locks = owners(working)
        assert digit(screen, "work_end") == "1"
        await fingers.press(pilot, key)
        await until(pilot, lambda: not working.state.locks[JOB].at_work)
        await until(pilot, lambda: digit(screen, "lock_off") == "1")
        for after_s in (0.3, *[_REPEAT_S] * 15):
            await fingers.press(pilot, key, after_s=after_s)
        await until(pilot, lambda: not pilot.app.desk.pending)  # type: ignore[attr-defined]
        assert owners(working) == locks
        await fingers.press(pilot, key)
        await until(pilot, lambda: not owners(working))


async def test_what_the_offers_became_by_another_terminal_takes_no_key_and_no_tap_at_once(
    working: Crew,
) -> None:
    fingers = Fingers()
    async with at_locks(working, patience=fingers.patience()) as (screen, pilot):
        locks = owners(working)
        fingers.now += 1
        working.act(LockoutAct(job=JOB, event=Event.WORK_END))
        screen.post_message(LedgerMoved())
        await until(pilot, lambda: digit(screen, "lock_off") == "1")
        await offered(screen, pilot, "lock_off")
        await fingers.press(pilot, "1", after_s=0.2)
        assert screen.view is not None
        zones = screen.query_one("#safer", Zones)
        screen.post_message(Zones.Tapped(zones, screen.view.offers[0].id))
        await fingers.done(pilot)
        await fingers.press(pilot, "enter", after_s=0.1)
        await until(pilot, lambda: not pilot.app.desk.pending)  # type: ignore[attr-defined]
        assert owners(working) == locks


async def test_choosing_another_offer_takes_no_time(working: Crew) -> None:
    fingers = Fingers()
    async with at_locks(working, patience=fingers.patience()) as (_, pilot):
        working.clock.advance(timedelta(seconds=1))
        fingers.now += 1
        await fingers.press(pilot, "down", "enter", after_s=0.05)
        await until(pilot, lambda: not owners(working))


@pytest.mark.parametrize("key", ["f6", "f7"])
async def test_the_first_enter_that_comes_after_a_moment_is_taken(plant: Plant, key: str) -> None:
    """From the list to its page and into the work: two keys."""
    fingers = Fingers()
    async with opened(plant, patience=fingers.patience()) as (app, pilot):
        app.begin_session(plant.ledger.person("SS"))
        await fingers.press(pilot, key)
        await until(pilot, lambda: rows(app).rows and type(app.screen).__name__.startswith("Start"))
        await pilot.pause()
        await fingers.press(pilot, "enter", "enter", after_s=SETTLE_S + 0.01)
        await until_top(pilot, "WorkScreen")


async def test_the_enter_that_bounces_after_the_pin_of_leaving_asks_for_no_other_pin(working: Crew) -> None:
    """As it was found: 1, PIN, Enter, and a second Enter 0.3 s later."""
    fingers = Fingers()
    async with at_locks(working, by="", patience=fingers.patience()) as (screen, pilot):
        locks = owners(working)
        await fingers.press(pilot, digit(screen, "work_end"))
        await until_top(pilot, "SignInScreen")
        await fingers.press(pilot, *"oo", "enter", *PIN, "enter")
        await until(pilot, lambda: not working.state.locks[JOB].at_work and pilot.app.screen is screen)
        await offered(screen, pilot, "lock_off")
        await fingers.press(pilot, "enter", after_s=0.3)
        assert pilot.app.screen is screen
        assert owners(working) == locks

"""What one person begins nobody else finishes: dialogues, texts and PINs belong to whoever was signed in."""

import threading

import pytest

from floorterm.changeover.acts import LockoutAct, Note, RaiseDeviation
from floorterm.lockout.model import Event
from floorterm.terminal.app import FloorApp
from floorterm.terminal.messages import LedgerMoved
from floorterm.terminal.screens.dialogs import AskScreen, reason_spec
from tests.conftest import PIN
from tests.terminal.conftest import CrewAt
from tests.terminal.shell import sign_in, text_of, until, until_top
from tests.terminal.test_locks import JOB, WORKING, at_locks
from tests.terminal.test_work import at_work, press, step_id

OTHER = "SS"


class Seconds:
    """A steady clock that is set by hand."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now

    async def idle(self, app: FloorApp) -> None:
        """Nobody touches the terminal until the session is over, and it looks."""
        self.now += app.desk.plant.library.plant.pins.idle_min * 60 + 1
        await app.beat.tick()


@pytest.mark.parametrize(("key", "kind"), [("note", Note), ("deviation", RaiseDeviation)])
async def test_a_note_stands_at_the_step_that_was_in_hand_when_it_was_begun(
    crew_at: CrewAt, key: str, kind: type[Note | RaiseDeviation]
) -> None:
    crew = crew_at("")
    async with at_work(crew) as (screen, pilot):
        step = step_id(screen)
        await press(pilot, "f5")
        await until_top(pilot, "MenuScreen")
        place = ("note", "deviation").index(key) + 1
        await press(pilot, str(place))
        await until_top(pilot, "AskScreen")
        await press(pilot, *"leak")
        crew.sign(step)
        screen.post_message(LedgerMoved())
        await pilot.pause()
        await press(pilot, "enter")
        await until(pilot, lambda: crew.plant.ledger.entries(kinds=(kind.KIND,)))
        (entry,) = crew.plant.ledger.entries(kinds=(kind.KIND,))
        assert entry.step == step
        await until(pilot, lambda: step_id(screen) != step)


async def test_a_half_typed_note_is_signed_by_nobody_else_after_the_idle_time(crew_at: CrewAt) -> None:
    crew, seconds = crew_at(""), Seconds()
    async with at_work(crew, steady=seconds) as (screen, pilot):
        app = screen.app
        await press(pilot, "f5")
        await until_top(pilot, "MenuScreen")
        await press(pilot, "1")
        await until_top(pilot, "AskScreen")
        await press(pilot, *"lea")
        await seconds.idle(app)
        await until(pilot, lambda: app.screen is screen)
        assert app.session.person is None
        await press(pilot, "f10")
        await sign_in(pilot, OTHER)
        await until(pilot, lambda: app.screen is screen)
        await press(pilot, "f5")
        await until_top(pilot, "MenuScreen")
        await press(pilot, "1")
        await until_top(pilot, "AskScreen")
        assert "lea" not in [one.given.text for one in app.screen.query("Entry")]  # type: ignore[attr-defined]
        assert crew.plant.ledger.entries(kinds=(Note.KIND,)) == []


async def test_a_half_typed_value_waits_for_its_person_and_is_signed_by_nobody_else(crew_at: CrewAt) -> None:
    crew, seconds = crew_at("start/flush"), Seconds()
    async with at_work(crew, steady=seconds) as (screen, pilot):
        app = screen.app
        screen.show_step("start/flush")
        await press(pilot, *"12")
        await until(pilot, lambda: screen.entry.given.text == "12")
        await seconds.idle(app)
        await until(pilot, lambda: app.session.person is None and screen.entry.given.text == "")
        app.begin_session(crew.plant.ledger.person(OTHER))
        await pilot.pause()
        assert screen.entry.given.text == ""
        app.begin_session(crew.plant.ledger.person("OO"))
        await until(pilot, lambda: screen.entry.given.text == "12")
        assert "> 12_" in text_of(app)


async def test_what_was_typed_before_the_sign_in_is_that_persons(crew_at: CrewAt) -> None:
    crew = crew_at("start/flush")
    async with at_work(crew, by="") as (screen, pilot):
        screen.show_step("start/flush")
        await press(pilot, *"12")
        screen.app.begin_session(crew.plant.ledger.person("OO"))
        await pilot.pause()
        assert screen.entry.given.text == "12"


async def test_a_dialogue_from_before_a_sign_in_is_that_persons_from_then_on(crew_at: CrewAt) -> None:
    crew = crew_at("")
    async with at_work(crew, by="") as (screen, pilot):
        app = screen.app
        ask = AskScreen("", "why?", reason_spec("en"))
        app.push_screen(ask)
        await until_top(pilot, "AskScreen")
        app.begin_session(crew.plant.ledger.person("OO"))
        await press(pilot, *"leak")
        assert app.screen is ask
        app.end_session()
        await until(pilot, lambda: app.screen is screen)


async def test_a_note_that_was_not_recorded_is_kept_for_its_own_person_and_step(crew_at: CrewAt) -> None:
    crew = crew_at("")
    async with at_work(crew) as (screen, pilot):
        screen.drafts[f"note {step_id(screen)} OO"] = "leak"
        for code, kept in (("OO", "leak"), (OTHER, "")):
            screen.app.begin_session(crew.plant.ledger.person(code))
            await pilot.pause()
            await press(pilot, "f5")
            await until_top(pilot, "MenuScreen")
            await press(pilot, "1")
            await until_top(pilot, "AskScreen")
            await until(pilot, lambda kept=kept: f"> {kept}_" in text_of(pilot.app))  # type: ignore[misc]
            await press(pilot, "escape")
            await until(pilot, lambda: pilot.app.screen is screen)


async def test_another_person_who_takes_over_finds_no_dialogue_of_the_one_before(crew_at: CrewAt) -> None:
    crew = crew_at("")
    async with at_work(crew) as (screen, pilot):
        await press(pilot, "f5")
        await until_top(pilot, "MenuScreen")
        await press(pilot, "1")
        await until_top(pilot, "AskScreen")
        await press(pilot, *"lea")
        await press(pilot, "f10")
        await sign_in(pilot, "OO")
        await until_top(pilot, "AskScreen")
        assert "> lea_" in text_of(pilot.app), "the same person goes on"
        await press(pilot, "f10")
        await sign_in(pilot, OTHER)
        await until(pilot, lambda: pilot.app.screen is screen)
        assert crew.plant.ledger.entries(kinds=(Note.KIND,)) == []


async def test_a_pin_dialogue_that_waits_goes_with_the_session(crew_at: CrewAt) -> None:
    crew, seconds = crew_at(WORKING), Seconds()
    async with at_locks(crew, steady=seconds) as (screen, pilot):
        app = screen.app
        app.desk.write(lambda plant, by, key: plant.approve_library(by.who, key=key))
        await until_top(pilot, "SignInScreen")
        await pilot.press(*PIN[:3])
        await seconds.idle(app)
        await until(pilot, lambda: app.screen is screen)
        assert app.session.person is None
        await until(pilot, lambda: not app.desk.pending)
        assert "R. Ode" not in text_of(app).splitlines()[0]


async def test_a_commit_under_way_is_not_broken_by_the_idle_time(crew_at: CrewAt) -> None:
    crew, seconds, gate = crew_at(WORKING), Seconds(), threading.Event()
    async with at_locks(crew, steady=seconds) as (screen, pilot):
        app = screen.app
        slow = app.run_worker(app.desk.in_writer(lambda: gate.wait(20)))
        assert app.desk.record(crew.work, LockoutAct(job=JOB, event=Event.WORK_END))
        await until(pilot, lambda: app.desk.writing)
        await seconds.idle(app)
        assert app.session.person is not None
        gate.set()
        await slow.wait()
        await until(pilot, lambda: not app.desk.pending)
        await app.beat.tick()
        assert app.session.person is None
        await until(pilot, lambda: not crew.state.locks[JOB].at_work)

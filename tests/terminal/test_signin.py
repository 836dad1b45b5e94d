"""Who signs: names, badges, PINs, sessions that end, witnesses, and PINs that keep nobody at work."""

from datetime import timedelta

import pytest

from floorterm.changeover.acts import LockoutAct, Note
from floorterm.demo.clock import SetClock
from floorterm.lockout.model import Event
from floorterm.people import Person
from floorterm.plant import Plant
from floorterm.terminal.messages import Scanned
from floorterm.terminal.widgets.pad import PinPad
from tests.conftest import PIN, who
from tests.terminal.shell import (
    COMFORTABLE,
    SMALL,
    opened,
    recorded,
    rows,
    sign_in,
    tap_row,
    text_of,
    until,
    until_top,
)


@pytest.fixture
def work(plant: Plant) -> str:
    """A changeover that is on."""
    return plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "begin").work


@pytest.fixture
def jam(plant: Plant) -> str:
    """A procedure with a lockout that is on."""
    return plant.start_procedure(who(plant, "SS"), "L1", "jam-or-torn-screen", "begin").work


async def test_a_code_and_a_pin_open_a_session(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        await pilot.press("f10")
        await sign_in(pilot, "AA")
        assert app.session.who == who_in_session(plant, "AA")
        assert "A. Abel" in text_of(app)


def who_in_session(plant: Plant, code: str) -> object:
    """Somebody as the session knows them."""
    found = who(plant, code)
    return type(found)(found.person, "session")


@pytest.mark.parametrize("size", [SMALL, COMFORTABLE])
async def test_somebody_signs_in_by_touch_alone(plant: Plant, size: tuple[int, int]) -> None:
    async with opened(plant, size) as (app, pilot):
        heading = app.screen.query_one("#heading")
        await pilot.click(heading, offset=(size[0] - 4, 0))
        await until_top(pilot, "SignInScreen")
        await tap_row(pilot, "BB")
        pad = app.screen.query_one(PinPad)
        await until(pilot, lambda: pad.size.width > 0)
        for digit in PIN:
            await pilot.click(pad, offset=pad.zone_of(digit))
            await pilot.pause()
        await pilot.click(pad, offset=pad.zone_of("enter"))
        await until(pilot, lambda: app.session.person is not None)
        assert app.session.person is not None
        assert app.session.person.code == "BB"


@pytest.mark.parametrize(("size", "least"), [(SMALL, (7, 3)), (COMFORTABLE, (10, 5))])
async def test_keys_of_the_pad_and_of_the_foot_are_large_enough_for_gloves(
    plant: Plant, size: tuple[int, int], least: tuple[int, int]
) -> None:
    """20 mm square on a 12.1 inch 4:3 panel: 7 x 3 cells at 80x24, 10 x 5 at 120x40 (arithmetic; the 20 mm is
    Colle and Hiszem 2004, second hand)."""
    async with opened(plant, size) as (app, pilot):
        bar = app.screen.query_one("#keys")
        for _, _, width in bar.zones():  # type: ignore[attr-defined]
            assert (width, bar.size.height) >= least
            assert bar.size.height >= least[1]
        await pilot.press("f10")
        await until_top(pilot, "SignInScreen")
        await pilot.press("enter")
        pad = app.screen.query_one(PinPad)
        await until(pilot, lambda: pad.size.width > 0)
        assert pad._step_x - 1 >= least[0]
        assert pad._step_y - 1 >= least[1]


async def test_a_wrong_pin_is_told_and_opens_nothing(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        await pilot.press("f10")
        await until_top(pilot, "SignInScreen")
        await pilot.press("a", "a", "enter", *"135791", "enter")
        await until(pilot, lambda: "not the PIN of AA" in text_of(app))
        assert app.session.person is None
        await pilot.press(*PIN, "enter")
        await until(pilot, lambda: app.session.person is not None)


async def test_typing_narrows_the_list_and_digits_of_a_pin_are_never_shown(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        await pilot.press("f10")
        await until_top(pilot, "SignInScreen")
        await pilot.press("q", "u")
        assert [row.key for row in rows(app).rows] == ["QQ"]
        await pilot.press("enter", "2", "4", "6")
        assert "* * *" in text_of(app)
        assert "246" not in text_of(app)
        await pilot.press("backspace")
        assert "* * *" not in text_of(app)


async def test_esc_leads_from_the_pin_to_the_people_and_out(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        await pilot.press("f10")
        await until_top(pilot, "SignInScreen")
        await pilot.press("a", "a", "enter", "escape")
        assert app.screen.query_one("#people").display
        await pilot.press("escape")
        await until_top(pilot, "LinesScreen")
        assert app.session.person is None


async def test_changing_person_is_one_key_and_signing_out_another(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        await pilot.press("f10")
        await sign_in(pilot, "AA")
        await pilot.press("f10")
        await sign_in(pilot, "SS")
        assert app.session.person == plant.ledger.person("SS")
        await pilot.press("f10")
        await until_top(pilot, "SignInScreen")
        await pilot.press("f6")
        await until_top(pilot, "LinesScreen")
        assert app.session.person is None


async def test_a_session_ends_after_the_time_that_the_plant_sets(plant: Plant) -> None:
    seconds = 0.0
    idle_s = plant.library.plant.pins.idle_min * 60
    async with opened(plant, steady=lambda: seconds) as (app, pilot):
        await pilot.press("f10")
        await sign_in(pilot, "AA")
        seconds = idle_s - 1
        await app.beat.tick()
        assert app.session.person is not None
        await pilot.press("down")
        seconds += idle_s - 1
        await app.beat.tick()
        assert app.session.person is not None
        seconds += 1
        await app.beat.tick()
        assert app.session.person is None
        await pilot.pause()
        assert "nobody signed in" in text_of(app)
        assert type(app.screen).__name__ == "LinesScreen"


async def test_what_is_recorded_asks_for_sign_in_first(plant: Plant, work: str) -> None:
    async with opened(plant) as (app, pilot):
        assert app.desk.record(work, Note(text="belt squeaks"))
        await sign_in(pilot, "AA")
        await recorded(pilot, plant, Note.KIND)
        entry = plant.ledger.entries(kinds=(Note.KIND,))[0]
        assert (entry.person, entry.identity) == ("AA", "pin")
        assert app.desk.record(work, Note(text="belt still squeaks"))
        await until(pilot, lambda: len(plant.ledger.entries(kinds=(Note.KIND,))) == 2)
        assert plant.ledger.entries(kinds=(Note.KIND,))[1].identity == "session"


async def test_stepping_back_from_sign_in_records_nothing(plant: Plant, work: str) -> None:
    async with opened(plant) as (app, pilot):
        app.desk.record(work, Note(text="belt squeaks"))
        await until_top(pilot, "SignInScreen")
        await pilot.press("escape")
        await until(pilot, lambda: not app.desk.pending)
        assert plant.ledger.entries(kinds=(Note.KIND,)) == []


async def test_a_lockout_act_asks_for_the_pin_again(plant: Plant, jam: str) -> None:
    job = plant.state(jam).worksheet.jobs[0].id
    async with opened(plant) as (app, pilot):
        await pilot.press("f10")
        await sign_in(pilot, "AA")
        app.desk.record(jam, LockoutAct(job=job, event=Event.REVIEW))
        await until_top(pilot, "SignInScreen")
        assert "You sign:" in text_of(app)
        assert not app.screen.query_one("#people").display
        await sign_in(pilot, "AA")
        await recorded(pilot, plant, LockoutAct.KIND)
        assert plant.ledger.entries(kinds=(LockoutAct.KIND,))[0].identity == "pin"


async def test_a_pin_that_fails_never_keeps_anybody_at_work(plant: Plant, jam: str) -> None:
    """Ending one's work goes on without the PIN, and the record says so."""
    job = plant.state(jam).worksheet.jobs[0].id
    async with opened(plant) as (app, pilot):
        app.session.begin(plant.ledger.person("AA"))
        app.desk.record(jam, LockoutAct(job=job, event=Event.WORK_END))
        await until_top(pilot, "SignInScreen")
        await pilot.press("f5")
        assert type(app.screen).__name__ == "SignInScreen"  # not before a PIN has failed
        await pilot.press(*"135791", "enter")
        await until(pilot, lambda: "f5" in [cap.key for cap in app.screen.query_one("#keys").caps])  # type: ignore[attr-defined]
        await pilot.press("f5")
        await recorded(pilot, plant, LockoutAct.KIND)
        assert plant.ledger.entries(kinds=(LockoutAct.KIND,))[0].identity == "unconfirmed"


async def test_other_acts_never_go_on_without_a_pin(plant: Plant, jam: str) -> None:
    job = plant.state(jam).worksheet.jobs[0].id
    async with opened(plant) as (app, pilot):
        app.session.begin(plant.ledger.person("AA"))
        app.desk.record(jam, LockoutAct(job=job, event=Event.REVIEW))
        await until_top(pilot, "SignInScreen")
        await pilot.press(*"135791", "enter")
        await until(pilot, lambda: "not the PIN" in text_of(app))
        await pilot.press("f5")
        assert type(app.screen).__name__ == "SignInScreen"
        assert plant.ledger.entries(kinds=(LockoutAct.KIND,)) == []


async def test_a_witness_is_another_person_with_their_own_pin(plant: Plant, work: str) -> None:
    async with opened(plant) as (app, pilot):
        app.session.begin(plant.ledger.person("AA"))
        app.desk.record(work, Note(text="seen together"), ask_witness=True)
        await until_top(pilot, "SignInScreen")
        assert "AA" not in [row.key for row in rows(app).rows]
        app.screen.post_message(Scanned("BADGE-AA"))
        await until(pilot, lambda: "not a badge of anybody who may answer" in text_of(app))
        await sign_in(pilot, "SS")
        await recorded(pilot, plant, Note.KIND)
        entry = plant.ledger.entries(kinds=(Note.KIND,))[0]
        assert (entry.person, entry.witness) == ("AA", "SS")
        assert app.session.person == plant.ledger.person("AA")


async def test_a_pin_for_one_use_is_replaced_by_ones_own(plant: Plant) -> None:
    issued = plant.ledger.reset_pin("AA", "AD")
    own = "802475"
    async with opened(plant) as (app, pilot):
        await pilot.press("f10")
        await until_top(pilot, "SignInScreen")
        await pilot.press("a", "a", "enter", *issued, "enter")
        await until(pilot, lambda: "choose your own PIN" in text_of(app))
        await pilot.press(*own, "enter")
        await until(pilot, lambda: "once more" in text_of(app))
        await pilot.press(*own[::-1], "enter")
        await until(pilot, lambda: "differ" in text_of(app))
        await pilot.press(*own, "enter")
        await until(pilot, lambda: "once more" in text_of(app))
        await pilot.press(*own, "enter")
        await until(pilot, lambda: app.session.person is not None)
    assert plant.ledger.check_pin("AA", own).code == "AA"


async def test_a_pin_that_was_chosen_at_another_terminal_meanwhile_is_asked_for(plant: Plant) -> None:
    """The one for one use is gone then: choosing another one over and over would use up the tries."""
    issued = plant.ledger.reset_pin("AA", "AD")
    own, other = "802475", "739154"
    async with opened(plant) as (app, pilot):
        await pilot.press("f10")
        await until_top(pilot, "SignInScreen")
        await pilot.press("a", "a", "enter", *issued, "enter")
        await until(pilot, lambda: "choose your own PIN" in text_of(app))
        plant.ledger.change_pin("AA", issued, other, "T2")
        await pilot.press(*own, "enter")
        await until(pilot, lambda: "once more" in text_of(app))
        await pilot.press(*own, "enter")
        await until(pilot, lambda: "what is your PIN?" in text_of(app))
        await pilot.press(*other, "enter")
        await until(pilot, lambda: app.session.person is not None)


async def test_a_disabled_person_is_not_offered(plant: Plant) -> None:
    plant.ledger.disable_person("BB", by="AD", reason="left the plant")
    async with opened(plant) as (app, pilot):
        await pilot.press("f10")
        await until_top(pilot, "SignInScreen")
        keys = [row.key for row in rows(app).rows]
        assert "BB" not in keys
        assert "AA" in keys


async def test_too_many_wrong_pins_say_how_long_to_wait(plant: Plant, clock: SetClock) -> None:
    async with opened(plant) as (app, pilot):
        await pilot.press("f10")
        await until_top(pilot, "SignInScreen")
        await pilot.press("a", "a", "enter")
        for _ in range(5):
            await pilot.press(*"135791", "enter")
            await until(pilot, lambda: not app.screen._checking and "not the PIN" in text_of(app))  # type: ignore[attr-defined]
            clock.advance(timedelta(seconds=1))
        await pilot.press(*PIN, "enter")
        await until(pilot, lambda: "Too many wrong PINs" in text_of(app))
        assert app.session.person is None


def test_people_are_found_by_code_name_and_part_of_the_name() -> None:
    from floorterm.terminal.views.sign_in import people_rows

    people = [
        Person(code="RO", name="Ragna Ode"),
        Person(code="ODE", name="Other"),
        Person(code="X", name="Max"),
    ]

    def found(typed: str) -> list[str]:
        return [row.key for row in people_rows(people, (), typed, "en")[1]]

    assert found("ode") == ["ODE", "RO"]
    assert found("rag") == ["RO"]
    assert found("") == ["X", "ODE", "RO"]
    assert found("zz") == []

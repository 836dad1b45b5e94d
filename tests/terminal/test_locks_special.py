"""Locks beyond one's own: hand-over, test run, crew, an absent person's lock, what fell short; keys and touch."""

from datetime import timedelta

import pytest
from textual.pilot import Pilot

from floorterm.changeover.acts import LockoutAct, Release
from floorterm.lockout.model import BOX, Event
from floorterm.review.lockout_audit import audit_period
from floorterm.terminal.plain import locks_text
from floorterm.terminal.screens.locks import LocksScreen
from floorterm.terminal.widgets.notice import Notice
from tests.conftest import PIN, who
from tests.terminal.at_step import Crew
from tests.terminal.conftest import CrewAt
from tests.terminal.shell import COMFORTABLE, rows, sign_in, tap_key, tap_row, text_of, until, until_top
from tests.terminal.test_locks import JOB, WORKING, at_locks, press

FIRST = "strip-down-2-lock/shut-down"


@pytest.fixture
def working(crew_at: CrewAt) -> Crew:
    """R. Ode is at work under the lockout, and A. Abel has locks beside theirs."""
    crew = crew_at(WORKING)
    crew.act(LockoutAct(job=JOB, event=Event.REVIEW), "AA")
    for count, point in enumerate(crew.state.locks[JOB].job.points, 1):
        crew.act(LockoutAct(job=JOB, event=Event.LOCK_ON, points=(point.id,), lock=f"8{count}"), "AA")
    return crew


async def more(screen: LocksScreen, pilot: Pilot[int], name: str) -> None:
    """Open the list of further acts and take one."""
    await until(pilot, lambda: any(f"/{name}" in one.id for one in screen.view.more))  # type: ignore[union-attr]
    key = next(one.id for one in screen.view.more if f"/{name}" in one.id)  # type: ignore[union-attr]
    await press(pilot, "f5")
    await until_top(pilot, "MenuScreen")
    await until(pilot, lambda: bool(rows(pilot.app).rows))
    assert rows(pilot.app).choose(key)
    await press(pilot, "enter")


async def answer(pilot: Pilot[int], *keys: str) -> None:
    await until_top(pilot, "AskScreen")
    await press(pilot, *keys, "enter")


async def settled(pilot: Pilot[int]) -> None:
    await until(pilot, lambda: not pilot.app.desk.pending)  # type: ignore[attr-defined]
    await until_top(pilot, "LocksScreen")


async def test_a_hand_over_names_who_takes_over_and_is_seen(working: Crew) -> None:
    working.act(LockoutAct(job=JOB, event=Event.WORK_END))
    async with at_locks(working) as (screen, pilot):
        await more(screen, pilot, "hand_over")
        await answer(pilot, "1")
        await until(pilot, lambda: bool(working.state.locks[JOB].handed))
        await settled(pilot)
        await until(pilot, lambda: "handed over by R. Ode to A. Abel" in text_of(pilot.app))
        assert {one.giver for one in working.state.locks[JOB].handed} == {"OO"}


async def test_an_absent_persons_lock_comes_off_step_by_step_and_they_do_not_sign_in_before_they_know(
    working: Crew,
) -> None:
    """29 CFR 1910.147(e)(3)(i)-(iii): looked for, called, then the lock; told before they go on."""
    async with at_locks(working, by="SS") as (screen, pilot):
        await more(screen, pilot, "owner_absent_check/AA")
        await answer(pilot, "1")
        await settled(pilot)
        await more(screen, pilot, "owner_contact_try/AA")
        await answer(pilot, "2")
        await settled(pilot)
        await more(screen, pilot, "remove_other/AA")
        await until(pilot, lambda: not working.state.locks[JOB].own_locks("AA"))
        await settled(pilot)
        await until(pilot, lambda: "A. Abel was taken off by S. Stern" in text_of(pilot.app))
        assert [one.value["owner"] for one in working.plant.uninformed("AA")] == ["AA"]

        await press(pilot, "f10")
        await until_top(pilot, "SignInScreen")
        await pilot.press(*"aa", "enter")
        await pilot.press(*PIN, "enter")
        notice = pilot.app.screen.query_one(Notice)
        await until(pilot, lambda: bool(notice.sentences))
        assert "took your lock off while you were away" in notice.sentences[0]
        assert pilot.app.session.person.code == "SS"  # type: ignore[attr-defined]
        await press(pilot, "escape", "escape")
        await until_top(pilot, "LocksScreen")

        await more(screen, pilot, "owner_informed/AA")
        await until(pilot, lambda: not working.plant.uninformed("AA"))
        await settled(pilot)
        await press(pilot, "f10")
        await sign_in(pilot, "AA")
        assert pilot.app.session.person.code == "AA"  # type: ignore[attr-defined]


async def test_after_the_work_was_released_somebody_who_does_not_know_is_still_told_here(
    working: Crew,
) -> None:
    for event, extra in (
        ("owner_absent_check", {"result": "absent"}),
        ("owner_contact_try", {"result": "reached"}),
    ):
        working.act(LockoutAct(job=JOB, event=Event(event), owner="AA", **extra), "SS")
    points = tuple(point.id for point in working.state.locks[JOB].job.points)
    working.act(LockoutAct(job=JOB, event=Event.REMOVE_OTHER, points=points, owner="AA"), "SS")
    working.finish()
    working.act(Release(), "SS")
    assert working.state.ended
    told = "\n".join(locks_text(working.plant, "L2", None, "en"))
    assert "A. Abel was taken off by S. Stern" in told, "the command says what the screen says"
    async with at_locks(working, by="SS") as (screen, pilot):
        await more(screen, pilot, "owner_informed/AA")
        await until(pilot, lambda: not working.plant.uninformed("AA"))


async def test_whose_lock_was_taken_off_before_a_redirect_is_told_and_signs_in_again(working: Crew) -> None:
    """The new worksheet has no such lockout: it goes on under another name, and what was recorded has the old one."""
    for event, extra in (
        ("owner_absent_check", {"result": "absent"}),
        ("owner_contact_try", {"result": "reached"}),
    ):
        working.act(LockoutAct(job=JOB, event=Event(event), owner="AA", **extra), "SS")
    points = tuple(point.id for point in working.state.locks[JOB].job.points)
    working.act(LockoutAct(job=JOB, event=Event.REMOVE_OTHER, points=points, owner="AA"), "SS")
    plant = working.plant
    plant.redirect(working.work, "juniper", "the order changed", who(plant, "SS"), key="redirect")
    (carried,) = working.state.locks
    assert carried != JOB
    assert plant.uninformed("AA")
    working.act(LockoutAct(job=carried, event=Event.OWNER_INFORMED, owner="AA"), "SS")
    assert not working.state.locks[carried].removed
    assert plant.uninformed("AA") == ()


def test_a_closed_lockout_of_before_a_redirect_is_judged_as_before(crew_at: CrewAt) -> None:
    crew = crew_at(WORKING)
    crew.to("strip-down-2-unlock/close")
    crew.sign("strip-down-2-unlock/close")
    plant, day = crew.plant, crew.plant.today()
    before = audit_period(plant, day, day + timedelta(days=1))
    plant.redirect(crew.work, "juniper", "the order changed", who(plant, "SS"), key="redirect")
    assert JOB not in crew.state.locks
    after = audit_period(plant, day, day + timedelta(days=1))
    assert before.jobs
    told = [
        [(len(job.events), job.closed, [one.rule for one in job.findings]) for job in audit.jobs]
        for audit in (before, after)
    ]
    assert told[0] == told[1]


async def test_a_test_run_is_led_step_by_step_and_the_screen_says_that_energy_is_on(working: Crew) -> None:
    working.act(LockoutAct(job=JOB, event=Event.WORK_END))
    working.act(LockoutAct(job=JOB, event=Event.LOCK_OFF), "AA")
    async with at_locks(working) as (screen, pilot):
        await more(screen, pilot, "inspect_area")
        await answer(pilot, "1")
        await settled(pilot)
        await more(screen, pilot, "account_people")
        await answer(pilot, "1")
        await settled(pilot)
        working.act(LockoutAct(job=JOB, event=Event.LOCK_OFF, points=("L2-E1",)))
        screen.retell()
        await more(screen, pilot, "notify_after")
        await answer(pilot)
        await settled(pilot)
        await more(screen, pilot, "temp_energise")
        await until(pilot, lambda: bool(working.state.locks[JOB].testing))
        await settled(pilot)
        await until(pilot, lambda: "ENERGISED FOR A TEST" in text_of(pilot.app))
        assert "End the test, then isolate again" in text_of(pilot.app)
        assert "(f)(1)" in text_of(pilot.app)


async def test_a_crew_is_taken_by_touch_and_the_box_is_a_row_of_its_own(crew_at: CrewAt) -> None:
    crew = crew_at(FIRST)
    async with at_locks(crew, COMFORTABLE) as (screen, pilot):
        await tap_key(pilot, "f5")
        await until_top(pilot, "MenuScreen")
        key = next(one.id for one in screen.view.more if one.id.endswith("/assign_primary"))  # type: ignore[union-attr]
        await tap_row(pilot, key)
        await until_top(pilot, "AskScreen")
        await press(pilot, "1", "2", "enter")
        await until(pilot, lambda: bool(crew.state.locks[JOB].crews))
        await settled(pilot)
        await until(pilot, lambda: "Crew of R. Ode: A. Abel, B. Brand" in text_of(pilot.app))
        assert "keys 0 of 5" in text_of(pilot.app)
        assert crew.state.locks[JOB].group


async def test_what_fell_short_is_said_at_once_with_the_rule(working: Crew) -> None:
    async with at_locks(working) as (screen, pilot):
        working.act(LockoutAct(job=JOB, event=Event.LOCK_OFF, points=("L2-E1",)))
        screen.retell()
        await until(pilot, lambda: "(LO-30)" in text_of(pilot.app))
        assert "R. Ode is recorded at work without an own lock" in text_of(pilot.app)


async def test_a_cut_lock_is_recorded_afterwards_by_anybody(working: Crew) -> None:
    async with at_locks(working, by="QQ") as (screen, pilot):
        await more(screen, pilot, "cut/OO")
        await until(pilot, lambda: not working.state.locks[JOB].own_locks("OO"))
        await settled(pilot)
        await until(pilot, lambda: "in an emergency" in text_of(pilot.app))


async def test_locks_that_stay_too_long_and_people_who_are_alone_are_said(working: Crew) -> None:
    async with at_locks(working) as (screen, pilot):
        working.clock.advance(timedelta(hours=25))
        screen.retell()
        await until(pilot, lambda: any("more than 24 hours" in one.text for one in screen.view.jobs[0].said))  # type: ignore[union-attr]
        (old,) = [one for one in screen.view.jobs[0].said if "24 hours" in one.text]  # type: ignore[union-attr]
        assert old.rule == "site policy"


def test_the_box_is_no_isolation_point(working: Crew) -> None:
    assert BOX not in {point.id for point in working.state.locks[JOB].job.points}

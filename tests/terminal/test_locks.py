"""Locks: who has which lock where, the way out one key away, and how a further person comes in."""

import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import timedelta
from typing import Any

import pytest
from textual import events
from textual.pilot import Pilot

from floorterm.changeover.acts import Abandon, LockoutAct
from floorterm.changeover.view_locks import JobView, LocksView, PointRow
from floorterm.lockout.model import Event
from floorterm.terminal.screens.locks import LocksScreen
from floorterm.terminal.screens.work import WorkScreen
from floorterm.terminal.views.locks import locks_lines
from floorterm.terminal.views.text import width_of
from floorterm.terminal.widgets.notice import Notice
from floorterm.terminal.widgets.zones import Zones
from tests.conftest import PIN
from tests.terminal.at_step import Crew
from tests.terminal.conftest import CrewAt
from tests.terminal.shell import COMFORTABLE, SMALL, opened, sign_in, text_of, until, until_top

JOB = "strip-down-2"
WORKING = "strip-down-2/open-head"
POINTS = 5


@asynccontextmanager
async def at_locks(
    crew: Crew, size: tuple[int, int] = SMALL, *, by: str = "OO", work: str = "", **options: Any
) -> AsyncIterator[tuple[LocksScreen, Pilot[int]]]:
    async with opened(crew.plant, size, **options) as (app, pilot):
        if by:
            app.begin_session(crew.plant.ledger.person(by))
        screen = LocksScreen("L2", work)
        app.push_screen(screen)
        await until(pilot, lambda: screen.is_mounted and screen.view is not None)
        yield screen, pilot


async def press(pilot: Pilot[int], *keys: str) -> None:
    for key in keys:
        pilot.app.post_message(events.Key(key, key if len(key) == 1 else None))
    await pilot.pause()


def digit(screen: LocksScreen, name: str) -> str:
    """The digit of an offer."""
    assert screen.view is not None
    return str([offer.id.rsplit("/", 1)[1] for offer in screen.view.offers].index(name) + 1)


async def offered(screen: LocksScreen, pilot: Pilot[int], name: str) -> None:
    await until(pilot, lambda: any(one.id.endswith(f"/{name}") for one in screen.view.offers))  # type: ignore[union-attr]
    await until(pilot, lambda: not pilot.app.desk.pending)  # type: ignore[attr-defined]


def owners(crew: Crew) -> list[str]:
    return [lock.owner for lock in crew.state.locks[JOB].locks_on()]


@pytest.fixture
def working(crew_at: CrewAt) -> Crew:
    """R. Ode is at work under the lockout."""
    crew = crew_at(WORKING)
    assert "OO" in crew.state.locks[JOB].at_work
    return crew


@pytest.mark.parametrize("width", [80, 120])
@pytest.mark.parametrize(
    "locks", [("R. Ode RO-L1-H1 13:57",), ("R. Ode RO-L1-H1 13:57", "L. Sorrel LS-L1-H1 14:02")]
)
def test_the_name_of_a_point_its_place_and_every_lock_are_never_cut(
    width: int, locks: tuple[str, ...]
) -> None:
    name = "Válvula de aislamiento del circuito de refrigeración de troqueles C1"
    place = "salida del enfriador, detrás de la segunda columna de la nave"
    points = (
        PointRow(
            id="C1", name=name, place=place, position="con energía", isolated=False, locks=locks, own=True,
            note="energía acumulada sin liberar", note_level="caution",
        ),
        PointRow(id="V1", name="Válvula V1", place="", position="aislado", isolated=True, locks=(), own=False),
    )  # fmt: skip
    job = JobView(
        work="C-1", job="j", machine="línea", title="Bloqueo", status="", points=points, at_work="", proved="",
        alarm=False, next=(), refusals=(),
    )  # fmt: skip
    view = LocksView(line="", authority="", count=0, summary="", jobs=(job,), offers=(), empty="")
    lines = locks_lines(view, "es", width, signed_in=True)
    assert max(map(width_of, lines)) <= width
    text = "\n".join("".join(span.text for span in line) for line in lines)
    assert "…" not in text
    columns = [line[3:] for line in text.split("\n")[1:] if line.strip()]
    names = " ".join(re.split(r"  +| con energía", line)[0].strip() for line in columns).replace("  ", " ")
    for word in (*name.split(), *(place.split() if width >= 100 else ())):
        assert word in names
    assert all(lock in text for lock in locks)
    assert "energía acumulada sin liberar" in text


async def test_every_point_its_locks_and_what_comes_next_are_seen_at_80x24(working: Crew) -> None:
    async with at_locks(working) as (_, pilot):
        text = text_of(pilot.app)
        assert "The lock at the machine is the authority, not this screen" in text
        assert f"{POINTS} locks recorded as on: R. Ode" in text
        for point in working.state.locks[JOB].job.points:
            assert re.search(
                rf"{re.escape(point.name['en'][:20])}.*isolated +R\. Ode OO-{point.id} \d\d:\d\d", text
            )
        assert "You are recorded as working" in text
        assert "read by" in text
        assert "I am out, my work is ended" in text
        assert "Take my own lock off" in text


async def test_getting_out_is_one_key(working: Crew) -> None:
    async with at_locks(working) as (screen, pilot):
        assert digit(screen, "work_end") == "1"
        await press(pilot, "1")
        await until(pilot, lambda: not working.state.locks[JOB].at_work)


async def test_the_own_lock_comes_off_by_one_key_even_while_recorded_as_working(working: Crew) -> None:
    async with at_locks(working) as (screen, pilot):
        assert digit(screen, "lock_off") == "2"
        await press(pilot, "2")
        await until(pilot, lambda: not owners(working))
        assert working.state.open_deviations, "it is shown, never refused"


async def test_a_tap_does_the_same(working: Crew) -> None:
    async with at_locks(working, COMFORTABLE) as (screen, pilot):
        zones = screen.query_one("#safer", Zones)
        await until(pilot, lambda: zones.region.height > 0)
        await pilot.click(zones, offset=zones.zone_of(screen.view.offers[0].id))  # type: ignore[union-attr]
        await until(pilot, lambda: not working.state.locks[JOB].at_work)


async def test_the_way_out_stays_open_with_a_wrong_pin(working: Crew) -> None:
    """Nobody is kept at work or under a lock by a PIN: the entry says that it was not confirmed."""
    async with at_locks(working, by="") as (screen, pilot):
        await press(pilot, digit(screen, "work_end"))
        await until_top(pilot, "SignInScreen")
        await pilot.press(*"oo", "enter")
        for _ in range(8):
            await pilot.press(*"999113", "enter")
            await until(pilot, lambda: not pilot.app.screen._checking)  # type: ignore[attr-defined]
        await until(pilot, lambda: "without" in text_of(pilot.app))
        await pilot.press("f5")
        await until(pilot, lambda: "OO" not in working.state.locks[JOB].at_work)
        entry = working.plant.ledger.entries(changeover=working.work, newest_first=True)[0]
        assert (entry.kind, entry.identity) == ("lockout.event", "unconfirmed")


async def test_somebody_whose_code_was_disabled_meanwhile_gets_out_and_nothing_else(working: Crew) -> None:
    working.plant.ledger.disable_person("OO", by="AD", reason="left the company at noon")
    async with at_locks(working, by="") as (screen, pilot):
        await press(pilot, digit(screen, "work_end"))
        await until_top(pilot, "SignInScreen")
        await pilot.press(*"oo", "enter")
        await pilot.press(*PIN, "enter")
        await until(pilot, lambda: "without" in text_of(pilot.app))
        await pilot.press("f5")
        await until(pilot, lambda: "OO" not in working.state.locks[JOB].at_work)
        entry = working.plant.ledger.entries(changeover=working.work, newest_first=True)[0]
        assert (entry.kind, entry.person, entry.identity) == ("lockout.event", "OO", "unconfirmed")
        await pilot.press("f10")
        await until_top(pilot, "SignInScreen")
        assert "R. Ode" not in text_of(pilot.app), "signing in is for active people"


async def test_a_further_person_is_led_in_and_only_then_may_work(working: Crew) -> None:
    async with at_locks(working, by="AA") as (screen, pilot):
        assert "REFUSED" in text_of(pilot.app)
        await press(pilot, digit(screen, "review"))
        await offered(screen, pilot, "lock_on")
        await press(pilot, digit(screen, "lock_on"))
        for count in range(1, POINTS + 1):
            await until_top(pilot, "AskScreen")
            await press(pilot, *f"7{count}", "enter")
            await until(pilot, lambda count=count: owners(working).count("AA") == count)  # type: ignore[misc]
        await offered(screen, pilot, "verify")
        await press(pilot, digit(screen, "verify"))
        await until_top(pilot, "AskScreen")
        await press(pilot, "1", "enter")
        await offered(screen, pilot, "work_start")
        await until(pilot, lambda: "REFUSED" not in text_of(pilot.app))
        await press(pilot, digit(screen, "work_start"))
        await until(pilot, lambda: "AA" in working.state.locks[JOB].at_work)
        job = working.state.locks[JOB]
        assert [lock.lock for lock in job.own_locks("AA")] == ["71", "72", "73", "74", "75"]
        assert "AA" in job.proofs


async def test_stepping_back_in_the_middle_records_nothing_more(working: Crew) -> None:
    working.act(LockoutAct(job=JOB, event=Event.REVIEW), "AA")
    async with at_locks(working, by="AA") as (screen, pilot):
        await press(pilot, digit(screen, "lock_on"))
        await until_top(pilot, "AskScreen")
        await press(pilot, "escape")
        await until_top(pilot, "LocksScreen")
        assert "AA" not in owners(working)


async def test_the_same_lock_cannot_be_on_two_points(working: Crew) -> None:
    working.act(LockoutAct(job=JOB, event=Event.REVIEW), "AA")
    async with at_locks(working, by="AA") as (screen, pilot):
        await press(pilot, digit(screen, "lock_on"))
        for _ in range(2):
            await until_top(pilot, "AskScreen")
            await press(pilot, *"71", "enter")
        await until(pilot, lambda: bool(screen.query_one("#notice", Notice).sentences))
        assert owners(working).count("AA") == 1
        assert "71" in " ".join(screen.query_one("#notice", Notice).sentences)


async def test_the_repeated_reading_is_recorded_here_and_work_goes_on(working: Crew) -> None:
    working.clock.advance(timedelta(minutes=45))
    assert working.state.locks[JOB].lapsed(working.plant.now())
    async with at_locks(working) as (screen, pilot):
        assert "is missing" in text_of(pilot.app)
        await press(pilot, digit(screen, "monitor"))
        await until_top(pilot, "AskScreen")
        await press(pilot, "1", "enter")
        await until(pilot, lambda: not working.state.locks[JOB].lapsed(working.plant.now()))


async def test_energy_found_is_recorded_and_everybody_is_told_to_get_out(working: Crew) -> None:
    async with at_locks(working) as (screen, pilot):
        await press(pilot, digit(screen, "monitor"))
        await until_top(pilot, "AskScreen")
        await press(pilot, "2", "enter")
        await until(pilot, lambda: working.state.locks[JOB].alarm)
        await until(pilot, lambda: "NOT ZERO was read" in text_of(pilot.app))
        assert "get out" in text_of(pilot.app).lower()


async def test_a_step_of_the_worksheet_is_done_on_work(crew_at: CrewAt) -> None:
    crew = crew_at("strip-down-2-lock/notify")
    async with opened(crew.plant) as (app, pilot):
        app.begin_session(crew.ode)
        work = WorkScreen(crew.work)
        app.push_screen(work)
        await until(pilot, lambda: work.is_mounted and work.view is not None)
        await press(pilot, "f2")
        await until_top(pilot, "LocksScreen")
        await until(pilot, lambda: app.screen.view is not None)  # type: ignore[attr-defined]
        await press(pilot, "enter")
        await until_top(pilot, "WorkScreen")
        assert work.view is not None
        await until(pilot, lambda: work.view.step.id == "strip-down-2-lock/notify")  # type: ignore[union-attr]


async def test_after_an_abandoned_changeover_the_lockout_is_ended_here(working: Crew) -> None:
    working.act(Abandon(reason="evacuated"), "SS")
    async with at_locks(working) as (screen, pilot):
        await press(pilot, digit(screen, "work_end"))
        await offered(screen, pilot, "inspect_area")
        await press(pilot, digit(screen, "inspect_area"))
        await until_top(pilot, "AskScreen")
        await press(pilot, "1", "enter")
        await offered(screen, pilot, "account_people")
        await press(pilot, digit(screen, "account_people"))
        await until_top(pilot, "AskScreen")
        await press(pilot, "1", "enter")
        await until(pilot, lambda: working.state.locks[JOB].accounted)
        await offered(screen, pilot, "lock_off")
        await press(pilot, digit(screen, "lock_off"))
        await until(pilot, lambda: not owners(working))


async def test_a_line_without_lockout_says_so(crew_at: CrewAt) -> None:
    crew = crew_at("")
    crew.act(Abandon(reason="no noodles"), "SS")
    async with at_locks(crew) as (screen, pilot):
        assert "No work on this line has a lockout now." in text_of(pilot.app)
        assert screen.check_action("take", ()) is None


async def test_it_is_told_in_spanish_too(working: Crew) -> None:
    async with at_locks(working, language="es") as (_, pilot):
        text = text_of(pilot.app)
        assert "Manda el candado de la máquina, no esta pantalla" in text
        assert "Quito mi propio candado" in text


async def test_the_plain_look_keeps_to_the_characters_of_a_console(working: Crew) -> None:
    async with at_locks(working, plain=True) as (_, pilot):
        text_of(pilot.app).replace("…", "...").encode("cp437")


async def test_zones_that_mean_opposite_things_do_not_touch(working: Crew) -> None:
    async with at_locks(working, COMFORTABLE, by="OO") as (screen, pilot):
        safer, others = screen.query_one("#safer", Zones), screen.query_one("#others", Zones)
        await until(pilot, lambda: safer.region.height > 0 and others.region.height > 0)
        assert others.region.y > safer.region.bottom
        assert safer._zone_height >= 5


async def test_who_is_not_signed_in_signs_in_to_take_a_lock_off(working: Crew) -> None:
    async with at_locks(working, by="") as (screen, pilot):
        await press(pilot, digit(screen, "lock_off"))
        await sign_in(pilot, "OO")
        await until(pilot, lambda: not owners(working))
        assert len(PIN) == 6

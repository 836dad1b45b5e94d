"""Lines: what each line says, without a terminal and on one."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from msgspec.structs import replace
from textual import events

from floorterm.changeover.acts import Abandon, LockoutAct, Pause, RaiseDeviation, SignStep
from floorterm.demo.clock import SetClock
from floorterm.lockout.model import Event
from floorterm.plant import Plant
from floorterm.terminal.views.lines import LineRow, Names, elapsed_min, line_rows
from floorterm.terminal.views.text import Line, tell
from floorterm.terminal.widgets.rows import Rows
from floorterm.wording import LANGUAGES
from tests.conftest import who
from tests.terminal.shell import COMFORTABLE, SMALL, opened, rows, tap_key, tap_row, text_of, until, until_top


def _said(lines: tuple[Line, ...]) -> str:
    return "\n".join("".join(span.text for span in line) for line in lines)


def _rows(plant: Plant, language: str = "en") -> dict[str, LineRow]:
    names = Names(
        lines={name: tell(one.name, language) for name, one in plant.library.lines.items()},
        fragrances={name: tell(one.name, language) for name, one in plant.library.fragrances.items()},
    )
    found = line_rows(plant.lines(), names, plant.now(), plant.zone, language)
    return {row.key: row for row in found}


def _start(plant: Plant, to: str = "clove-leaf") -> str:
    return plant.start_changeover(who(plant, "SS"), "L1", to, "begin").work


def _mark(plant: Plant, work: str) -> SignStep:
    steps = plant.state(work).worksheet.steps()
    step = next(one for one in steps if one.mark == "last_good_outgoing")
    return SignStep(step=step.id, counter=41000)


def test_a_quiet_line_says_what_it_holds_and_that_nothing_is_on(plant: Plant) -> None:
    row = _rows(plant)["L1"]
    assert _said(row.left) == "Line 1  holds Plain since 06:00\nno locks recorded"
    assert _said(row.right).split("\n")[0] == "no changeover on"
    assert row.work == ""


def test_a_changeover_says_where_it_goes_and_how_much_is_left(plant: Plant) -> None:
    work = _start(plant)
    row = _rows(plant)["L1"]
    total = sum(1 for _ in plant.state(work).worksheet.steps())
    assert "holds Plain, going to Clove leaf" in _said(row.left)
    assert f"{total} steps to go" in _said(row.right)
    assert "line still runs" in _said(row.right)
    assert row.work == work


def test_minutes_count_from_the_last_good_bar_and_say_when_they_are_over(
    plant: Plant, clock: SetClock
) -> None:
    work = _start(plant)
    state = plant.state(work)
    assert elapsed_min(state, clock()) is None
    fold_on = _signed(plant, work, _mark(plant, work), clock)
    assert elapsed_min(fold_on, clock() + timedelta(minutes=47, seconds=59)) == 47


def _signed(plant: Plant, work: str, act: SignStep, clock: SetClock):  # type: ignore[no-untyped-def]
    """A state with one step signed, whatever must come before it: only the fold is asked."""
    from msgspec.structs import replace

    from floorterm.changeover.state import Signed

    state = plant.state(work)
    signed = Signed(act=act, n=99, at=clock(), person="AA", name="A. Abel")
    return replace(state, signed={act.step: signed})


def test_over_and_within_the_standard_are_told_in_words(plant: Plant, clock: SetClock) -> None:
    from floorterm.changeover.standard import standard_min
    from floorterm.terminal.views.lines import against_standard

    work = _start(plant)
    state = _signed(plant, work, _mark(plant, work), clock)
    standard = int(standard_min(state.worksheet).quantize(Decimal(1)))
    within = against_standard(state, clock() + timedelta(minutes=standard), "en")
    over = against_standard(state, clock() + timedelta(minutes=standard + 6), "en")
    assert (within.tone, " of " in within.text) == ("", True)
    assert over.tone == "caution"
    assert over.text.strip().startswith("6 min over")


def test_locks_say_how_many_and_whose(plant: Plant) -> None:
    work = plant.start_procedure(who(plant, "AA"), "L1", "jam-or-torn-screen", "jam").work
    job = plant.state(work).worksheet.jobs[0]
    assert "no locks recorded" in _said(_rows(plant)["L1"].left)
    _lock(plant, work, job.id)
    row = _rows(plant)["L1"]
    assert "1 lock on: A. Abel" in _said(row.left)
    assert "1 lock on: A. Abel" in _said(_rows(plant)[f"L1/{work}"].left)


def _lock(plant: Plant, work: str, job: str) -> None:
    """Walk the lockout up to the first lock, by the guidance of the rules."""
    from floorterm.changeover.rules import lockout_next

    person = who(plant, "AA")
    for count in range(20):
        state = plant.state(work)
        if state.locks_on():
            return
        move = lockout_next(state, job, person.person, plant.now())[0]
        assert move.event is not None
        points = move.points[:1] if move.event in (Event.LOCK_ON, Event.ISOLATE) else move.points
        people = plant.state(work).locks[job].untold() if move.event is Event.NOTIFY_BEFORE else ()
        act = LockoutAct(
            job=job, event=move.event, points=points, people=people, how="in_person" if people else "",
            lock="17" if move.event is Event.LOCK_ON else "",
        )  # fmt: skip
        plant.act(work, act, person, key=f"lock {count}")
    raise AssertionError("no lock went on")


def test_a_deviation_a_pause_and_a_procedure_are_seen_from_lines(plant: Plant) -> None:
    work = _start(plant)
    plant.act(work, RaiseDeviation(text="bars crack"), who(plant, "AA"), key="d")
    plant.act(work, Pause(reason="no film"), who(plant, "AA"), key="p")
    alone = plant.start_procedure(who(plant, "AA"), "L1", "eyewash-weekly", "e").work
    found = _rows(plant)
    assert "1 deviation waits" in _said(found["L1"].right)
    assert "paused since 06:00" in _said(found["L1"].right)
    assert "since 06:00" in _said(found[f"L1/{alone}"].right)
    assert next(iter(found)) == "L1"


def test_an_abandoned_work_with_locks_on_stays_in_sight(plant: Plant) -> None:
    work = plant.start_procedure(who(plant, "AA"), "L1", "jam-or-torn-screen", "jam").work
    _lock(plant, work, plant.state(work).worksheet.jobs[0].id)
    plant.act(work, Abandon(reason="fire drill"), who(plant, "AA"), key="a")
    row = _rows(plant)[f"L1/{work}"]
    assert "abandoned at 06:00 with locks on" in _said(row.left)
    assert row.work == work


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("width", [80, 120])
def test_no_row_needs_more_than_the_screen(plant: Plant, language: str, width: int) -> None:
    from floorterm.terminal.views.text import width_of

    work = _start(plant)
    plant.act(work, RaiseDeviation(text="bars crack"), who(plant, "AA"), key="d")
    for row in _rows(plant, language).values():
        for left, right in zip(row.left, row.right, strict=False):
            assert width_of(left) + width_of(right) + 2 <= width - 6, (left, right)


# --- on the screen ----------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [SMALL, COMFORTABLE])
async def test_lines_shows_its_name_its_question_and_both_lines(plant: Plant, size: tuple[int, int]) -> None:
    async with opened(plant, size) as (app, _):
        text = text_of(app)
        for part in (
            "Lines",
            "Which line needs somebody first?",
            "Line 1",
            "Line 2",
            "Tue 06:00",
            "FIRST",
            "AID",
        ):
            assert part in text


async def test_enter_on_a_quiet_line_starts_a_changeover_and_on_a_busy_one_opens_the_work(
    plant: Plant,
) -> None:
    _start(plant)
    async with opened(plant) as (app, pilot):
        assert rows(app).chosen is not None
        await pilot.press("enter")
        await until_top(pilot, "WorkScreen")
        await pilot.press("escape")
        await until_top(pilot, "LinesScreen")
        await pilot.press("2", "enter")
        await until_top(pilot, "StartChangeoverScreen")


@pytest.mark.parametrize(
    ("key", "screen"),
    [
        ("f2", "LocksScreen"),
        ("f4", "ProceduresScreen"),
        ("f6", "StartChangeoverScreen"),
        ("f7", "StartProcedureScreen"),
        ("f8", "ShiftScreen"),
        ("f1", "FirstAidScreen"),
        ("question_mark", "KeysScreen"),
    ],
)
async def test_every_key_at_the_foot_works_by_tap_as_by_key(plant: Plant, key: str, screen: str) -> None:
    async with opened(plant) as (app, pilot):
        for press in (pilot.press, lambda key: tap_key(pilot, key)):
            await press(key)
            await until_top(pilot, screen)
            await pilot.press("escape")
            await until_top(pilot, "LinesScreen")
            assert app.focused is rows(app)


async def test_flush_is_offered_only_for_a_line_that_flushes(plant: Plant) -> None:
    _start(plant)
    async with opened(plant) as (app, pilot):

        def flush() -> bool:
            return next(cap.enabled for cap in app.screen.query_one("#keys").caps if cap.key == "f3")  # type: ignore[attr-defined]

        assert flush()
        await pilot.press("down")
        await until(pilot, lambda: not flush())
        await pilot.press("up", "f3")
        await until_top(pilot, "FlushScreen")


async def test_a_row_is_chosen_and_opened_by_touch(plant: Plant) -> None:
    work = _start(plant)
    async with opened(plant, COMFORTABLE) as (app, pilot):
        await tap_row(pilot, "L2")
        assert type(app.screen).__name__ == "LinesScreen"
        await tap_row(pilot, "L1")
        await tap_row(pilot, "L1")
        await until_top(pilot, "WorkScreen")
        assert app.screen.work == work  # type: ignore[attr-defined]


async def test_the_minute_moves_the_clock_and_nothing_else_does(plant: Plant, clock: SetClock) -> None:
    async with opened(plant) as (app, pilot):
        clock.advance(timedelta(seconds=30))
        await app.beat.tick()
        await pilot.pause()
        assert "Tue 06:00" in text_of(app)
        clock.advance(timedelta(seconds=31))
        await app.beat.tick()
        await until(pilot, lambda: "Tue 06:01" in text_of(app))


async def test_unapproved_checklists_are_told_and_an_approval_is_seen(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        assert "checklists not approved" in text_of(app)
        plant.approve_library(who(plant, "VV"), key="approve")
        await app.look_at_record()
        await until(pilot, lambda: "checklists not approved" not in text_of(app))


async def test_other_checklists_approved_elsewhere_are_told_where_the_old_ones_are_open(plant: Plant) -> None:
    plant.approve_library(who(plant, "VV"), key="approve")
    newer = Plant(replace(plant.library, digest="1" * 64), plant.ledger, "T2")
    async with opened(plant, size=SMALL) as (app, pilot):
        assert "approved" not in text_of(app)
        newer.approve_library(who(newer, "VV"), key="newer")
        await app.look_at_record()
        await until(pilot, lambda: "other checklists approved since" in text_of(app))
        await pilot.press("f4")
        await until_top(pilot, "ProceduresScreen")
        assert "others approved since, V. Voss, 2026-11-24 06:00" in text_of(app)


def test_times_are_those_of_the_plant() -> None:
    from floorterm.terminal.views.text import clock as told

    at = datetime(2026, 11, 24, 13, 5, tzinfo=UTC)
    assert told(at, ZoneInfo("America/Denver")) == "06:05"


async def test_a_finger_that_lifts_where_the_screen_no_longer_is_leaves_the_keys_alive(plant: Plant) -> None:
    async with opened(plant, size=COMFORTABLE) as (app, pilot):
        await pilot.resize_terminal(*SMALL)
        for kind in (events.MouseDown, events.MouseUp):
            app.post_message(kind(None, 110, 35, 0, 0, 1, False, False, False, screen_x=110, screen_y=35))  # type: ignore[abstract]
        await pilot.pause()
        await until(pilot, lambda: app.screen.focused is not None)
        await pilot.press("enter")
        await until(pilot, lambda: len(app.screen_stack) > 1)


async def test_focus_is_always_somewhere(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        await pilot.click(offset=(40, 20))
        await pilot.pause()
        assert isinstance(app.focused, Rows)
        await pilot.resize_terminal(79, 23)
        await pilot.pause()
        assert isinstance(app.focused, Rows)


async def test_what_a_whole_repaint_showed_is_not_painted_again_with_the_next_key(plant: Plant) -> None:
    async with opened(plant) as (app, _):
        screen = app.screen
        for widget in (rows(app), screen):
            widget.refresh()
        screen._dirty_widgets.add(rows(app))  # as when its message has come before the screen is painted
        screen._on_timer_update()
        assert not rows(app)._repaint_regions

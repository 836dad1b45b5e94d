"""The demo plant: built by the program itself, the same every time, with something to show on every screen."""

import shutil
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from floorterm.changeover.minutes import minutes_spent
from floorterm.demo import open_copy, open_still, rebuild_to, shipped
from floorterm.demo.clock import SetClock, running_clock
from floorterm.ledger import CHEAP_PROFILE, Head, Ledger
from floorterm.ledger.verify import verify_file
from floorterm.library import load, starter_folder
from floorterm.plant import Plant
from floorterm.shift.window import window_named
from floorterm.shift_review import review_of
from floorterm.terminal.app import FloorApp
from tests.terminal.hands import Keyboard, screen_text
from tests.terminal.shell import at_once

_MEMORY = Path("/dev/shm")


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, Head]]:
    """A fresh build, in memory where the machine has such a place: a thousand synced writes are not the point."""
    folder = tempfile.mkdtemp(dir=_MEMORY if _MEMORY.is_dir() else tmp_path_factory.mktemp("demo"))
    path = Path(folder) / "demo.db"
    yield path, rebuild_to(path)
    shutil.rmtree(folder)


@pytest.fixture(scope="module")
def plant(built: tuple[Path, Head]) -> Plant:
    return Plant(load(starter_folder()), Ledger.open(built[0], read_only=True), "T1")


def test_the_same_scenario_gives_the_same_head_hash(built: tuple[Path, Head]) -> None:
    """Two builds, days apart: the one that ships and the one made now."""
    head = Ledger.open(shipped(), read_only=True).head()
    assert head.hash == built[1].hash, "run: floorterm demo --rebuild"
    assert head.n == built[1].n


def test_the_chain_of_the_shipped_demo_holds() -> None:
    report = verify_file(shipped())
    assert report.ok, report.problems


def test_there_are_about_ten_changeovers_over_two_days(plant: Plant) -> None:
    works = plant.works()
    changeovers = [state for state in works if state.worksheet.procedure is None]
    assert len(changeovers) >= 10
    assert {state.worksheet.line.id for state in changeovers} == {"L1", "L2"}
    assert len({state.started_at.date() for state in works}) == 2
    assert [state for state in works if state.worksheet.procedure is not None]


def test_what_goes_wrong_in_a_plant_is_there_to_see(plant: Plant) -> None:
    works = plant.works()
    assert [state for state in works if state.status == "abandoned"]
    assert [state for state in works for signed in state.history if signed.corrected_by]
    assert [state for state in works if max(state.rounds.values(), default=1) > 1]
    assert [state for state in works if state.paused_s > 0]
    deviations = [deviation for state in works for deviation in state.deviations]
    assert {deviation.decision for deviation in deviations} >= {"accept", "rework", "scrap"}


def test_the_last_day_ends_in_the_middle_of_a_lockout(plant: Plant) -> None:
    now = plant.line_now("L1")
    assert now.changeover is not None
    assert now.changeover.title == ("clove-leaf", "plain")
    locks = now.changeover.locks_on()
    assert {lock.owner_name for lock in locks} == {"R. Ode"}
    assert plant.lines()[0].line == "L1", "the line with locks on comes first"


def test_the_demo_opens_a_copy_whose_clock_runs_from_the_last_day() -> None:
    before = shipped().read_bytes()
    first = open_copy()
    assert first.today().isoformat() == "2026-11-24"
    assert first.now() >= datetime(2026, 11, 24, 21, 22, tzinfo=UTC)
    assert first.ledger.head().n > 1000
    assert shipped().read_bytes() == before


def test_a_set_clock_never_goes_back() -> None:
    clock = SetClock(datetime(2026, 11, 24, tzinfo=UTC))
    clock.move_to(datetime(2026, 11, 23, tzinfo=UTC))
    assert clock() == datetime(2026, 11, 24, tzinfo=UTC)


def test_a_running_clock_starts_where_it_is_told_and_runs_with_the_real_one() -> None:
    real = SetClock(datetime(2030, 1, 1, tzinfo=UTC))
    clock = running_clock(datetime(2026, 11, 24, 21, 22, tzinfo=UTC), real)
    real.advance(timedelta(minutes=3))
    assert clock() == datetime(2026, 11, 24, 21, 25, tzinfo=UTC)


def test_pictures_are_the_same_whenever_they_are_taken_and_name_no_place_of_this_machine() -> None:
    still = open_still()
    assert still.now() == open_still().now()
    assert still.library.folder == "checklists"


def test_the_safety_officer_has_something_to_look_at(built: tuple[Path, Head]) -> None:
    from floorterm.inspecting import inspections, people_trained
    from floorterm.review.lockout_audit import audit_period, month_of

    clock = SetClock(datetime(2026, 11, 24, 21, 22, tzinfo=UTC))
    plant = Plant(load(starter_folder()), Ledger.open(built[0], read_only=True, clock=clock), "T1")
    made = inspections(plant)
    assert {one.procedure for one in made} == {"lockout-line-1", "lockout-press-2"}
    assert [len(one.open) for one in made] == [0, 1]
    assert any(len(one.history.trained) == 2 for one in people_trained(plant))
    audit = audit_period(plant, *month_of(plant.today()))
    assert audit.short
    assert any(job.attested for job in audit.jobs)
    assert audit.waiting()


async def test_the_three_shifts_are_reviewed_dispositioned_signed_and_taken_over_at_80x24(
    built: tuple[Path, Head], tmp_path: Path
) -> None:
    """On a copy of the fresh build, by keys; in Tuesday's early shift is a deviation that nobody has decided about."""
    copy = tmp_path / "demo.db"
    shutil.copyfile(built[0], copy)
    clock = SetClock(datetime(2026, 11, 24, 21, 22, tzinfo=UTC))
    ledger = Ledger.open(copy, clock=clock, pin_profile=CHEAP_PROFILE)
    plant = Plant(load(starter_folder()), ledger, "T1")
    keys = ("2026-11-24/early", "2026-11-23/late", "2026-11-23/early")
    windows = {key: window_named(plant.library.plant.shifts, key, plant.zone) for key in keys}
    app = FloorApp(lambda: plant, scan_gap_s=0.0, patience=at_once())
    async with app.run_test(size=(80, 24)) as pilot:
        hands = Keyboard(app, pilot)
        await hands.until(lambda: app.desk.is_open, "the record")
        await hands.key("f8")
        await hands.until_top("ShiftScreen")
        for key in keys:
            waiting = review_of(plant, windows[key]).summary.undecided
            assert len(waiting) == (1 if key == "2026-11-24/early" else 0)
            for _ in range(2 if key == "2026-11-23/late" else 1):  # the night between was signed before
                await hands.key("left")
            await hands.key("f6")
            await hands.until_top("ReviewScreen")
            for waits in waiting:
                await hands.until(lambda: "1 deviation waits" in screen_text(app), f"what waits in {key}")
                await hands.pick(f"deviation {waits.work} {waits.n}")
                await hands.until_top("MenuScreen")
                await hands.pick("hold")
                await hands.until_top("AskScreen")
                await hands.type("lab")
                await hands.key("enter")
                await hands.until_top("SignInScreen")
                await hands.sign("CI")
            await hands.until(lambda: "nothing speaks against" in screen_text(app), "the decision")
            await hands.key("f6")
            await hands.until_top("AskScreen")
            await hands.type("all told")
            await hands.key("enter")
            await hands.until_top("SignInScreen")
            await hands.sign("CI")
            await hands.until(
                lambda: "Reviewed and signed by C. Iversen" in screen_text(app), "the signature"
            )
            app.end_session()
            await hands.key("f7")
            await hands.until_top("SignInScreen")
            await hands.sign("SH")
            await hands.until(lambda: "Taken over by S. Holt" in screen_text(app), "the countersignature")
            app.end_session()
            await hands.key("escape")
            await hands.until_top("ShiftScreen")
    for key in keys:
        review = review_of(plant, windows[key])
        assert review.signature is not None
        assert review.signature.taken_over is not None
        assert (review.signature.person, review.signature.taken_over.person) == ("CI", "SH")
        assert review.signature.holds
        assert review.changed == ()
        decision = "hold" if key == "2026-11-24/early" else "accept"
        assert decision in {one.decision for one in review.signature.summary.deviations}


def test_a_shift_across_midnight_is_signed_and_taken_over_already(plant: Plant) -> None:
    window = window_named(plant.library.plant.shifts, "2026-11-23/night", plant.zone)
    review = review_of(plant, window)
    assert review.signature is not None
    assert review.signature.taken_over is not None
    assert [line.work for line in review.summary.works] == ["C-0007"]
    assert review.changed == ()


def test_a_review_has_something_of_everything_to_show(plant: Plant) -> None:
    works = plant.works()
    causes = {
        part.cause for state in works if (found := minutes_spent(state, plant.now())) for part in found.parts
    }
    assert causes >= {"over", "stop", "waiting", "searching", "again", "order", "left"}
    window = window_named(plant.library.plant.shifts, "2026-11-24/early", plant.zone)
    summary = review_of(plant, window).summary
    assert {one.sort for one in summary.sign_offs} == {"late", "open"}
    assert summary.lockouts
    assert {one.sort for one in summary.due} >= {"correction"}
    for line in summary.works:
        if line.flush is not None and line.flush.counted is not None:
            assert abs(line.flush.counted - line.flush.bars_pushed) < 20

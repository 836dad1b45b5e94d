"""Faults of the program itself: kept in a file, said in one sentence; the screen stays and nothing is claimed."""

import gc
from pathlib import Path

import pytest
from textual.pilot import Pilot

from floorterm.changeover.acts import Note
from floorterm.plant import Plant
from floorterm.terminal.app import FloorApp
from floorterm.terminal.messages import LedgerMoved, MinutePassed, Retold, Scanned
from floorterm.terminal.screens.lines import LinesScreen
from floorterm.terminal.screens.start import StartProcedureScreen
from floorterm.terminal.screens.work import WorkScreen
from floorterm.terminal.signer import Signer
from floorterm.terminal.widgets.rows import Rows
from tests.conftest import who
from tests.terminal.conftest import CrewAt
from tests.terminal.shell import opened, rows, text_of, until, until_top

pytestmark = pytest.mark.own_fault
SAID = "floorterm met a fault of its own"


class UnforeseenError(Exception):
    pass


def broken(*_: object, **__: object) -> None:
    raise UnforeseenError("an assumption that does not hold")


async def _goes_on(app: FloorApp, pilot: Pilot[int], folder: Path) -> str:
    """It was said on the screen that stays, and kept; what the file says."""
    screen = app.screen
    await until(pilot, lambda: SAID in " ".join(text_of(app).split()))
    assert app._exception is None
    await pilot.press("f1")
    await until_top(pilot, "FirstAidScreen")
    await pilot.press("escape")
    await until(pilot, lambda: app.screen is screen)
    (file,) = folder.glob("floorterm-fault-*.txt")
    return file.read_text(encoding="utf-8")


async def test_a_fault_in_a_screens_worker_leaves_the_screen(
    plant: Plant, kept_faults: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(StartProcedureScreen, "compute", broken)
    async with opened(plant) as (app, pilot):
        await pilot.press("f7")
        await until_top(pilot, "StartProcedureScreen")
        kept = await _goes_on(app, pilot, kept_faults)
        assert "in broken" in kept
        assert "UnforeseenError: an assumption" in kept


async def test_a_fault_in_a_worker_of_the_application_leaves_the_screen(
    plant: Plant, kept_faults: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def sign_in(*_: object) -> None:
        broken()

    monkeypatch.setattr(Signer, "sign_in", sign_in)
    async with opened(plant) as (app, pilot):
        await pilot.press("f10")
        assert "in broken" in await _goes_on(app, pilot, kept_faults)


async def test_a_fault_in_a_keys_action_leaves_the_screen_and_is_kept_once(
    plant: Plant, kept_faults: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(FloorApp, "action_look", broken)
    async with opened(plant) as (app, pilot):
        for _ in range(5):
            await pilot.press("f11")
        assert "in broken" in await _goes_on(app, pilot, kept_faults)


async def test_a_fault_at_a_scan_leaves_the_screen(
    plant: Plant, kept_faults: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(FloorApp, "badge_scanned", broken)
    async with opened(plant) as (app, pilot):
        app.screen.post_message(Scanned("BADGE"))
        await _goes_on(app, pilot, kept_faults)


async def test_a_fault_with_what_a_dialogue_answered_leaves_the_screen(
    crew_at: CrewAt, kept_faults: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(WorkScreen, "_back_at", broken)
    crew = crew_at("")
    async with opened(crew.plant) as (app, pilot):
        screen = WorkScreen(crew.work)
        app.push_screen(screen)
        await until(pilot, lambda: screen.is_mounted and screen.view is not None)
        await pilot.press("f4")
        await until_top(pilot, "WorkListScreen")
        await until(pilot, lambda: rows(app).rows)
        await pilot.press("escape")
        await until_top(pilot, "WorkScreen")
        await _goes_on(app, pilot, kept_faults)


@pytest.mark.parametrize("signed", [False, True], ids=["while asking who", "after the commit"])
async def test_a_fault_while_recording_claims_neither_and_is_looked_up(
    signed: bool, plant: Plant, kept_faults: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Before anything was asked of the record nothing is in it; afterwards the record itself says."""
    monkeypatch.setattr("floorterm.terminal.desk.LOOK_AGAIN_S", 0.3)
    work = plant.start_changeover(who(plant, "SS"), "L1", "juniper", "begin").work
    act = plant.act

    def act_and_break(*given: object, **options: object) -> None:
        act(*given, **options)  # type: ignore[arg-type]
        broken()

    async def for_act(*_: object, **__: object) -> None:
        broken()

    if signed:
        monkeypatch.setattr(plant, "act", act_and_break)
    else:
        monkeypatch.setattr(Signer, "for_act", for_act)
    async with opened(plant) as (app, pilot):
        app.begin_session(plant.ledger.person("AA"))
        n = plant.ledger.head().n
        app.desk.record(work, Note(text="torn mesh"))
        await until(pilot, lambda: SAID in " ".join(text_of(app).split()))
        assert ("NOT KNOWN WHETHER RECORDED" if signed else "NOT RECORDED") in text_of(app)
        if signed:
            await until(pilot, lambda: "NOT KNOWN" not in text_of(app))
            await until(pilot, lambda: f"Recorded as entry {n + 1}" in text_of(app))
        await until(pilot, lambda: not app.desk.pending)
        assert plant.ledger.head().n == n + signed
        assert app._exception is None
        assert list(kept_faults.iterdir())


async def test_what_opens_no_record_for_a_reason_of_its_own_can_be_tried_again(
    plant: Plant, kept_faults: Path
) -> None:
    tries: list[int] = []

    def opener() -> Plant:
        tries.append(1)
        if len(tries) == 1:
            broken()
        return plant

    app = FloorApp(opener, scan_gap_s=0.0)
    async with app.run_test() as pilot:
        await until_top(pilot, "TroubleScreen")
        await until(pilot, lambda: SAID in " ".join(text_of(app).split()))
        await pilot.press("f5")
        await until(pilot, lambda: app.desk.is_open and rows(app).chosen is not None)
        assert list(kept_faults.iterdir())


async def test_a_fault_while_a_screen_is_told_leaves_it_and_says_that_it_may_be_wrong(
    plant: Plant, kept_faults: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with opened(plant) as (app, pilot):
        with monkeypatch.context() as patched:
            patched.setattr(LinesScreen, "show", broken)
            for message in (LedgerMoved(), MinutePassed(), Retold()):
                app.screen.post_message(message)
            assert "in broken" in await _goes_on(app, pilot, kept_faults)
            assert "may be missing or out of date" in " ".join(text_of(app).split())
        app.screen.post_message(LedgerMoved())
        await pilot.pause()
        assert app.screen.is_running


async def test_a_screen_that_cannot_tell_anything_is_left_again(
    crew_at: CrewAt, kept_faults: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(WorkScreen, "show", broken)
    crew = crew_at("")
    async with opened(crew.plant) as (app, pilot):
        screen = WorkScreen(crew.work)
        app.push_screen(screen)
        await until(pilot, lambda: screen.is_mounted)
        await _goes_on(app, pilot, kept_faults)
        await pilot.press("escape")
        await until_top(pilot, "LinesScreen")


async def test_a_fault_in_drawing_leaves_a_mark_in_its_place_and_all_else_goes_on(
    plant: Plant, kept_faults: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with opened(plant) as (app, pilot):
        monkeypatch.setattr(Rows, "render_line", broken)
        app.screen.refresh()
        rows(app).refresh()
        await until(pilot, lambda: "NOT SHOWN" in text_of(app))
        assert "in broken" in await _goes_on(app, pilot, kept_faults)


@pytest.mark.parametrize("part", ["look_at_record", "_minute_now"])
async def test_a_fault_in_the_tick_is_said_once_and_still_signs_out_who_is_idle(
    part: str, plant: Plant, kept_faults: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seconds = [1000.0]
    async with opened(plant, steady=lambda: seconds[0]) as (app, pilot):
        app.begin_session(plant.ledger.person("AA"))
        await pilot.pause()
        monkeypatch.setattr(app if part == "look_at_record" else app.beat, part, broken)
        await app.beat.tick()
        await _goes_on(app, pilot, kept_faults)
        screen = app.screen
        assert isinstance(screen, LinesScreen)
        screen.refuse(("something else",), "caution")
        seconds[0] += plant.library.plant.pins.idle_min * 60 + 1
        await app.beat.tick()
        assert app.session.person is None
        assert "something else" in text_of(app)


async def test_a_worker_that_is_called_off_before_it_begins_leaves_nothing_behind(plant: Plant) -> None:
    """Python would warn of a coroutine that was never awaited, which fails a test (`filterwarnings`)."""
    begun: list[int] = []

    async def work() -> None:
        begun.append(1)

    async with opened(plant) as (app, pilot):
        app.screen.run_worker(work()).cancel()
        await pilot.pause()
        gc.collect()
        app.screen.run_worker(work())
        await until(pilot, lambda: begun == [1])

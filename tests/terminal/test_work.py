"""Work: the step in hand with everything that belongs to it, and what becomes of an entry."""

import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from textual import events
from textual.pilot import Pilot

from floorterm.changeover.acts import Note, Pause, ReviseFlush, SignStep
from floorterm.changeover.view_list import ListRow
from floorterm.ledger import LedgerBusyError
from floorterm.terminal.messages import LedgerMoved, Scanned
from floorterm.terminal.screens.work import WorkScreen
from floorterm.terminal.views.text import width_of
from floorterm.terminal.views.work import list_line
from floorterm.terminal.widgets.entry import Entry, Pad
from floorterm.terminal.widgets.keys import KeyBar
from floorterm.terminal.widgets.notice import Notice
from floorterm.terminal.widgets.step_column import SideList
from floorterm.terminal.widgets.zones import Zones
from floorterm.wording import words
from tests.terminal.at_step import Crew
from tests.terminal.conftest import CrewAt
from tests.terminal.shell import COMFORTABLE, SMALL, opened, sign_in, text_of, until, until_top

LOCKED = "strip-down-2/pull-screen"


@asynccontextmanager
async def at_work(
    crew: Crew, size: tuple[int, int] = SMALL, *, by: str = "OO", **options: Any
) -> AsyncIterator[tuple[WorkScreen, Pilot[int]]]:
    """Work on top, with somebody signed in ("" for nobody)."""
    async with opened(crew.plant, size, **options) as (app, pilot):
        if by:
            app.begin_session(crew.plant.ledger.person(by))
        screen = WorkScreen(crew.work)
        app.push_screen(screen)
        await until(pilot, lambda: screen.is_mounted and screen.view is not None)
        yield screen, pilot


def seen(pilot: Pilot[int]) -> str:
    """The screen as one line of words."""
    return re.sub(r"\s+", " ", text_of(pilot.app))


def notice(screen: WorkScreen) -> str:
    return " ".join(screen.query_one("#notice", Notice).sentences)


def step_id(screen: WorkScreen) -> str:
    assert screen.view is not None
    return screen.view.step.id if screen.view.step else ""


async def press(pilot: Pilot[int], *keys: str) -> None:
    """Keys as a driver sends them, then a moment in which they are heard."""
    characters = {"comma": ",", "space": " ", "enter": "\r"}
    for key in keys:
        character = characters.get(key, key if len(key) == 1 else None)
        pilot.app.post_message(events.Key(key, character))
    await pilot.pause()


async def signed(screen: WorkScreen, pilot: Pilot[int], step: str) -> None:
    await until(pilot, lambda: step in screen.state.signed and step_id(screen) != step)


# --- what is seen -------------------------------------------------------------------------------------


async def test_at_80x24_every_fact_of_the_step_is_seen_at_once(crew_at: CrewAt) -> None:
    """The step's text, why, protection, limit, refusals with what to do, minutes against standard, kg still to
    flush, who holds locks, the next step: read from the screen."""
    crew = crew_at(LOCKED)
    async with at_work(crew, by="AA") as (screen, pilot):
        screen.show_step(LOCKED)
        await pilot.pause()
        text = seen(pilot)
        step = crew.state.worksheet.step(LOCKED)
        assert step is not None
        assert step.text["en"] in text
        assert step.why["en"] in text
        assert step.caution["en"] in text
        assert "heat gloves, face shield" in text
        assert "REFUSED" in text
        assert "Put your lock on" in text or "Your own lock is not on" in text
        assert "1910.147(d)(4)(i)" in text
        assert "standard 3" in text
        assert re.search(r"since the last good bar, standard \d:\d\d", text)
        assert "still to flush 242 kg" in text or re.search(r"still to flush \d+ kg", text)
        assert "locks on: R. Ode 5" in text
        assert re.search(r"next +Scrape", text_of(pilot.app))
        assert re.search(r"later +flush \d+ kg = [\d,]+ bars = \d+ min", text_of(pilot.app))
        assert "asks your PIN" not in text


async def test_a_step_longer_than_the_screen_is_turned_and_takes_nothing_of_the_foot(crew_at: CrewAt) -> None:
    step = "strip-down-2-lock/verify"
    crew = crew_at(step)
    async with at_work(crew) as (screen, pilot):
        screen.show_step(step)
        await pilot.pause()
        text = text_of(pilot.app)
        assert "tap here, or PgDn, for more" in text
        assert re.search(r"next +Measure", text)
        assert re.search(r"later +flush", text)
        last = list(crew.state.locks["strip-down-2"].job.points)[-1].name["en"]
        for _ in range(4):
            if last in text_of(pilot.app):
                break
            await press(pilot, "pagedown")
        assert last in text_of(pilot.app)


async def test_a_window_of_two_columns_ends_nothing_while_the_work_is_paused(crew_at: CrewAt) -> None:
    """A pane that is dragged shut, or a panel's emulator that starts small."""
    crew = crew_at(LOCKED)
    async with at_work(crew, by="AA") as (screen, pilot):
        crew.act(Pause(reason="fire drill"))
        screen.retell()
        await until(pilot, lambda: "fire drill" in seen(pilot))
        for size in ((2, 2), (1, 1), SMALL):
            await pilot.resize_terminal(*size)
            await pilot.pause()
        await until(pilot, lambda: "fire drill" in seen(pilot))


async def test_the_limit_of_a_reading_is_seen_with_the_field(crew_at: CrewAt) -> None:
    crew = crew_at("strip-down-2/head-temp")
    async with at_work(crew) as (screen, pilot):
        screen.show_step("strip-down-2/head-temp")
        await pilot.pause()
        text = text_of(pilot.app)
        assert re.search(r"Limit +at most 45 °C", text)
        await press(pilot, "5", "2", "comma", "5")
        assert "52.5 °C is OUTSIDE the limit" in text_of(pilot.app)


async def test_both_languages_fit_and_a_key_changes_them(crew_at: CrewAt) -> None:
    crew = crew_at(LOCKED)
    async with at_work(crew) as (screen, pilot):
        screen.show_step(LOCKED)
        await press(pilot, "f9")
        await pilot.pause()
        text = text_of(pilot.app)
        assert "AHORA" in text
        assert "guantes térmicos, careta" in text
        assert re.search(r"candados: R. Ode 5", text)
        assert "MISSING" not in text


async def test_a_terminal_of_120_columns_shows_the_whole_list_beside(crew_at: CrewAt) -> None:
    crew = crew_at("")
    async with at_work(crew, COMFORTABLE) as (screen, pilot):
        side = screen.query_one(SideList)
        assert side.display
        assert len([row for row in side.rows if not row.heading]) == len(list(crew.state.worksheet.steps()))
        assert side.chosen is not None
        assert side.chosen.key == step_id(screen)
        assert pilot.app.focused is screen.entry


async def test_a_tap_in_the_list_shows_that_step_and_the_field_keeps_the_focus(crew_at: CrewAt) -> None:
    crew = crew_at("")
    async with at_work(crew, COMFORTABLE) as (screen, pilot):
        side = screen.query_one(SideList)
        other = next(row.key for row in side.rows if not row.heading and row.key != step_id(screen))
        place = next(index for index, row in enumerate(side.rows) if row.key == other)
        await pilot.click(SideList, offset=(12, place - side._first + 0))
        await until(pilot, lambda: step_id(screen) == other)
        assert pilot.app.focused is screen.entry


async def test_the_list_on_a_key_leads_to_an_open_step(crew_at: CrewAt) -> None:
    crew = crew_at("")
    async with at_work(crew) as (screen, pilot):
        first = step_id(screen)
        await press(pilot, "f4")
        await until_top(pilot, "WorkListScreen")
        await press(pilot, "down", "enter")
        await until_top(pilot, "WorkScreen")
        assert step_id(screen) != first


@pytest.mark.parametrize(("size", "least"), [(SMALL, (7, 3)), (COMFORTABLE, (10, 5))])
async def test_every_zone_is_large_enough_for_a_glove(
    crew_at: CrewAt, size: tuple[int, int], least: tuple[int, int]
) -> None:
    """20 mm on a 12-inch panel are 7 x 3 cells at 80x24 and 10 x 5 at 120x40 (arithmetic from the panel's size)."""
    crew = crew_at(LOCKED)
    async with at_work(crew, size) as (screen, pilot):
        screen.show_step(LOCKED)
        await pilot.pause()
        zones = screen.query_one("#answers", Zones)
        rows = zones.rows()
        assert len(zones.zones) == 3
        for row in range(rows):
            assert all(width >= least[0] for _, _, width in zones._spans_of_row(row))
        assert zones._zone_height >= least[1]
        assert zones.region.height == zones.needed()
        bar = screen.query_one(KeyBar)
        assert all(width >= 7 for _, _, width in bar.zones())
        assert bar.region.height >= least[1]


async def test_the_plain_look_keeps_to_the_characters_of_a_console(crew_at: CrewAt) -> None:
    """Code page 437 is the usual repertoire of a text console (IBM PC character set)."""
    crew = crew_at(LOCKED)
    async with at_work(crew, plain=True) as (screen, pilot):
        screen.show_step(LOCKED)
        await pilot.pause()
        text_of(pilot.app).replace("…", "...").encode("cp437")


# --- recording ----------------------------------------------------------------------------------------


async def test_a_step_that_needs_no_entry_takes_one_key(crew_at: CrewAt) -> None:
    crew = crew_at("")
    async with at_work(crew) as (screen, pilot):
        first = step_id(screen)
        n = crew.state.last_n
        await press(pilot, "enter")
        await signed(screen, pilot, first)
        assert crew.state.last_n == n + 1
        assert crew.state.signed[first].person == "OO"
        assert "Recorded as entry" in text_of(pilot.app)


async def test_recorded_is_said_only_after_the_commit(
    crew_at: CrewAt, monkeypatch: pytest.MonkeyPatch
) -> None:
    crew = crew_at("")
    said: list[str] = []
    real = crew.plant.act

    def slow(*given: Any, **more: Any) -> Any:
        said.append(screen_now())
        return real(*given, **more)

    async with at_work(crew) as (screen, pilot):

        def screen_now() -> str:
            return pilot.app.said  # type: ignore[attr-defined, no-any-return]

        monkeypatch.setattr(crew.plant, "act", slow)
        await press(pilot, "enter")
        await signed(screen, pilot, "prep/read-worksheet")
    assert said == ["Recording ..."]


async def test_not_recorded_keeps_what_was_typed_and_presses_again_with_the_same_key(
    crew_at: CrewAt, monkeypatch: pytest.MonkeyPatch
) -> None:
    crew = crew_at("strip-down-2/head-temp")
    keys: list[str] = []
    real = crew.plant.act

    def fails_once(*given: Any, **more: Any) -> Any:
        keys.append(more["key"])
        if len(keys) == 1:
            raise LedgerBusyError(seconds=5)
        return real(*given, **more)

    async with at_work(crew) as (screen, pilot):
        screen.show_step("strip-down-2/head-temp")
        monkeypatch.setattr(crew.plant, "act", fails_once)
        await press(pilot, "4", "1", "comma", "5", "enter")
        await until(pilot, lambda: bool(notice(screen)))
        assert "NOT RECORDED" in text_of(pilot.app)
        assert screen.entry.given.text == "41,5"
        assert "strip-down-2/head-temp" not in crew.state.signed
        await press(pilot, "enter")
        await signed(screen, pilot, "strip-down-2/head-temp")
        assert keys[0] == keys[1]
        assert crew.state.signed["strip-down-2/head-temp"].act.number == "41.5"
        assert not notice(screen)


async def test_a_reading_outside_its_limit_is_kept_and_raises_a_deviation(crew_at: CrewAt) -> None:
    crew = crew_at("strip-down-2/head-temp")
    async with at_work(crew) as (screen, pilot):
        screen.show_step("strip-down-2/head-temp")
        await press(pilot, "5", "2", "comma", "5", "enter")
        await signed(screen, pilot, "strip-down-2/head-temp")
        assert crew.state.signed["strip-down-2/head-temp"].act.number == "52.5"
        assert [one.step for one in crew.state.open_deviations] == ["strip-down-2/head-temp"]
        assert "deviation" in notice(screen)


async def test_what_a_typed_figure_means_follows_the_record_and_the_language(crew_at: CrewAt) -> None:
    crew = crew_at("start/flush")
    async with at_work(crew) as (screen, pilot):
        screen.show_step("start/flush")
        await press(pilot, *"900")
        await until(pilot, lambda: "900 kg: the flush is done" in seen(pilot))
        crew.act(ReviseFlush(step="start/flush", kg=Decimal(1000), reason="the odour is still there"), "SS")
        screen.post_message(LedgerMoved())
        await until(pilot, lambda: "100 kg" in text_of(pilot.app).split("> 900_")[1].splitlines()[0])
        before = text_of(pilot.app).split("> 900_")[1].splitlines()[0]
        await press(pilot, "f9")
        await until(pilot, lambda: screen.language != "en")
        await until(pilot, lambda: text_of(pilot.app).split("> 900_")[1].splitlines()[0] != before)


async def test_nothing_but_a_number_can_be_typed_where_a_number_is_asked(crew_at: CrewAt) -> None:
    crew = crew_at("strip-down-2/head-temp")
    async with at_work(crew) as (screen, pilot):
        screen.show_step("strip-down-2/head-temp")
        await press(pilot, "x", "4", "comma", "y", "1", "backspace", "2")
        assert screen.entry.given.text == "4,2"
        await pilot.press("slash")  # no part of a number: a numeric keypad opens the list of keys with it
        await until(pilot, lambda: type(pilot.app.screen).__name__ == "KeysScreen")


async def test_a_digit_chooses_and_enter_records_what_was_chosen(crew_at: CrewAt) -> None:
    crew = crew_at(LOCKED)
    async with at_work(crew) as (screen, pilot):
        screen.show_step(LOCKED)
        await press(pilot, "enter")
        await until(pilot, lambda: bool(notice(screen)))
        assert "Choose one" in notice(screen)
        assert screen.focused is screen.entry, "a refusal took the focus away"
        await press(pilot, "2", "1", "enter")
        await signed(screen, pilot, LOCKED)
        assert crew.state.signed[LOCKED].act.choice == "whole"


async def test_arrows_choose_too(crew_at: CrewAt) -> None:
    crew = crew_at(LOCKED)
    async with at_work(crew) as (screen, pilot):
        screen.show_step(LOCKED)
        await press(pilot, "down", "down", "up", "enter")
        await signed(screen, pilot, LOCKED)
        assert crew.state.signed[LOCKED].act.choice == "whole"


async def test_a_scan_fills_the_field_and_never_signs(crew_at: CrewAt) -> None:
    crew = crew_at("prep/noodle-bag")
    async with at_work(crew) as (screen, pilot):
        screen.show_step("prep/noodle-bag")
        expect = crew.state.worksheet.step("prep/noodle-bag").expect  # type: ignore[union-attr]
        screen.post_message(Scanned("WRONG-CODE"))
        await until(pilot, lambda: screen.entry.given.text == "WRONG-CODE")
        assert f"expected {expect}" in seen(pilot)
        await press(pilot, "enter")
        await until(pilot, lambda: bool(notice(screen)))
        assert "WRONG-CODE" in notice(screen)
        screen.post_message(Scanned(expect))
        await until(pilot, lambda: screen.entry.given.text == expect)
        assert "prep/noodle-bag" not in crew.state.signed
        await press(pilot, "enter")
        await signed(screen, pilot, "prep/noodle-bag")


async def test_a_scan_where_no_code_is_asked_says_so(crew_at: CrewAt) -> None:
    crew = crew_at("")
    async with at_work(crew) as (screen, pilot):
        screen.post_message(Scanned("COL-XYZ"))
        await until(pilot, lambda: bool(notice(screen)))
        assert "COL-XYZ" in notice(screen)


async def test_what_was_typed_is_shown_when_somebody_else_signs_the_step_first(crew_at: CrewAt) -> None:
    crew = crew_at("strip-down-2/head-temp")
    async with at_work(crew) as (screen, pilot):
        screen.show_step("strip-down-2/head-temp")
        await press(pilot, "4", "3")
        crew.join("AA", "strip-down-2")
        crew.act(SignStep(step="strip-down-2/head-temp", number="40"), "AA")
        screen.post_message(LedgerMoved())
        await until(pilot, lambda: bool(notice(screen)))
        assert "A. Abel signed this step" in notice(screen)
        assert "43" in notice(screen)
        assert crew.state.signed["strip-down-2/head-temp"].act.number == "40"


async def test_a_refused_step_cannot_be_recorded_by_enter(crew_at: CrewAt) -> None:
    crew = crew_at(LOCKED)
    async with at_work(crew, by="AA") as (screen, pilot):
        screen.show_step(LOCKED)
        n = crew.state.last_n
        await press(pilot, "1", "enter")
        await pilot.pause()
        assert crew.state.last_n == n
        assert screen.check_action("record", ()) is None


async def test_who_presses_enter_without_having_signed_in_signs_in_and_looks_first(crew_at: CrewAt) -> None:
    crew = crew_at("")
    async with at_work(crew, by="") as (screen, pilot):
        n = crew.state.last_n
        await press(pilot, "enter")
        await sign_in(pilot, "OO")
        await until_top(pilot, "WorkScreen")
        assert crew.state.last_n == n, "which step is in hand depends on who asks"
        await press(pilot, "enter")
        await signed(screen, pilot, "prep/read-worksheet")


async def test_a_witness_signs_with_their_own_pin(crew_at: CrewAt) -> None:
    step = "run-out/last-good-bar"
    crew = crew_at(step)
    async with at_work(crew) as (screen, pilot):
        screen.show_step(step)
        witnessed = crew.state.worksheet.step(step).witness  # type: ignore[union-attr]
        await press(pilot, *"41217", "enter")
        if witnessed:
            await until_top(pilot, "SignInScreen")
            await sign_in(pilot, "OO")
            await sign_in(pilot, "SS")
        await signed(screen, pilot, step)
        assert crew.state.signed[step].act.counter == 41_217


async def test_running_totals_are_recorded_until_the_flush_is_enough(crew_at: CrewAt) -> None:
    step = "start/flush"
    crew = crew_at(step)
    required = crew.state.flush[step].required_kg
    async with at_work(crew) as (screen, pilot):
        screen.show_step(step)
        await press(pilot, *"100", "enter")
        await until(pilot, lambda: crew.state.flush[step].pushed_kg == 100)
        await until(pilot, lambda: "100 of" in text_of(pilot.app))
        assert step_id(screen) == step
        assert step not in crew.state.signed
        text = text_of(pilot.app)
        assert re.search(r"\[#+-+\] \d+ %", text)
        assert f"{required - 100:,} kg to go" in text
        assert screen.entry.given.text == ""
        await press(pilot, "down", *"1000")
        assert screen.entry.given.measure == "bars"
        await press(pilot, "up", "delete", *str(required), "enter")
        await signed(screen, pilot, step)
        assert crew.state.signed[step].within


async def test_a_finished_changeover_says_who_releases_and_a_supervisor_does_it_here(crew_at: CrewAt) -> None:
    crew = crew_at("*")
    async with at_work(crew, by="AA") as (screen, pilot):
        text = seen(pilot)
        assert "Every step of this changeover stands." in text
        assert "Release is for: supervisor" in text
        assert "REFUSED" in text
        assert screen.check_action("record", ()) is None
    async with at_work(crew, by="SS") as (screen, pilot):
        assert "release" in text_of(pilot.app)
        await press(pilot, "enter")
        await sign_in(pilot, "SS")
        await until(pilot, lambda: crew.state.status == "released")
        await until(pilot, lambda: "Released at" in text_of(pilot.app))


# --- everything that is not the next step -------------------------------------------------------------


async def chosen(screen: WorkScreen, pilot: Pilot[int], key: str) -> None:
    """Choose from the menu of acts by its digit."""
    await press(pilot, "f5")
    await until_top(pilot, "MenuScreen")
    keys = [row.key for row in pilot.app.screen.query_one("#menu").rows]  # type: ignore[attr-defined]
    await press(pilot, str(keys.index(key) + 1))


async def answered(pilot: Pilot[int], text: str) -> None:
    await until_top(pilot, "AskScreen")
    await press(pilot, *(("space" if character == " " else character) for character in text), "enter")


async def test_a_note_is_written_about_the_step(crew_at: CrewAt) -> None:
    crew = crew_at("")
    async with at_work(crew) as (screen, pilot):
        await chosen(screen, pilot, "note")
        await answered(pilot, "belt squeaks")
        await until(pilot, lambda: bool(crew.state.notes))
        assert crew.state.notes[0].text == "belt squeaks"


async def test_another_language_in_a_menu_is_that_of_the_dialogue_it_leads_to(crew_at: CrewAt) -> None:
    crew = crew_at("")
    async with at_work(crew) as (screen, pilot):
        await press(pilot, "f5")
        await until_top(pilot, "MenuScreen")
        await press(pilot, "f9")
        await until(pilot, lambda: screen.language != "en")
        await press(pilot, "1")
        await until_top(pilot, "AskScreen")
        assert pilot.app.screen.query_one(Entry).spec.prompt == words("work.ask_note", screen.language)


async def test_a_step_that_does_not_apply_is_signed_with_its_reason(crew_at: CrewAt) -> None:
    crew = crew_at("")
    async with at_work(crew) as (screen, pilot):
        first = step_id(screen)
        await chosen(screen, pilot, "not_applicable")
        await answered(pilot, "no bins")
        await signed(screen, pilot, first)
        assert crew.state.signed[first].act.outcome == "not_applicable"
        assert crew.state.signed[first].act.reason == "no bins"


async def test_work_is_paused_and_taken_up_again(crew_at: CrewAt) -> None:
    crew = crew_at("")
    async with at_work(crew) as (screen, pilot):
        await chosen(screen, pilot, "pause")
        await answered(pilot, "drill")
        await until(pilot, lambda: crew.state.status == "paused")
        await until(pilot, lambda: "PAUSED since" in text_of(pilot.app))
        assert "drill" in text_of(pilot.app)
        await chosen(screen, pilot, "resume")
        await until(pilot, lambda: crew.state.status == "open")


async def test_an_earlier_entry_is_corrected_with_a_reason(crew_at: CrewAt) -> None:
    crew = crew_at("strip-down-2/head-temp")
    crew.sign("strip-down-2/head-temp")
    async with at_work(crew) as (screen, pilot):
        await chosen(screen, pilot, "correct")
        await until_top(pilot, "MenuScreen")
        await press(pilot, "enter")
        await answered(pilot, "39")
        await answered(pilot, "misread")
        await until(pilot, lambda: crew.state.signed["strip-down-2/head-temp"].act.number == "39")
        assert crew.state.signed["strip-down-2/head-temp"].corrected_by is not None


async def test_a_section_is_done_again_from_the_menu(crew_at: CrewAt) -> None:
    crew = crew_at("")
    crew.sign("prep/read-worksheet")
    async with at_work(crew) as (screen, pilot):
        await chosen(screen, pilot, "repeat")
        await until_top(pilot, "MenuScreen")
        await press(pilot, "1")
        await answered(pilot, "again")
        await until(pilot, lambda: crew.state.rounds.get("prep") == 2)
        await until(pilot, lambda: "round 2" in text_of(pilot.app))


async def test_a_deviation_is_reported_and_waits_below_the_step(crew_at: CrewAt) -> None:
    crew = crew_at("")
    async with at_work(crew) as (screen, pilot):
        await chosen(screen, pilot, "deviation")
        await answered(pilot, "drip")
        await until(pilot, lambda: bool(crew.state.open_deviations))
        await until(pilot, lambda: "drip" in text_of(pilot.app))


async def test_a_step_from_paper_is_entered_with_its_own_time_and_person(crew_at: CrewAt) -> None:
    crew = crew_at("")
    crew.clock.advance(timedelta(minutes=30))
    async with at_work(crew) as (screen, pilot):
        first = step_id(screen)
        await chosen(screen, pilot, "late")
        await answered(pilot, "6:61")
        await until(pilot, lambda: "could not be read" in text_of(pilot.app))
        await chosen(screen, pilot, "late")
        await until_top(pilot, "AskScreen")
        assert pilot.app.screen.query_one(Entry).given.text == "6:61", "what was typed stands there again"
        for _ in "6:61":
            await press(pilot, "backspace")
        await answered(pilot, "06:10")
        await until_top(pilot, "MenuScreen")
        keys = [row.key for row in pilot.app.screen.query_one("#menu").rows]  # type: ignore[attr-defined]
        await press(pilot, str(keys.index("OO") + 1))
        await answered(pilot, "power cut")
        await sign_in(pilot, "OO")
        await signed(screen, pilot, first)
        made = crew.state.signed[first]
        assert made.paper is not None
        assert f"{made.done_at:%H:%M} {made.paper.reason}" == "06:10 power cut"
        assert made.at > made.done_at
        await press(pilot, "f4")
        await until_top(pilot, "WorkListScreen")
        await until(pilot, lambda: "paper; entered" in text_of(pilot.app))


async def from_paper(screen: WorkScreen, pilot: Pilot[int], time: str, by: str) -> None:
    """When and by whom a step was done on paper."""
    await chosen(screen, pilot, "late")
    await answered(pilot, time)
    await until_top(pilot, "MenuScreen")
    keys = [row.key for row in pilot.app.screen.query_one("#menu").rows]  # type: ignore[attr-defined]
    await press(pilot, str(keys.index(by) + 1))


@pytest.mark.parametrize(("number", "kept"), [("X-9", "X-9"), ("", "OO-L2-E1")])
async def test_a_lock_taken_off_on_paper_is_asked_for_its_number(
    crew_at: CrewAt, number: str, kept: str
) -> None:
    """As `floorterm late` takes it; without a number it is the person's own."""
    crew = crew_at("strip-down-2-unlock/account")
    step = "strip-down-2-unlock/lock-off-L2-E1"
    async with at_work(crew, by="VV") as (screen, pilot):
        crew.sign("strip-down-2-unlock/account")
        crew.clock.advance(timedelta(minutes=5))
        screen.show_step(step)
        await pilot.pause()
        assert step_id(screen) == step
        await from_paper(screen, pilot, f"{crew.plant.now():%H:%M}", "OO")
        await until_top(pilot, "AskScreen")
        assert "The number of the lock, by the paper" in text_of(pilot.app)
        await answered(pilot, number)
        await answered(pilot, "power cut")
        await sign_in(pilot, "VV")
        await sign_in(pilot, "SS")
        await until(pilot, lambda: crew.state.by_paper)
        (made,) = crew.state.by_paper
        assert (made.act.step, made.act.lock) == (step, kept)


async def test_what_one_person_typed_from_a_paper_stands_in_no_other_persons_field(crew_at: CrewAt) -> None:
    crew = crew_at("")
    async with at_work(crew) as (screen, pilot):
        await chosen(screen, pilot, "late")
        await answered(pilot, "6:61")
        await until(pilot, lambda: "could not be read" in text_of(pilot.app))
        screen.app.begin_session(crew.plant.ledger.person("SS"))
        await pilot.pause()
        await chosen(screen, pilot, "late")
        await until_top(pilot, "AskScreen")
        assert pilot.app.screen.query_one(Entry).given.text == ""


async def test_a_changeover_is_turned_to_another_fragrance(crew_at: CrewAt) -> None:
    crew = crew_at("")
    async with at_work(crew) as (screen, pilot):
        await chosen(screen, pilot, "redirect")
        await until_top(pilot, "MenuScreen")
        keys = [row.key for row in pilot.app.screen.query_one("#menu").rows]  # type: ignore[attr-defined]
        await press(pilot, str(keys.index("juniper") + 1))
        await answered(pilot, "rush order")
        await until(pilot, lambda: crew.state.title == ("palmarosa", "juniper"))
        await until(pilot, lambda: "Juniper" in text_of(pilot.app))


async def test_abandoning_states_what_the_line_may_hold(crew_at: CrewAt) -> None:
    crew = crew_at("")
    async with at_work(crew) as (screen, pilot):
        await chosen(screen, pilot, "abandon")
        await answered(pilot, "no noodles")
        await until_top(pilot, "AskScreen")
        await until(pilot, lambda: pilot.app.screen.query_one(Entry).spec.mode == "some")
        await press(pilot, "2", "enter")
        await until(pilot, lambda: crew.state.status == "abandoned")
        assert crew.state.holds == ("palmarosa",)
        await until(pilot, lambda: "Abandoned at" in text_of(pilot.app))


async def test_a_text_that_was_not_recorded_stands_in_the_field_again(
    crew_at: CrewAt, monkeypatch: pytest.MonkeyPatch
) -> None:
    crew = crew_at("")

    def busy(*_: Any, **__: Any) -> Any:
        raise LedgerBusyError(seconds=5)

    async with at_work(crew) as (screen, pilot):
        monkeypatch.setattr(crew.plant, "act", busy)
        await chosen(screen, pilot, "note")
        await answered(pilot, "long text")
        await until(pilot, lambda: bool(notice(screen)))
        await chosen(screen, pilot, "note")
        await until_top(pilot, "AskScreen")
        await until(pilot, lambda: pilot.app.screen.query_one(Entry).given.text == "long text")


async def test_the_menu_and_its_dialogues_work_by_taps_alone(crew_at: CrewAt) -> None:
    crew = crew_at("")
    async with at_work(crew, COMFORTABLE) as (screen, pilot):
        bar = screen.query_one(KeyBar)
        await pilot.click(KeyBar, offset=bar.zone_of("f5"))
        await until_top(pilot, "MenuScreen")
        await pilot.click("#menu", offset=(10, 1))
        await until_top(pilot, "AskScreen")
        await pilot.pause()
        pad = pilot.app.screen.query_one(Pad)
        for key in ("o", "shift", "K", "backspace", "shift", "k"):
            await pilot.click(Pad, offset=pad.zone_of(key))
            await pilot.pause()
        bar = pilot.app.screen.query_one(KeyBar)
        await pilot.click(KeyBar, offset=bar.zone_of("enter"))
        await until(pilot, lambda: bool(crew.state.notes))
        assert crew.state.notes[0].text == "ok"


async def test_escape_leads_back_and_the_record_is_where_it_was(crew_at: CrewAt) -> None:
    crew = crew_at("")
    async with at_work(crew) as (_, pilot):
        n = crew.state.last_n
        await press(pilot, "escape")
        await until_top(pilot, "LinesScreen")
        assert crew.state.last_n == n


async def test_the_screen_stands_where_the_record_stands(crew_at: CrewAt) -> None:
    crew = crew_at("")
    async with at_work(crew) as (screen, _):
        first = step_id(screen)
    crew.act(Note(text="seen from elsewhere"))
    async with at_work(crew) as (screen, _):
        assert step_id(screen) == first


async def test_a_scale_that_types_fills_the_masses_and_the_verdict_is_said_before_it_is_signed(
    crew_at: CrewAt,
) -> None:
    """Twenty weighings, each heard as a scan: a burst of keys with Enter at its end, as such a scale sends it."""
    crew = crew_at("first-article/mass")
    async with at_work(crew) as (screen, pilot):
        screen.show_step("first-article/mass")
        await until(pilot, lambda: step_id(screen) == "first-article/mass")
        weighed = [f"{101 + place % 4 - 0.1 * place:.1f}" for place in range(20)]
        for place, mass in enumerate(weighed, 1):
            screen.post_message(Scanned(mass))
            await until(pilot, lambda: len(screen.entry.given.text.split()) == place)  # noqa: B023
        assert screen.entry.given.text.split() == weighed
        assert "first-article/mass" not in screen.state.signed, "a weighing never signs"
        assert "the plan accepts" in seen(pilot)
        assert "Lightest cavity: 1" in seen(pilot)
        screen.post_message(Scanned("BADGE-BB"))
        await pilot.pause()
        assert screen.entry.given.text.split() == weighed, "a badge is no mass"


@pytest.mark.parametrize(
    ("room", "said"),
    [(60, "N-2611-07  13:24 M. Tamm"), (20, "N-2611-07  13:24"), (12, "N-2611-07"), (6, "N-261…")],
)
def test_a_row_of_the_list_keeps_what_was_entered_before_the_time_and_the_name(room: int, said: str) -> None:
    row = ListRow(id="a", mark="done", word="done", text="Lot", number=4, note="N-2611-07  13:24 M. Tamm")
    line = list_line(row, 2 * room + 6)
    assert line[-1].text == said
    section = ListRow(id="s", mark="section", word="", text="Run-out", note="2 of 2")
    assert (
        width_of(list_line(section, 60)) == width_of(list_line(row, 60)) + 2
    )  # a row has its cursor before it

"""Flush: amounts, what governs, the curve, and what becomes of a requirement that changes."""

import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from textual import events
from textual.pilot import Pilot
from textual.screen import Screen

from floorterm.changeover.acts import Abandon, PushFlush, SignStep
from floorterm.changeover.entering import Given, act_of
from floorterm.changeover.flushing import line_from_json
from floorterm.changeover.view import governs
from floorterm.flush import curve, washout
from floorterm.terminal.screens.flush import FlushScreen
from floorterm.terminal.screens.work import WorkScreen
from floorterm.terminal.views.flush import curve_lines, flush_page
from floorterm.terminal.views.work import bar, plain
from floorterm.terminal.widgets.curve import Curve
from floorterm.terminal.widgets.entry import Entry
from floorterm.terminal.widgets.notice import Notice
from floorterm.terminal.widgets.step_card import StepCard
from tests.terminal.at_step import Crew
from tests.terminal.conftest import CrewAt
from tests.terminal.shell import COMFORTABLE, SMALL, opened, text_of, until, until_top

FLUSH = "start/flush"
POINTS = tuple((float(kg), 2.0 ** (-kg / 50)) for kg in range(0, 501, 5))  # halved every 50 kg


@asynccontextmanager
async def at_flush(
    crew: Crew, size: tuple[int, int] = SMALL, *, by: str = "OO", **options: Any
) -> AsyncIterator[tuple[FlushScreen, Pilot[int]]]:
    async with opened(crew.plant, size, **options) as (app, pilot):
        app.begin_session(crew.plant.ledger.person(by))
        screen = FlushScreen(crew.work)
        app.push_screen(screen)
        await until(pilot, lambda: screen.is_mounted and screen.query_one(Curve).size.height > 0)
        await until(pilot, lambda: screen.query_one(StepCard).text != "")
        yield screen, pilot


async def press(pilot: Pilot[int], *keys: str) -> None:
    for key in keys:
        pilot.app.post_message(events.Key(key, key if len(key) == 1 else None))
    await pilot.pause()


async def test_amounts_and_what_governs_them_are_seen_at_once_at_80x24(crew_at: CrewAt) -> None:
    """kg, bars, minutes, the governing rule in one sentence, measured or assumed, the curve with its crossing."""
    crew = crew_at("")
    note = crew.state.worksheet.flush
    assert note is not None
    async with at_flush(crew) as (_, pilot):
        text = re.sub(r"\s+", " ", text_of(pilot.app))
        assert f"{note.required_kg} kg of line mass = {note.bars:,} bars = {note.minutes} min" in text
        assert governs(crew.state.worksheet, "en") in text
        assert "not measured" in text
        assert f"crossed at {note.required_kg} kg" in text
        assert "100 %" in text
        assert "guessed" in text


async def test_the_curve_is_drawn_from_the_record_alone(crew_at: CrewAt) -> None:
    """The library is gone; the crossing is that of the washout computed from the worksheet's own numbers."""
    crew = crew_at("")
    note = crew.state.worksheet.flush
    assert note is not None
    line = line_from_json(dict(note.line_model))
    assert washout(line).kg_to_reach(float(note.limit)) == pytest.approx(float(note.required_kg), abs=1)
    async with at_flush(crew) as (screen, _):
        assert len(screen.query_one(Curve).lines) == screen.query_one(Curve).size.height


async def test_every_candidate_stands_with_source_and_confidence(crew_at: CrewAt) -> None:
    crew = crew_at("")
    note = crew.state.worksheet.flush
    assert note is not None
    page = plain(flush_page(crew.state, "en", 200))
    for one in note.candidates:
        assert one.source[:20] in page
        assert one.confidence in page
    assert sum(line.startswith(" >") for line in page.splitlines()) == 1


async def test_words_and_curve_stand_side_by_side_where_there_is_room(crew_at: CrewAt) -> None:
    async with at_flush(crew_at(""), COMFORTABLE) as (screen, _):
        words_, drawn = screen.query_one(StepCard).region, screen.query_one(Curve).region
        assert drawn.x >= words_.right
        assert drawn.y == words_.y


async def test_what_was_pushed_is_marked_on_the_axis_and_counted(crew_at: CrewAt) -> None:
    crew = crew_at(FLUSH)
    crew.act(PushFlush(step=FLUSH, kg=Decimal(100)))
    async with at_flush(crew) as (screen, pilot):
        assert "o pushed 100 kg" in text_of(pilot.app)
        axis = screen.query_one(Curve).text.splitlines()[-3]
        assert axis.count("o") == 1
        assert re.search(r"\[#+-+\] \d+ %", screen.query_one(StepCard).text)


async def test_the_requirement_is_revised_with_a_reason(crew_at: CrewAt) -> None:
    crew = crew_at(FLUSH)
    asked = crew.state.flush[FLUSH].required_kg
    async with at_flush(crew) as (_, pilot):
        await press(pilot, "f5")
        await until_top(pilot, "AskScreen")
        await press(pilot, *"900", "enter")
        await until(pilot, lambda: "Why?" in text_of(pilot.app))
        await press(pilot, *"smell", "enter")
        await until(pilot, lambda: crew.state.flush[FLUSH].required_kg == 900)
        await until(pilot, lambda: f"the calculation asked for {asked} kg" in text_of(pilot.app))
        assert "900 kg of line mass" in text_of(pilot.app)


async def test_only_a_supervisor_makes_it_less(crew_at: CrewAt) -> None:
    crew = crew_at(FLUSH)
    asked = crew.state.flush[FLUSH].required_kg
    async with at_flush(crew) as (screen, pilot):
        await press(pilot, "f5")
        await until_top(pilot, "AskScreen")
        await press(pilot, *"5", "enter")
        await until(pilot, lambda: "Why?" in text_of(pilot.app))
        await press(pilot, *"late", "enter")
        await until(pilot, lambda: bool(screen.query_one("#notice", Notice).sentences))
        assert crew.state.flush[FLUSH].required_kg == asked
        assert "supervisor" in " ".join(screen.query_one("#notice", Notice).sentences)


async def test_a_flush_can_be_ended_short_of_it_with_a_deviation(crew_at: CrewAt) -> None:
    crew = crew_at(FLUSH)
    crew.act(PushFlush(step=FLUSH, kg=Decimal(150)))
    async with at_flush(crew) as (screen, pilot):
        await press(pilot, "f6")
        await until_top(pilot, "MenuScreen")
        await press(pilot, "2")
        await until(pilot, lambda: FLUSH in crew.state.signed)
        assert crew.state.signed[FLUSH].act.kg == 150
        assert not crew.state.signed[FLUSH].within
        assert [one.step for one in crew.state.open_deviations] == [FLUSH]
        await until(pilot, lambda: screen.check_action("revise", ()) is None)


async def test_the_plain_look_of_the_curve_keeps_to_four_characters(crew_at: CrewAt) -> None:
    async with at_flush(crew_at(""), plain=True) as (screen, pilot):
        text_of(pilot.app).replace("…", "...").encode("cp437")
        drawn = "".join(line[8:] for line in screen.query_one(Curve).text.splitlines()[:-3])
        assert set(drawn) <= set("#:-| ")


# --- the plotter --------------------------------------------------------------------------------------


def drawn(width: int = 70, height: int = 14, *, limit: float = 0.01, plain_look: bool = True) -> list[str]:
    crossing = 332.19  # 50 kg times the binary logarithm of 100
    lines = curve_lines(POINTS, limit, crossing, 200.0, "en", width, height, plain=plain_look)
    return plain(lines).splitlines()


def test_the_limit_row_meets_the_filled_part_at_the_crossing() -> None:
    rows = drawn()
    cross = 8 + int(332.19 / 500 * (70 - 9))
    limit_row = next(row for row in rows if re.search(r"-{8}", row) and "%" in row)
    assert limit_row[cross] == "|"
    assert abs(limit_row.rindex("#") - cross) <= 4
    assert limit_row.lstrip().startswith("1 %")


def test_the_scale_is_logarithmic_and_names_every_power_of_ten() -> None:
    labels = [row[:7].strip() for row in drawn() if row[:7].strip()]
    assert labels[:3] == ["100 %", "10 %", "1 %"]


def test_an_exponential_is_a_straight_line_on_it() -> None:
    """The top of each column falls evenly: a closed form, residual 2^(-kg/50)."""
    rows = drawn(width=109, height=43)[:-3]
    tops = [next((y for y, row in enumerate(rows) if row[x] == "#"), len(rows)) for x in range(9, 90, 8)]
    steps = [later - earlier for earlier, later in pairwise(tops)]
    assert max(steps) - min(steps) <= 1


@given(st.integers(1, 200), st.integers(1, 60))
def test_no_size_is_too_small_or_too_large_for_the_plotter(width: int, height: int) -> None:
    lines = curve_lines(POINTS, 0.01, 332.0, 0.0, "es", width, height, plain=False)
    assert len(lines) in (0, height)
    assert all(len("".join(span.text for span in line)) <= width for line in lines[:-1])


@given(st.floats(0, 1))
def test_the_bar_fills_with_the_share_and_keeps_its_width(share: float) -> None:
    shown = bar(share, 40)
    assert len(shown) == 42
    assert abs(shown.count("#") - 40 * share) <= 1
    assert set(shown) <= set("[]#-")


def test_points_of_the_plotter_are_those_of_the_washout(crew_at: CrewAt) -> None:
    note = crew_at("").state.worksheet.flush
    assert note is not None
    washed = washout(line_from_json(dict(note.line_model)))
    for kg, residual in curve(washed, 600.0, 13):
        assert residual == pytest.approx(washed.residual(kg), rel=1e-9, abs=1e-12)


async def test_a_flush_of_work_that_was_given_up_says_so_first(crew_at: CrewAt) -> None:
    crew = crew_at(FLUSH)
    crew.act(Abandon(reason="no noodles"), "SS")
    async with at_flush(crew) as (screen, pilot):
        text = screen.query_one(StepCard).text
        assert "Abandoned at 20" in text
        assert text.index("Abandoned") < text.index("FLUSH")
        assert "Abandoned" in text_of(pilot.app)


# --- meanwhile at another terminal --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("keys", "last", "kept"),
    [
        ((("f5",), (*"900", "enter")), (*"smell", "enter"), "900 kg: smell"),
        ((("f4",), ("4", "enter")), (*"smell", "enter"), "smell"),
        ((("f6",),), ("2",), ""),
        ((("f8",), (*"200", "enter")), (*"2", "enter"), "200 kg, 2 %"),
        ((("f8",), (*"200", "enter"), (*"2", "enter")), ("1",), "2 %"),
    ],
    ids=["revise", "ways", "end short", "check", "proposal"],
)
async def test_a_work_that_ends_while_a_dialogue_of_its_flush_stands_is_refused_with_what_was_typed(
    keys: tuple[tuple[str, ...], ...], last: tuple[str, ...], kept: str, crew_at: CrewAt
) -> None:
    crew = crew_at(FLUSH)
    async with at_flush(crew) as (screen, pilot):
        for some in keys:
            top = pilot.app.screen
            await pilot.press(*some)
            await until(pilot, lambda top=top: pilot.app.screen not in (top, screen))  # type: ignore[misc]
        crew.act(Abandon(reason="no noodles"), "SS")
        n = crew.plant.ledger.head().n
        await pilot.press(*last)
        await until(pilot, lambda: pilot.app.screen is screen)
        await until(pilot, lambda: "no longer open" in _said(screen))
        assert ("You had typed: " in _said(screen)) == bool(kept)
        assert kept in _said(screen)
        assert "NOT RECORDED" in text_of(pilot.app)
        assert crew.plant.ledger.head().n == n


async def test_signing_a_flush_step_of_a_work_that_ended_meanwhile_is_refused(crew_at: CrewAt) -> None:
    crew = crew_at(FLUSH)
    async with opened(crew.plant) as (app, pilot):
        app.begin_session(crew.ode)
        screen = WorkScreen(crew.work, FLUSH)
        app.push_screen(screen)
        await until(pilot, lambda: screen.is_mounted and screen.step is not None and screen.step.id == FLUSH)
        await pilot.press(*"9000")
        crew.act(Abandon(reason="no noodles"), "SS")
        n = crew.plant.ledger.head().n
        await pilot.press("enter")
        await until(pilot, lambda: bool(_said(screen)))
        assert crew.plant.ledger.head().n == n


async def test_signing_a_flush_step_of_a_worksheet_that_another_took_the_place_of_is_refused(
    crew_at: CrewAt,
) -> None:
    crew = crew_at(FLUSH)
    step = crew.state.worksheet.step(FLUSH)
    assert step is not None
    without = replace(crew.state, flush={})
    assert act_of(without, step, crew.ode, Given(text="1")) == SignStep(step=FLUSH, kg=Decimal(1))


@pytest.mark.parametrize("typed", ["9,5,5", "9" * 120, "-", "one"])
async def test_what_is_no_number_stays_in_the_field_and_says_what_is_expected(
    typed: str, crew_at: CrewAt
) -> None:
    crew = crew_at(FLUSH)
    async with at_flush(crew) as (screen, pilot):
        screen.refuse(("An older refusal.",))
        await pilot.press("f5")
        await until_top(pilot, "AskScreen")
        ask = pilot.app.screen
        ask.query_one(Entry).given = Given(text=typed)
        await pilot.press("enter")
        await until(pilot, lambda: "That is no number" in _said(ask))
        assert pilot.app.screen is ask
        assert ask.query_one(Entry).given.text == typed


def _said(screen: Screen[Any]) -> str:
    return " ".join(screen.query_one("#notice", Notice).sentences)

"""Flush: ways side by side, the reasoning, check samples; what is chosen is a revision with its inputs."""

import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from decimal import Decimal
from typing import Any

import pytest
from textual import events
from textual.pilot import Pilot

from floorterm.changeover.acts import Note, PushFlush, ReviseFlush
from floorterm.changeover.flush_live import curve_of
from floorterm.changeover.view_flush import next_best_text
from floorterm.changeover.worksheet import FlushNote
from floorterm.terminal.screens.flush import FlushScreen
from floorterm.terminal.widgets.curve import Curve
from floorterm.terminal.widgets.notice import Notice
from floorterm.terminal.widgets.step_card import StepCard
from tests.terminal.at_step import Crew
from tests.terminal.conftest import CrewAt
from tests.terminal.shell import COMFORTABLE, SMALL, opened, text_of, until, until_top

FLUSH = "start/flush"


@asynccontextmanager
async def at_flush(
    crew: Crew, size: tuple[int, int] = SMALL, *, by: str = "SS", **options: Any
) -> AsyncIterator[tuple[FlushScreen, Pilot[int]]]:
    async with opened(crew.plant, size, **options) as (app, pilot):
        app.begin_session(crew.plant.ledger.person(by))
        screen = FlushScreen(crew.work)
        app.push_screen(screen)
        await until(pilot, lambda: screen.is_mounted and screen.query_one(StepCard).text != "")
        yield screen, pilot


async def press(pilot: Pilot[int], *keys: str) -> None:
    for key in keys:
        pilot.app.post_message(events.Key(key, key if len(key) == 1 else None))
    await pilot.pause()


def note_of(crew: Crew) -> FlushNote:
    note = crew.state.worksheet.flush
    assert note is not None
    return note


def flat(pilot: Pilot[int]) -> str:
    return re.sub(r"\s+", " ", text_of(pilot.app))


def newest(crew: Crew, kind: str) -> Any:
    return crew.plant.ledger.entries(kinds=(kind,), newest_first=True, limit=1)[0]


@pytest.mark.parametrize("language", ["en", "es"])
async def test_everything_that_decides_is_seen_together_at_80x24(crew_at: CrewAt, language: str) -> None:
    """kg, bars, minutes, the rule, measured or assumed, the next best way and what it would save."""
    crew = crew_at("")
    note = note_of(crew)
    async with at_flush(crew, language=language) as (_, pilot):
        seen = flat(pilot)
        assert f"{note.required_kg} kg" in seen
        assert f"{note.minutes} min" in seen
        assert f"{note.sure_kg} kg" in seen.replace(",", "")
        assert next_best_text(note, None, language) in seen
        assert ("not measured" if language == "en" else "no medido") in seen


async def test_while_flushing_the_screen_says_what_is_left_and_when_to_stop(crew_at: CrewAt) -> None:
    crew = crew_at(FLUSH)
    note = note_of(crew)
    crew.act(PushFlush(step=FLUSH, kg=Decimal(150)))
    async with at_flush(crew) as (_, pilot):
        curve = curve_of(note)
        assert curve is not None
        seen = flat(pilot)
        assert f"Left in the bars now: {curve.residual(150.0) * 100:.3g} %" in seen
        assert "assumed, not measured" in seen
        assert f"{note.required_kg - 150} kg to go" in seen
        assert next_best_text(note, crew.state.flush[FLUSH], "en") in seen, "all of it still fits"


async def test_ways_stand_side_by_side_with_figures_and_the_reason_against(crew_at: CrewAt) -> None:
    crew = crew_at(FLUSH)
    note = note_of(crew)
    async with at_flush(crew) as (_, pilot):
        await press(pilot, "f4")
        await until_top(pilot, "WaysScreen")
        lines = text_of(pilot.app).splitlines()
        for row in note.strategies:
            if row.kg is not None:
                assert any(f" {row.kg} " in line and f" {row.minutes} " in line for line in lines), row.key
        assert sum("not allowed" in line for line in lines) >= 3
        assert any("Strip and clean" in line and "proposed" in line for line in lines)
        await press(pilot, "2")
        await until(pilot, lambda: "claims to be fragrance-free" in flat(pilot))
        await press(pilot, "enter")
        await until(pilot, lambda: bool(pilot.app.screen.query_one("#notice", Notice).sentences))
        assert type(pilot.app.screen).__name__ == "WaysScreen"


async def test_another_way_is_a_revision_with_its_name_old_and_new_kg(crew_at: CrewAt) -> None:
    crew = crew_at(FLUSH)
    note = note_of(crew)
    strip = note.strategy("strip")
    assert strip is not None
    assert strip.kg is not None
    place = [row.key for row in note.strategies].index("strip") + 1
    async with at_flush(crew) as (screen, pilot):
        await press(pilot, "f4")
        await until_top(pilot, "WaysScreen")
        await press(pilot, str(place), "enter")
        await until_top(pilot, "AskScreen")
        await press(pilot, *"dark", "enter")
        await until(pilot, lambda: crew.state.flush[FLUSH].required_kg == strip.kg)
        entry = newest(crew, ReviseFlush.KIND)
        assert entry.reason == "dark"
        inputs = entry.value["inputs"]
        assert (inputs["strategy"], inputs["old_strategy"]) == ("strip", "push_through")
        assert (inputs["old_kg"], inputs["new_kg"]) == (f"{note.required_kg}", f"{strip.kg}")
        await until(pilot, lambda: "way in hand: Strip and clean" in flat(pilot))
        assert not screen.query_one(Curve).display, "this way has no curve from a full line"


async def test_an_operator_does_not_lower_the_flush_by_choosing_a_way(crew_at: CrewAt) -> None:
    crew = crew_at(FLUSH)
    note = note_of(crew)
    place = [row.key for row in note.strategies].index("strip") + 1
    async with at_flush(crew, by="OO") as (screen, pilot):
        await press(pilot, "f4")
        await until_top(pilot, "WaysScreen")
        await press(pilot, str(place), "enter")
        await until_top(pilot, "AskScreen")
        await press(pilot, *"fast", "enter")
        await until(pilot, lambda: bool(screen.query_one("#notice", Notice).sentences))
        assert crew.state.flush[FLUSH].required_kg == note.required_kg


async def test_the_reasoning_is_one_key_away_with_sources(crew_at: CrewAt) -> None:
    crew = crew_at("")
    note = note_of(crew)
    async with at_flush(crew, COMFORTABLE) as (_, pilot):
        await press(pilot, "f7")
        await until_top(pilot, "ReadScreen")
        seen = ""
        for _ in range(8):
            seen += flat(pilot)
            await press(pilot, "pagedown")
        squeezed = re.sub(r"[\s>]+", "", seen)
        assert len(note.chain) > 8
        for text in (note.chain[0]["en"], note.chain[-2]["en"]):
            assert re.sub(r"[\s>]+", "", text)[:60] in squeezed
        assert "Source" in seen


async def check_sample(pilot: Pilot[int], kg: str, percent: str) -> None:
    await press(pilot, "f8")
    await until_top(pilot, "AskScreen")
    first = pilot.app.screen
    for _ in range(8):
        await press(pilot, "backspace")
    await press(pilot, *kg, "enter")
    await until(
        pilot, lambda: type(pilot.app.screen).__name__ == "AskScreen" and pilot.app.screen is not first
    )
    await press(pilot, *percent, "enter")


async def test_a_check_sample_proposes_new_kg_and_a_person_confirms(crew_at: CrewAt) -> None:
    crew = crew_at(FLUSH)
    note = note_of(crew)
    crew.act(PushFlush(step=FLUSH, kg=Decimal(150)))
    curve = curve_of(note)
    assert curve is not None
    left = curve.residual(150.0 / 1.1) * 100  # a line that holds a tenth more than its file says
    async with at_flush(crew) as (_, pilot):
        await check_sample(pilot, "150", f"{left:.2f}")
        await until_top(pilot, "MenuScreen")
        assert crew.state.flush[FLUSH].required_kg == note.required_kg, "proposed, not imposed"
        await press(pilot, "2")
        await until(pilot, lambda: crew.state.flush[FLUSH].revised_by is not None)
        progress = crew.state.flush[FLUSH]
        entry = newest(crew, ReviseFlush.KIND)
        assert progress.required_kg > note.required_kg
        assert entry.value["inputs"]["samples"].startswith("150:0.")
        assert 1.0 < float(entry.value["inputs"]["holdup_factor"]) < 1.12
        assert "Check sample at 150 kg" in entry.reason
        await until(pilot, lambda: "Left in the bars now" in flat(pilot))
        assert "assumed, not measured" not in flat(pilot)


async def test_a_check_sample_that_changes_nothing_is_kept_as_a_note(crew_at: CrewAt) -> None:
    crew = crew_at(FLUSH)
    note = note_of(crew)
    crew.act(PushFlush(step=FLUSH, kg=Decimal(150)))
    async with at_flush(crew) as (_, pilot):
        await check_sample(pilot, "150", "12")
        await until_top(pilot, "MenuScreen")
        await press(pilot, "1")
        await until(pilot, lambda: bool(crew.state.notes))
        assert crew.state.flush[FLUSH].required_kg == note.required_kg
        assert newest(crew, Note.KIND).value["text"].startswith("Check sample at 150 kg: 12 %")


async def test_a_check_sample_that_fits_nothing_known_says_so_before_anybody_decides(crew_at: CrewAt) -> None:
    crew = crew_at(FLUSH)
    crew.act(PushFlush(step=FLUSH, kg=Decimal(150)))
    async with at_flush(crew) as (_, pilot):
        await check_sample(pilot, "150", "90")
        await until_top(pilot, "MenuScreen")
        await until(pilot, lambda: "standard deviations off what was known" in flat(pilot))
        assert "Take another before you rely on it" in flat(pilot)


@pytest.mark.parametrize("percent", ["100", "0", "250"])
async def test_a_check_sample_outside_its_range_is_refused_in_the_unit_that_was_asked_for(
    crew_at: CrewAt, percent: str
) -> None:
    """A sentence about fractions here would teach somebody to type 0.05 where 5 is meant."""
    crew = crew_at(FLUSH)
    crew.act(PushFlush(step=FLUSH, kg=Decimal(150)))
    head = crew.plant.ledger.head()
    async with at_flush(crew) as (screen, pilot):
        await check_sample(pilot, "150", percent)
        await until(pilot, lambda: bool(screen.query_one("#notice", Notice).sentences))
        assert crew.plant.ledger.head() == head, "nothing was recorded"
        (said,) = screen.query_one("#notice", Notice).sentences
        assert said.startswith(f"{percent} %:")
        assert "Enter 5 for 5 %" in said
        assert "0.05" not in said

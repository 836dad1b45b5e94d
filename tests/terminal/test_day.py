"""The day plan: marked by keys, taps and scans; the order is the planning room's; nothing is recorded."""

from collections.abc import Sequence
from threading import Event
from unittest.mock import Mock

import pytest
from textual.pilot import Pilot

from floorterm.changeover.faults import ComposeError
from floorterm.library.model import Library
from floorterm.planning import Day, DayPlan, NoPlanError, Rule, changes_on, day_of, plan_day
from floorterm.planning.telling import sentences
from floorterm.plant import Plant
from floorterm.terminal.app import FloorApp
from floorterm.terminal.messages import Scanned
from floorterm.terminal.views.day import hint_lines, refusal_lines
from floorterm.terminal.views.text import Span
from floorterm.terminal.widgets.page import Page
from tests.conftest import who
from tests.terminal.shell import COMFORTABLE, SMALL, opened, rows, tap_key, tap_row, text_of, until, until_top

_DAY = ("juniper", "palmarosa", "petitgrain")


async def _day(pilot: Pilot[int], app: FloorApp) -> None:
    await pilot.press("f6")
    await until_top(pilot, "StartChangeoverScreen")
    await pilot.press("f7")
    await until_top(pilot, "DayScreen")
    await until(pilot, lambda: rows(app).rows)


def _said(app: FloorApp) -> str:
    return " ".join(app.screen.query_one("#order", Page).text.split())


def _expected(plant: Plant, *rules: Rule) -> tuple[str, tuple[str, ...]]:
    changes = changes_on(plant.library, "L1", plant.now().astimezone(plant.zone).date())
    day = day_of(changes, plant.holds("L1").fragrances, _DAY)
    found = plan_day(day, rules)
    return next(iter(sentences(day, found, plant.library, "en"))), found.order


def _order(app: FloorApp, plant: Plant) -> tuple[str, ...]:
    """The fragrances in the order in which their rows stand."""
    lines = app.screen.query_one("#order", Page).text.splitlines()
    names = {one.name.en: name for name, one in plant.library.fragrances.items()}
    found = [line.split("  ")[1].strip() for line in lines[: len(_DAY)]]
    return tuple(names[name] for name in found)


@pytest.mark.parametrize("size", [SMALL, COMFORTABLE])
async def test_the_order_of_what_is_marked_is_the_best_one(plant: Plant, size: tuple[int, int]) -> None:
    plant.state_holds(who(plant, "SS"), "L1", ("plain",), "for this test", key="holds")
    entries = plant.ledger.head().n
    async with opened(plant, size) as (app, pilot):
        await _day(pilot, app)
        assert "Mark what runs today" in _said(app)
        for name in _DAY:
            rows(app).choose(name)
            await pilot.press("enter")
        told, order = _expected(plant)
        await until(pilot, lambda: told in _said(app))
        assert _order(app, plant) == order
        rows(app).choose(order[0])
        await pilot.press("f6")
        told, last = _expected(plant, Rule(then=order[0]))
        await until(pilot, lambda: told in _said(app))
        assert _order(app, plant) == last
        assert last[-1] == order[0]
        await pilot.press("f6")  # the same key takes it back
        await until(pilot, lambda: _order(app, plant) == order)
        await pilot.press("f4")
        await until_top(pilot, "ReadScreen")
        assert "Worksheet, checks and quality decide" in " ".join(text_of(app).split())
        await pilot.press("escape")
        for name in _DAY:
            rows(app).choose(name)
            await pilot.press("enter")
        await until(pilot, lambda: "Mark what runs today" in _said(app))
        assert plant.ledger.head().n == entries


async def test_its_first_frame_has_no_column_of_single_letters(
    plant: Plant, monkeypatch: pytest.MonkeyPatch
) -> None:
    hinted = Mock(wraps=hint_lines)
    monkeypatch.setattr("floorterm.terminal.screens.day.hint_lines", hinted)
    plant.state_holds(who(plant, "SS"), "L1", ("plain",), "for this test", key="holds")
    async with opened(plant) as (app, pilot):
        await _day(pilot, app)
        await until(pilot, lambda: "Mark what runs today" in _said(app))
    assert min(call.args[0] for call in hinted.call_args_list) > 40


async def test_it_is_worked_by_touch_and_by_scans(plant: Plant) -> None:
    plant.state_holds(who(plant, "SS"), "L1", ("plain",), "for this test", key="holds")
    told, order = _expected(plant)
    async with opened(plant, COMFORTABLE) as (app, pilot):
        await tap_key(pilot, "f6")
        await until_top(pilot, "StartChangeoverScreen")
        await tap_key(pilot, "f7")
        await until_top(pilot, "DayScreen")
        await until(pilot, lambda: rows(app).rows)
        await tap_row(pilot, "petitgrain")
        await tap_row(pilot, "petitgrain")
        for code in (
            "juniper",
            plant.library.fragrances["palmarosa"].code,
            "juniper",
        ):  # what is marked stays so
            app.screen.post_message(Scanned(code))
        await until(pilot, lambda: told in _said(app))
        assert _order(app, plant) == order
        app.screen.post_message(Scanned("NOBODY"))
        await until(pilot, lambda: "NOBODY" in text_of(app))


async def test_it_is_told_in_the_language_that_is_spoken_and_a_fragrance_has_one_rule(
    plant: Plant,
) -> None:
    plant.state_holds(who(plant, "SS"), "L1", ("plain",), "for this test", key="holds")
    async with opened(plant) as (app, pilot):
        await _day(pilot, app)
        rows(app).choose("juniper")
        await pilot.press("f5")
        await until(pilot, lambda: "PROVED BEST" in _said(app))
        await pilot.press("f9")
        await until(pilot, lambda: "DEMOSTRADO" in _said(app))
        await pilot.press("f6")  # first becomes last: one fragrance has one rule
        await until(pilot, lambda: "última" in rows(app).chosen.lines[0][-1].text)


def test_where_no_order_keeps_the_rules_it_says_which_to_give_up(library: Library) -> None:
    refused = NoPlanError((Rule("plain", "juniper"),), proved=True)
    lines = refusal_lines(refused, library, 60, "en")
    assert lines[0] == (Span("NO ORDER KEEPS ALL RULES.", "caution"),)
    assert "without the rule that Plain runs before Juniper" in " ".join(
        s.text for line in lines for s in line
    )


async def test_what_a_changeover_that_is_on_brings_is_what_the_day_begins_with(plant: Plant) -> None:
    plant.state_holds(who(plant, "SS"), "L1", ("plain",), "for this test", key="holds")
    async with opened(plant) as (app, pilot):
        await _day(pilot, app)
        rows(app).choose("juniper")
        await pilot.press("enter")
        await until(pilot, lambda: "PROVED BEST" in _said(app))
        assert "runs on" not in _said(app)
        plant.start_changeover(who(plant, "SS"), "L1", "juniper", "k1")
        await app.look_at_record()
        await until(pilot, lambda: "runs on" in _said(app))


async def test_marks_that_come_while_it_reckons_are_the_ones_that_are_shown(
    plant: Plant, monkeypatch: pytest.MonkeyPatch
) -> None:
    plant.state_holds(who(plant, "SS"), "L1", ("plain",), "for this test", key="holds")
    begun, may_end = Event(), Event()

    def slow(day: Day, rules: Sequence[Rule] = ()) -> DayPlan:
        begun.set()
        assert may_end.wait(10)
        return plan_day(day, rules)

    monkeypatch.setattr("floorterm.terminal.screens.day.plan_day", slow)
    async with opened(plant) as (app, pilot):
        await _day(pilot, app)
        for name in _DAY:
            rows(app).choose(name)
            await pilot.press("enter")
            await until(pilot, begun.is_set)
            app.screen.retell()
            assert "Computing" in _said(app)
        await pilot.press("f9")  # another language while it reckons
        await until(pilot, lambda: "Calculando" in _said(app))
        await pilot.press("f9")
        may_end.set()
        told, _ = _expected(plant)
        await until(pilot, lambda: told in _said(app) or "BEWIESEN" in _said(app))
        begun.clear()
        may_end.clear()
        await pilot.press("enter")
        await until(pilot, begun.is_set)
        await pilot.press("escape")  # nobody waits for it
        may_end.set()
        await until_top(pilot, "StartChangeoverScreen")


@pytest.mark.parametrize("held", [(), ("no-longer-made",), ("plain", "no-longer-made")])
async def test_where_nobody_knows_what_the_line_holds_it_says_who_states_it(
    plant: Plant, held: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("floorterm.terminal.screens.day.comes_from", lambda now: held)
    async with opened(plant) as (app, pilot):
        await _day(pilot, app)
        await pilot.press("enter")
        await until(pilot, lambda: rows(app).chosen.lines[0][0].text.startswith("[x]"))
        assert "A supervisor states what it holds" in _said(app)


async def test_a_pair_that_the_checklists_cannot_change_is_said_on_the_page(
    plant: Plant, monkeypatch: pytest.MonkeyPatch
) -> None:
    plant.state_holds(who(plant, "SS"), "L1", ("plain",), "for this test", key="holds")

    def refused(*_: object) -> Day:
        raise ComposeError("There is no step for this.")

    monkeypatch.setattr("floorterm.terminal.screens.day.day_of", refused)
    async with opened(plant) as (app, pilot):
        await _day(pilot, app)
        await pilot.press("enter")
        await until(pilot, lambda: "There is no step for this." in _said(app))
        app.screen.retell()
        assert "There is no step for this." in _said(app)


async def test_more_than_a_day_can_have_is_not_marked_and_what_is_no_longer_marked_has_no_rule(
    plant: Plant, monkeypatch: pytest.MonkeyPatch
) -> None:
    plant.state_holds(who(plant, "SS"), "L1", ("plain",), "for this test", key="holds")
    monkeypatch.setattr("floorterm.terminal.screens.day.MOST_FRAGRANCES", 1)
    async with opened(plant) as (app, pilot):
        await _day(pilot, app)
        rows(app).choose("juniper")
        await pilot.press("f5")
        await until(pilot, lambda: "PROVED BEST" in _said(app))
        rows(app).choose("palmarosa")
        await pilot.press("enter")
        await until(pilot, lambda: "A day has at most 1" in text_of(app))
        rows(app).choose("juniper")
        await pilot.press("enter")
        await until(pilot, lambda: "Mark what runs today" in _said(app))
        assert rows(app).chosen.lines[0][-1].text != "first"


async def test_a_record_that_goes_away_loses_no_mark(plant: Plant) -> None:
    plant.state_holds(who(plant, "SS"), "L1", ("plain",), "for this test", key="holds")
    path = plant.ledger.path
    async with opened(plant) as (app, pilot):
        await _day(pilot, app)
        path.rename(path.with_suffix(".away"))
        for name in _DAY:
            rows(app).choose(name)
            await pilot.press("enter")
            await until(pilot, lambda: rows(app).chosen.lines[0][0].text.startswith("[x]"))
        await until(pilot, lambda: "nothing can be read until the record answers" in _said(app))
        path.with_suffix(".away").rename(path)
        await app.beat.tick()
        told, order = _expected(plant)
        await until(pilot, lambda: told in _said(app))
        assert _order(app, plant) == order

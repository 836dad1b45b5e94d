"""Lye at the terminal: figures in three keys from Lines, one's own protection confirmed, a class raised."""

from datetime import timedelta

import pytest
from textual.pilot import Pilot

from floorterm.changeover.acts import SignStep
from floorterm.demo.clock import SetClock
from floorterm.plant import Plant
from floorterm.terminal.app import FloorApp
from floorterm.terminal.plain import next_text
from floorterm.terminal.views.shown import work_view
from tests.conftest import who
from tests.terminal.shell import COMFORTABLE, SMALL, opened, text_of, until, until_top


async def _typed(pilot: Pilot[int], numbers: tuple[str, ...]) -> None:
    for number in numbers:
        await until_top(pilot, "AskScreen")
        screen = pilot.app.screen
        await pilot.press(*("full_stop" if sign == "." else sign for sign in number), "enter")
        await until(pilot, lambda screen=screen: pilot.app.screen is not screen)  # type: ignore[misc]


async def _figures(pilot: Pilot[int], task: str, numbers: tuple[str, ...]) -> None:
    """From Lines: procedures, lye figures, what is to be done, and one number after the other."""
    await pilot.press("f7")
    await until_top(pilot, "StartProcedureScreen")
    await pilot.press("f5")
    await until_top(pilot, "MenuScreen")
    await pilot.press(task)
    await _typed(pilot, numbers)
    await until_top(pilot, "ReadScreen")


@pytest.mark.parametrize("size", [SMALL, COMFORTABLE])
async def test_a_dilution_is_three_keys_from_lines_and_says_that_it_is_no_permission(
    plant: Plant, size: tuple[int, int]
) -> None:
    async with opened(plant, size) as (app, pilot):
        await _figures(pilot, "1", ("50", "30", "20", "100", "20"))
        text = text_of(app)
        assert "estimate, not a permission" in text
        assert "80.14 L" not in text, "100 kg of 20 % takes 60 kg of water"
        assert "60.00 kg" in text, "water, from the mass balance: 100 kg x (1 - 20/50)"
        assert "40.00 kg" in text, "stock"


async def test_a_solution_that_is_refused_says_why_and_computes_nothing(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        await _figures(pilot, "2", ("30", "100", "20"))
        assert "Cool and add in stages" in text_of(app).replace("\n", " ")


async def test_a_spill_says_what_the_sites_own_kit_reaches(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        await _figures(pilot, "3", ("50", "10"))
        text = " ".join(text_of(app).split())
        await pilot.press("pagedown", "pagedown")
        await until(pilot, lambda: "12.2 kg" in text_of(app))
        text += " ".join(text_of(app).split())
        assert "12.2 kg" in text, "citric acid for 10 L of 50 %: 7.63 kg NaOH x 1.60"
        assert "1.25 kg NaOH" in text, "what 2 kg of citric acid equals"


def _sign(plant: Plant, clock: SetClock, work: str, code: str, act: SignStep, witness: str = "") -> None:
    clock.advance(timedelta(seconds=20))
    seen = plant.ledger.person(witness) if witness else None
    plant.act(work, act, who(plant, code), key=plant.ledger.new_id(), witness=seen)


def _checked_eyewash(plant: Plant, clock: SetClock) -> None:
    """Both checks done by the safety officer, through the plant's own rules."""
    for name in ("eyewash-yearly", "eyewash-weekly"):
        work = plant.start_procedure(who(plant, "VV"), "L1", name, plant.ledger.new_id()).work
        for step in plant.state(work).worksheet.steps():
            number = str(step.low if step.low is not None else step.high) if step.kind == "reading" else ""
            choice = next((one.id for one in step.choices if not one.deviation), "")
            clock.advance(timedelta(minutes=float(step.dwell_min or 0)))
            _sign(plant, clock, work, "VV", SignStep(step=step.id, number=number, choice=choice))


async def test_somebody_who_takes_over_confirms_their_own_protection(plant: Plant, clock: SetClock) -> None:
    _checked_eyewash(plant, clock)
    work = plant.start_procedure(who(plant, "SS"), "L1", "lye-sample", plant.ledger.new_id()).work
    for step in plant.state(work).worksheet.steps():
        if step.kind != "protect":
            break
        _sign(plant, clock, work, "BB", SignStep(step=step.id))
    mixer = plant.ledger.person("BB")
    other = mixer.__class__(
        **{
            name: getattr(mixer, name)
            for name in ("permission", "duties", "lockout", "trained_on", "valid_to")
        },
        code="B2",
        name="B. Other",
    )
    plant.ledger.add_person(other, "246810", by="AD")
    async with opened(plant) as (app, pilot):
        app.session.begin(plant.ledger.person("B2"))
        from floorterm.terminal.screens.work import WorkScreen

        app.push_screen(WorkScreen(work))
        await until_top(pilot, "WorkScreen")
        assert "does not protect you" in text_of(app)
        await pilot.press("f5")
        await until_top(pilot, "MenuScreen")
        await _choose(app, pilot, "protect")
        await until_top(pilot, "AskScreen")
        for digit in "123456":
            await pilot.press(digit)
        await pilot.press("enter")
        await until(pilot, lambda: plant.state(work).protected[-1].person == "B2")
        await until(pilot, lambda: "does not protect you" not in text_of(app))
        assert len(plant.state(work).protected[-1].items) == 6


async def _choose(app: FloorApp, pilot: Pilot[int], key: str) -> None:
    from floorterm.terminal.widgets.rows import Rows

    found = app.screen.query(Rows).first()
    await pilot.press(str([row.key for row in found.rows].index(key) + 1), "enter")


async def test_lye_work_without_a_checked_eyewash_is_refused_on_the_screen(plant: Plant) -> None:
    work = plant.start_procedure(who(plant, "SS"), "L1", "lye-sample", plant.ledger.new_id()).work
    async with opened(plant) as (app, pilot):
        app.session.begin(plant.ledger.person("BB"))
        from floorterm.terminal.screens.work import WorkScreen

        app.push_screen(WorkScreen(work))
        await until_top(pilot, "WorkScreen")
        text = " ".join(text_of(app).split())
        assert "Activate eyewash and shower first" in text
        assert "consensus standard" in text


def test_the_plain_lines_ask_the_same_eyewash_as_the_screen(plant: Plant, clock: SetClock) -> None:
    work = plant.start_procedure(who(plant, "SS"), "L1", "lye-sample", plant.ledger.new_id()).work
    person = plant.ledger.person("BB")
    assert "Activate eyewash" in "\n".join(
        next_text(plant, work_view(plant, plant.state(work), person, "en"), "en")
    )
    _checked_eyewash(plant, clock)
    told = "\n".join(next_text(plant, work_view(plant, plant.state(work), person, "en"), "en"))
    assert "eyewash" not in told.casefold()
    assert "splash goggles" in told

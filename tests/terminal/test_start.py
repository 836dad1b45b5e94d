"""Starting work: what is told before, that it takes two steps, and that the record decides."""

import pytest
from msgspec.structs import replace
from textual.app import App

from floorterm.changeover.acts import STARTED
from floorterm.changeover.faults import ComposeError
from floorterm.changeover.register import HOLDS
from floorterm.changeover.worksheet import Worksheet
from floorterm.ledger import CHEAP_PROFILE, Ledger
from floorterm.plant import Plant
from floorterm.terminal.messages import Scanned
from floorterm.terminal.views.start import changeover_candidate, detail_lines, flush_text, glance_lines
from floorterm.terminal.views.text import thousands
from floorterm.wording import LANGUAGES
from tests.conftest import PEOPLE, PIN, who
from tests.terminal.shell import (
    COMFORTABLE,
    SMALL,
    opened,
    recorded,
    rows,
    sign_in,
    tap_key,
    tap_row,
    text_of,
    until,
    until_top,
)


@pytest.mark.parametrize("size", [SMALL, COMFORTABLE])
async def test_the_flush_is_told_before_anything_is_started(plant: Plant, size: tuple[int, int]) -> None:
    plant.state_holds(who(plant, "SS"), "L1", ("clove-leaf",), "for this test", key="holds")
    sheet = plant.worksheet("L1", "juniper")
    assert sheet.flush is not None
    assert sheet.flush.required_kg > 0
    async with opened(plant, size) as (app, pilot):
        await pilot.press("f6")
        await until_top(pilot, "StartChangeoverScreen")
        await until(pilot, lambda: rows(app).rows)
        rows(app).choose("juniper")
        await pilot.press("enter")
        text = " ".join(text_of(app).split())
        assert f"Flush {thousands(sheet.flush.required_kg)} kg of line mass" in text
        assert f"{thousands(sheet.flush.bars)} bars" in text
        assert f"{sheet.flush.minutes} min" in text
        assert "Clove leaf > Juniper" in text
        assert plant.works() == ()


async def test_a_changeover_starts_by_keys_after_sign_in_and_opens(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        await pilot.press("f6")
        await until_top(pilot, "StartChangeoverScreen")
        await until(pilot, lambda: rows(app).rows)
        chosen = rows(app).rows[1].key
        await pilot.press("2", "enter", "enter")
        await sign_in(pilot, "AA")
        await until_top(pilot, "WorkScreen")
        (state,) = plant.works()
        assert (state.title, state.started_by) == (("plain", chosen), "A. Abel")


async def test_a_changeover_starts_by_touch(plant: Plant) -> None:
    async with opened(plant, COMFORTABLE) as (app, pilot):
        app.session.begin(plant.ledger.person("SS"))
        await tap_key(pilot, "f6")
        await until_top(pilot, "StartChangeoverScreen")
        await until(pilot, lambda: rows(app).rows)
        await tap_row(pilot, "juniper")
        await tap_row(pilot, "juniper")
        await until(pilot, lambda: app.screen.query_one("#confirm").display)
        await tap_key(pilot, "enter")
        await until_top(pilot, "WorkScreen")
        assert plant.works()[0].title == ("plain", "juniper")


async def test_esc_leads_from_the_page_to_the_list_and_out(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        await pilot.press("f6")
        await until_top(pilot, "StartChangeoverScreen")
        await until(pilot, lambda: rows(app).rows)
        await pilot.press("enter")
        await until(pilot, lambda: app.screen.query_one("#confirm").display)
        await pilot.press("escape")
        await until(pilot, lambda: not app.screen.query_one("#confirm").display)
        assert app.focused is rows(app)
        await pilot.press("escape")
        await until_top(pilot, "LinesScreen")


async def test_a_scan_chooses_and_never_starts(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        await pilot.press("f6")
        await until_top(pilot, "StartChangeoverScreen")
        await until(pilot, lambda: rows(app).rows)
        code = plant.library.fragrances["juniper"].code
        for _ in range(2):
            app.screen.post_message(Scanned(code))
            await pilot.pause()
        await until(pilot, lambda: "Plain > Juniper" in text_of(app))
        assert plant.works() == ()


async def test_a_line_that_got_busy_meanwhile_refuses_with_what_to_do(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        app.session.begin(plant.ledger.person("SS"))
        await pilot.press("f6")
        await until_top(pilot, "StartChangeoverScreen")
        await until(pilot, lambda: rows(app).rows)
        work = plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "other hand").work
        await pilot.press("enter", "enter")
        await until(
            pilot, lambda: f"{work} is still under way on this line." in " ".join(text_of(app).split())
        )
        assert len(plant.works()) == 1


async def test_a_procedure_starts_beside_a_changeover(plant: Plant) -> None:
    plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "begin")
    async with opened(plant) as (app, pilot):
        app.session.begin(plant.ledger.person("AA"))
        await pilot.press("f7")
        await until_top(pilot, "StartProcedureScreen")
        await until(pilot, lambda: rows(app).rows)
        rows(app).choose("jam-or-torn-screen")
        await pilot.press("enter", "enter")
        await recorded(pilot, plant, STARTED)
        await until_top(pilot, "WorkScreen")
        assert [state.work for state in plant.line_now("L1").procedures] == ["P-0001"]


async def test_a_new_ledger_lets_a_supervisor_state_what_the_line_holds(
    plant: Plant, tmp_path: object
) -> None:
    from pathlib import Path

    fresh = Ledger.create(
        Path(str(tmp_path)) / "fresh.db",
        plant_id=plant.library.plant.id,
        plant_name=plant.library.plant.name,
        time_zone=plant.library.plant.time_zone,
        pin_profile=CHEAP_PROFILE,
    )
    admin = plant.ledger.person("AD")
    fresh.add_person(admin, PIN, by="")
    for person in PEOPLE:
        fresh.add_person(person, PIN, by="AD")
    bare = Plant(plant.library, fresh, "T1")
    async with opened(bare) as (app, pilot):
        assert "nobody has stated what it holds" in text_of(app)
        app.session.begin(fresh.person("SS"))
        await pilot.press("f6")
        await until_top(pilot, "StartChangeoverScreen")
        await until(pilot, lambda: "Nobody has stated what this line holds" in text_of(app))
        await pilot.press("f5")
        await until_top(pilot, "MenuScreen")
        await tap_row(pilot, "plain")
        await until_top(pilot, "AskScreen")
        await pilot.press("s", "e", "e", "n", "enter")
        await recorded(pilot, bare, HOLDS)
        await until_top(pilot, "StartChangeoverScreen")
        await until(pilot, lambda: rows(app).rows)
        assert bare.holds("L1").fragrances == ("plain",)


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_pair_of_the_starter_plant_can_be_told(plant: Plant, language: str) -> None:
    for name, one in plant.library.fragrances.items():
        for line in one.lines:
            if name == "plain":
                continue
            sheet = plant.worksheet(line, name)
            told = changeover_candidate(name, one.code, sheet, language)
            assert sheet.flush is not None
            assert flush_text(sheet.flush, language) in told.lines
            assert "{" not in "".join(told.lines)


async def test_a_jam_is_under_way_after_three_keys_and_the_pin(plant: Plant) -> None:
    """The commonest lockout of all stands first on the list of procedures."""
    async with opened(plant) as (app, pilot):
        app.begin_session(plant.ledger.person("AA"))
        await pilot.press("f7")
        await until_top(pilot, "StartProcedureScreen")
        await until(pilot, lambda: rows(app).rows)
        assert [row.key for row in rows(app).rows[:2]] == ["jam-or-torn-screen", "jam-stamper"]
        await pilot.press("enter")
        await pilot.press("enter")
        await recorded(pilot, plant, STARTED)
        (work,) = plant.works()
        assert work.worksheet.procedure is not None
        assert work.worksheet.procedure.id == "jam-or-torn-screen"


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_has_no_room_under_the_list_is_counted_there(plant: Plant, language: str) -> None:
    one = changeover_candidate("juniper", "X", plant.worksheet("L1", "juniper"), language)
    whole = [line for line in detail_lines(one, 40) if line]
    assert glance_lines(one, 40, len(whole), language) == tuple(whole)
    short = glance_lines(one, 40, 4, language)
    assert list(short[:3]) == whole[:3]
    assert f"{len(whole) - 3} " in short[3][0].text
    assert short[3][0].tone == "notice"


async def test_a_line_that_holds_what_the_checklists_no_longer_allow_there_says_so_and_what_to_do(
    plant: Plant,
) -> None:
    """Palmarosa is on line 1 by the record, and its file names line 2 alone: no pair can be composed."""
    plant.state_holds(who(plant, "SS"), "L1", ("palmarosa",), "for this test", key="holds")
    library = plant.library
    moved = replace(library.fragrances["palmarosa"], lines=("L2",))
    changed = replace(library, fragrances={**library.fragrances, "palmarosa": moved})
    later = Plant(changed, plant.ledger, "T1")
    async with opened(later) as (app, pilot):
        app.session.begin(plant.ledger.person("SS"))
        await pilot.press("f6")
        await until_top(pilot, "StartChangeoverScreen")
        await until(pilot, lambda: "holds Palmarosa, which the checklists do not allow" in _said(app))
        await pilot.press("f5")
        await until_top(pilot, "MenuScreen")
        rows(app).choose("clove-leaf")
        await pilot.press("enter")
        await until_top(pilot, "AskScreen")
        await pilot.press(*"found", "enter")
        await recorded(pilot, later, HOLDS)
        await until(pilot, lambda: rows(app).rows)
        assert "which the checklists do not allow" not in _said(app)


async def test_one_fragrance_that_cannot_be_composed_takes_no_other_from_the_list(
    plant: Plant, monkeypatch: pytest.MonkeyPatch
) -> None:
    plant.state_holds(who(plant, "SS"), "L1", ("clove-leaf",), "for this test", key="holds")
    worksheet = plant.worksheet

    def without_juniper(line: str, incoming: str) -> Worksheet:
        if incoming == "juniper":
            raise ComposeError("The colour standard of juniper has no b.")
        return worksheet(line, incoming)

    monkeypatch.setattr(plant, "worksheet", without_juniper)
    async with opened(plant) as (app, pilot):
        await pilot.press("f6")
        await until_top(pilot, "StartChangeoverScreen")
        await until(pilot, lambda: rows(app).rows)
        assert "juniper" not in [row.key for row in rows(app).rows]
        assert "The colour standard of juniper has no b." in _said(app)


def _said(app: App[int]) -> str:
    return " ".join(text_of(app).split())

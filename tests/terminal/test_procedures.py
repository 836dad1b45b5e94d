"""Checklists: what the library says now, its approval, its gaps, its faults, and a worksheet before it is started."""

import shutil
from pathlib import Path

from floorterm.library import TranslationGap, load, starter_folder
from floorterm.plant import APPROVED, Plant
from floorterm.terminal.screens.procedures import ProceduresScreen
from floorterm.terminal.views.library import gap_lines
from tests.conftest import who
from tests.terminal.shell import opened, recorded, rows, sign_in, text_of, until, until_top


async def test_every_line_fragrance_procedure_and_lockout_is_listed(plant: Plant) -> None:
    library = plant.library
    async with opened(plant) as (app, pilot):
        await pilot.press("f4")
        await until_top(pilot, "ProceduresScreen")
        keys = {row.key for row in rows(app).rows if not row.heading}
        wanted = {f"lines {name}" for name in library.lines}
        wanted |= {f"fragrances {name}" for name in library.fragrances}
        wanted |= {f"alone {name}" for name in library.alone}
        wanted |= {f"lockouts {name}" for name in library.lockouts}
        assert keys == wanted
        assert library.digest[:16] in text_of(app)
        assert "checklists not approved" in text_of(app)


async def test_the_safety_officer_approves_with_a_pin_and_a_supervisor_cannot(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        await pilot.press("f4")
        await until_top(pilot, "ProceduresScreen")
        await pilot.press("f5")
        await sign_in(pilot, "SS")
        await until(pilot, lambda: "Only the safety officer approves" in text_of(app))
        assert plant.approval() is None
        await pilot.press("f10")
        await sign_in(pilot, "VV")
        await pilot.press("f5")
        await until_top(pilot, "SignInScreen")
        await sign_in(pilot, "VV")
        await recorded(pilot, plant, APPROVED)
        await until(pilot, lambda: "approved by V. Voss" in text_of(app))
        entry = plant.approval()
        assert entry is not None
        assert entry.identity == "pin"


async def test_a_worksheet_is_read_before_it_is_started(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        await pilot.press("f4")
        await until_top(pilot, "ProceduresScreen")
        rows(app).choose("fragrances clove-leaf")
        await pilot.press("enter")
        await until_top(pilot, "ReadScreen")
        assert "CLOVE LEAF" in text_of(app)
        steps = sum(1 for _ in plant.worksheet("L1", "clove-leaf").steps())
        printed = "\n".join("".join(span.text for span in row.lines[0]) for row in rows(app).rows)
        assert printed.count("[ ] ") >= steps
        assert plant.works() == ()


async def test_a_line_and_a_lockout_are_read_whole(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        await pilot.press("f4")
        await until_top(pilot, "ProceduresScreen")
        await pilot.press("enter")
        await until_top(pilot, "ReadScreen")
        first = next(iter(plant.library.lines.values()))
        printed = " ".join("".join(span.text for span in row.lines[0]) for row in rows(app).rows)
        for point in first.points:
            assert point.id in printed
        await pilot.press("escape")
        await until_top(pilot, "ProceduresScreen")
        name, lockout = next(iter(plant.library.lockouts.items()))
        rows(app).choose(f"lockouts {name}")
        await pilot.press("enter")
        await until_top(pilot, "ReadScreen")
        printed = " ".join("".join(span.text for span in row.lines[0]) for row in rows(app).rows)
        assert " ".join(lockout.content.scope.en.split()[:4]) in " ".join(printed.split())


def _own_copy(plant: Plant, tmp_path: Path) -> tuple[Plant, Path]:
    folder = tmp_path / "checklists"
    shutil.copytree(starter_folder(), folder)
    return Plant(load(folder), plant.ledger, "T1"), folder


async def test_files_that_were_changed_are_told_with_their_faults_or_as_changed(
    plant: Plant, tmp_path: Path
) -> None:
    own, folder = _own_copy(plant, tmp_path)
    file = folder / "plant.yaml"
    good = file.read_text(encoding="utf-8")
    async with opened(own) as (app, pilot):
        await pilot.press("f4")
        await until_top(pilot, "ProceduresScreen")
        await pilot.press("f7")
        await until(pilot, lambda: "are those that this terminal uses" in " ".join(text_of(app).split()))
        file.write_text(good + "\n# another word\n", encoding="utf-8")
        await pilot.press("f7")
        await until(
            pilot,
            lambda: "they have changed since this terminal was opened" in " ".join(text_of(app).split()),
        )
        file.write_text(good.replace("time_zone:", "time_zon:"), encoding="utf-8")
        await pilot.press("f7")
        await until_top(pilot, "ReadScreen")
        assert "plant.yaml" in text_of(app)
        assert "time_zone" in text_of(app)


async def test_texts_without_a_reviewed_translation_are_listed(plant: Plant, tmp_path: Path) -> None:
    own, folder = _own_copy(plant, tmp_path)
    file = folder / "fragrances" / "plain.yaml"
    text = file.read_text(encoding="utf-8")
    assert "es:" in text
    file.write_text(text.replace("es:", "es_draft:", 1), encoding="utf-8")
    own_words = (folder / "plant.yaml").read_text(encoding="utf-8")
    own_words = own_words.replace("languages: [en, es, de]", "languages: [en, es]")
    (folder / "plant.yaml").write_text(own_words, encoding="utf-8")
    draft = Plant(load(folder), own.ledger, "T1")
    async with opened(draft) as (app, pilot):
        await pilot.press("f4")
        await until_top(pilot, "ProceduresScreen")
        await pilot.press("f6")
        await until_top(pilot, "ReadScreen")
        assert "fragrances/plain.yaml" in text_of(app)
        assert "es text not reviewed" in text_of(app)


def test_many_texts_of_a_file_without_a_reviewed_translation_are_listed_by_their_number() -> None:
    gaps = [TranslationGap("a.yaml", f"steps[{n}].text", "unreviewed", "de") for n in range(4)]
    gaps.append(TranslationGap("a.yaml", "title", "missing", "es"))
    said = ["".join(span.text for span in line) for line in gap_lines(gaps, 78, "en")]
    assert said == ["a.yaml: 4 texts: de text not reviewed", "a.yaml: title: no es text"]


async def test_an_approval_is_of_exactly_these_files(plant: Plant, tmp_path: Path) -> None:
    plant.approve_library(who(plant, "VV"), key="approve")
    own, folder = _own_copy(plant, tmp_path)
    assert own.approval() is not None
    with (folder / "plant.yaml").open("a", encoding="utf-8") as file:
        file.write("\n# one more line\n")
    changed = Plant(load(folder), plant.ledger, "T1")
    async with opened(changed) as (app, _):
        assert "checklists not approved" in text_of(app)


async def test_what_was_asked_for_before_first_aid_does_not_come_over_it(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        screen = ProceduresScreen()
        app.push_screen(screen)
        await until(pilot, lambda: screen.is_mounted and rows(app).rows)
        screen.action_gaps()
        app.action_first_aid()
        await until_top(pilot, "FirstAidScreen")
        await app.desk.in_reader(lambda _: None)  # behind what was asked for
        await pilot.pause(0.05)
        assert type(app.screen).__name__ == "FirstAidScreen"

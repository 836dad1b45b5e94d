"""Documents on screen: the time study and the record of a changeover, part by part, at 80x24."""

from collections.abc import Callable

import pytest

from floorterm.demo import open_still
from floorterm.plant import Plant
from floorterm.terminal.app import FloorApp
from floorterm.terminal.screens.document import DocumentScreen, StudyScreen, changeover_screen
from floorterm.terminal.screens.entries import EntriesScreen
from floorterm.terminal.widgets.rows import Rows
from tests.terminal.hands import Keyboard, screen_text
from tests.terminal.shell import COMFORTABLE, SMALL, at_once, rows


@pytest.fixture(scope="module")
def still() -> Plant:
    """The demo plant on Tuesday at 14:22."""
    return open_still()


def _shown(app: FloorApp, screen: DocumentScreen) -> Callable[[], bool]:
    return lambda: app.screen is screen and bool(screen.query(Rows)) and bool(rows(app).rows)


async def test_from_the_entries_of_a_work_to_its_record_and_to_the_study(still: Plant) -> None:
    app = FloorApp(lambda: still, scan_gap_s=0.0, patience=at_once())
    async with app.run_test(size=SMALL) as pilot:
        hands = Keyboard(app, pilot)
        await hands.until(lambda: app.desk.is_open, "the record")
        app.push_screen(EntriesScreen(work="C-0005"))
        await hands.until_top("EntriesScreen")
        await hands.key("f8")
        await hands.until_top("DocumentScreen")
        await hands.until(lambda: "C-0005" in screen_text(app), "the record of the work")
        await hands.key("right")
        await hands.until(lambda: "Who did what, C-0005" in screen_text(app), "the timeline")
        assert "T. Lund" in screen_text(app)
        assert max(len(line) for row in rows(app).rows for line in [row.lines[0][0].text]) <= 74
        await hands.key("escape")
        await hands.until_top("EntriesScreen")
        await hands.key("f7")
        await hands.until_top("StudyScreen")
        await hands.until(lambda: "Changeovers released" in screen_text(app), "the study")
        await hands.key("right")
        await hands.until(lambda: "over its standard: start/flush" in screen_text(app), "minutes lost")
        await hands.key("left")
        await hands.key("left")
        await hands.until(lambda: "OEE figures" in screen_text(app), "the last part, round the end")
        assert "year" in screen_text(app)
        await hands.key("f4")
        await hands.until(lambda: "Changeovers released" in screen_text(app), "the year, from its first part")
        assert "month" in screen_text(app)


async def test_every_part_of_both_is_shown_in_both_sizes_and_languages(still: Plant) -> None:
    for size, language in ((SMALL, "es"), (COMFORTABLE, "en")):
        app = FloorApp(lambda: still, scan_gap_s=0.0, patience=at_once(), language=language)
        async with app.run_test(size=size) as pilot:
            hands = Keyboard(app, pilot)
            await hands.until(lambda app=app: app.desk.is_open, "the record")
            for screen in (StudyScreen(), changeover_screen("C-0008")):
                app.push_screen(screen)
                await hands.until(_shown(app, screen), "the first part")
                seen: list[str] = []
                while not seen or screen.question_text() != seen[0]:
                    seen.append(screen.question_text())
                    assert rows(app).rows
                    await hands.key("right")
                    await pilot.pause()
                assert len(seen) >= 6

"""Wall: every line in the plant's order, what it does and for how long; nothing is written while nothing changes."""

from datetime import timedelta

import pytest

from floorterm.changeover.acts import Pause
from floorterm.demo.clock import SetClock
from floorterm.languages import by_language, in_
from floorterm.plant import Plant
from floorterm.terminal.app import FloorApp
from floorterm.terminal.views.wall import DIGIT_ROWS, big_digits
from floorterm.terminal.widgets.page import Page
from floorterm.wording import LANGUAGES
from tests.conftest import who
from tests.terminal.shell import COMFORTABLE, SMALL, text_of, until


@pytest.fixture
def started(plant: Plant) -> str:
    """A changeover of line 1."""
    return plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "k").work


def _app(plant: Plant, **more: object) -> FloorApp:
    return FloorApp(lambda: plant, wall=True, scan_gap_s=0.0, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("size", [SMALL, COMFORTABLE])
@pytest.mark.parametrize("language", LANGUAGES)
async def test_each_line_stands_with_its_work_minutes_step_and_locks(
    plant: Plant, clock: SetClock, started: str, size: tuple[int, int], language: str
) -> None:
    app = _app(plant, language=language)
    async with app.run_test(size=size) as pilot:
        names = [line.name for line in plant.library.lines.values()]
        shown = [in_(by_language(name), language) for name in names]
        await until(pilot, lambda: all(one in text_of(app) for one in shown))
        text = text_of(app)
        assert text.index(shown[0]) < text.index(shown[1]), "in the plant's own order"
        assert "…" not in text
        state = plant.state(started)
        step = next(iter(state.worksheet.steps()))
        assert in_(step.text, language).split("{")[0][:20] in text
        clock.advance(timedelta(minutes=5))
        plant.act(started, Pause(reason="meal"), who(plant, "AA"), key="p1")
        await until(
            pilot,
            lambda: {"en": "paused", "es": "pausa", "de": "unterbrochen"}[language] in text_of(app).lower(),
        )


async def test_what_does_not_change_is_not_written_again(plant: Plant, started: str) -> None:
    app = _app(plant)
    async with app.run_test(size=SMALL) as pilot:
        await until(pilot, lambda: "Line 1" in text_of(app))
        page = app.screen.query_one(Page)
        await pilot.pause()
        drawn: list[object] = []
        page.refresh = lambda *region, **_: drawn.append(region) or page  # type: ignore[method-assign,assignment,func-returns-value]
        app.screen.retell()  # type: ignore[attr-defined]
        await pilot.pause()
        assert drawn == []


async def test_no_key_records_anything(plant: Plant, started: str) -> None:
    app = _app(plant)
    async with app.run_test(size=SMALL) as pilot:
        await until(pilot, lambda: "Line 1" in text_of(app))
        head = plant.ledger.head()
        for key in ("enter", "f2", "f3", "f4", "f5", "f6", "f7", "f8", "1", "down"):
            await pilot.press(key)
        assert plant.ledger.head() == head
        assert type(app.screen).__name__ == "WallScreen"


@pytest.mark.parametrize("plain", [False, True])
def test_big_digits_are_five_rows_of_one_width(plain: bool) -> None:
    for text in ("0:00", "12:34", "5:67", "89:59"):
        rows = big_digits(text, plain=plain)
        assert len(rows) == DIGIT_ROWS
        assert len({len(row) for row in rows}) == 1
        assert len(rows[0]) <= 34
        "".join(rows).encode("cp437")
    assert len({big_digits(str(digit), plain=plain) for digit in range(10)}) == 10

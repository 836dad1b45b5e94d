"""Hands and eyes on every screen: targets for fingers in gloves, contrast of what is really drawn, quiet colours.

Contrast after WCAG 2.2 (1.4.3: text at least 4.5 to 1; from memory, to be checked). A target is 20 mm square
(Colle & Hiszem 2004, second hand); the cells that it takes are arithmetic.
"""

import pytest
from rich.color import Color
from textual.geometry import Region

from floorterm.demo import open_still
from floorterm.plant import Plant
from floorterm.terminal import theme
from floorterm.terminal.app import FloorApp
from floorterm.terminal.hands import Panel, PanelError, target_cells
from floorterm.terminal.pictures import SCREENS
from floorterm.terminal.widgets.paint import Painted
from tests.terminal.shell import COMFORTABLE, SMALL, opened, rows, text_of, until, visited
from tests.terminal.test_theme import _VGA, contrast

_TWELVE_INCH = Panel(246, 184)


@pytest.mark.parametrize(
    ("panel", "size", "cells"),
    [
        (_TWELVE_INCH, SMALL, (7, 3)),  # 3.075 x 7.67 mm a cell
        (_TWELVE_INCH, COMFORTABLE, (10, 5)),  # 2.05 x 4.6 mm
        (Panel(217, 136), SMALL, (8, 4)),  # 10.1 inches, 16 to 10: 2.71 x 5.67 mm
        (None, SMALL, (7, 3)),
        (None, (240, 70), (10, 5)),  # so many lines are no 12-inch panel
    ],
)
def test_the_least_target_in_cells(
    panel: Panel | None, size: tuple[int, int], cells: tuple[int, int]
) -> None:
    assert target_cells(panel, *size) == cells


@pytest.mark.parametrize("text", ["", "246", "12 inch", "246x", "-246x184", "246x184x3"])
def test_a_size_that_cannot_be_read_is_told_with_an_example(text: str) -> None:
    with pytest.raises(PanelError, match="246x184"):
        Panel.parse(text)


def test_a_size_is_read_with_either_decimal_sign() -> None:
    assert Panel.parse("245.8 x 184,3") == Panel(245.8, 184.3)
    assert str(Panel(245.8, 184)) == "245.8x184"


@pytest.mark.longest
@pytest.mark.parametrize("size", [SMALL, COMFORTABLE])
async def test_on_a_touch_panel_every_target_is_large_enough_and_every_style_can_be_read(
    size: tuple[int, int],
) -> None:
    """Every screen: keys, zones, pads, rows, the line that turns the page; every text by day and by night."""
    unread: set[tuple[str, ...]] = set()
    targets = 0
    async with opened(open_still(), size, panel=_TWELVE_INCH, demo=True) as (app, pilot):
        for name, keys in SCREENS.items():
            async with visited(pilot, "1", *keys):
                targets += _measured(app, name, target_cells(_TWELVE_INCH, *size))
                if size == SMALL:
                    unread |= {(name, "night", *pair) for pair in faint(app)}
                    app.theme = theme.DAY
                    await pilot.pause()
                    unread |= {(name, "day", *pair) for pair in faint(app)}
                    app.theme = theme.NIGHT
    assert not unread
    assert targets > 100


def _measured(app: FloorApp, name: str, least: tuple[int, int]) -> int:
    """How many targets a screen has; each is as large as the least one, and stands whole in its widget."""
    found = 0
    for widget in app.screen.query(Painted):
        if not (widget.display and widget.region.area):
            continue
        inside = Region(0, 0, widget.size.width, widget.size.height)
        for target in widget.targets():
            found += 1
            assert target.width >= least[0], (name, widget, target)
            assert target.height >= least[1], (name, widget, target)
            assert inside.contains_region(target), (name, widget, target)
    return found


async def test_a_line_on_which_all_is_well_shows_no_colour_of_an_alarm(plant: Plant) -> None:
    """ISA-101 (second hand): what is normal is grey."""
    safety = {theme.VARIABLES[f"{name}-back"] for name in ("danger", "warning", "caution", "notice", "safe")}
    async with opened(plant) as (app, _):
        y, height = rows(app).region.y, rows(app).region.height
        assert not {ground for _, _, ground in _drawn(app, y, y + height)} & {one.lower() for one in safety}


async def test_the_ground_changes_with_one_key_and_nothing_else_does(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        before = text_of(app)
        await pilot.press("f11")
        await until(pilot, lambda: app.theme == theme.DAY)
        assert text_of(app) == before
        assert rows(app).has_focus
        await pilot.press("f11")
        await until(pilot, lambda: app.theme == theme.NIGHT)


_PALETTE = {
    0: "ansi_black", 1: "ansi_red", 2: "ansi_green", 3: "ansi_yellow", 4: "ansi_blue", 5: "ansi_magenta",
    6: "ansi_cyan", 7: "ansi_white", 11: "ansi_bright_yellow", 15: "ansi_bright_white",
}  # fmt: skip


_LINES = set("─│┌┐└┘├┤┬┴┼═║╔╗╚╝━┃")  # what only parts one thing from another: 3 to 1 (WCAG 1.4.11)


def faint(app: FloorApp) -> set[tuple[str, str]]:
    """Colours that cannot be read on the ground that they stand on."""
    return {
        (colour, ground)
        for text, colour, ground in _drawn(app)
        if contrast(colour, ground) < (3.0 if set(text) <= _LINES else 4.5)
    }


def _drawn(app: FloorApp, first: int = 0, last: int | None = None) -> set[tuple[str, str, str]]:
    """(text, colour, ground) of everything on lines of the screen, as it is drawn; nothing that is read is dim."""
    found = set()
    for strip in app.screen._compositor.render_strips()[first:last]:
        for segment in strip:
            if not segment.text.strip() or segment.style is None:
                continue
            assert not segment.style.dim, segment.text
            pair = _hex(segment.style.color), _hex(segment.style.bgcolor)
            found.add((segment.text.strip(), *(pair[::-1] if segment.style.reverse else pair)))
    return found


def _hex(colour: Color | None) -> str:
    assert colour is not None
    if colour.triplet is not None:
        return colour.triplet.hex
    assert colour.number is not None, "the terminal's own colours may be anything"
    return _VGA[_PALETTE[colour.number]]

"""What is written of a change, and that the terminal shows the same as if all of it were written."""

import sys
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pyte
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console
from rich.segment import Segment
from rich.style import Style
from textual._compositor import ChopsUpdate, LayoutUpdate
from textual.geometry import Region
from textual.strip import Strip

from floorterm.plant import Plant
from floorterm.terminal.drawn import Cell, Drawn, cells_of
from tests.terminal.pty_run import PseudoTerminal
from tests.terminal.test_tty import _RUN

WIDE, HIGH = 12, 3
CONSOLE = Console(color_system="truecolor", force_terminal=True, width=WIDE)
STYLES = (Style(color="red"), Style(color="red", bold=True), Style(bgcolor="blue"))

# signs of one cell, of two, and one that joins the one before it
_SIGNS = st.sampled_from(["a", "b", " ", "ñ", "界", "語", "e\u0301"])


@st.composite
def _line(draw: st.DrawFn) -> Strip:
    """One line of the screen: signs in a few styles, filled up to its width."""
    segments, left = [], WIDE
    while left:
        sign = draw(_SIGNS)
        width = 2 if sign in "界語" else 1
        if width > left:
            sign, width = " ", 1
        segments.append(Segment(sign, draw(st.sampled_from(STYLES))))
        left -= width
    return Strip(segments, WIDE)


_SCREEN = st.lists(_line(), min_size=HIGH, max_size=HIGH)
_SPANS = st.lists(
    st.tuples(st.integers(0, HIGH - 1), st.integers(0, WIDE - 1), st.integers(1, WIDE)).filter(
        lambda span: span[1] < span[2]
    ),
    min_size=1,
    max_size=4,
)


def _whole(lines: list[Strip]) -> LayoutUpdate:
    return LayoutUpdate([[line] for line in lines], Region(0, 0, WIDE, HIGH))


def _changed(lines: list[Strip], spans: list[tuple[int, int, int]], cut: int) -> ChopsUpdate:
    """As Textual's compositor gives it: each line in pieces at a cut, and the spans that are to be drawn anew."""
    chops = [{0: line.crop(0, cut), cut: line.crop(cut, WIDE)} for line in lines]
    return ChopsUpdate(chops, spans, [[cut, WIDE]] * HIGH)


def _shown(screen: pyte.Screen) -> list[list[object]]:
    return [[screen.buffer[y][x] for x in range(WIDE)] for y in range(HIGH)]


def _written(*texts: str) -> list[list[object]]:
    screen = pyte.Screen(WIDE + 2, HIGH + 1)  # away from its edges, where pyte wraps lines too early
    stream = pyte.Stream(screen)
    for text in texts:
        stream.feed(text)
    return _shown(screen)


@given(_SCREEN, _SCREEN, st.sampled_from([3, 6, 9]))
def test_a_change_shows_what_writing_everything_shows(
    before: list[Strip], after: list[Strip], cut: int
) -> None:
    """Whatever stood there, and where lines are drawn whole: the same cells, in no more bytes."""
    if any(not cells_of((line,))[cut].text for line in (*before, *after)):
        return  # a wide sign across the edge of two widgets is none that a screen of ours could have
    drawn, spans = Drawn(), [(y, 0, WIDE) for y in range(HIGH)]
    first = drawn.whole(_whole(before), CONSOLE)
    update = _changed(after, spans, cut)
    lean, full = drawn.changes(update, CONSOLE), update.render_segments(CONSOLE)
    assert _written(first, lean) == _written(first, full)
    assert len(lean) <= len(full) + 40
    assert drawn.changes(update, CONSOLE) == "", "what stands there is not written again"


@given(_SCREEN, _SCREEN, _SPANS)
def test_what_is_known_of_the_terminal_is_what_it_shows(
    before: list[Strip], after: list[Strip], spans: list[tuple[int, int, int]]
) -> None:
    """After a change of parts, a change of everything still ends in the screen that is meant."""
    halves = [cells_of((line,)) for line in (*before, *after)]
    if any(not cells[x].text for cells in halves for _, *edges in spans for x in edges if x < WIDE):
        return
    drawn = Drawn()
    texts = [drawn.whole(_whole(before), CONSOLE), drawn.changes(_changed(after, spans, 6), CONSOLE)]
    if any(not cells[6].text for cells in halves):
        return
    texts.append(drawn.changes(_changed(after, [(y, 0, WIDE) for y in range(HIGH)], 6), CONSOLE))
    assert _written(*texts) == _written(Drawn().whole(_whole(after), CONSOLE))


def test_one_changed_sign_is_a_few_bytes() -> None:
    drawn = Drawn()
    lines = [Strip([Segment("06:41", STYLES[0]), Segment(" " * 7, STYLES[1])], WIDE)] * HIGH
    drawn.whole(_whole(lines), CONSOLE)
    fresh = [Strip([Segment("06:42", STYLES[0]), Segment(" " * 7, STYLES[1])], WIDE), *lines[1:]]
    text = drawn.changes(_changed(fresh, [(y, 0, WIDE) for y in range(HIGH)], 6), CONSOLE)
    assert text == "\x1b[1;5H" + STYLES[0].render("2")


def test_a_sign_without_width_stands_with_the_one_before_it() -> None:
    assert cells_of((Strip([Segment("e\u0301界", None)]),)) == [
        Cell("e\u0301", None),
        Cell("界", None),
        Cell("", None),
    ]


def test_other_things_that_are_shown_are_left_alone() -> None:
    other = SimpleNamespace()
    assert Drawn().lean(other) is other  # type: ignore[arg-type,comparison-overlap]
    assert Drawn().lean(None) is None


@pytest.fixture
def terminal(plant: Plant) -> Iterator[PseudoTerminal]:
    """The program in a real pseudo-terminal."""
    started = PseudoTerminal((sys.executable, "-c", _RUN, str(Path(plant.ledger.path))))
    started.wait_for(lambda text: "> 1 Line 1" in text)
    yield started
    started.kill()


def test_after_every_key_the_terminal_shows_what_drawing_everything_anew_shows(
    terminal: PseudoTerminal,
) -> None:
    """Ctrl+L writes all of the screen: it changes nothing, and takes away what a stranger wrote."""

    def settle() -> list[list[object]]:
        seen = -1
        while seen != terminal.received:
            seen = terminal.received
            terminal.pump(0.4)
        screen = terminal.screen
        return [[screen.buffer[y][x] for x in range(screen.columns)] for y in range(screen.lines)]

    down, f1, f9, page = b"\x1b[B", b"\x1bOP", b"\x1b[20~", b"\x1b[6~"
    keys = (down, f9, f9, b"?", down, down, page, b"\x1b", f1, down, b"\x1b")
    for key in keys:
        terminal.send(key)
        lean = settle()
        terminal.send(b"\x0c")
        assert settle() == lean, key
    terminal.screen.cursor_position(5, 1)
    terminal.stream.feed(b"kernel: message of a stranger")
    assert "stranger" in terminal.text()
    terminal.send(b"\x0c")
    assert settle() == lean

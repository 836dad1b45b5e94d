"""What a terminal can show: from its environment, and on every screen of the demo plant."""

import pytest
from rich.segment import Segment
from rich.style import Style
from textual._xterm_parser import XTermParser
from textual.color import Color
from textual.events import Key

from floorterm.demo import open_still
from floorterm.plant import Plant
from floorterm.terminal.app import FloorApp
from floorterm.terminal.base import FloorScreen
from floorterm.terminal.filters import Colourless
from floorterm.terminal.pictures import SCREENS
from floorterm.terminal.repertoire import UNKNOWN, Characters, characters_of, cut, folded, has_colours
from floorterm.terminal.widgets.rows import Rows
from tests.terminal.shell import SMALL, opened, text_of, until_top, visited
from tests.terminal.test_hands import faint

_UTF8 = "UTF-8"


@pytest.mark.parametrize(
    ("env", "encoding", "coerced", "characters"),
    [
        ({"TERM": "linux", "LANG": "C.UTF-8"}, _UTF8, False, "console"),
        ({"TERM": "vt220", "LANG": "en_GB.UTF-8"}, _UTF8, False, "ascii"),
        ({"TERM": "vt100"}, _UTF8, False, "ascii"),
        ({"TERM": "xterm-256color", "LANG": "es_MX.UTF-8"}, _UTF8, False, "all"),
        ({"TERM": "xterm-256color"}, "ANSI_X3.4-1968", False, "ascii"),
        ({"TERM": "xterm", "LANG": "en_US.ISO-8859-1"}, "ISO-8859-1", False, "ascii"),
        # what Python 3.11 makes of these: it takes UTF-8 itself, and sets LC_CTYPE where LC_ALL does not hold
        ({"TERM": "xterm", "LANG": "C", "LC_CTYPE": "C.UTF-8"}, "utf-8", True, "ascii"),
        ({"TERM": "xterm", "LC_ALL": "POSIX"}, "utf-8", True, "ascii"),
        ({"TERM": "xterm", "LC_ALL": "de_DE.ISO-8859-15@euro"}, "utf-8", True, "ascii"),
        ({"TERM": "linux", "LANG": "C", "LC_CTYPE": "C.UTF-8"}, "utf-8", True, "ascii"),
        # somebody chose it, or nobody said anything
        ({"TERM": "xterm", "LANG": "C", "LC_CTYPE": "C.UTF-8"}, _UTF8, False, "all"),
        ({"TERM": "xterm", "LC_CTYPE": "C.UTF-8"}, "utf-8", True, "all"),
    ],
)
def test_what_a_terminal_can_show_follows_from_its_name_and_locale(
    env: dict[str, str], encoding: str, coerced: bool, characters: Characters
) -> None:
    assert characters_of(env, encoding, coerced=coerced) == characters


@pytest.mark.parametrize(
    ("text", "columns", "kept"),
    [("línea", 9, "línea"), ("línea", 3, "lín"), ("石鹸石鹸", 5, "石鹸"), ("石鹸", 4, "石鹸"), ("石", 1, "")],
)
def test_a_text_is_cut_by_cells(text: str, columns: int, kept: str) -> None:
    assert cut(text, columns) == kept


@pytest.mark.parametrize(
    ("env", "colours"),
    [({"TERM": "xterm"}, True), ({"TERM": "linux"}, True), ({"TERM": "vt100"}, False)]
    + [({"TERM": "xterm", "NO_COLOR": value}, False) for value in ("1", "")],
)
def test_no_colour_is_sent_where_there_is_none_or_none_is_wanted(env: dict[str, str], colours: bool) -> None:
    assert has_colours(env) == colours


@pytest.mark.parametrize(
    ("text", "console", "ascii_"),
    [
        ("10 kg", "10 kg", "10 kg"),
        ("ÁÍÓÚ áéíóúñ ¿Qué?", "AIOU áéíóúñ ¿Qué?", "AIOU aeioun  Que?"),
        ("80 °C", "80 °C", "80  C"),
        ("┌─┐ █▄", "┌─┐ █▄", "+-+ #_"),
        ("“lot” – then open t…", '"lot" - then open...', '"lot" - then open...'),
        ("7…", "7.", "7."),
        ("Gruß, Łódź", "Gruß, Lódz", "Grus, Lodz"),
        ("≥ 5 ± 1", "≥ 5 ± 1", "? 5 ? 1"),  # another sign would say something else
        ("石鹸", "????", "????"),
    ],
)
def test_a_stand_in_takes_the_cells_of_what_it_stands_for(text: str, console: str, ascii_: str) -> None:
    assert folded(text, "all") == text
    assert folded(text, "console") == console
    assert folded(text, "ascii") == ascii_


def test_without_colours_what_stood_on_another_ground_is_reversed_and_bold_stays() -> None:
    ground = Color.parse("#101010").rich_color
    styles = ("white on #101010", "bold red on #101010", "white on red", "white on #101010 reverse", "red")
    seen = Colourless(lambda: ground).apply(
        [Segment("x", Style.parse(style)) for style in styles], Color.parse("#101010")
    )
    assert all(one.style is not None and one.style.color is one.style.bgcolor is None for one in seen)
    assert [bool(one.style and one.style.reverse) for one in seen] == [False, False, True, True, False]
    assert [bool(one.style and one.style.bold) for one in seen] == [False, True, False, False, False]


@pytest.mark.parametrize(
    ("sent", "key"),
    [
        ("\x1b[[A", "f1"), ("\x1b[[E", "f5"), ("\x1b[17~", "f6"), ("\x1b[21~", "f10"), ("\x1b[23~", "f11"),
        ("\x1b[24~", "f12"), ("\x1bOP", "f1"), ("\x1b[B", "down"), ("\x1bOB", "down"), ("\x7f", "backspace"),
        ("\x1bOM", "enter"), ("\r", "enter"), ("\n", "ctrl+j"), ("\x1b[57414u", "enter"), ("\x1b[57410u", "divide"),
    ],
)  # fmt: skip
def test_keys_as_consoles_old_terminals_and_keypads_send_them(sent: str, key: str) -> None:
    """The Linux console's own F1 to F5, a VT100's PF1 and keypad Enter, and keypads that report by number."""
    assert [one.key for one in XTermParser().feed(sent) if isinstance(one, Key)] == [key]


@pytest.mark.longest
async def test_every_screen_keeps_to_a_console_is_worked_without_function_keys_and_takes_any_size() -> None:
    """One walk over the screens at the plain look, for what holds on each of them.

    Code page 437, with a form in ASCII for each character; contrast in sixteen colours; whatever a function key, Esc or
    a page key does has words and so stands in the list of keys; at a size that no screen fits nothing ends, and the
    focus stays where it was.
    """
    unread: set[tuple[str, ...]] = set()
    async with opened(open_still(), plain=True, demo=True) as (app, pilot):
        for name, keys in SCREENS.items():
            async with visited(pilot, "1", *keys):
                text, focused = text_of(app), app.focused
                assert text.encode("cp437").decode("cp437") == text, name
                assert folded(text, "ascii").count(UNKNOWN) == text.count(UNKNOWN), name
                unread |= {(name, *pair) for pair in faint(app)}
                _is_worked_without_function_keys(app, name)
                assert focused is not None or not app.screen.focus_chain, name
                for size in ((31, 7), (2, 2), SMALL):
                    await pilot.resize_terminal(*size)
                    await pilot.pause()
                    assert app.focused is focused, (name, size)
    assert not unread


def _is_worked_without_function_keys(app: FloorApp, name: str) -> None:
    screen = app.screen
    assert isinstance(screen, FloorScreen)
    listed = {key for key, _, _ in screen.offered()}
    for key, active in screen.active_bindings.items():
        if key in ("escape", "pageup", "pagedown") and isinstance(active.node, Rows):
            continue  # the arrows go as far
        if key.startswith(("f", "ctrl+f")) or key in ("escape", "pageup", "pagedown"):
            assert key in listed or not screen.LEAVES, (name, key)
    assert {screen.active_bindings[key].binding.action for key in ("question_mark", "slash")} == {"help"}, (
        name
    )


async def test_the_list_of_keys_opens_at_the_sign_in_too(plant: Plant) -> None:
    """Whatever else is typed there is a name or a PIN."""
    async with opened(plant) as (app, pilot):
        await pilot.press("f10")
        await until_top(pilot, "SignInScreen")
        before = text_of(app)
        for key in ("question_mark", "slash"):
            await pilot.press(key)
            await until_top(pilot, "KeysScreen")
            await pilot.press("escape")
            await until_top(pilot, "SignInScreen")
        assert text_of(app) == before

"""The list of every screen: arrows, digits, taps, pages, and what it repaints."""

from textual import events
from textual.app import App, ComposeResult
from textual.geometry import Region

from floorterm.terminal import theme
from floorterm.terminal.views.text import Span
from floorterm.terminal.widgets.rows import Row, Rows
from tests.terminal.shell import text_of


def _row(key: str, text: str = "", *, heading: bool = False) -> Row:
    return Row(key, ((Span(text or key),),), heading=heading)


class _Host(App[int]):
    def __init__(self, rows: list[Row], **options: object) -> None:
        super().__init__()
        self._rows, self._options = rows, options
        self.opened: list[str] = []
        self.language = "en"

    def get_theme_variable_defaults(self) -> dict[str, str]:
        return dict(theme.VARIABLES)

    def compose(self) -> ComposeResult:
        yield Rows(id="rows", **self._options)  # type: ignore[arg-type]

    def on_mount(self) -> None:
        self.list.show(self._rows)
        self.list.focus()

    @property
    def list(self) -> Rows:
        return self.query_one(Rows)

    @property
    def key(self) -> str:
        return self.list.chosen.key if self.list.chosen else ""

    def on_rows_opened(self, message: Rows.Opened) -> None:
        self.opened.append(message.row.key)


def _text(app: _Host) -> list[str]:
    width, height = app.list.size
    return [app.list.render_line(y).text for y in range(height) if width]


async def test_arrows_pass_over_headings_and_stop_at_the_ends() -> None:
    app = _Host([_row("h", heading=True), _row("a"), _row("h2", heading=True), _row("b")])
    async with app.run_test(size=(40, 10)) as pilot:
        assert app.key == "a"
        await pilot.press("down")
        assert app.key == "b"
        await pilot.press("down")
        assert app.key == "b"
        await pilot.press("up", "up")
        assert app.key == "a"


async def test_digits_choose_and_enter_opens() -> None:
    app = _Host([_row(str(n)) for n in range(1, 15)])
    async with app.run_test(size=(40, 20)) as pilot:
        await pilot.press("3")
        assert (app.key, app.opened) == ("3", [])
        await pilot.press("up", "1", "2")
        assert app.key == "12"
        await pilot.press("enter")
        await pilot.pause()
        assert app.opened == ["12"]


async def test_a_tap_chooses_and_a_second_one_opens() -> None:
    app = _Host([_row("a"), _row("b")], row_height=3)
    async with app.run_test(size=(40, 10)) as pilot:
        await pilot.click(Rows, offset=(5, 4))
        await pilot.pause()
        assert (app.key, app.opened) == ("b", [])
        await pilot.click(Rows, offset=(5, 5))
        await pilot.pause()
        assert app.opened == ["b"]


async def test_the_chosen_row_is_marked_by_a_sign_not_by_colour_alone() -> None:
    app = _Host([_row("a"), _row("b")])
    async with app.run_test(size=(40, 10)) as pilot:
        await pilot.press("down")
        assert [line.startswith(">") for line in _text(app)[:2]] == [False, True]


async def test_long_lists_say_what_is_seen_and_turn_by_key_and_by_tap() -> None:
    app = _Host([_row(str(n)) for n in range(1, 41)])
    async with app.run_test(size=(60, 11)) as pilot:
        assert "1-10 of 40" in _text(app)[-1]
        await pilot.press("pagedown")
        assert int(app.key) == 10
        await pilot.press("end")
        assert "31-40 of 40" in _text(app)[-1]
        await pilot.click(Rows, offset=(2, 10))
        await pilot.pause()
        assert int(app.key) == 31


async def test_an_empty_list_lets_every_move_pass() -> None:
    app = _Host([])
    async with app.run_test(size=(40, 10)) as pilot:
        await pilot.press("up", "down", "pageup", "pagedown", "home", "end", "enter", "1")
        await pilot._post_mouse_events([events.MouseScrollUp], Rows, offset=(2, 2))
        await pilot.pause()
        assert app.is_running
        assert app._exception is None
        assert (app.key, app.opened) == ("", [])


async def test_the_chosen_row_stays_chosen_by_its_key_when_rows_move() -> None:
    app = _Host([_row("a"), _row("b")])
    async with app.run_test(size=(40, 10)) as pilot:
        await pilot.press("down")
        app.list.show([_row("new"), _row("a"), _row("b")])
        assert app.key == "b"
        app.list.show([_row("new")])
        assert app.key == "new"
        app.list.show([])
        assert app.list.chosen is None


async def test_a_row_chosen_from_elsewhere_stands_in_the_middle_and_the_end_of_the_list_at_the_foot() -> None:
    app = _Host([_row(str(n)) for n in range(1, 41)])
    async with app.run_test(size=(40, 11)):
        for key, first in (("20", "16"), ("21", "16"), ("40", "31"), ("3", "1")):
            assert app.list.choose(key)
            assert _text(app)[0].split()[-1] == first
            assert any(line.startswith(">") and line.split()[-1] == key for line in _text(app))


async def test_a_move_repaints_two_rows_and_equal_rows_nothing() -> None:
    app = _Host([_row(str(n)) for n in range(1, 9)])
    async with app.run_test(size=(40, 20)) as pilot:
        asked: list[tuple[Region, ...]] = []
        refresh = app.list.refresh

        def noted(*regions: Region, **options: bool) -> Rows:
            asked.append(regions)
            return refresh(*regions, **options)

        app.list.refresh = noted  # type: ignore[method-assign,assignment]
        app.list.show([_row(str(n)) for n in range(1, 9)])
        assert asked == []
        await pilot.press("down")
        assert asked == [(Region(0, 0, 40, 1),), (Region(0, 1, 40, 1),)]
        asked.clear()
        app.list.show([_row(str(n), "other" if n == 5 else "") for n in range(1, 9)])
        assert asked == [(Region(0, 4, 40, 1),)]


async def test_the_line_that_turns_a_list_is_drawn_anew_in_another_language() -> None:
    app = _Host([_row(str(n)) for n in range(1, 41)])
    async with app.run_test(size=(60, 11)) as pilot:
        assert "tap here" in text_of(app)
        app.language = "es"
        app.list.show([_row(str(n), f"fila {n}") for n in range(1, 41)])
        await pilot.pause()
        assert "1-10 de 40" in text_of(app)


async def test_text_from_people_is_shown_as_it_is_written() -> None:
    app = _Host([_row("a", "[bold]x[/] \\[red]")])
    async with app.run_test(size=(40, 4)):
        assert "[bold]x[/] \\[red]" in _text(app)[0]

"""The frame of every screen: opening, keys, languages, sizes, first aid, leaving."""

import json
import subprocess
import sys
import threading
from importlib.resources import files
from pathlib import Path

import pytest
from textual.widgets import Static

from floorterm.demo import shipped
from floorterm.languages import DRAFT, by_language
from floorterm.ledger import LedgerMissingError
from floorterm.library import LibraryError, load
from floorterm.plant import Plant
from floorterm.terminal.app import FloorApp
from floorterm.terminal.early import why_not
from floorterm.terminal.first_sight import first_sight
from floorterm.terminal.launching import launch
from floorterm.terminal.messages import Scanned
from floorterm.terminal.views.text import tell
from floorterm.terminal.widgets.heading import Heading
from floorterm.terminal.widgets.keys import KeyBar, in_two
from floorterm.wording import LANGUAGES, words
from tests.terminal.shell import (
    COMFORTABLE,
    SMALL,
    at_once,
    opened,
    rows,
    tap_key,
    text_of,
    until,
    until_top,
    visited,
)

_FIRST_FRAME = """
import asyncio, sys, threading
from floorterm.demo import shipped
from floorterm.terminal.first_sight import first_sight
from floorterm.terminal.app import FloorApp
gate = threading.Event()
app = FloorApp(lambda: gate.wait(20), sight=first_sight(shipped(), "en"))
async def main():
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        text = "".join(s.text for strip in app.screen._compositor.render_strips() for s in strip)
        assert "Lines" in text and "Opening the record" in text and "steps to go" in text, text
        print(",".join(m for m in ("sqlmodel", "sqlalchemy", "pydantic", "yaml", "click", "numpy") if m in sys.modules))
        import os; sys.stdout.flush(); os._exit(0)
asyncio.run(main())
"""


def test_the_first_frame_waits_for_no_database_and_no_checklists() -> None:
    run = subprocess.run(
        [sys.executable, "-c", _FIRST_FRAME], capture_output=True, text=True, timeout=60, check=True
    )
    assert run.stdout.strip() == ""


async def test_keys_before_the_record_is_open_are_answered_and_first_aid_works() -> None:
    gate = threading.Event()

    def opener() -> Plant:
        gate.wait(10)
        raise LedgerMissingError(path="/nowhere/ledger.db")

    app = FloorApp(opener, scan_gap_s=0.0, patience=at_once())
    async with app.run_test(size=SMALL) as pilot:
        await pilot.pause()
        assert "Opening the record" in text_of(app)
        assert not app.desk.start_changeover("L1", "plain")
        await until(pilot, lambda: "The record is being opened." in text_of(app))
        await pilot.press("f10")
        assert type(app.screen).__name__ == "LinesScreen"
        await pilot.press("f1")
        await until_top(pilot, "FirstAidScreen")
        text = " ".join(text_of(app).split())
        assert "CALL YOUR SITE'S EMERGENCY NUMBER" in text
        assert "LLAME AL NÚMERO DE EMERGENCIA" in text
        await pilot.press("escape")
        gate.set()
        await until_top(pilot, "TroubleScreen")
        assert "/nowhere/ledger.db" in text_of(app)


async def test_faults_of_the_checklists_are_all_told_and_it_is_tried_again(
    plant: Plant, tmp_path: Path
) -> None:
    (tmp_path / "plant.yaml").write_text("format: 1\nnam: x\n", encoding="utf-8")
    tries: list[int] = []

    def opener() -> Plant:
        tries.append(1)
        if len(tries) == 1:
            load(tmp_path)
        return plant

    with pytest.raises(LibraryError) as caught:
        load(tmp_path)
    app = FloorApp(opener, scan_gap_s=0.0, patience=at_once())
    async with app.run_test(size=COMFORTABLE) as pilot:
        await until_top(pilot, "TroubleScreen")
        listed = " ".join("".join(span.text for span in row.lines[0]) for row in rows(app).rows)
        for fault in caught.value.faults:
            assert " ".join(str(fault).split())[:40] in " ".join(listed.split())
        await pilot.press("f5")
        await until_top(pilot, "LinesScreen")
        await until(pilot, lambda: "Line 1" in text_of(app))
        assert len(tries) == 2


async def test_what_was_seen_first_is_gone_once_the_record_cannot_be_opened() -> None:
    """Locks that were on some time ago must not look like locks of now while somebody tries again."""
    gate = threading.Event()
    tries: list[int] = []

    def opener() -> Plant:
        tries.append(1)
        if len(tries) > 1:
            gate.wait(20)
        raise LedgerMissingError(path="/nowhere/ledger.db")

    sight = first_sight(shipped(), "en")
    assert sight is not None
    app = FloorApp(opener, scan_gap_s=0.0, patience=at_once(), sight=sight)
    async with app.run_test(size=SMALL) as pilot:
        await until_top(pilot, "TroubleScreen")
        assert sight.time not in text_of(app)
        await pilot.press("f5")
        await until(pilot, lambda: len(tries) == 2)
        await until_top(pilot, "LinesScreen")
        assert "Opening the record" in text_of(app)
        assert not rows(app).rows
        await pilot.press("up")
        assert app._exception is None
        gate.set()
        await until_top(pilot, "TroubleScreen")


async def test_what_was_typed_before_the_record_could_not_be_opened_is_said_to_be_dropped() -> None:
    gate = threading.Event()

    def opener() -> Plant:
        gate.wait(20)
        raise LedgerMissingError(path="/nowhere/ledger.db")

    app = FloorApp(opener, scan_gap_s=0.0)
    async with app.run_test(size=SMALL) as pilot:
        await pilot.press("f6", "enter")
        await until(pilot, lambda: "2 kept in order" in text_of(app))
        gate.set()
        await until_top(pilot, "TroubleScreen")
        await until(pilot, lambda: "since the start (2) was not carried out" in text_of(app))
        assert "kept in order" not in text_of(app)
        first = app.screen
        await pilot.press("f5")
        await until(pilot, lambda: app.screen is not first)
        await until_top(pilot, "TroubleScreen")
        assert "not carried out" not in text_of(app), "nothing was typed since"


async def test_trouble_is_left_with_its_own_exit_status() -> None:
    def opener() -> Plant:
        raise LedgerMissingError(path="/nowhere/ledger.db")

    app = FloorApp(opener, scan_gap_s=0.0, patience=at_once())
    async with app.run_test(size=SMALL) as pilot:
        await until_top(pilot, "TroubleScreen")
        await pilot.press("f12")
    assert app.return_code == 2


# --- languages --------------------------------------------------------------------------------------


@pytest.mark.parametrize("sizes", [((120, 40), (90, 40)), ((90, 30), (120, 30))])
async def test_a_refusal_keeps_all_its_words_at_another_width(
    plant: Plant, sizes: tuple[tuple[int, int], tuple[int, int]]
) -> None:
    said = " ".join(f"word{n}" for n in range(20))
    async with opened(plant, sizes[0]) as (app, pilot):
        app.screen.refuse((said,), "caution")  # type: ignore[attr-defined]
        await until(pilot, lambda: "word19" in text_of(app))
        await pilot.resize_terminal(*sizes[1])
        await pilot.pause()
        await until(pilot, lambda: said in " ".join(text_of(app).replace("!", " ").split()))


async def test_the_language_changes_at_any_time_on_every_screen_in_the_stack(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        await pilot.press("f8")
        await until_top(pilot, "ShiftScreen")
        await pilot.press("f9")
        await until(pilot, lambda: "Turno" in text_of(app))
        await pilot.press("escape")
        await until(pilot, lambda: "¿Qué línea necesita a alguien primero?" in text_of(app))
        await pilot.press("f9")
        await until(pilot, lambda: "Welche Linie braucht zuerst jemanden?" in text_of(app))
        heading = app.screen.query_one(Heading)
        person = len(heading.view.nobody) + 2
        await pilot.click(Heading, offset=(80 - person - 2, 0))
        await until(pilot, lambda: "Which line needs somebody first?" in text_of(app))


def _catalogue(language: str) -> dict[str, str]:
    text = (files("floorterm") / "wordings" / language / "terminal.json").read_text(encoding="utf-8")
    return dict(json.loads(text))


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_label_of_a_key_fits_its_zone_at_80_columns(language: str) -> None:
    """Ten keys at the foot of Lines leave 7 cells each; a label has two lines there."""
    for key, label in _catalogue(language).items():
        if not key.startswith("terminal.key_"):
            continue
        width = 9 if key == "terminal.key_first_aid" else 13
        first, second = in_two(label, width)
        assert "…" not in first + second, (key, label)


# --- sizes ------------------------------------------------------------------------------------------


async def test_below_the_least_size_one_line_says_so_and_keys_still_work(plant: Plant) -> None:
    async with opened(plant, (79, 23)) as (app, pilot):
        assert "79 x 23 is small" in text_of(app)
        await pilot.press("f8")
        await until_top(pilot, "ShiftScreen")
        await pilot.resize_terminal(80, 24)
        await until(pilot, lambda: "is small" not in text_of(app))


async def test_resizing_there_and_back_shows_the_same(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        before = text_of(app)
        await pilot.resize_terminal(120, 40)
        await pilot.pause()
        assert text_of(app) != before
        await pilot.resize_terminal(80, 24)
        await until(pilot, lambda: text_of(app) == before)


# --- first aid, help --------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [SMALL, COMFORTABLE])
async def test_first_aid_has_the_same_place_on_every_screen(plant: Plant, size: tuple[int, int]) -> None:
    async with opened(plant, size) as (app, pilot):
        for key in ("", "f2", "f4", "f6", "f7", "f8", "f10"):
            async with visited(pilot, key):
                bar = app.screen.query_one(KeyBar)
                assert bar.caps[-1].key == "f1"
                assert bar.region.bottom == size[1]
                assert sum(bar.zones()[-1][1:]) == size[0]
        await pilot.click(offset=(size[0] - 3, size[1] - 2))
        await until_top(pilot, "FirstAidScreen")


@pytest.mark.parametrize("size", [SMALL, COMFORTABLE])
@pytest.mark.parametrize("language", LANGUAGES)
async def test_every_topic_is_read_whole_in_each_language_and_in_the_spoken_one_at_once(
    plant: Plant, size: tuple[int, int], language: str
) -> None:
    """Whole on the first screen in the language spoken, under a mark where nobody has reviewed it."""
    async with opened(plant, size, language=language) as (app, pilot):
        await pilot.press("f1")
        await until_top(pilot, "FirstAidScreen")
        for number, topic in enumerate(plant.library.plant.first_aid, 1):
            if not rows(app).size.width:
                await pilot.press("escape")
            await pilot.press(str(number))
            await pilot.pause()
            text = " ".join(text_of(app).split())
            assert plant.library.plant.emergency_number in text or size == COMFORTABLE
            shown = " ".join(app.screen.query_one("#what-to-do").text.split())  # type: ignore[attr-defined]
            for line in topic.lines:
                for key, one in by_language(line).items():
                    own_or_reviewed = key in LANGUAGES or key == language + DRAFT
                    assert (" ".join(one.split()) in shown) == own_or_reviewed, key
                assert size == COMFORTABLE or " ".join(tell(line, language).split()) in text
            assert (words("work.draft", language).strip() in text) == (language == "de")


async def test_the_list_of_keys_presses_the_chosen_one(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        await tap_key(pilot, "question_mark")
        await until_top(pilot, "KeysScreen")
        keys = [row.key for row in rows(app).rows]
        assert keys == ["f2", "f3", "f4", "f5", "f6", "f7", "f8", "f9", "f10", "f11", "f1"]
        assert "|" not in text_of(app)
        rows(app).choose("f8")
        await pilot.press("enter")
        await until_top(pilot, "ShiftScreen")


async def test_no_command_of_a_screen_is_a_letter_and_none_needs_ctrl_or_alt(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        for key in ("", "f2", "f4", "f6", "f7", "f8"):
            if key:
                await pilot.press(key)
                await until(pilot, lambda: len(app.screen_stack) > 1)
            for name, active in app.screen.active_bindings.items():
                if "." not in active.binding.description:
                    continue
                assert not (len(name) == 1 and name.isalpha()), name
                assert not name.startswith(("ctrl+", "alt+")), name
            if key:
                await pilot.press("escape")
                await until_top(pilot, "LinesScreen")


# --- ruggedness -------------------------------------------------------------------------------------


async def test_a_tap_on_a_widget_that_has_just_gone_does_not_end_the_program(plant: Plant) -> None:
    """Textual 8.2.8 raises AttributeError there when text can be selected (its issue 6643, second hand)."""
    async with opened(plant) as (app, pilot):
        gone = Static("x" * 20)
        await app.screen.mount(gone)
        await pilot.pause()
        await pilot.mouse_down(offset=(3, 3))
        await gone.remove()
        await pilot.mouse_up(offset=(3, 3))
        await pilot.click(offset=(3, 3))
        await pilot.pause()
        assert app.is_running
    assert not FloorApp.ALLOW_SELECT
    assert not FloorApp.ENABLE_COMMAND_PALETTE


@pytest.mark.parametrize(
    ("env", "stdin", "stdout", "part"),
    [
        ({"TERM": "dumb"}, True, True, "TERM is dumb"),
        ({}, True, True, "TERM is not set"),
        ({"TERM": "xterm"}, False, True, "needs a terminal"),
        ({"TERM": "xterm"}, True, False, "needs a terminal"),
        ({"TERM": "xterm"}, True, True, ""),
    ],
)
def test_where_no_screen_can_be_drawn_it_says_what_prints_the_same(
    env: dict[str, str], stdin: bool, stdout: bool, part: str
) -> None:
    said = why_not(env, stdin_tty=stdin, stdout_tty=stdout)
    assert part in said
    assert ("worksheet" in said) == bool(part)


def test_without_a_terminal_launching_is_refused_with_status_2(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def opener() -> Plant:
        raise AssertionError("nothing is opened")

    for stdin in (sys.stdin, None):  # None is what Python makes of one that was closed before the start
        monkeypatch.setattr(sys, "stdin", stdin)
        assert launch(opener) == 2
        assert "needs a terminal" in capsys.readouterr().err


async def test_an_unexpected_fault_leaves_one_calm_sentence_and_no_pin(
    plant: Plant, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from floorterm.terminal import crash

    monkeypatch.setattr(crash, "_log_folder", lambda: tmp_path)

    class UnforeseenError(Exception):
        pass

    app = FloorApp(lambda: plant, scan_gap_s=0.0, patience=at_once())

    def broken() -> None:
        pin = "246" + "810"
        raise UnforeseenError(f"a fault, {len(pin)} digits")

    async def run() -> None:
        async with app.run_test(size=SMALL) as pilot:
            app.call_later(broken)
            await pilot.pause()

    with pytest.raises(UnforeseenError):
        await run()
    said = " ".join(capsys.readouterr().err.split())
    assert "What was recorded stays recorded" in said
    assert "Traceback" not in said
    (file,) = tmp_path.glob("floorterm-fault-*.txt")
    kept = file.read_text(encoding="utf-8")
    assert "UnforeseenError" in kept
    assert "246810" not in kept
    assert app.return_code == 1


def test_a_fault_is_kept_among_temporary_files_where_the_home_cannot_be_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from floorterm.terminal import crash

    monkeypatch.setattr(crash.tempfile, "gettempdir", lambda: str(tmp_path))
    kept = crash.keep(ValueError("a fault"), Path("/dev/null/home"))
    assert kept is not None
    assert kept.parent == tmp_path
    assert "a fault" in kept.read_text(encoding="utf-8")


async def test_a_bouncing_key_opens_and_leaves_once(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        depth = len(app.screen_stack)
        found = rows(app)
        for _ in range(3):
            found.action_open()
        await until_top(pilot, "StartChangeoverScreen")
        assert len(app.screen_stack) == depth + 1
        screen = app.screen
        for _ in range(3):
            screen.action_back()  # type: ignore[attr-defined]
        await until_top(pilot, "LinesScreen")
        assert len(app.screen_stack) == depth


async def test_first_aid_stays_on_top_of_a_dialogue_that_ends_under_it(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        await pilot.press("f10")
        await until_top(pilot, "SignInScreen")
        dialogue = app.screen
        await pilot.press("a", "a", "enter", *"24681")
        await pilot.press("f1")
        await until_top(pilot, "FirstAidScreen")
        dialogue._type_digit("0")  # type: ignore[attr-defined]
        dialogue.action_confirm()  # type: ignore[attr-defined]
        await until(pilot, lambda: dialogue._leaving is not None)  # type: ignore[attr-defined]
        assert type(app.screen).__name__ == "FirstAidScreen"
        await pilot.press("escape")
        await until_top(pilot, "LinesScreen")
        assert app.session.person == plant.ledger.person("AA")


async def test_a_badge_is_heard_on_every_screen_and_an_unknown_code_is_told(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        await pilot.press("f8")
        await until_top(pilot, "ShiftScreen")
        app.screen.post_message(Scanned("NO-SUCH"))
        await until(pilot, lambda: "nothing here takes this code" in text_of(app))
        app.screen.post_message(Scanned("BADGE-AA"))
        await until_top(pilot, "SignInScreen")


@pytest.mark.parametrize("width", [60, 74, 79, 80, 81, 92, 100, 120])
async def test_the_heading_never_cuts_who_is_signed_in(width: int) -> None:
    """A title that is too long gives way, and the plant before it."""
    from textual.app import App, ComposeResult

    from floorterm.terminal import theme

    class Host(App[int]):
        def get_theme_variable_defaults(self) -> dict[str, str]:
            return dict(theme.VARIABLES)

        def compose(self) -> ComposeResult:
            yield Heading()

    app = Host()
    async with app.run_test(size=(width, 4)):
        heading = app.query_one(Heading)
        facts = {"plant": "Northmere soap works", "mark": "DEMO", "time": "Tue 14:22", "language": "EN"}
        heading.show(
            title="Line 1  Hoja de clavo > Barra de masaje de mejorana", person="C. Iversen", **facts
        )
        first = heading.render_line(0)
        assert first.cell_length == width
        assert first.text.endswith("C. Iversen ")
        assert "Tue 14:22" in first.text

"""From the start of a process to its opened record nothing typed or scanned is lost; the terminal is given back."""

import os
import select
import signal
import subprocess
import sys
import termios
import threading
import time
from datetime import timedelta
from pathlib import Path

import pytest
from msgspec.structs import replace
from textual.color import Color

from floorterm import __version__
from floorterm.cli.open import open_plant
from floorterm.demo import shipped
from floorterm.entries import stamp
from floorterm.entry import FLAGS, UNTOLD, VALUES, VARIABLES, plain_arguments
from floorterm.languages import LANGUAGES
from floorterm.ledger import Ledger, Place, is_server
from floorterm.plant import Plant
from floorterm.terminal.app import FloorApp
from floorterm.terminal.early import EarlyTerminal
from floorterm.terminal.first_sight import first_sight
from floorterm.terminal.launching import _at_once
from floorterm.terminal.opening import memory_path
from floorterm.terminal.remembered import lines_of, path_of, remembered, to_text
from floorterm.terminal.sight_memory import SightMemory, plain_lines
from floorterm.terminal.stylesheet import KeptStylesheet
from tests.conftest import who
from tests.terminal.pty_run import NOTING, PseudoTerminal
from tests.terminal.shell import opened, rows, text_of, until, until_top
from tests.terminal.test_tty import Noted

_FILE = str(shipped())


def _floorterm(path: Path) -> Noted:
    return Noted([sys.executable, "-m", "floorterm", "open", "--db", str(path), "--terminal", "FIRST"])


@pytest.fixture
def path(plant: Plant) -> Path:
    """The file of a plant's ledger."""
    return plant.ledger.path


def test_scans_and_keys_from_the_first_moment_on_are_carried_out_in_their_order(path: Path) -> None:
    notes = path.with_name("carried-out")
    terminal = PseudoTerminal([sys.executable, "-c", NOTING, str(path), str(notes)])
    codes = []
    try:
        begun = time.monotonic()
        for at in (0.0, 0.03, 0.1, 0.2, 0.3, 0.45):
            while (left := begun + at - time.monotonic()) > 0:
                terminal.pump(left)
            codes.append(f"CODE-{len(codes)}-" + "7" * 12 + "X")
            terminal.send(f"{codes[-1]}\r".encode())
        terminal.send(b"\x1bOQ")  # F2, Locks of the line that stands chosen once there is one
        terminal.wait_for(lambda text: "Locks  Line 1" in text)
        assert notes.read_text().splitlines() == [*codes, "f2"]
    finally:
        terminal.kill()


def test_told_to_go_before_its_screens_stand_it_gives_the_terminal_back(path: Path) -> None:
    terminal = _floorterm(path)
    line = os.dup(terminal.fd)
    try:
        terminal.wait_for(lambda text: "Opening the record" in text)
        os.kill(terminal.pid, signal.SIGTERM)
        while terminal.pump(20.0):
            pass
        assert terminal.exit_status() == 143
        assert termios.tcgetattr(line)[3] & termios.ICANON
        assert terminal.written.rindex(b"\x1b[?1049l") > terminal.written.rindex(b"\x1b[?1049h")
    finally:
        os.close(line)


def test_the_early_terminal_keeps_a_carriage_return_and_gives_everything_back() -> None:
    outside, inside = os.openpty()
    try:
        before = termios.tcgetattr(inside)
        early = EarlyTerminal(inside, inside)
        early.take()
        os.write(outside, b"OIL-1\r\x13\x03")  # XOFF and an interrupt are two characters like any other
        assert os.read(inside, 64) == b"OIL-1\r\x13\x03"
        early.show(["x" * 500, *["line"] * 500])
        early.give_back()
        assert termios.tcgetattr(inside) == before
        written = b""
        while not written.endswith(b"\x1b[?25h") and select.select([outside], [], [], 5)[0]:
            written += os.read(outside, 1 << 16)  # the system may hand it on in parts
        assert written.startswith(b"\x1b[?1049h")
        assert written.endswith(b"\x1b[?1049l\x1b[?25h")
        assert b"x" * 81 not in written
        assert written.count(b"line") == 23
    finally:
        os.close(outside)
        os.close(inside)


async def test_until_the_record_is_open_what_it_needs_waits_and_moving_about_does_not(plant: Plant) -> None:
    gate = threading.Event()

    def opener() -> Plant:
        gate.wait(20)
        return plant

    app = FloorApp(opener, sight=first_sight(shipped(), "en"), scan_gap_s=0.0)
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: rows(app).chosen is not None)
        text = text_of(app)
        assert "Line 1" in text
        assert "Northmere" in text
        assert "steps to go" in text
        await pilot.press("f1")
        await until_top(pilot, "FirstAidScreen")
        await pilot.press("escape")
        await until_top(pilot, "LinesScreen")
        await pilot.press("end", "f6")
        await until(pilot, lambda: "1 kept in order" in text_of(app))
        await pilot.press("escape")
        await until(pilot, lambda: "2 kept in order" in text_of(app))
        assert type(app.screen).__name__ == "LinesScreen"
        gate.set()
        await until(pilot, lambda: app.desk.is_open)
        await until(pilot, lambda: "kept in order" not in text_of(app))
        await until_top(pilot, "LinesScreen")
        await pilot.press("f6")
        await until_top(pilot, "StartChangeoverScreen")


_REMEMBERED = """
import sys
from floorterm.entry import plain_arguments
from floorterm.terminal.early import EarlyTerminal
from floorterm.terminal.remembered import lines_of
assert plain_arguments(["--db", sys.argv[1]], {})
print("\\n".join(lines_of(sys.argv[1], sys.argv[2], "en")))
slow = {"re", "json", "typing", "pathlib", "decimal", "dataclasses", "msgspec", "floorterm.entries", "click", "textual"}
sys.exit(", ".join(slow & sys.modules.keys()) or 0)
"""


_WITHOUT_TLS = """
import sys
from floorterm.terminal.launching import import_asyncio
import_asyncio()
import asyncio
loaded = {"ssl", "_ssl"} & sys.modules.keys()
asyncio.run(asyncio.wait_for(asyncio.to_thread(print, "runs"), 5))
import ssl, socket
assert ssl.create_default_context().wrap_socket(socket.socket(), server_hostname="plant", do_handshake_on_connect=False)
sys.exit(", ".join(loaded) or 0)
"""


def test_the_event_loop_of_a_terminal_needs_no_tls_and_takes_it_from_nobody() -> None:
    run = subprocess.run(
        [sys.executable, "-c", _WITHOUT_TLS], capture_output=True, text=True, timeout=60, check=False
    )
    assert (run.returncode, run.stdout) == (0, "runs\n"), run.stderr


def test_rules_are_parsed_anew_for_another_theme_and_for_nothing_else() -> None:
    sheet = KeptStylesheet(variables={"ink": "red"})
    sheet.add_source("Static { color: $ink; }")
    sheet.parse()
    (before,) = sheet.rules
    sheet.set_variables({"ink": "red"})
    sheet.reparse()
    assert sheet.rules[0] is before
    sheet.set_variables({"ink": "blue"})
    sheet.reparse()
    (after,) = sheet.rules
    assert (before.styles.color, after.styles.color) == (Color.parse("red"), Color.parse("blue"))


def test_what_a_terminal_said_last_is_said_at_once_if_the_record_has_not_moved(tmp_path: Path) -> None:
    ledger, file = Ledger.open(shipped(), read_only=True), tmp_path / "T1.sight"
    memory = SightMemory(file)
    memory.keep(ledger, "en")
    folded, kept = first_sight(shipped(), "en"), first_sight(shipped(), "en", memory)
    assert folded is not None
    assert kept is not None
    assert kept.told.steps == folded.told.steps != {}
    assert kept.rows == tuple(replace(row, right=((), *row.right[1:])) for row in folded.rows)
    run = subprocess.run(
        [sys.executable, "-c", _REMEMBERED, str(shipped()), str(file)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stderr
    assert "Line 1" in run.stdout
    head, now = ledger.head(), ledger.now()
    assert memory.of(head, "en", now) == kept.told
    assert memory.of(replace(head, hash="0" * 64), "en", now) is None
    assert memory.of(head, "es", now) is None
    assert memory.of(head, "en", now - timedelta(days=1)) is None, "the clock was set back"
    assert lines_of(str(shipped()), str(file), "en") == list(plain_lines(kept.told, kept.plant, "en"))
    assert not lines_of(str(shipped()), str(file), "es")
    until = now + timedelta(minutes=5)
    file.write_text(file.read_text().replace(" - ", f" {stamp(until)} ", 1))
    assert memory.of(head, "en", until) is not None
    assert memory.of(head, "en", until + timedelta(seconds=1)) is None, "a signed step has reopened by itself"


def test_a_procedure_on_a_line_without_a_changeover_is_seen_at_once_too(plant: Plant, tmp_path: Path) -> None:
    """The line then has a row of its own, on which no work is, above that of the procedure."""
    work = plant.start_procedure(who(plant, "AA"), "L1", "eyewash-weekly", "begin").work
    memory = SightMemory(tmp_path / "T1.sight")
    memory.keep(plant.ledger, "en")
    folded = first_sight(plant.ledger.path, "en")
    kept = first_sight(plant.ledger.path, "en", memory)
    assert folded is not None
    assert kept is not None
    assert [row.work for row in folded.rows] == [row.work for row in kept.rows] == ["", work]
    assert kept.told.steps == folded.told.steps
    assert set(folded.told.steps) == {folded.rows[1].key}


async def test_a_memory_that_fails_ends_no_terminal(plant: Plant, tmp_path: Path) -> None:
    class Failing(SightMemory):
        def keep(self, ledger: Ledger, language: str) -> None:
            raise KeyError(language)

    async with opened(plant, memory=Failing(tmp_path / "T1.sight")) as (app, pilot):
        await app.beat.tick()
        await pilot.pause()
        await pilot.press("f1")
        await until_top(pilot, "FirstAidScreen")
        assert app._exception is None


def test_what_could_command_a_terminal_is_not_said_again(tmp_path: Path) -> None:
    file = tmp_path / "T1.sight"
    SightMemory(file).keep(Ledger.open(shipped(), read_only=True), "en")
    said = lines_of(str(shipped()), str(file), "en")
    assert said
    text = file.read_text()
    for spoilt in (
        text.replace(said[0], f"{said[0]}\u202f"),
        text.replace(said[0], said[0] + "\x1b[2J"),
        text.replace(" - ", " ", 1),
        text.replace(f"{__version__} ", "0.0.1 ", 1),
        text.replace(f"{__version__} ", "", 1),
        text.replace(f" {len(said)}\n", " -1\n", 1),
        text.replace(f" {len(said)}\n", " 9999\n", 1),
        text.replace(f" {len(said)}\n", f" {sys.maxsize + 1}\n", 1),
        "",
    ):
        assert spoilt != text
        file.write_text(spoilt)
        assert lines_of(str(shipped()), str(file), "en") == []
    assert lines_of(str(tmp_path / "no.db"), str(file), "en") == []


@pytest.mark.parametrize("place", [shipped(), "postgresql://line@db.plant.example/floor"])
def test_a_terminal_on_a_server_keeps_nothing_that_it_never_reads(place: Place, tmp_path: Path) -> None:
    sight, memory = _at_once(None, place, tmp_path / "T1.sight", "en")
    assert (sight is None) == (memory is None) == is_server(place)


def test_spaces_of_another_kind_are_remembered_as_plain_ones(tmp_path: Path) -> None:
    file = tmp_path / "T1.sight"
    file.write_text(to_text((1, "00", "es", "-", "-"), ["1\u202f728 kg"], "{}"), encoding="utf-8")
    kept = remembered(str(file))
    assert kept is not None
    assert kept.lines == ["1 728 kg"]


def test_the_short_way_looks_where_a_terminal_remembers(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    found = path_of("T-1", os.environ)
    assert found == str(memory_path("T-1", None))
    assert path_of("T-1", {"XDG_STATE_HOME": "here"}) is None


@pytest.mark.parametrize("language", [*LANGUAGES, "xx", "", "../en", "en_draft"])
def test_the_short_way_knows_the_languages(language: str) -> None:
    given = plain_arguments(("--db", _FILE, f"--language={language}"), {})
    assert (given is not None) == (language in LANGUAGES)


@pytest.mark.parametrize(
    ("arguments", "env", "given"),
    [
        (("--db", _FILE), {}, {"db": _FILE}),
        (("open", f"--db={_FILE}", "--plain"), {}, {"db": _FILE, "plain": "yes"}),
        ((), {"FLOORTERM_DB": _FILE, "FLOORTERM_LOOK": "day"}, {"db": _FILE, "look": "day"}),
        (("open",), {}, None),
        (("open", "--help"), {}, None),
        (("open", "--db"), {}, None),
        (("--db", _FILE, "--log="), {}, None),
        (("open", "--db", "/no/such/file"), {}, None),
        (("--db", _FILE, "--terminal", ""), {}, None),
        (("--db", _FILE, "--terminal", "L 1"), {}, None),
        (("--db", _FILE, "--language", "xx"), {}, None),
        (("--db", _FILE, "--look", "dusk"), {}, None),
        (("--db", _FILE, "--panel", "1x1"), {}, None),
        (("--db", _FILE), {"FLOORTERM_PANEL": "246x184"}, None),
        (("verify", "--db", _FILE), {}, None),
        (("--db", _FILE, "more"), {}, None),
    ],
)
def test_the_short_way_takes_plain_arguments_alone(
    arguments: tuple[str, ...], env: dict[str, str], given: dict[str, str] | None
) -> None:
    assert plain_arguments(arguments, env) == given


def test_the_short_way_knows_options_and_variables_as_the_command_line_has_them() -> None:
    options = {option.name: option for option in open_plant.params}
    assert {*VALUES, *FLAGS} <= options.keys()
    for name, option in options.items():
        assert option.is_flag == (name in FLAGS)  # type: ignore[attr-defined]
        variable = option.envvar
        assert variable is None or VARIABLES.get(name or "") == variable or variable in UNTOLD

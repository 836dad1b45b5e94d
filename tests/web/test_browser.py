"""The terminal in a real browser: a headless Chromium opens what `floorterm serve` serves, once, for everything.

What is on the screen is read from the websocket: its bytes are drawn by a terminal emulator of the tests. Without a
browser on the machine the test is skipped with the reason, and `.ci/run` says so.
"""

import contextlib
import os
import re
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psutil
import pyte
import pytest
from playwright.sync_api import Error, Page, WebSocket, sync_playwright

from floorterm.changeover.acts import STARTED
from floorterm.ledger import Ledger
from floorterm.library.model import Library
from floorterm.people import Permission, Person
from floorterm.plant import Plant
from floorterm.terminal.patience import SETTLE_S
from tests.conftest import PEOPLE, PIN, who
from tests.terminal.outside import Walk, plant_for

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
PATIENCE_S = 20.0
BROWSERS = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")
BADGE = "BADGE-SS-00000000001"
FLAGS = ("--no-sandbox", "--disable-background-networking", "--disable-component-update", "--disable-sync")


@pytest.fixture
def real(tmp_path: Path, library: Library) -> Plant:
    """A plant on the wall clock, as the server and its terminals open it."""
    plant = library.plant
    ledger = Ledger.create(
        tmp_path / "ledger.db", plant_id=plant.id, plant_name=plant.name, time_zone=plant.time_zone
    )
    ledger.add_person(Person(code="AD", name="A. Dmin", permission=Permission.ADMINISTRATOR), PIN, by="")
    ledger.add_person(PEOPLE[0], PIN, by="AD")
    stern = Person(code="SS", name="S. Stern", permission=Permission.SUPERVISOR, badge=BADGE)
    ledger.add_person(stern, PIN, by="AD")
    opened = Plant(library, ledger, "T1")
    opened.state_holds(who(opened, "SS"), "L1", ("plain",), "first statement", key="holds")
    return opened


@pytest.fixture
def address(real: Plant, tmp_path: Path) -> Iterator[str]:
    """Where the command serves the plant."""
    with served(real.ledger.path, tmp_path / "web.log") as found:
        yield found


@contextmanager
def served(ledger: Path, log: Path) -> Iterator[str]:
    """The command as README has it, on a port that was free."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    told = re.search(r"^floorterm (serve tryout\.db)$", README, re.MULTILINE)
    assert told
    words = told.group(1).replace("tryout.db", str(ledger)).split()
    more = ("--port", str(port), "--log", str(log), "--panel", "246x184")
    server = subprocess.Popen((sys.executable, "-m", "floorterm", *words, *more))
    end = time.monotonic() + PATIENCE_S
    try:
        while not _listens(port):
            assert server.poll() is None
            assert time.monotonic() < end
            time.sleep(0.05)
        yield f"http://127.0.0.1:{port}"
    finally:
        server.terminate()
        assert server.wait(PATIENCE_S) == 0


def _listens(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


@pytest.fixture
def page() -> Iterator[Page]:
    """An empty page of 120x40 cells or so."""
    program = os.environ.get("FLOORTERM_BROWSER") or next(filter(None, map(shutil.which, BROWSERS)), None)
    if program is None:
        pytest.skip("no headless browser for the test (Debian: apt-get install chromium-headless-shell)")
    with sync_playwright() as driver:
        try:
            browser = driver.chromium.launch(executable_path=program, args=FLAGS)
        except Error as fault:
            pytest.skip(f"the headless browser could not start: {fault.message.splitlines()[0]}")
        opened = browser.new_page(viewport={"width": 1200, "height": 900})
        opened.set_default_timeout(PATIENCE_S * 1000)
        yield opened
        browser.close()


class Shown:
    """What the browser was sent to draw, and taps on it."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.screen = pyte.Screen(80, 24)
        self._stream = pyte.ByteStream(self.screen)
        page.on("websocket", self._opened)

    def _opened(self, websocket: WebSocket) -> None:
        size = dict(part.split("=") for part in websocket.url.partition("?")[2].split("&"))
        self.screen.resize(int(size["height"]), int(size["width"]))
        websocket.on("framereceived", self._received)

    def _received(self, payload: str | bytes) -> None:
        if isinstance(payload, bytes):
            self._stream.feed(payload)

    @property
    def text(self) -> str:
        return "\n".join(self.screen.display)

    def until(self, wanted: str, patience_s: float = PATIENCE_S) -> bool:
        end = time.monotonic() + patience_s
        while wanted not in self.text and time.monotonic() < end:
            self.page.wait_for_timeout(20)
        return wanted in self.text

    def press(self, key: str) -> None:
        """One key."""
        self.page.keyboard.press({"Down": "ArrowDown"}.get(key, key))
        self.page.wait_for_timeout(40)

    def type(self, text: str) -> None:
        """All at once."""
        self.page.keyboard.type(text)

    def scan(self, code: str) -> None:
        """As fast as a scanner."""
        self.page.keyboard.type(f"{code}\n")

    def rest(self) -> None:
        """Take in what was sent."""
        self.page.wait_for_timeout(20)

    def tap(self, words: str) -> None:
        """Click the middle of words on the screen."""
        line = next(y for y, text in enumerate(self.screen.display) if words in text)
        column = self.screen.display[line].index(words) + len(words) // 2
        box = self.page.locator(".xterm-screen").bounding_box()
        assert box is not None
        self.page.mouse.click(
            box["x"] + (column + 0.5) * box["width"] / self.screen.columns,
            box["y"] + (line + 0.5) * box["height"] / self.screen.lines,
        )


def _terminals() -> list[tuple[psutil.Process, list[str]]]:
    """The terminals of visitors that run now, with the words that each was started by."""
    found = []
    for child in psutil.Process().children(recursive=True):
        with contextlib.suppress(psutil.NoSuchProcess):  # it may end while the others are looked at
            found.append((child, child.cmdline()))
    return [(child, words) for child, words in found if "open" in words]


def test_a_visitor_signs_in_scans_taps_and_types_and_leaves_nothing_behind(
    page: Page, real: Plant, address: str
) -> None:
    shown = Shown(page)
    foreign: list[str] = []
    page.on("request", lambda request: request.url.startswith(address) or foreign.append(request.url))
    faults: list[str] = []
    page.on("pageerror", lambda fault: faults.append(str(fault)))
    page.goto(address)
    page.wait_for_selector("#code:focus")
    page.keyboard.type("aa")
    page.keyboard.press("Tab")
    page.keyboard.type("975310\n")
    page.wait_for_selector(".told")
    page.wait_for_selector("#pin:focus")
    page.keyboard.type(f"{PIN}\n")  # the code still stands there
    assert shown.until("Line 2"), shown.text

    # A scan, before anything was clicked. On a busy machine the test's own keys may come too slowly for a scanner:
    # then the badge is scanned again, as a person would.
    assert any(
        page.keyboard.type(f"{BADGE}\n") or shown.until("S. Stern, what is your PIN", 3.0) for _ in range(3)
    ), shown.text
    page.keyboard.type(f"{PIN}\n", delay=60)  # as fingers do: faster would be a scan, which is never a PIN
    assert shown.until("EN  S. Stern"), shown.text

    shown.tap("F6")
    assert shown.until("Juniper"), shown.text
    page.keyboard.press("2")
    page.wait_for_timeout(SETTLE_S * 1000)  # what has just appeared takes Enter after a moment
    page.keyboard.press("Enter")
    assert shown.until("is this what you want to start"), shown.text
    page.wait_for_timeout(SETTLE_S * 1000)
    page.keyboard.press("Enter")
    assert shown.until("step 1 of"), shown.text
    started = real.ledger.entries(kinds=(STARTED,))
    assert [(entry.person, entry.terminal) for entry in started] == [("SS", "web AA 127.0.0.1")]

    ((_, arguments),) = _terminals()
    assert arguments[arguments.index("--panel") + 1] == "246x184"

    page.click("header button")
    page.wait_for_url("**/sign-in")
    served = [process for process, _ in _terminals()]
    assert psutil.wait_procs(served, PATIENCE_S)[1] == []
    logs = "".join(path.read_text(encoding="utf-8") for path in real.ledger.path.parent.glob("*.log"))
    assert "let in from 127.0.0.1" in logs
    assert "started at terminal web" in logs
    assert not [word for word in (PIN, "975310", "Abel", "Stern", "AA ", BADGE) if word in logs]
    assert ([url for url in foreign if not url.startswith("data:")], faults) == ([], [])


def test_a_changeover_is_walked_from_lines_to_release_in_a_browser(page: Page, tmp_path: Path) -> None:
    plant = plant_for(tmp_path)
    shown = Shown(page)
    with served(plant.ledger.path, tmp_path / "web.log") as address:
        page.goto(address)
        page.wait_for_selector("#code:focus")
        page.keyboard.type("oo")
        page.keyboard.press("Tab")
        page.keyboard.type(f"{PIN}\n")
        work = Walk(shown, plant).from_lines_to_release()
    state = plant.state(work)
    assert set(state.signed) == {step.id for step in state.worksheet.steps()}
    assert {entry.terminal for entry in plant.ledger.entries(changeover=work)} == {"web OO 127.0.0.1"}

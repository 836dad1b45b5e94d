"""Every screen in every language at 80x24: nothing of the program's own words is cut off, numbers and dates have the
form of the language.
"""

import re
from collections.abc import Iterator

import pytest
from textual.pilot import Pilot

from floorterm.demo import open_still
from floorterm.languages import LANGUAGES, by_language, catalogue
from floorterm.library.words import Text
from floorterm.plant import Plant
from floorterm.terminal.app import FloorApp
from floorterm.terminal.pictures import SCREENS
from floorterm.terminal.widgets.heading import Heading
from floorterm.terminal.widgets.keys import KeyBar, in_two
from floorterm.wording import words
from tests.terminal.shell import SMALL, at_once, text_of, until

# what a supervisor who is signed in sees beyond the screens of the pictures
_BEYOND = {
    "lye": ("f7", "f5"),
    "more of work": ("enter", "f5"),
    "note": ("enter", "f5", "1"),
    "nothing entered": ("enter", "enter"),
    "more of locks": ("f2", "f5"),
    "not your lock": ("f2", "2"),
    "flush revised": ("f3", "f5"),
    "entry": ("f8", "f4", "enter"),
    "time study": ("f8", "f4", "f7"),
    "decision": ("f8", "f5"),
    "hand-over": ("f8", "left", "f6", "f3"),
    "attest": ("f5", "f5"),
    "year": ("f5", "f7"),
    "line": ("f4", "enter"),
    "translations": ("f4", "f6"),
}
_TOLD_BELOW = frozenset(
    {"audit", "training", "attest"}
)  # what a row has no room for stands in full under the list
_STORED = frozenset({"reasons"})  # texts of the record, as the plant wrote them
_PIN = "246810"  # everybody's in the demo
_RAW = frozenset({"entry"})  # an entry as it stands in the record
_CUT = re.compile(r"(.{8})…")
_POINT = re.compile(r"(?<![\w./:-])\d+\.\d+ (?:%|kg|min|d|g|°C)")
_ISO = re.compile(r"\b20\d\d-\d\d-\d\d\b")
_WAITING = (
    "terminal.computing",
    "audit_screen.reading",
    "study.reading",
    "lots.reading",
    "proof.seal_making",
)


def _texts(value: object) -> Iterator[str]:
    """Every text of a value that people of the plant wrote."""
    if isinstance(value, Text):
        yield from by_language(value).values()
    elif isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from _texts(inner)
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from _texts(inner)


def _of_the_plant(plant: Plant) -> str:
    """All that the plant's people wrote: texts of the worksheets, what was typed, as one text to look things up in."""
    return " ".join(text for entry in plant.ledger.entries() for text in _texts(entry.value))


async def _open(pilot: Pilot[int], keys: tuple[str, ...]) -> None:
    """Press the keys that lead to a screen, each when the one before has settled."""
    app = pilot.app
    for key in keys:
        await pilot.press(key)
        await _settled(pilot)
    await until(pilot, lambda: app.screen.query_one(KeyBar).caps)


async def _settled(pilot: Pilot[int]) -> None:
    waiting = [words(key, pilot.app.language) for key in _WAITING]  # type: ignore[attr-defined]
    before = ""

    def still() -> bool:
        nonlocal before
        now = text_of(pilot.app)
        same = now == before
        before = now
        return same and not any(one in now for one in waiting)

    await until(pilot, still)


@pytest.mark.longest
@pytest.mark.parametrize("language", LANGUAGES)
async def test_every_screen_is_whole_and_has_the_form_of_its_language(language: str) -> None:
    app = FloorApp(open_still, language=language, demo=True, scan_gap_s=0.0, patience=at_once())
    async with app.run_test(size=SMALL) as pilot:
        await until(pilot, lambda: app.desk.is_open)
        written = _of_the_plant(app.desk.plant)
        wrong: list[str] = []
        for name, keys in (SCREENS | _BEYOND).items():
            if name == next(iter(_BEYOND)):
                await pilot.press("f10", "c", "i", "enter", *_PIN, "enter")
                await until(pilot, lambda: app.session.person is not None and len(app.screen_stack) == 1)
            await _open(pilot, keys)
            wrong += [f"{name}: {what}" for what in _wrong(app, name, language, written)]
            while len(app.screen_stack) > 1:  # a screen may take one step back before it goes
                await pilot.press("escape")
                await _settled(pilot)
            await pilot.press("home")
        assert wrong == []


def _wrong(app: FloorApp, name: str, language: str, written: str) -> Iterator[str]:
    text = text_of(app)
    bar = app.screen.query_one(KeyBar)
    zones = bar.zones()
    if len(zones) != len(bar.caps):
        yield "a key has no room"
    for cap, _, width in zones:
        if "…" in "".join(in_two(cap.label, width)):
            yield f"the key {cap.label!r} is cut to {width} cells"
    if name != "seal":  # its code takes the whole screen
        view = app.screen.query_one(Heading).view
        head = text.splitlines()[:2]
        if f" {view.title}  " not in head[0] or f" {view.question}" not in head[1]:
            yield f"the heading is cut: {head}"
    if name not in _TOLD_BELOW:
        for line in text.splitlines()[2:-3]:
            for cut in _CUT.finditer(line):
                if re.split("  |, |: ", cut[1])[-1].rstrip(",") not in written:
                    yield f"cut: {line}"
    if name not in _STORED | _RAW and catalogue(language)["language.decimal"] != ".":
        yield from (f"a point in {found!r}" for found in _POINT.findall(text) if found not in written)
    if name not in _RAW and not catalogue(language)["language.date"].startswith("{year}"):
        yield from (f"the date {found!r}" for found in _ISO.findall(text))

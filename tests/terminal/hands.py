"""Hands at a terminal: a keyboard, a touch panel, a scanner. Each does the same things in its own way."""

import asyncio
from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass

from textual import events
from textual._time import get_time  # the clock of a key's `time`
from textual.pilot import Pilot
from textual.widget import Widget

from floorterm.terminal.app import FloorApp
from floorterm.terminal.scan import GAP_S, SAME_S
from floorterm.terminal.widgets.entry import Entry, Pad
from floorterm.terminal.widgets.keys import KeyBar
from floorterm.terminal.widgets.pad import PinPad
from floorterm.terminal.widgets.rows import Rows
from floorterm.terminal.widgets.zones import Zones
from tests.conftest import PIN

_PATIENCE_S = 20.0  # a busy machine is slow, never wrong


@dataclass
class Hands(ABC):
    """What every way of working shares: waiting, and a scanner that anybody can pick up."""

    app: FloorApp
    pilot: Pilot[int]
    scanned: tuple[str, float] = ("", 0.0)

    @property
    def top(self) -> str:
        """The screen on top, by its class."""
        return type(self.app.screen).__name__

    async def until(self, true: Callable[[], bool], what: str) -> None:
        """Wait until something is so; fail with what was waited for."""
        loop = asyncio.get_running_loop()
        end = loop.time() + _PATIENCE_S
        while not true():
            if loop.time() > end:
                raise AssertionError(
                    f"waited in vain for {what}; on top is {self.top}:\n{screen_text(self.app)}"
                )
            await asyncio.sleep(0.002)

    async def until_top(self, name: str) -> None:
        """Wait for a screen."""
        await self.until(lambda: self.top == name and self.app.screen.is_mounted, name)

    async def scan(self, code: str) -> None:
        """A scanner types a code and Enter faster than anybody can; the same one again only after a while."""
        now = asyncio.get_running_loop().time()
        before, at = self.scanned
        if before == code and now - at < SAME_S:
            await asyncio.sleep(SAME_S - (now - at))
        self.scanned = (code, asyncio.get_running_loop().time())
        self.send(*code, "enter", every_s=0.001)
        await asyncio.sleep(0)

    def send(self, *keys: str, every_s: float | None = None) -> None:
        """Keys as a driver sends them; `every_s`: read in that rhythm, however long this process is kept waiting."""
        begun = get_time()
        for place, key in enumerate(keys):
            name = {" ": "space", "-": "minus", ",": "comma", ".": "full_stop"}.get(key, key)
            character = {"enter": "\r", "space": " "}.get(key, key if len(key) == 1 else None)
            event = events.Key(name, character)
            if every_s is not None:
                event.time = begun + place * every_s
            self.app.post_message(event)

    async def tap_at(self, widget: Widget, at: tuple[int, int]) -> None:
        """A press and its release as a driver sends them, at a cell of a widget."""
        x, y = widget.content_region.offset + at
        for event in (events.MouseDown, events.MouseUp):
            self.app.post_message(event(None, x, y, 0, 0, 1, False, False, False, screen_x=x, screen_y=y))
        await asyncio.sleep(0)

    # --- what each way does differently ---------------------------------------------------------

    @abstractmethod
    async def key(self, key: str) -> None:
        """A key, or the zone that stands for it."""

    @abstractmethod
    async def pick(self, row: str) -> None:
        """A row of the list on top, opened."""

    @abstractmethod
    async def choose(self, option: str) -> None:
        """An answer of the entry on top."""

    @abstractmethod
    async def type(self, text: str) -> None:
        """A text into the field on top."""

    async def code(self, code: str) -> None:
        """A code from a label into the field on top."""
        await self.type(code)

    @abstractmethod
    async def pin(self) -> None:
        """The PIN into the sign-in dialogue, confirmed."""

    async def name(self, code: str) -> None:
        """Who one is, in the sign-in dialogue."""
        await self.pick(code)

    async def sign(self, who: str) -> None:
        """Answer the sign-in dialogue on top: name if it asks, then PIN."""
        await self.pilot.pause()
        if self.app.screen.query_one("#people").display:
            await self.name(who)
            await self.until(lambda: bool(self.app.screen.query_one("#pin").display), "the PIN")
        screen = self.app.screen
        await self.pin()
        await self.until(lambda: self.app.screen is not screen, "the PIN to be taken")

    @property
    def entry(self) -> Entry:
        """The entry on top."""
        return self.app.screen.query_one(Entry)


class Keyboard(Hands):
    """Keys only."""

    async def key(self, key: str) -> None:
        self.send(key)
        await asyncio.sleep(0)

    async def pick(self, row: str) -> None:
        rows = self.app.screen.query(Rows).first()
        await self.until(lambda: rows.chosen is not None, "a list")
        while rows.chosen is not None and rows.chosen.key != row:
            before = rows.chosen
            self.send("down")
            await self.until(lambda: rows.chosen is not before, f"the row {row}")  # noqa: B023
        self.send("enter")

    async def choose(self, option: str) -> None:
        place = [one.id for one in self.entry.spec.options].index(option)
        self.send(str(place + 1))
        await self._heard()

    async def type(self, text: str) -> None:
        self.send(*text)
        await self._heard()

    async def pin(self) -> None:
        self.send(*PIN)
        await self._heard()
        self.send("enter")

    async def _heard(self) -> None:
        """Keys come slower than the rhythm of a scanner."""
        await asyncio.sleep(GAP_S * 1.5)


class Scanner(Keyboard):
    """A scanner wherever a code is read; keys for the rest."""

    async def code(self, code: str) -> None:
        await self.scan(code)
        await self.until(lambda: self.entry.given.text == code, f"the scanned {code}")

    async def type(self, text: str) -> None:
        for character in text:  # a burst would be taken for a code
            self.send(character)
            await self._heard()

    async def pin(self) -> None:
        for digit in PIN:
            self.send(digit)
            await self._heard()
        self.send("enter")

    async def name(self, code: str) -> None:
        badge = self.app.desk.plant.ledger.person(code).badge
        if self.scanned[0] == badge:  # the same badge again within two seconds counts once
            await self.pick(code)
        else:
            await self.scan(badge)


class Touch(Hands):
    """Taps only; codes come from the scanner that lies beside the panel."""

    async def key(self, key: str) -> None:
        bar = self.app.screen.query_one(KeyBar)
        await self.until(lambda: any(cap.key == key and cap.enabled for cap in bar.caps), f"the key {key}")
        zone = bar.zone_of(key)
        assert zone is not None, (key, bar.caps)
        await self.tap_at(bar, zone)

    async def pick(self, row: str) -> None:
        rows = self.app.screen.query(Rows).first()
        await self.until(lambda: bool(rows.rows) and rows.size.height > 0, "a list")
        place = next(i for i, one in enumerate(rows.rows) if one.key == row)
        while not rows._first <= place <= rows._last_from(rows._first):
            first = rows._first
            await self.tap_at(rows, (rows.size.width - 3, rows.size.height - 1))
            await self.until(lambda: rows._first != first, "the next page")  # noqa: B023
        at = (10, rows._top_of(place))
        chosen_already = rows.chosen is not None and rows.chosen.key == row
        await self.tap_at(rows, at)
        if not rows.tap_opens and not chosen_already:
            await self.until(lambda: rows.chosen is not None and rows.chosen.key == row, f"the row {row}")
            await self.tap_at(rows, at)

    async def choose(self, option: str) -> None:
        await self.pilot.pause()
        zones = self.entry.query_one("#answers", Zones)
        zone = zones.zone_of(option)
        assert zone is not None, option
        await self.tap_at(zones, zone)
        await self.until(lambda: option in self.entry.given.chosen, f"the answer {option}")

    async def type(self, text: str) -> None:
        await self.pilot.pause()  # a hand waits until the picture stands
        entry = self.entry
        pad = entry.query_one(Pad)
        if not pad.zones:
            await self.tap_at(entry.query_one("#field"), (5, 1))
            await self.until_top("AskScreen")
            await self.until(lambda: bool(self.entry.query_one(Pad).zones), "a pad")
            await self.type(text)
            await self.key("enter")
            await self.until_top("WorkScreen")
            return
        await self.until(lambda: pad.region.height > 0, "a pad")
        for character in text:
            zone = pad.zone_of(character)
            assert zone is not None, character
            await self.tap_at(pad, zone)
        await self.until(lambda: entry.given.text == text, f"{text} to be typed")

    async def code(self, code: str) -> None:
        await self.scan(code)
        await self.until(lambda: self.entry.given.text == code, f"the scanned {code}")

    async def pin(self) -> None:
        pad = self.app.screen.query_one(PinPad)
        await self.until(lambda: pad.region.height > 0, "the pad")
        for digit in PIN:
            await self.tap_at(pad, pad.zone_of(digit))
        await self.tap_at(pad, pad.zone_of("enter"))


def screen_text(app: FloorApp) -> str:
    """What stands on the screen, as plain lines."""
    width, height = app.size
    lines = app.screen._compositor.render_strips()
    return "\n".join("".join(segment.text for segment in strip)[:width].rstrip() for strip in lines[:height])

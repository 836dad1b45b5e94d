"""Figures for lye work: choose what is done, enter what is at hand, read the estimate. Never a permission.

Dialogues one after the other, so that a gloved hand enters one number at a time; the result is a page of lines
with the sources under it, as the command line prints it.
"""

from decimal import Decimal
from textwrap import wrap
from typing import TYPE_CHECKING

from floorterm.changeover.entering import EntrySpec
from floorterm.changeover.figures import number_of
from floorterm.terminal.screens.dialogs import AskScreen, Item, MenuScreen
from floorterm.terminal.screens.read import ReadScreen
from floorterm.terminal.views.text import Line, Span
from floorterm.wording import sentence, words

WIDTH = 74  # what a list has beside its edges on an 80-column screen
if TYPE_CHECKING:
    from floorterm.library.lye_data import LyePolicy
    from floorterm.terminal.app import FloorApp

_TASKS = ("dilute", "solid", "spill")
_SOLID_PCT = 100.0
_ROOM_C = 20.0


class LyeFigures:
    """The way through the dialogues; `show` is to be awaited in a worker."""

    def __init__(self, app: "FloorApp") -> None:
        self._app = app
        self._language = app.language

    async def show(self) -> None:
        """Ask, reckon, show; nothing is recorded."""
        items = [Item(name, self._word(name), self._word(f"{name}_note")) for name in _TASKS]
        task = await self._app.push_screen_wait(
            MenuScreen(self._word("title"), self._word("question"), items)
        )
        if task is None:
            return
        from floorterm.lye import LyeError  # noqa: PLC0415  its tables are read only here

        try:
            lines = await (self._spill() if task == "spill" else self._dilution(solid=task == "solid"))
        except LyeError as fault:
            told = f"{sentence(fault.say, self._language)} {words('lye.print_refused', self._language)}"
            await self._page(tuple((Span(text, "danger"),) for text in wrap(told, WIDTH)))
            return
        if lines is not None:
            await self._page(tuple(_toned(line) for line in lines))

    async def _page(self, lines: tuple[Line, ...]) -> None:
        screen = ReadScreen("lye.screen_title", "lye.label", lambda _width, _language: lines)
        await self._app.push_screen_wait(screen)

    def _word(self, name: str) -> str:
        return words(f"lye.screen_{name}", self._language)

    @property
    def _policy(self) -> "LyePolicy | None":
        return self._app.desk.plant.library.plant.lye

    @property
    def _confirmed(self) -> dict[str, str]:
        policy = self._policy
        return {one.table: f"{one.by}, {one.on.isoformat()}" for one in policy.confirmed} if policy else {}

    async def _numbers(self, *asked: tuple[str, str]) -> list[float] | None:
        """One number after the other; None as soon as one is not given."""
        found = []
        for name, unit in asked:
            spec = EntrySpec(mode="number", prompt=self._word(f"ask_{name}"), unit=unit)
            given = await self._app.push_screen_wait(
                AskScreen(self._word("title"), self._word("enter"), spec)
            )
            number: Decimal | None = number_of(given.text) if given is not None else None
            if number is None:
                return None
            found.append(float(number))
        return found

    async def _dilution(self, *, solid: bool) -> tuple[str, ...] | None:
        asked = [("target", "%"), ("kg", "kg"), ("water_c", "°C")]
        numbers = await self._numbers(*(() if solid else (("stock", "%"), ("stock_c", "°C"))), *asked)
        if numbers is None:
            return None
        from floorterm.lye import between_regions, dilute, estimate, judge, protection  # noqa: PLC0415
        from floorterm.review.lye_text import dilution_text  # noqa: PLC0415

        stock, stock_c = (_SOLID_PCT, _ROOM_C) if solid else (numbers[0], numbers[1])
        target, kg, water_c = numbers[-3:]
        limit = float(self._policy.limit_c) if self._policy else None
        made = dilute(stock, target, total_kg=kg, stock_c=stock_c, water_c=water_c)
        heat = estimate(made)
        judged = judge(made, heat, limit_c=limit)
        asks = protection(
            "L4" if solid else "L3",
            mass_pct=stock,
            temperature_c=judged.hottest_c,
            pressurised=False,
            limit_c=limit,
        )
        warnings = (*asks.warnings, *between_regions(target))
        region = self._policy.region if self._policy else "US"
        return dilution_text(
            made, heat, judged, asks, warnings, region, self._language, width=WIDTH, confirmed=self._confirmed
        )

    async def _spill(self) -> tuple[str, ...] | None:
        numbers = await self._numbers(("strength", "%"), ("litres", "L"))
        if numbers is None:
            return None
        from floorterm.lye import Kit, protection, spill  # noqa: PLC0415
        from floorterm.review.lye_text import spill_text  # noqa: PLC0415

        strength, litres = numbers
        stated = self._policy.kit if self._policy else None
        kit = Kit()
        if stated is not None:
            kit = Kit(
                neutraliser=stated.neutraliser,
                kg=float(stated.kg),
                pct=float(stated.pct),
                absorbs_l=float(stated.absorbs_l) if stated.absorbs_l is not None else None,
            )
        found = spill(strength, litres=litres, kit=kit)
        asks = protection("L5", mass_pct=strength, temperature_c=_ROOM_C, pressurised=False)
        region = self._policy.region if self._policy else "US"
        return spill_text(found, asks, region, self._language, width=WIDTH, confirmed=self._confirmed)


def _toned(text: str) -> Line:
    if text.startswith(("STOP", "ALTO")):
        return (Span(text, "danger"),)
    return (Span(text, "caution" if text.startswith(("! ", "WARNING", "ADVERTENCIA")) else ""),)

"""Flush: how much, and what decides it? Amounts, the governing rule, the washout curve, what is measured."""

import math
from collections.abc import Iterable
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import Container
from textual.widget import Widget

from floorterm.changeover.acts import ReviseFlush, SignStep
from floorterm.changeover.entry_rules import number_of
from floorterm.changeover.flushing import line_from_json
from floorterm.changeover.view import title_of
from floorterm.changeover.view_step import flush_view
from floorterm.changeover.worksheet import FlushNote
from floorterm.entries import canonical
from floorterm.terminal.base import FloorScreen
from floorterm.terminal.messages import NotRecorded, Recorded
from floorterm.terminal.screens.dialogs import AskScreen, Item, MenuScreen, number_spec, reason_spec
from floorterm.terminal.views.flush import flush_page
from floorterm.terminal.views.work import say
from floorterm.terminal.widgets.curve import Curve, CurveView
from floorterm.terminal.widgets.step_card import StepCard

if TYPE_CHECKING:
    from floorterm.changeover.state import State

_POINTS = 161


class FlushScreen(FloorScreen[None]):
    """The flush of one changeover, drawn from its record alone."""

    CSS_PATH = "flush.tcss"
    QUESTION = "work.flush_question"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f5", "revise", "work.key_revise", id="flush.revise"),
        Binding("f6", "end_short", "work.key_end_short", id="flush.end_short"),
        Binding("pagedown", "turn(1)", "work.key_turn", id="flush.turn", show=False),
        Binding("pageup", "turn(-1)", "work.key_turn_back", id="flush.turn_back", show=False),
    ]

    def __init__(self, work: str) -> None:
        super().__init__()
        self.work = work
        self._draft = ("", "")

    def body(self) -> Iterable[Widget]:
        """Words and curve: under each other, or side by side where there is room."""
        with Container(id="sheet"):
            yield StepCard(id="words")
            yield Curve(id="curve")

    @property
    def state(self) -> "State":
        """The work as the record has it."""
        return self.desk.plant.state(self.work)

    def title_text(self) -> str:
        """What is changed over."""
        return say("flush_title", self.language, title=title_of(self.state.worksheet, self.language))

    def show(self) -> None:
        """Read the record and show it."""
        state = self.state
        wide = self.size.width >= 100
        width = self.size.width * 3 // 5 if wide else self.size.width
        self.query_one(StepCard).show(flush_page(state, self.language, width), self.work)
        note = state.worksheet.flush
        curve = self.query_one(Curve)
        curve.display = note is not None and bool(note.line_model)
        if note is not None and note.line_model:
            curve.show_curve(_curve_view(note, state))

    def on_resize(self) -> None:
        """Other widths."""
        self.retell()

    @property
    def _open_step(self) -> str:
        """The flush step that is not signed yet."""
        state = self.state
        return next((name for name in state.flush if name not in state.signed), "") if not state.ended else ""

    def check_action(self, action: str, _: tuple[object, ...]) -> bool | None:
        """A flush can be changed until its step is signed."""
        if action in ("revise", "end_short"):
            return True if self.desk.is_open and self._open_step else None
        return True

    def action_turn(self, by: int) -> None:
        """Turn the page of the words."""
        self.query_one(StepCard).turn(by)

    # --- acts -----------------------------------------------------------------------------------

    def action_revise(self) -> None:
        """Change the required kg, with the reason."""
        self.run_worker(self._revise(), group="acts")

    async def _revise(self) -> None:
        if await self.app.ensure_signed_in() is None:
            return
        question = say("revise_question", self.language)
        asked = await self.app.push_screen_wait(
            AskScreen(self.title_text(), question, number_spec("ask_required_kg", "kg", self.language))
        )
        required = number_of(asked.text) if asked is not None else None
        if required is None:
            return
        why = await self.app.push_screen_wait(
            AskScreen(self.title_text(), question, reason_spec(self.language))
        )
        if why is not None:
            act = ReviseFlush(step=self._open_step, kg=required, reason=why.text.strip())
            self.desk.record(self.work, act, screen=self)

    def action_end_short(self) -> None:
        """End the flush with what has been pushed, short of what is required: a deviation."""
        self.run_worker(self._end_short(), group="acts")

    async def _end_short(self) -> None:
        if await self.app.ensure_signed_in() is None:
            return
        progress = flush_view(self.state.flush[self._open_step], self.state.worksheet.flush, self.language)
        items = [
            Item("no", say("end_short_no", self.language), progress.left_text),
            Item("yes", say("end_short_yes", self.language), progress.text),
        ]
        menu = MenuScreen(self.title_text(), say("end_short_question", self.language), items)
        if await self.app.push_screen_wait(menu) == "yes":
            act = SignStep(step=self._open_step, kg=progress.pushed_kg)
            self.desk.record(self.work, act, screen=self)

    def on_recorded(self, message: Recorded) -> None:
        """It counts from here on."""
        message.prevent_default()  # the frame's own answer comes first, and once
        super().on_recorded(message)
        self.retell()

    def on_not_recorded(self, message: NotRecorded) -> None:
        """Nothing has changed."""
        message.prevent_default()  # the frame's own answer comes first, and once
        super().on_not_recorded(message)
        self.retell()


def _curve_view(note: FlushNote, state: "State") -> CurveView:
    data: dict[str, Any] = dict(note.line_model)
    points, crossing = _washed(canonical(data), float(note.limit))
    pushed = sum((one.pushed_kg for one in state.flush.values()), Decimal(0))
    return CurveView(points=points, limit=float(note.limit), crossing_kg=crossing, pushed_kg=float(pushed))


@lru_cache(maxsize=16)
def _washed(model: str, limit: float) -> tuple[tuple[tuple[float, float], ...], float]:
    """Points of the curve up to somewhat more than the crossing, and the crossing (0 if there is none)."""
    import json  # noqa: PLC0415

    from floorterm.flush import curve, washout  # noqa: PLC0415  only this screen computes

    washed = washout(line_from_json(json.loads(model)))
    crossing = washed.kg_to_reach(limit) if limit > 0 else math.inf
    if not math.isfinite(crossing) or crossing <= 0:
        end, crossing = 3 * washed.line.content_kg, 0.0
    else:
        end = crossing * 1.3
    return curve(washed, end, _POINTS), crossing

"""Flush: how much, and what decides it? Amounts, the governing rule, the washout curve, what is measured."""

import math
from collections.abc import Iterable
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import Container
from textual.widget import Widget

from floorterm.changeover.acts import Note, ReviseFlush, SignStep
from floorterm.changeover.entering import Given
from floorterm.changeover.figures import number_of
from floorterm.changeover.flush_live import (
    after_check,
    check_inputs,
    confidence_of,
    curve_of,
    spread_of,
    strategy_inputs,
    strategy_kg,
)
from floorterm.changeover.flush_picture import Picture, picture
from floorterm.changeover.state import FlushProgress
from floorterm.changeover.view import title_of
from floorterm.changeover.view_flush import open_flush, way_name
from floorterm.changeover.view_step import flush_view
from floorterm.changeover.view_words import kg
from floorterm.changeover.worksheet import FlushNote
from floorterm.flush.errors import FlushError
from floorterm.flush.samples import Sample
from floorterm.languages import number
from floorterm.terminal.base import FloorScreen
from floorterm.terminal.messages import NotRecorded
from floorterm.terminal.screens.dialogs import AskScreen, Item, MenuScreen, number_spec, reason_spec
from floorterm.terminal.screens.flush_ways import WaysScreen
from floorterm.terminal.screens.read import ReadScreen
from floorterm.terminal.views.flush import flush_page
from floorterm.terminal.views.flush_ways import chain_lines
from floorterm.terminal.views.text import Line
from floorterm.terminal.views.work import say
from floorterm.terminal.widgets.curve import Curve, CurveView
from floorterm.terminal.widgets.step_card import StepCard
from floorterm.wording import sentence

if TYPE_CHECKING:
    from floorterm.changeover.checked import Checked
    from floorterm.changeover.state import State
    from floorterm.flush import LineModel
    from floorterm.flush.progress import Spread


_HIGH, _LOW = 10, 8  # lines of the curve under the words


class FlushScreen(FloorScreen[None]):
    """The flush of one changeover, drawn from its record alone."""

    CSS_PATH = "flush.tcss"
    QUESTION = "work.flush_question"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f4", "ways", "work.key_ways", id="flush.ways"),
        Binding("f5", "revise", "work.key_revise", id="flush.revise"),
        Binding("f6", "end_short", "work.key_end_short", id="flush.end_short"),
        Binding("f7", "chain", "work.key_chain", id="flush.chain"),
        Binding("f8", "check", "work.key_check", id="flush.check"),
        Binding("pagedown", "turn(1)", "work.key_turn", id="flush.turn", show=False),
        Binding("pageup", "turn(-1)", "work.key_turn_back", id="flush.turn_back", show=False),
    ]

    def __init__(self, work: str) -> None:
        super().__init__()
        self.work = work

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
        drawn = _curve_view(note, state) if note is not None and note.line_model else None
        curve.display = drawn is not None
        if not wide:  # while flushing the words say more
            curve.styles.height = _LOW if any(one.pushed_kg for one in state.flush.values()) else _HIGH
        else:
            curve.styles.height = None
        if drawn is not None:
            curve.show_curve(drawn)

    @property
    def _open_step(self) -> str:
        """The flush step that is not signed yet."""
        state = self.state
        return next((name for name in state.flush if name not in state.signed), "") if not state.ended else ""

    def _still_open(self, step: str, typed: str = "") -> FlushProgress | None:
        """Where a flush step stands that was open when it was asked about; whatever ended it meanwhile refuses."""
        if step and step == self._open_step:
            return self.state.flush[step]
        kept = (say("was_typed", self.language, typed=typed),) if typed else ()
        self.retell()
        self.refuse((say("flush_over", self.language), *kept))
        return None

    def check_action(self, action: str, _: tuple[object, ...]) -> bool | None:
        """A flush can be changed until its step is signed."""
        if action in ("revise", "end_short", "check"):
            return True if self.desk.is_open and self._open_step else None
        return True

    def action_turn(self, by: int) -> None:
        """Turn the page of the words."""
        self.query_one(StepCard).turn(by)

    # --- acts -----------------------------------------------------------------------------------

    def action_revise(self) -> None:
        """Change the required kg, with the reason."""
        self.start_way(self._revise)

    async def _revise(self) -> None:
        step = self._open_step
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
        if why is None:
            return
        reason = why.text.strip()
        progress = self._still_open(step, f"{required} kg: {reason}")
        if progress is not None:
            inputs = {
                **progress.inputs,
                "old_kg": f"{progress.required_kg:f}",
                "new_kg": f"{required:f}",
            }
            act = ReviseFlush(step=step, kg=required, reason=reason, inputs=inputs)
            self.desk.record(self.work, act, screen=self)

    def action_ways(self) -> None:
        """All ways side by side; another one may be chosen until the step is signed."""
        self.start_way(self._ways)

    async def _ways(self) -> None:
        note, state = self.state.worksheet.flush, self.state
        if note is None:
            return
        progress, step = open_flush(state), self._open_step
        changeable = self.desk.is_open and bool(self._open_step)
        chosen = await self.app.push_screen_wait(
            WaysScreen(self.title_text(), note, progress, changeable=changeable)
        )
        row = note.strategy(chosen) if chosen else None
        if row is None or await self.app.ensure_signed_in() is None:
            return
        question = say("ways_reason", self.language, way=way_name(row.key, self.language))
        why = await self.app.push_screen_wait(
            AskScreen(self.title_text(), question, reason_spec(self.language))
        )
        if why is None:
            return
        reason = why.text.strip()
        now = self._still_open(step, reason)
        if now is not None:
            act = ReviseFlush(
                step=step,
                kg=strategy_kg(note, now, row),
                reason=reason,
                inputs=strategy_inputs(note, now, row),
            )
            self.desk.record(self.work, act, screen=self)

    def action_chain(self) -> None:
        """The reasoning with its sources, sentence by sentence."""
        note = self.state.worksheet.flush
        if note is None:
            return

        def lines(width: int, language: str) -> tuple[Line, ...]:
            return chain_lines(note, language, width)

        self.app.push_screen(ReadScreen("work.chain_name", "work.chain_question", lines))

    def action_check(self) -> None:
        """Enter a check sample; what follows from it is proposed, never imposed."""
        self.start_way(self._check)

    async def _check(self) -> None:
        if await self.app.ensure_signed_in() is None:
            return
        language, note, step = self.language, self.state.worksheet.flush, self._open_step
        progress = self._still_open(step)
        if progress is None:
            return
        spec = number_spec("check_kg", "kg", language)
        begin = Given(text=f"{progress.pushed_kg:f}") if progress.pushed_kg else None
        at = await self.app.push_screen_wait(AskScreen(self.title_text(), spec.prompt, spec, given=begin))
        if at is None or note is None:
            return
        spec = number_spec("check_residual", "%", language)
        left = await self.app.push_screen_wait(AskScreen(self.title_text(), spec.prompt, spec))
        if left is None:
            return
        mass, share = number_of(at.text), number_of(left.text)
        progress = self._still_open(step, f"{at.text} kg, {left.text} %")
        if mass is None or share is None or progress is None:
            return
        if not 0 < share < 100:
            self.refuse((say("check_percent", language, found=number(share, language)),))
            return
        try:
            found = after_check(note, progress, Sample(float(mass), float(share) / 100.0))
        except FlushError as fault:
            self.refuse((sentence(fault.say, language),))
            return
        if found is None:
            self.refuse((say("check_no_curve", language),), "caution")
            return
        await self._propose(step, progress, found, mass, share)

    async def _propose(
        self, step: str, progress: FlushProgress, found: "Checked", mass: Decimal, share: Decimal
    ) -> None:
        language = self.language
        said = " ".join(sentence(one, language) for one in found.says)
        doubt = " ".join(sentence(one, language) for one in found.learnt.says)
        items = [
            Item(
                "keep",
                say("check_keep", language, kg=kg(progress.required_kg, language)),
                doubt or say("check_keep_note", language),
            ),
            Item(
                "revise",
                say("check_revise", language, kg=kg(Decimal(found.promise_kg), language)),
                sentence(found.revision.say, language),
            ),
        ]
        menu = MenuScreen(self.title_text(), say("check_question", language), items)
        chosen = await self.app.push_screen_wait(menu)
        facts = {"kg": kg(mass, language), "percent": number(share, language), "said": said}
        text = say("check_noted", language, **facts)
        if chosen is None:
            return
        now = self._still_open(step, text)
        if now is None:
            return
        act: ReviseFlush | Note
        if chosen == "revise":
            kilograms, inputs = Decimal(found.promise_kg), check_inputs(now, found)
            act = ReviseFlush(step=step, kg=kilograms, reason=text, inputs=inputs)
        else:
            act = Note(step=step, text=text)
        self.desk.record(self.work, act, screen=self)

    def action_end_short(self) -> None:
        """End the flush with what has been pushed, short of what is required: a deviation."""
        self.start_way(self._end_short)

    async def _end_short(self) -> None:
        if await self.app.ensure_signed_in() is None:
            return
        step = self._open_step
        now = self._still_open(step)
        if now is None:
            return
        progress = flush_view(now, self.state.worksheet.flush, self.language)
        items = [
            Item("no", say("end_short_no", self.language), progress.left_text),
            Item("yes", say("end_short_yes", self.language), progress.text),
        ]
        menu = MenuScreen(self.title_text(), say("end_short_question", self.language), items)
        if await self.app.push_screen_wait(menu) == "yes" and self._still_open(step) is not None:
            act = SignStep(step=step, kg=progress.pushed_kg)
            self.desk.record(self.work, act, screen=self)

    def not_recorded(self, _: NotRecorded) -> None:
        """Nothing has changed."""
        self.retell()


def _curve_view(note: FlushNote, state: "State") -> CurveView | None:
    """The curve that the flush in hand follows, with the band above it; None for a way without one."""
    progress = open_flush(state)
    washed = curve_of(note, progress)
    if washed is None:
        return None
    spread = spread_of(note, progress.inputs if progress else None)
    limit = float(note.limit)
    drawn = _drawn(washed.line, washed.divert_flash, washed.floor, limit, spread, confidence_of(note))
    pushed = sum((one.pushed_kg for one in state.flush.values()), Decimal(0))
    return CurveView(
        points=drawn.points,
        limit=limit,
        crossing_kg=drawn.crossing_kg if math.isfinite(drawn.crossing_kg) else 0.0,
        pushed_kg=float(pushed),
        high=tuple((kg, high) for kg, _, high in drawn.band),
    )


@lru_cache(maxsize=16)
def _drawn(
    line: "LineModel", divert: bool, floor: float, limit: float, spread: "Spread", confidence: float
) -> Picture:
    """The same flush has the same picture."""
    from floorterm.flush import washout  # noqa: PLC0415  only this screen computes

    return picture(washout(line, divert_flash=divert, floor=floor), limit, spread, confidence)

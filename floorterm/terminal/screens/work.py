"""Work: what do I do now? The current step large, everything that belongs to it, and what Enter records."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from msgspec.structs import replace
from textual.binding import Binding, BindingType
from textual.containers import Horizontal
from textual.widget import Widget

from floorterm.changeover.acts import Act, LateStep, Note, PushFlush, Release, SignStep
from floorterm.changeover.entering import EntrySpec, Given, act_of, counter_of, echo
from floorterm.changeover.rules import dwell_over_at
from floorterm.changeover.view import WorkView, checklist
from floorterm.changeover.view_lye import lye_section
from floorterm.changeover.view_step import refusal_views
from floorterm.terminal.base import FloorScreen
from floorterm.terminal.messages import NotRecorded, Recorded, Scanned
from floorterm.terminal.screens.dialogs import AskScreen, counter_spec
from floorterm.terminal.views.shown import refusals_now, speaker_of, work_view
from floorterm.terminal.views.text import Line, Span, fit, short_name
from floorterm.terminal.views.work import (
    finish_lines,
    foot_lines,
    list_line,
    say,
    step_lines,
    top_lines,
)
from floorterm.terminal.widgets.entry import Entry
from floorterm.terminal.widgets.rows import Row, Rows
from floorterm.terminal.widgets.step_card import StepCard
from floorterm.terminal.widgets.step_column import SideList, StepColumn
from floorterm.wording import Refusal, words

if TYPE_CHECKING:
    from datetime import datetime

    from floorterm.changeover.state import State
    from floorterm.changeover.worksheet import Step

_WIDE, _LIST_WIDTH = 100, 46
_A_MOMENT_S = 0.05  # past the end of a dwell, so that it is over when the rules are asked
# whoever sees it is asked for after the step
_WITNESS = ("changeover.witness_missing", "changeover.late_supervisor_missing")


class WorkScreen(FloorScreen[None]):
    """One piece of work, step by step."""

    CSS_PATH = "work.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "record", "work.key_record", id="work.record"),
        Binding("f2", "locks", "work.key_locks", id="work.locks"),
        Binding("f3", "flush", "work.key_flush", id="work.flush"),
        Binding("f4", "list", "work.key_list", id="work.list"),
        Binding("f5", "more", "work.key_more", id="work.more"),
        Binding("f6", "lye", "work.key_lye", id="work.lye"),
        Binding("f7", "paper", "work.key_paper", id="work.paper", show=False),
        Binding("f8", "lots", "lots.key_lots", id="work.lots"),
        Binding("pagedown", "turn(1)", "work.key_turn", id="work.turn", show=False),
        Binding("pageup", "turn(-1)", "work.key_turn_back", id="work.turn_back", show=False),
    ]

    def __init__(self, work: str, at: str = "") -> None:
        super().__init__()
        self.work = work
        self.view: WorkView | None = None
        self._shown: State | None = None  # what the view was made of: no key press needs the record
        self.drafts: dict[str, str] = {}  # texts that were not recorded, each of one person at one step
        self._typist = ""  # whose the field is
        self._half: dict[str, tuple[str, Given]] = {}  # by person: what they left in the field, and where
        self._at = at
        self._retry: tuple[Act, str] | None = None
        self._wakes: datetime | None = None

    def body(self) -> Iterable[Widget]:
        """The step between what was and what comes; the whole list beside it where there is room."""
        with Horizontal(id="columns"):
            yield StepColumn(id="now")
            yield SideList(digits=False, tap_opens=True, id="whole")

    # --- reading --------------------------------------------------------------------------------

    @property
    def state(self) -> "State":
        """The work as the record has it."""
        return self.desk.plant.state(self.work)

    @property
    def step(self) -> "Step | None":
        """The step on the screen."""
        shown = self.view.step if self.view else None
        return self._shown.worksheet.step(shown.id) if shown and self._shown else None

    @property
    def entry(self) -> Entry:
        """The field."""
        return self.query_one(Entry)

    def refusals(self, act: Act) -> tuple[Refusal, ...]:
        """What the rules say against an act of the person signed in; the witness is asked for later."""
        person = self.app.session.person
        found = refusals_now(self.desk.plant, self.state, act, person) if person is not None else ()
        return tuple(refusal for refusal in found if refusal.say.key not in _WITNESS)

    # --- showing --------------------------------------------------------------------------------

    def title_text(self) -> str:
        """The line and what is changed over."""
        return f"{self.view.line}  {self.view.title}" if self.view else ""

    def question_text(self) -> str:
        """Minutes against standard."""
        return self.view.clock.text if self.view else ""

    def right_line(self) -> Line:
        """Who holds locks."""
        if self.view is None:
            return ()
        room = max(12, self.size.width - len(self.question_text()) - 5)
        text = fit(self.view.locks.text, room)
        return (Span(text, "strong" if self.view.locks.count else "quiet"),)

    def show(self) -> None:
        """Read the record and show where the work stands for this person."""
        plant, speaker = self.desk.plant, speaker_of(self.desk.plant, self.language)
        state, person = self.state, self.app.session.person
        fresh = work_view(plant, state, person, self.language, at=self._at)
        self._keep_words(fresh, state)
        self._hand_over(person.code if person is not None else "")
        self.view, self._shown = fresh, state
        width = self._width
        column = self.query_one(StepColumn)
        column.fill("#top", top_lines(fresh, self.language, width))
        card = self._card(fresh, width)
        self.query_one(StepCard).show(card, fresh.step.id if fresh.step else fresh.status)
        if fresh.step is not None:
            spec = EntrySpec() if fresh.step.refused else fresh.step.entry
            about = f"{fresh.step.id} {fresh.step.round}"
            self.entry.show(spec, about)
            self._take_up(spec, about)
            self._answer()
        else:
            self.entry.show(EntrySpec(), "")
        foot = foot_lines(fresh, self.language, width, 4 if self.size.height < 34 else 8)
        column.fill("#foot", foot)
        column.fit()
        side = self.query_one(SideList)
        side.display = self.size.width >= _WIDE
        if side.display:
            rows = checklist(
                state,
                person,
                plant.now(),
                self.language,
                elsewhere=plant.elsewhere(self.work),
                duties=speaker.duties,
                at=self._at,
            )
            inner = _LIST_WIDTH - 3
            side.show([Row(row.id, (list_line(row, inner),), heading=row.mark == "section") for row in rows])
            if fresh.step is not None:
                side.choose(fresh.step.id)
        self._wake()

    def _wake(self) -> None:
        """A wait that is over is told at that moment, not with the next minute of the clock."""
        step = self.step
        over = dwell_over_at(self.state, step) if step is not None and step.kind == "wait" else None
        if over is None or over == self._wakes:
            return
        left = (over - self.desk.plant.now()).total_seconds()
        if left > 0:
            self._wakes = over
            self.set_timer(left + _A_MOMENT_S, self.retell)

    @property
    def _width(self) -> int:
        return self.size.width - (_LIST_WIDTH if self.size.width >= _WIDE else 0)

    def _card(self, fresh: WorkView, width: int) -> list[Line]:
        lines: list[Line] = []
        if fresh.step is not None:
            most = 2 if self.size.height < 34 else 0
            return lines + step_lines(fresh.step, self.language, width, most=most)
        return lines + finish_lines(fresh, self.language, width)

    def _keep_words(self, fresh: WorkView, state: "State") -> None:
        """Somebody else signed the step in hand: what was typed is shown, so that it is not lost unseen."""
        old = self.view.step if self.view else None
        typed = self.entry.given.text.strip()
        if old is None or not typed or (fresh.step is not None and fresh.step.id == old.id):
            return
        signed = state.signed.get(old.id)
        if signed is not None and self.entry.about:
            facts = {"name": signed.name, "time": f"{signed.at:%H:%M}", "typed": typed}
            self.refuse((say("signed_meanwhile", self.language, **facts),), "notice")

    def _hand_over(self, code: str) -> None:
        """What one person typed is signed by no other: it waits for them. What was typed before a sign-in stays."""
        if code == self._typist:
            return
        if self._typist:
            self._half[self._typist] = (self.entry.about, self.entry.given)
            self.entry.forget()
            self._retry = None
        self._typist = code

    def _take_up(self, spec: EntrySpec, about: str) -> None:
        """Whoever comes back finds what they had typed, if it is still asked and the field is empty."""
        where, given = self._half.pop(self._typist, ("", Given()))
        if where == about and self.entry.given == Given(chosen=spec.chosen):
            self.entry.given = given
            self.entry.show(spec, about)

    def key_label(self, wording: str) -> str:
        """What Enter does now."""
        if wording == "work.key_record" and self.view is not None:
            if self.view.step is None:
                return say("key_release", self.language)
            if self.view.step.pin:
                return say("key_record_pin", self.language)
        return super().key_label(wording)

    def action_lye(self) -> None:
        """Figures for lye: an estimate, nothing is recorded."""
        from floorterm.terminal.screens.lye import LyeFigures  # noqa: PLC0415  only when it is asked for

        self.start_way(LyeFigures(self.app).show)

    def check_action(self, action: str, _: tuple[object, ...]) -> bool | None:
        """Enter is grey while the step is refused; the reasons stand on the screen."""
        if action == "lye":
            return self.view is not None and lye_section(self.state, self.step) is not None
        if self.view is None or action not in ("record", "flush"):
            return True
        if action == "flush":
            return True if self.view.flush is not None else None
        if self.view.step is not None:
            return None if self.view.step.refused else True
        if self.view.finish is None:
            return None
        signed_in = self.app.session.person is not None
        return True if self.view.finish.ready or not signed_in else None

    def give_focus(self) -> None:
        """The field is always in focus."""
        if self.stands:
            self.entry.focus()

    # --- entering -------------------------------------------------------------------------------

    def on_entry_changed(self, _: Entry.Changed) -> None:
        """Answer at once to what is typed; an old refusal is over."""
        self._answer()
        self._retry = None
        self.refuse(())

    def _answer(self) -> None:
        """Beside the field, what stands in it means: by the record and in the language of now."""
        step = self.step
        if step is not None and self._shown is not None:
            self.entry.answer(echo(self._shown, step, self.entry.given, self.language))

    def on_entry_pad_wanted(self, message: Entry.PadWanted) -> None:
        """A screen of its own for the pad."""
        spec, given = message.entry.spec, message.entry.given
        title = self.view.title if self.view else ""

        def take(back: Given | None) -> None:
            if back is not None:
                message.entry.given = back
                message.entry.show(spec, message.entry.about)
                self.on_entry_changed(Entry.Changed(message.entry))

        ask = AskScreen(title, spec.prompt, spec, given=given, may_be_empty=True)
        self.app.push_screen(ask, take)

    def scanned(self, message: Scanned) -> None:
        """A code goes into the field of a step that asks for one; a badge names a person; nothing is signed."""
        asked = self.entry.takes(message.text)
        if self.app.badge_scanned(message.text) or self.desk.is_badge(message.text):
            if asked:
                self.refuse((words("terminal.scan_badge", self.language, text=message.text),), "caution")
        elif asked:
            self.entry.put(message.text)
        else:
            self.refuse((say("scan_not_asked", self.language, came=message.text),), "caution")

    def on_rows_opened(self, message: Rows.Opened) -> None:
        """A tap in the list shows that step, if it is open."""
        self.show_step(message.row.key)

    def show_step(self, step_id: str) -> None:
        """Show a step that the person chose instead of the one proposed."""
        if self.state.stands(step_id, self.desk.plant.now()):
            self.refuse((say("stands_already", self.language),), "notice")
            return
        self._at = step_id
        self.refuse(())
        self.retell()

    def action_turn(self, by: int) -> None:
        """Turn the page of a long step."""
        self.query_one(StepCard).turn(by)

    # --- recording ------------------------------------------------------------------------------

    def enter_does(self) -> object:
        """Enter signs this step for this person, or releases."""
        person, shown = self.app.session.person, self.view.step if self.view else None
        return person.code if person else "", (shown.id, shown.round) if shown else ()

    def action_record(self) -> None:
        """Record what was entered at the step, or release when nothing is open.

        Whoever entered something at the step has seen it; otherwise it must have been shown for a moment.
        """
        if not self.is_meant(seen=self.entry.touched):
            return
        self.entry.touched = False  # for one Enter: the next one may be a bounce
        step, person = self.step, self.app.session.person
        if step is None:
            self.record(Release())
            return
        if person is None:
            self.start_way(self._sign_in_first)
            return
        act = act_of(self.state, step, person, self.entry.given)
        needs_counter = isinstance(act, SignStep) and step.mark and act.counter is None
        if needs_counter and self.entry.spec.mode != "counter":
            self.start_way(self._with_counter, act)
            return
        self.record(act)

    async def _sign_in_first(self) -> None:
        """Which step is in hand depends on who asks: after the sign-in the person looks, then presses again."""
        if await self.app.ensure_signed_in() is not None:
            self.retell()

    async def _with_counter(self, act: SignStep | PushFlush) -> None:
        title = self.view.title if self.view else ""
        spec = counter_spec(self.language)
        given = await self.app.push_screen_wait(AskScreen(title, spec.prompt, spec))
        if given is not None and isinstance(act, SignStep):
            self.record(replace(act, counter=counter_of(given.text)))

    def record(self, act: Act) -> None:
        """Ask the rules, then the desk. An act that was not recorded is pressed again with its old key."""
        refusals = self.refusals(act)
        if refusals:
            shown = refusal_views(refusals, self.language)
            self.refuse(f"{one.text} ({one.rule})" for one in shown)
            return
        key = self._retry[1] if self._retry is not None and self._retry[0] == act else None
        self.desk.record(self.work, act, key=key, screen=self)

    def recorded(self, message: Recorded) -> None:
        """It is in the record: the next step, with an empty field."""
        self._retry = None
        self.drafts.clear()
        step = message.entry.step
        if step and self.entry.about.startswith(f"{step} ") and message.entry.kind != Note.KIND:
            if message.entry.kind != PushFlush.KIND:  # a running total does not leave the step
                self._at = self._next_on_paper(step) if message.entry.kind == LateStep.KIND else ""
            self.entry.forget()
        self._tell_deviation(message.entry.n)

    def _next_on_paper(self, step_id: str) -> str:
        """The next step of the worksheet that neither stands nor was entered from paper."""
        state = self.state
        ids = [step.id for step in state.worksheet.steps()]
        return next((name for name in ids[ids.index(step_id) + 1 :] if state.done(name) is None), "")

    def _tell_deviation(self, n: int) -> None:
        found = [one for one in self.state.deviations if one.n == n]
        if found:
            self.refuse((say("deviation_raised", self.language, number=n),), "caution")

    def not_recorded(self, message: NotRecorded) -> None:
        """Nothing was recorded; what was typed stays."""
        if message.act is not None:
            self._retry = (message.act, message.key)
        self.retell()

    # --- other screens --------------------------------------------------------------------------

    def action_locks(self) -> None:
        """Every isolation point of the line."""
        from floorterm.terminal.screens.locks import LocksScreen  # noqa: PLC0415

        self.app.push_screen(LocksScreen(self.state.worksheet.line.id, self.work), self._back_at)

    def _back_at(self, step_id: str | None) -> None:
        if step_id:
            self.show_step(step_id)

    def action_flush(self) -> None:
        """Required amounts, what governs them, the curve."""
        from floorterm.terminal.screens.flush import FlushScreen  # noqa: PLC0415

        self.app.push_screen(FlushScreen(self.work))

    def action_list(self) -> None:
        """The whole list."""
        from floorterm.terminal.screens.work_list import WorkListScreen  # noqa: PLC0415

        at = self.view.step.id if self.view and self.view.step else ""
        self.app.push_screen(WorkListScreen(self.work, at), self._back_at)

    def action_paper(self) -> None:
        """The paper of this work from what this screen knows: read and copied even while the record is away."""
        from floorterm.review.worksheet import as_text  # noqa: PLC0415  only when the record is down
        from floorterm.terminal.screens.dialogs import TextScreen  # noqa: PLC0415

        if self._shown is not None:
            text = as_text(self._shown.worksheet, self.language, self._shown)
            lines = [(Span(line),) for line in text.splitlines()]
            self.app.push_screen(TextScreen(self.title_text(), say("paper_question", self.language), lines))

    def action_lots(self) -> None:
        """What went into the lines and what came out."""
        from floorterm.terminal.screens.lots import LotsScreen  # noqa: PLC0415

        self.app.push_screen(LotsScreen())

    def action_more(self) -> None:
        """Everything that is not the next step."""
        from floorterm.terminal.screens.work_acts import WorkActs  # noqa: PLC0415

        self.start_way(WorkActs(self).run)

    def person_name(self) -> str:
        """Who is signed in, for a dialogue's heading."""
        person = self.app.session.person
        return short_name(person.name) if person else ""

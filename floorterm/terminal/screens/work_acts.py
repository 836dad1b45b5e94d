"""Everything on Work that is not the next step: notes, reports, corrections, pauses, another direction, an end.

Each is a short way of dialogues that ends in one act; the rules judge it before the desk records it.
"""

from collections.abc import Sequence
from decimal import Decimal
from typing import TYPE_CHECKING

from floorterm.changeover.acts import (
    Abandon,
    Act,
    CorrectStep,
    Note,
    Pause,
    Protect,
    PushFlush,
    RaiseDeviation,
    RaiseLye,
    RepeatSection,
    Resume,
    SignStep,
)
from floorterm.changeover.entering import EntrySpec, Given, Speaker, act_of, counter_of, entry_spec
from floorterm.changeover.figures import number_of
from floorterm.changeover.state import Signed, State
from floorterm.changeover.view_lye import lye_section, protection_spec
from floorterm.changeover.view_step import NOBODY, passed
from floorterm.changeover.view_words import clock, kg, tell
from floorterm.changeover.worksheet import Step
from floorterm.languages import by_language
from floorterm.terminal.screens.dialogs import (
    AskScreen,
    Item,
    MenuScreen,
    holds_spec,
    number_spec,
    reason_spec,
    words_spec,
)
from floorterm.terminal.views.shown import speaker_of
from floorterm.terminal.views.work import say

if TYPE_CHECKING:
    from floorterm.terminal.screens.work import WorkScreen

_MOST_CORRECTABLE = 60


class WorkActs:
    """The menu of a Work screen and the ways that lead from it."""

    def __init__(self, screen: "WorkScreen") -> None:
        self._screen = screen
        self._step = screen.step  # as it was when the menu was asked for: what is written is about this one

    @property
    def _language(self) -> str:
        """The one that is spoken now: it may change while a dialogue stands."""
        return self._screen.language

    async def run(self) -> None:
        """Show the menu, then go the way that was chosen."""
        if await self._screen.app.ensure_signed_in() is None:
            return
        items = self._items()
        chosen = await self._menu(say("more_question", self._language), items)
        if chosen is not None:
            await getattr(self, f"_{chosen}")()

    def _items(self) -> list[Item]:
        state = self._screen.state
        lye = not state.ended and lye_section(state, self._step) is not None
        keys = ["protect", "raise_lye", "note"] if lye else ["note"]
        if not state.ended:
            keys += ["deviation", "not_applicable"]
        keys.append("correct")
        if not state.ended:
            keys += ["repeat", "resume" if state.status == "paused" else "pause", "late"]
            keys += ["redirect"] if state.worksheet.procedure is None else []
            keys.append("abandon")
        return [self._item(key) for key in keys]

    def _item(self, key: str) -> Item:
        return Item(key, say(f"more_{key}", self._language), say(f"more_{key}_note", self._language))

    # --- asking ---------------------------------------------------------------------------------

    @property
    def _title(self) -> str:
        return self._screen.view.title if self._screen.view else ""

    async def _menu(self, question: str, items: Sequence[Item], empty: str = "") -> str | None:
        return await self._screen.app.push_screen_wait(MenuScreen(self._title, question, items, empty=empty))

    async def _ask(self, question: str, spec: EntrySpec, given: Given | None = None) -> Given | None:
        ask = AskScreen(self._title, question, spec, given=given)
        return await self._screen.app.push_screen_wait(ask)

    async def _words(self, name: str, spec: EntrySpec) -> str | None:
        """A text; one that was not recorded before stands in the field again."""
        person = self._screen.app.session.person
        draft = f"{name} {self._step_id} {person.code if person is not None else ''}"
        old = self._screen.drafts.get(draft, "")
        given = await self._ask(say(f"more_{name}", self._language), spec, Given(text=old) if old else None)
        if given is None:
            return None
        self._screen.drafts[draft] = given.text
        return given.text.strip()

    async def _reason(self, name: str) -> str | None:
        return await self._words(name, reason_spec(self._language))

    def _record(self, act: Act) -> None:
        self._screen.record(act)

    @property
    def _step_id(self) -> str:
        return self._step.id if self._step else ""

    # --- the ways -------------------------------------------------------------------------------

    async def _note(self) -> None:
        text = await self._words("note", words_spec("ask_note", self._language))
        if text is not None:
            self._record(Note(text=text, step=self._step_id))

    async def _deviation(self) -> None:
        text = await self._words("deviation", words_spec("ask_deviation", self._language))
        if text is not None:
            self._record(RaiseDeviation(text=text, step=self._step_id))

    async def _not_applicable(self) -> None:
        step = self._step
        if step is None:
            return
        reason = await self._reason("not_applicable")
        if reason is not None:
            self._record(SignStep(step=step.id, outcome="not_applicable", reason=reason))

    async def _protect(self) -> None:
        person = self._screen.app.session.person
        section = lye_section(self._screen.state, self._step)
        if person is None or section is None:
            return
        now = self._screen.desk.plant.now()
        spec = protection_spec(self._screen.state, section, person, now, self._language)
        given = await self._ask(say("more_protect", self._language), spec)
        if given is not None and given.chosen:
            self._record(Protect(section=section.id, items=given.chosen))

    async def _raise_lye(self) -> None:
        section = lye_section(self._screen.state, self._step)
        if section is None:
            return
        found: list[Decimal] = []
        for key, unit in (("ask_lye_strength", "%"), ("ask_lye_temperature", "°C")):
            given = await self._ask(
                say("more_raise_lye", self._language), number_spec(key, unit, self._language)
            )
            number = number_of(given.text) if given is not None else None
            if number is None:
                return
            found.append(number)
        items = [
            Item("open", say("lye_open", self._language)),
            Item("pressurised", say("lye_pressurised", self._language)),
        ]
        pressure = await self._menu(say("ask_lye_pressure", self._language), items)
        if pressure is not None:
            self._record(
                RaiseLye(
                    section=section.id,
                    mass_pct=found[0],
                    temperature_c=found[1],
                    pressurised=pressure == "pressurised",
                )
            )

    async def _pause(self) -> None:
        reason = await self._reason("pause")
        if reason is not None:
            self._record(Pause(reason=reason))

    async def _resume(self) -> None:
        self._record(Resume())

    async def _repeat(self) -> None:
        state = self._screen.state
        items = [
            Item(section.id, tell(section.title, self._language))
            for section in state.worksheet.sections
            if any(step.id in state.signed for step in section.steps)
        ]
        question, empty = say("repeat_which", self._language), say("repeat_none", self._language)
        section = await self._menu(question, items, empty)
        if section is None:
            return
        reason = await self._reason("repeat")
        if reason is not None:
            self._record(RepeatSection(section=section, reason=reason))

    async def _late(self) -> None:
        from floorterm.terminal.screens.work_late import PaperEntry  # noqa: PLC0415  only after an outage

        await PaperEntry(self._screen, self._step).run()

    async def _redirect(self) -> None:
        sheet, library = self._screen.state.worksheet, self._screen.desk.plant.library
        now_to = sheet.incoming.id if sheet.incoming else ""
        items = [
            Item(name, tell(by_language(one.name), self._language))
            for name, one in library.fragrances.items()
            if sheet.line.id in one.lines and name != now_to
        ]
        incoming = await self._menu(say("redirect_which", self._language), items)
        if incoming is None:
            return
        reason = await self._reason("redirect")
        if reason is not None:
            name = tell(by_language(library.fragrances[incoming].name), self._language)
            about = (say("more_redirect", self._language), name, reason)
            self._screen.desk.redirect(self._screen.work, incoming, reason, about=about)

    async def _abandon(self) -> None:
        reason = await self._reason("abandon")
        if reason is None:
            return
        sheet = self._screen.state.worksheet
        named = [found for found in (sheet.outgoing, sheet.incoming, *sheet.traces) if found is not None]
        holds: tuple[str, ...] = ()
        if named:
            names = [(found.id, tell(found.name, self._language)) for found in named]
            given = await self._ask(say("ask_holds", self._language), holds_spec(names, self._language))
            if given is None:
                return
            holds = given.chosen
        self._record(Abandon(reason=reason, holds=holds))

    # --- corrections ----------------------------------------------------------------------------

    async def _correct(self) -> None:
        state, speaker = self._screen.state, speaker_of(self._screen.desk.plant, self._language)
        items = correctable(state, speaker)
        empty = say("correct_none", self._language)
        chosen = await self._menu(say("correct_which", self._language), items, empty)
        if chosen is None:
            return
        n, _, step_id = chosen.partition(" ")
        step = state.worksheet.step(step_id)
        if step is None:
            return
        given = await self._ask(tell(step.text, self._language), correction_spec(state, step, speaker))
        if given is None:
            return
        reason = await self._reason("correct")
        if reason is not None:
            act = correction(state, step, int(n), given, reason)
            self._record(act)


def correctable(state: State, speaker: Speaker) -> list[Item]:
    """Entries of steps that a correction can be about, the newest first: signatures and running totals."""
    found: list[tuple[int, Item]] = []
    for signed in state.history:
        step = state.worksheet.step(signed.act.step)
        if step is None or step.kind == "lockout" or not _has_value(step, signed):
            continue
        line = passed(state, signed, state.last_at, speaker.language)
        n = signed.corrected_by or signed.n
        found.append((n, Item(f"{n} {step.id}", line.text, f"{line.value}  {line.time} {line.name}")))
    for step_id, progress in state.flush.items():
        for push in progress.pushes:
            if any(push.n == signed.n for signed in state.history):
                continue
            total = say("total_so_far", speaker.language, kg=kg(push.kg, speaker.language))
            note = f"{clock(push.at, state.last_at)} {push.by_name}"
            found.append((push.n, Item(f"{push.n} {step_id}", total, note)))
    newest = sorted(found, key=lambda pair: -pair[0])
    return [item for _, item in newest[:_MOST_CORRECTABLE]]


def _has_value(step: Step, signed: Signed) -> bool:
    return signed.act.outcome == "done" and (step.kind not in ("confirm", "wait") or bool(step.mark))


def correction_spec(state: State, step: Step, speaker: Speaker) -> EntrySpec:
    """What the right value is asked with; a flush is corrected in kg."""
    if step.kind == "flush":
        return EntrySpec(mode="number", prompt=say("enter_kg", speaker.language), unit="kg")
    return entry_spec(state, step, speaker)


def correction(state: State, step: Step, n: int, given: Given, reason: str) -> CorrectStep:
    """The correction of entry `n` at a step."""
    if step.kind == "flush":
        return CorrectStep(step=step.id, corrects=n, reason=reason, kg=number_of(given.text))
    act = act_of(state, step, NOBODY, given)
    if isinstance(act, PushFlush):
        return CorrectStep(step=step.id, corrects=n, reason=reason, kg=act.kg)
    counter = counter_of(given.text) if step.mark and step.kind in ("confirm", "wait") else None
    return CorrectStep(
        step=step.id,
        corrects=n,
        reason=reason,
        number=act.number,
        choice=act.choice,
        text=act.text,
        scanned=act.scanned,
        counter=counter,
    )

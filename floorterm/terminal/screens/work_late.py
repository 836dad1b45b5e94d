"""Entering the step in hand from a paper: when it was done there, by whom, what was written, why only now."""

from typing import TYPE_CHECKING

from msgspec.structs import replace

from floorterm.changeover.entering import EntrySpec, Given, counter_of
from floorterm.changeover.late_entry import late_act, late_spec, paper_time
from floorterm.changeover.view_words import tell
from floorterm.lockout.model import Event
from floorterm.terminal.screens.dialogs import AskScreen, Item, MenuScreen, counter_spec, reason_spec
from floorterm.terminal.views.shown import speaker_of
from floorterm.terminal.views.work import say
from floorterm.wording import Say, sentence

if TYPE_CHECKING:
    from floorterm.changeover.worksheet import Step
    from floorterm.people import Person
    from floorterm.terminal.screens.work import WorkScreen


class PaperEntry:
    """The dialogues of one step from paper. What was typed stands there again if nothing was recorded."""

    def __init__(self, screen: "WorkScreen", step: "Step | None") -> None:
        self._screen, self._step = screen, step

    @property
    def _language(self) -> str:
        """The one that is spoken now: it may change while a dialogue stands."""
        return self._screen.language

    async def run(self) -> None:
        """Ask everything, then let the rules judge."""
        screen, step = self._screen, self._step
        if step is None:
            return
        plant = screen.desk.plant
        text = await self._typed(
            "late_time", EntrySpec(mode="text", prompt=say("ask_late", self._language)), step
        )
        if text is None:
            return
        done_at = paper_time(text.text, plant.now(), plant.zone)
        if isinstance(done_at, Say):
            screen.refuse((sentence(done_at, self._language),), "caution")
            return
        by = await self._person("late_who", "")
        if by is None:
            return
        seen = await self._person("late_seen", step.witness, without=by.code) if step.witness else None
        given = await self._value(step)
        if given is None or (step.witness and seen is None):
            return
        reason = await self._typed("late_reason", reason_spec(self._language), None)
        if reason is not None:
            screen.record(
                late_act(
                    screen.state,
                    step,
                    given,
                    done_at=done_at,
                    by=by,
                    seen_by=seen,
                    reason=reason.text.strip(),
                )
            )

    async def _value(self, step: "Step") -> Given | None:
        spec = late_spec(self._screen.state, step, speaker_of(self._screen.desk.plant, self._language))
        given = Given()
        if spec.mode != "none":
            without = step.event is Event.LOCK_OFF  # a paper may name no lock there: then it is their own
            found = await self._typed("late_value", spec, step, may_be_empty=without)
            if found is None:
                return None
            given = found
        if not step.mark or spec.mode == "counter":
            return given
        counter = await self._typed("late_counter", counter_spec(self._language), step)
        if counter is None:
            return None
        return replace(given, counter=counter_of(counter.text))

    async def _typed(
        self, name: str, spec: EntrySpec, step: "Step | None", *, may_be_empty: bool = False
    ) -> Given | None:
        person = self._screen.app.session.person
        kept = f"{name} {step.id if step is not None else ''} {person.code if person is not None else ''}"
        old = self._screen.drafts.get(kept, "")
        title = tell(step.text, self._language) if step is not None else self._title
        begin = Given(text=old) if old else None
        ask = AskScreen(self._title, title, spec, given=begin, may_be_empty=may_be_empty)
        given = await self._screen.app.push_screen_wait(ask)
        if given is not None:
            self._screen.drafts[kept] = given.text
        return given

    async def _person(self, question: str, duty: str, *, without: str = "") -> "Person | None":
        people = {
            one.code: one
            for one in self._screen.desk.plant.ledger.people()
            if one.code != without and (not duty or duty in one.duties)
        }
        items = [Item(code, f"{one.name} ({code})") for code, one in people.items()]
        menu = MenuScreen(self._title, say(question, self._language), items)
        chosen = await self._screen.app.push_screen_wait(menu)
        return people.get(chosen) if chosen else None

    @property
    def _title(self) -> str:
        return self._screen.view.title if self._screen.view else ""

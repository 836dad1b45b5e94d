"""Locks: who has which lock where, since when, and what must come next? Own lock off is one key away."""

import asyncio
from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual import events
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.widget import Widget

from floorterm.changeover.entering import Given
from floorterm.changeover.lock_offers import Offer, coordinated, filled
from floorterm.changeover.view_locks import LocksView, locks_view
from floorterm.changeover.view_words import tell
from floorterm.languages import by_language
from floorterm.lockout.model import Event
from floorterm.shift.window import window_at
from floorterm.terminal.base import FloorScreen
from floorterm.terminal.messages import NotRecorded, Recorded
from floorterm.terminal.screens.dialogs import AskScreen, Item, MenuScreen, own_lock_spec
from floorterm.terminal.views.locks import locks_lines
from floorterm.terminal.views.shown import speaker_of
from floorterm.terminal.views.signing import Offered
from floorterm.terminal.views.text import Line, Span
from floorterm.terminal.views.work import say
from floorterm.terminal.widgets.page import Page
from floorterm.terminal.widgets.step_card import StepCard
from floorterm.terminal.widgets.zones import Zone, Zones

if TYPE_CHECKING:
    from floorterm.changeover.acts import LockoutAct


_MOST = 6  # offers on the screen itself; the rest is on the list of its own


class LocksScreen(FloorScreen[str | None]):
    """The isolation points of one line. Its result is a step of the work it was opened from, or None."""

    CSS_PATH = "locks.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "take", "work.key_take", id="locks.take"),
        Binding("f5", "more", "work.key_more", id="locks.more"),
        Binding("pagedown", "turn(1)", "work.key_turn", id="locks.turn", show=False),
        Binding("pageup", "turn(-1)", "work.key_turn_back", id="locks.turn_back", show=False),
    ]

    def __init__(self, line: str, work: str = "") -> None:
        super().__init__()
        self.line, self.work = line, work
        self.view: LocksView | None = None
        self._cursor = 0
        self._outcome: asyncio.Future[bool] | None = None

    def body(self) -> Iterable[Widget]:
        """The authority first, then the points, then what this person can do."""
        with Vertical(id="locks"):
            yield Page(id="authority")
            yield StepCard(id="points")
            yield Zones(id="safer")
            yield Zones(id="others")

    # --- showing --------------------------------------------------------------------------------

    def title_text(self) -> str:
        """Whose locks."""
        name = self.view.line if self.view else self.line
        return say("locks_title", self.language, line=name)

    def question_text(self) -> str:
        """How many locks are on, and whose."""
        return self.view.summary if self.view else ""

    def show(self) -> None:
        """Read every work of the line."""
        plant, person = self.desk.plant, self.app.session.person
        name = tell(by_language(plant.library.lines[self.line].name), self.language)
        self.view = locks_view(
            plant.lock_works(self.line),
            person,
            plant.now(),
            self.language,
            line=name,
            duties=speaker_of(plant, self.language).duties,
            people=plant.ledger.people() if person is not None else (),
            shift_since=window_at(plant.library.plant.shifts, plant.now(), plant.zone).since,
        )
        width = self.size.width
        authority: Line = (Span(f" {self.view.authority} ".ljust(width), "notice"),)
        self.query_one("#authority", Page).show([authority])
        lines = locks_lines(self.view, self.language, width, signed_in=person is not None)
        self.query_one(StepCard).show(lines, self.line)
        self._cursor = min(self._cursor, max(0, len(self.view.offers) - 1))
        self._show_offers()

    def _show_offers(self) -> None:
        offers = self.view.offers if self.view else ()
        offers = offers[:_MOST]
        zones = [
            Zone(
                offer.id,
                offer.text,
                digit=str(place),
                note=offer.note,
                under_cursor=place - 1 == self._cursor,
            )
            for place, offer in enumerate(offers, 1)
        ]
        safer = sum(1 for offer in offers if offer.safer)
        self.query_one("#safer", Zones).show(zones[:safer])
        self.query_one("#others", Zones).show(zones[safer:])

    def check_action(self, action: str, _: tuple[object, ...]) -> bool | None:
        """Enter does what is chosen, if anything can be done; F5 opens what may be done besides."""
        if action == "take":
            return True if self.view is not None and self.view.offers else None
        if action == "more":
            return True if self.view is not None and self.view.more else None
        return True

    def action_turn(self, by: int) -> None:
        """Turn the page of the points."""
        self.query_one(StepCard).turn(by)

    # --- doing ----------------------------------------------------------------------------------

    def on_key(self, event: events.Key) -> None:
        """A digit does what it stands for; arrows choose, Enter does."""
        offers = self.view.offers if self.view else ()
        if event.character and event.character in "123456789":
            event.stop()
            self.app.patience.press(event.key, event.time)
            place = int(event.character) - 1
            if place < len(offers):
                self._do(offers[place])
        elif event.key in ("up", "left", "down", "right") and offers:
            event.stop()
            by = 1 if event.key in ("down", "right") else -1
            self._cursor = (self._cursor + by) % min(_MOST, len(offers))
            self._show_offers()

    def action_take(self) -> None:
        """Do what is chosen."""
        if self.view is not None and self.view.offers:
            self._do(self.view.offers[self._cursor])

    def on_zones_tapped(self, message: Zones.Tapped) -> None:
        """A tap does what it stands for."""
        message.stop()
        self.app.patience.press("tap")
        offer = next((one for one in self.view.offers if one.id == message.key), None) if self.view else None
        if offer is not None:
            self._do(offer)

    def action_more(self) -> None:
        """What somebody may also do, on a list of its own."""
        if self.view is not None and not self.desk.pending:
            self.start_way(self._choose_more, self.view)

    async def _choose_more(self, view: LocksView) -> None:
        items = [Item(offer.id, offer.text, offer.note) for offer in view.more]
        title = say("more_title", self.language, line=view.line)
        chosen = await self.app.push_screen_wait(
            MenuScreen(title, say("more_question", self.language), items)
        )
        offer = next((one for one in view.more if one.id == chosen), None)
        if offer is not None:
            await self._carry_out(offer)

    def enter_does(self) -> object:
        """Enter, a digit and a tap do what is offered; choosing another offer is no change."""
        return tuple((one.id, one.acts) for one in self.view.offers) if self.view else ()

    def _do(self, offer: Offer) -> None:
        if not self.is_meant():
            return
        if self.desk.pending:
            self.app.say(say("wait_recording", self.language))
        elif offer.goes_to:
            self._go_to_step(offer)
        else:
            self.start_way(self._carry_out, offer)

    def _go_to_step(self, offer: Offer) -> None:
        if offer.work == self.work:
            self.dismiss(offer.goes_to)
            return
        from floorterm.terminal.screens.work import WorkScreen  # noqa: PLC0415

        self.app.push_screen(WorkScreen(offer.work, offer.goes_to))

    async def _carry_out(self, offer: Offer) -> None:
        """Record the acts of an offer one after the other; the PIN is asked with the first."""
        pin_done = False
        for act in offer.acts:
            whole = act
            if offer.asks is not None:
                given = await self._ask(offer, act)
                if given is None:
                    return
                whole = filled(act, given.text, given.chosen)
            if offer.then is not None:
                named = await self.app.push_screen_wait(AskScreen(self.title_text(), offer.text, offer.then))
                if named is None:
                    return
                whole = coordinated(whole, named.chosen[0] if named.chosen else "")
            if not await self._record(offer, whole, pin_done=pin_done):
                return
            pin_done = self.app.session.person is not None

    async def _ask(self, offer: Offer, act: "LockoutAct") -> Given | None:
        spec = offer.asks
        assert spec is not None
        if act.event is Event.LOCK_ON and act.points:
            spec = own_lock_spec(self._point_name(offer, act), self.language)
        return await self.app.push_screen_wait(AskScreen(self.title_text(), offer.text, spec))

    def _point_name(self, offer: Offer, act: "LockoutAct") -> str:
        job = self.desk.plant.state(offer.work).locks[act.job].job
        point = next((one for one in job.points if one.id in act.points), None)
        return tell(point.name, self.language) if point else ""

    async def _record(self, offer: Offer, act: "LockoutAct", *, pin_done: bool) -> bool:
        self._outcome = asyncio.get_running_loop().create_future()
        points = act.points if pin_done else tuple(point for one in offer.acts for point in one.points)
        offered = Offered(offer.text, points)
        if not self.desk.record(offer.work, act, screen=self, pin_done=pin_done, offered=offered):
            return False
        recorded = await self._outcome
        while self.desk.pending:  # the desk tidies up after its message
            await asyncio.sleep(0)
        return recorded

    def _settle(self, recorded: bool) -> None:
        if self._outcome is not None and not self._outcome.done():
            self._outcome.set_result(recorded)

    def recorded(self, _: Recorded) -> None:
        """It is in the record."""
        self._settle(True)

    def not_recorded(self, _: NotRecorded) -> None:
        """Nothing was recorded."""
        self._settle(False)

"""The frame of every screen: heading, body, what was refused, the keys that work now.

A screen overrides `body` (its widgets) and `show` (reads the plant, makes views, hands them to its widgets).
`show` runs whenever something may read differently: the record moved, a minute passed, another language,
another person, the screen came back on top. Equal values repaint nothing.
"""

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar

from textual import events
from textual.app import ComposeResult
from textual.await_complete import AwaitComplete
from textual.binding import ActiveBinding, Binding, BindingType
from textual.containers import Container
from textual.message import Message
from textual.screen import Screen
from textual.widget import Widget

from floorterm.terminal.messages import (
    ByHand,
    LedgerMoved,
    MinutePassed,
    NotRecorded,
    Recorded,
    Retold,
    Scanned,
)
from floorterm.terminal.views.text import Line, Tone, day_and_clock, short_name
from floorterm.terminal.widgets.heading import Heading
from floorterm.terminal.widgets.keys import Cap, KeyBar
from floorterm.terminal.widgets.notice import Notice
from floorterm.wording import words

if TYPE_CHECKING:
    from collections.abc import Coroutine

    from textual.worker import Worker

    from floorterm.terminal.app import FloorApp
    from floorterm.terminal.desk import Desk

_Result = TypeVar("_Result")
LEAST_WIDTH, LEAST_HEIGHT = 80, 24
# keys that hands know by another name than the program
_NAMES = {
    "enter": "Enter", "escape": "Esc", "question_mark": "?", "pageup": "PgUp", "pagedown": "PgDn",
    "left": "<-", "right": "->", "up": "Up", "down": "Down", "backspace": "Bksp",
}  # fmt: skip
_FIRST = {"enter": 0}
_LAST = {"escape": 900, "question_mark": 950, "f1": 999}


def key_name(key: str) -> str:
    """A key as it is printed on a keyboard."""
    return _NAMES.get(key, key.upper() if len(key) <= 3 else key.capitalize())


def is_worded(description: str) -> bool:
    """Whether a binding's description is the key of a wording; Textual's own bindings have plain English."""
    return "." in description and " " not in description


def _place(key: str) -> int:
    if key in _FIRST or key in _LAST:
        return _FIRST.get(key, _LAST.get(key, 0))
    return int(key[1:]) if key[0] == "f" and key[1:].isdigit() else 100


def _asked(message: Message) -> bool:
    """Whether a message is of something that a hand asked for; a fault in any other one would come again by itself."""
    if isinstance(message, events.Key | events.Click):
        return True
    by_itself = isinstance(message, LedgerMoved | MinutePassed | Retold)
    return type(message).__module__.startswith("floorterm.") and not by_itself


class FloorScreen(Screen[_Result]):
    """A screen with a question. `NAME` is the key of its name; `LEAVES` says whether Esc leads back."""

    NAME: ClassVar[str] = ""
    QUESTION: ClassVar[str] = ""
    LEAVES: ClassVar[bool] = True
    OPENS: ClassVar[str] = "terminal.key_open"  # what Enter on a row of its list is called
    READS_RECORD: ClassVar[bool] = True  # what needs none is shown while the record is away
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "back", "terminal.key_back", id="screen.back"),
    ]
    DEFAULT_CSS = """
    FloorScreen, FloorScreen:ansi { background: $ground; color: $ink; layout: vertical; }
    FloorScreen > #body { height: 1fr; }
    """

    if TYPE_CHECKING:
        app: FloorApp

    def __init__(self) -> None:
        super().__init__()
        self._left = False
        self._leaving: tuple[_Result | None] | None = None
        self.knows = not self.READS_RECORD  # whether anything of the record was ever shown here
        self._way: Worker[Any] | None = None  # of dialogues, until its last one is answered
        self._known_bindings: dict[str, ActiveBinding] = {}

    @property
    def on_top(self) -> bool:
        """Whether this is the screen that people see and press keys on."""
        return self.app.screen is self

    @property
    def stands(self) -> bool:
        """Whether its widgets are there: mounted, and not being taken down while something is still told to it."""
        return self.is_mounted and self.display

    @property
    def desk(self) -> "Desk":
        """The one way to the plant."""
        return self.app.desk

    @property
    def language(self) -> str:
        """The language that is spoken now."""
        return self.app.language

    # --- what a screen overrides ----------------------------------------------------------------

    def body(self) -> Iterable[Widget]:
        """The widgets between heading and keys."""
        return ()

    def title_text(self) -> str:
        """The screen's name."""
        return words(self.NAME, self.language) if self.NAME else ""

    def question_text(self) -> str:
        """The question that the screen answers, or what answers it in a sentence."""
        return words(self.QUESTION, self.language) if self.QUESTION else ""

    def right_line(self) -> Line:
        """What stands beside the question."""
        return ()

    def show(self) -> None:
        """Read the plant and show it. Called often; `self.desk.is_open` is False at first."""

    def enter_does(self) -> object:
        """What Enter acts on now, for a screen where it signs; another value has just appeared (`patience`)."""
        return None

    # Textual runs the handlers of every class of a screen, one after the other: the frame has the handlers, once,
    # and a screen overrides what they call.

    def recorded(self, message: Recorded) -> None:
        """What this screen asked for is in the record; old refusals are gone, and the record is read again."""

    def not_recorded(self, message: NotRecorded) -> None:
        """Nothing was recorded; the reasons stand on the screen."""

    def scanned(self, message: Scanned) -> None:
        """A code was scanned: a badge names a person on every screen; a screen may do more with a code."""
        if not self.desk.is_open:
            self.app.say(words("terminal.opening_wait", self.language))
        elif not self.app.badge_scanned(message.text):
            self.refuse((words("terminal.scan_unused", self.language, text=message.text),), "caution")

    def resized(self) -> None:
        """The screen has another size: what stands at the right moves, and texts are wrapped anew."""
        self.retell()

    # --- frame ----------------------------------------------------------------------------------

    def compose(self) -> ComposeResult:
        """Heading, body, refusals, keys."""
        yield Heading(id="heading")
        with Container(id="body"):
            yield from self.body()
        yield Notice(id="notice")
        keys = KeyBar(id="keys")
        keys.styles.height = self.app.target[1]
        yield keys

    def on_mount(self) -> None:
        """Show what is known."""
        self.bindings_updated_signal.subscribe(self, lambda _: self.show_keys())
        self.retell()

    def retell(self) -> None:
        """Say everything anew."""
        if not self.stands:
            return
        with self.app.batch_update():
            if not (
                self.app.lost and self.READS_RECORD
            ):  # every try would hold the keys up until it is given up
                with self.app.own_faults.showing():
                    self.show()
                    self.knows = True
            self.show_heading()
            with self.app.own_faults.showing():
                self.show_keys()
            if self.app.lost and not self.knows and not self.query_one("#notice", Notice).sentences:
                self.app.record_watch.say_why(self)
        with self.app.own_faults.showing():
            self.appears()

    def appears(self) -> None:
        """What Enter acts on may be another thing now."""
        if self.on_top:
            self.app.patience.shows((self, self.enter_does()))

    def is_meant(self, *, seen: bool = False) -> bool:
        """Whether the key pressed last is meant for what is shown; a bounce is refused without a word."""
        return self.app.patience.takes((self, self.enter_does()), seen=seen)

    def show_heading(self) -> None:
        """Bring the heading up to date; without the record, with what it said before and since when."""
        if not self.stands:
            return
        if self.app.lost:
            self._show_loss()
            return
        with self.app.own_faults.showing():
            self._show_heading()

    def _show_loss(self) -> None:
        """What can be said without the record; a title that is read from it stays as it was."""
        heading = self.query_one("#heading", Heading)
        named = words(self.NAME, self.language) if self.NAME else ""
        title = (heading.view.title or named) if self.READS_RECORD else self.title_text()
        heading.show(title=title, question=self.app.lost, right=(), mark=self._mark(), **self._who())

    def _who(self) -> dict[str, str]:
        person = self.app.session.person
        return {
            "person": short_name(person.name) if person else "",
            "nobody": words("terminal.nobody", self.language),
            "language": self.language.upper(),
        }

    def _show_heading(self) -> None:
        app = self.app
        time = plant = ""
        if app.desk.is_open:
            plant = app.desk.plant.library.plant.name
            time = day_and_clock(app.desk.plant.now(), app.desk.plant.zone, app.language)
        elif app.sight is not None:
            plant, time = app.sight.plant, app.sight.time
        question, right = self.question_text(), self.right_line()
        if self.size.width < LEAST_WIDTH or self.size.height < LEAST_HEIGHT:
            size = {"width": self.size.width, "height": self.size.height}
            question, right = words("terminal.too_small", app.language, **size), ()
        elif app.said:
            question = app.said
        self.query_one("#heading", Heading).show(
            title=self.title_text(),
            question=question,
            right=right,
            plant=plant,
            time=time,
            mark=self._mark(),
            **self._who(),
        )

    def _mark(self) -> str:
        if self.app.lost:
            return words("terminal.lost_mark", self.language)
        return words("terminal.demo_mark", self.language) if self.app.demo else ""

    @property
    def active_bindings(self) -> dict[str, ActiveBinding]:
        """As Textual's, kept for the time that the record is away."""
        self._known_bindings = super().active_bindings
        return self._known_bindings

    def known_state(self, action: str) -> bool | None:
        """Whether a key of this screen could do something when the record answered last; off if that is not known."""
        if action == "back":
            return True
        mine = [one for one in self._known_bindings.values() if one.node is self]
        found = [one.enabled for one in mine if one.binding.action == action]
        return (any(found) or None) if found or not mine else False

    async def _dispatch_message(self, message: Message) -> None:
        """Every message of a screen may have to read the record; what a hand asked for ends no terminal.

        What it asked for here before another screen came on top, and what would lead on from here, is dropped.
        """
        if isinstance(message, ByHand) and not self.on_top:
            return
        with self.app.own_faults.outlived() if _asked(message) else self.app.losing_record():
            await super()._dispatch_message(message)

    def _on_timer_update(self) -> None:
        """A repaint of the whole screen is all that its widgets asked for: else they ask again with the next key."""
        if self._repaint_required and self.is_current and not self.app._batch_count:
            for widget in self._dirty_widgets:
                widget._exchange_repaint_regions()
        super()._on_timer_update()

    def run_worker(self, work: Any, *args: Any, **options: Any) -> "Worker[Any]":
        """As Textual's, for coroutines, which may have to read the record and whose faults end no terminal."""
        start = super().run_worker
        return self.app.own_faults.work(lambda outlived: start(outlived, *args, **options), work)

    def start_way(self, way: "Callable[..., Coroutine[Any, Any, Any]]", *about: Any) -> None:
        """Go a way of dialogues, one at a time from a screen: a key that bounces starts none beneath the first."""
        if self._way is None or self._way.is_finished:
            self._way = self.run_worker(way(*about), group="way")

    def call_next(self, callback: Callable[..., Any], *args: Any, **options: Any) -> None:
        """As Textual's: what is done with a dialogue's answer ends no terminal either."""
        super().call_next(self.app.own_faults.call(callback), *args, **options)

    def show_keys(self) -> None:
        """Bring the keys at the foot up to date."""
        if not self.stands:
            return
        caps = []
        for key, binding, enabled in self.offered():
            if binding.show:
                tone: Tone = "safe" if key == "f1" else ""
                caps.append(Cap(key, key_name(key), self.key_label(binding.description), enabled, tone))
        self.query_one("#keys", KeyBar).show(tuple(caps))

    def offered(self) -> list[tuple[str, Binding, bool]]:
        """(key, binding, whether it can be pressed now) of every key with words, in the order of the foot."""
        found = [
            (key, one.binding, one.enabled)
            for key, one in self.active_bindings.items()
            if is_worded(one.binding.description) and (one.binding.action != "back" or self.LEAVES)
        ]
        return sorted(found, key=lambda one: _place(one[0]))

    def key_label(self, wording: str) -> str:
        """The label of a key; a screen may say more exactly what a key does now."""
        return words(self.OPENS if wording == "terminal.key_open" else wording, self.language)

    def refuse(
        self, sentences: Iterable[str], tone: Tone = "danger", title: str = "terminal.not_recorded"
    ) -> None:
        """Show sentences above the keys until something else is done; none takes them away."""
        if self.stands:
            title = words(title, self.language) if tone == "danger" else ""
            self.query_one("#notice", Notice).show(tuple(sentences), tone, title)

    # --- events ---------------------------------------------------------------------------------

    def on_screen_resume(self) -> None:
        """Back on top: the record may have moved meanwhile, and what wanted to leave does so now."""
        if self._leaving is not None:
            self.dismiss(self._leaving[0])
            return
        self.retell()
        self.give_focus()
        self.app.ear.go_on()

    def dismiss(self, result: _Result | None = None) -> AwaitComplete:
        """Leave with a result: once, and under another screen (first aid) only when that has gone."""
        if self._left:
            return AwaitComplete()
        if not self.on_top:
            self._leaving = (result,)
            return AwaitComplete()
        self._left = True
        return super().dismiss(result)

    def on_resize(self) -> None:
        """Keys as high as this size needs; below the least size the heading says so, and keys go on working."""
        self.query_one("#keys", KeyBar).styles.height = self.app.target[1]
        self.resized()

    def on_ledger_moved(self, _: LedgerMoved) -> None:
        """Somebody recorded something."""
        self.retell()

    def on_minute_passed(self, _: MinutePassed) -> None:
        """The clock, and what counts minutes."""
        self.retell()

    def on_retold(self, _: Retold) -> None:
        """Another language or person, or the plant is open now."""
        self.retell()

    def on_recorded(self, message: Recorded) -> None:
        """What was asked for is in the record."""
        self.refuse(())
        self.recorded(message)
        if not self._left:
            self.retell()

    def on_not_recorded(self, message: NotRecorded) -> None:
        """Nothing was recorded, or nobody knows; say why and what to do."""
        title = "terminal.not_recorded" if message.known else "terminal.not_known"
        self.refuse(message.sentences, title=title)
        self.not_recorded(message)

    def on_scanned(self, message: Scanned) -> None:
        """A scanner read a code."""
        self.scanned(message)

    def on_key_bar_pressed(self, message: KeyBar.Pressed) -> None:
        """A tap on a key is the key."""
        message.stop()
        self.app.press(message.key)

    def on_heading_tapped(self, message: Heading.Tapped) -> None:
        """A tap on the name changes person, on the language the language."""
        message.stop()
        self.app.press({"person": "f10", "language": "f9"}[message.what])

    def on_click(self, _: events.Click) -> None:
        """A tap beside every widget leaves the focus where it was."""
        self.give_focus()

    def watch_focused(self, focused: Widget | None) -> None:
        """A finger that lifts where the screen no longer is, since it was made smaller, takes the focus from all."""
        if focused is None and self.is_mounted:
            self.call_later(self.give_focus)

    def give_focus(self) -> None:
        """Something always has the focus."""
        if self.focused is None or not self.focused.display:
            self.focus_next()

    def action_back(self) -> None:
        """Leave the screen."""
        if self.LEAVES:
            self.dismiss()

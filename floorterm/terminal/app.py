"""The application: one terminal at the line. It owns the desk, the session and the scanner's ear.

The first frame is drawn without the ledger's machinery; the plant is opened by a worker after it.
"""

import time
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar
from weakref import WeakKeyDictionary

from rich.color import Color as RichColor
from textual import events
from textual._time import get_time  # the clock of a key's `time`
from textual.app import App
from textual.binding import Binding, BindingType
from textual.color import Color
from textual.screen import Screen
from textual.worker import get_current_worker

from floorterm.languages import in_order
from floorterm.terminal import theme
from floorterm.terminal.beat import TICK_S, Beat
from floorterm.terminal.beginning import leave_on_signals, open_record
from floorterm.terminal.clock_doubt import ClockDoubt
from floorterm.terminal.desk import Desk
from floorterm.terminal.drawn import Drawn
from floorterm.terminal.ear import Ear
from floorterm.terminal.filters import filters_for
from floorterm.terminal.hands import Panel, target_cells
from floorterm.terminal.log import LOG
from floorterm.terminal.messages import Retold, Scanned
from floorterm.terminal.own_faults import OwnFaults
from floorterm.terminal.patience import Patience
from floorterm.terminal.record_watch import RecordWatch
from floorterm.terminal.repertoire import Characters
from floorterm.terminal.scan import ENTERS, GAP_S, Key
from floorterm.terminal.session import Session
from floorterm.terminal.signer import Signer
from floorterm.terminal.stylesheet import KeptStylesheet
from floorterm.wording import FALLBACK, LANGUAGES, words

if TYPE_CHECKING:
    from collections.abc import Coroutine, Mapping
    from contextlib import AbstractContextManager

    from rich.console import RenderableType
    from textual.actions import ActionParseResult
    from textual.dom import DOMNode
    from textual.worker import Worker

    from floorterm.people import Person
    from floorterm.plant import Plant, Who
    from floorterm.terminal.base import FloorScreen
    from floorterm.terminal.first_sight import FirstSight
    from floorterm.terminal.sight_memory import SightMemory

_Result = TypeVar("_Result")


class FloorApp(App[int]):
    """The terminal of a plant. `opener` opens the plant; it is called once, in a thread, after the first frame, which
    shows `sight`.

    `characters` and `colours` are what the terminal has; `look` is the ground to begin with; `panel` is given where
    fingers tap: every row is then as high as a finger needs. `scan_gap_s` 0 turns the scanner's ear off; `steady`
    counts seconds for the idle limit of a session; `patience` knows a key that bounced; `when_opened` is called once,
    when the record is open or cannot be opened; `memory` keeps what is seen at once for the next start.
    """

    ALLOW_SELECT: ClassVar[bool] = False
    ENABLE_COMMAND_PALETTE: ClassVar[bool] = False
    AUTO_FOCUS: ClassVar[str | None] = "*"
    HORIZONTAL_BREAKPOINTS: list[tuple[int, str]] | None = [(0, "-narrow"), (100, "-wide")]
    VERTICAL_BREAKPOINTS: list[tuple[int, str]] | None = [(0, "-low"), (34, "-tall")]
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f1", "first_aid", "terminal.key_first_aid", id="app.first_aid", priority=True),
        Binding("f9", "language", "terminal.key_language", id="app.language", show=False, priority=True),
        Binding("f10", "person", "terminal.key_person", id="app.person", show=False),
        Binding("f11", "look", "terminal.key_look", id="app.look", show=False, priority=True),
        Binding("question_mark", "help", "terminal.key_help", id="app.help"),
        Binding("ctrl+l", "redraw", show=False, priority=True),  # as everywhere in terminals
        Binding("slash,divide", "help", show=False),  # the same key without Shift, and on a numeric keypad
    ]

    def __init__(
        self,
        opener: "Callable[[], Plant]",
        *,
        sight: "FirstSight | None" = None,
        language: str = FALLBACK,
        plain: bool = False,
        characters: Characters = "all",
        colours: bool = True,
        demo: bool = False,
        wall: bool = False,
        look: theme.Look = "night",
        panel: Panel | None = None,
        scan_gap_s: float = GAP_S,
        steady: Callable[[], float] = time.monotonic,
        patience: Patience | None = None,
        when_opened: Callable[[], None] | None = None,
        memory: "SightMemory | None" = None,
    ) -> None:
        self._variables: dict[str, dict[str, str]] = {}
        super().__init__()
        self.language = language if language in LANGUAGES else FALLBACK
        self.plain = plain or characters != "all"
        self.demo = demo
        self.panel = panel
        self._wall = wall
        self.said = ""
        self.session = Session(steady)
        self.patience = patience or Patience(get_time)
        self.desk = Desk(self)
        self.signer = Signer(self)
        self.record_watch = RecordWatch(self)
        self.clock_doubt = ClockDoubt(self)
        self.own_faults = OwnFaults(self)
        self.ear = Ear(self, scan_gap_s)
        self.sight = sight
        self._opener = opener
        self._when_opened = when_opened
        self.beat = Beat(self, memory, steady)
        self._first: FloorScreen[None] | None = None
        self._signing: Worker[Any] | None = None
        self._aimed: WeakKeyDictionary[events.Event, Screen[Any]] = WeakKeyDictionary()
        for one in theme.themes():
            self.register_theme(one)
        self.theme = theme.SIXTEEN if self.plain else theme.LOOKS[look]
        self.stylesheet = KeptStylesheet(variables=self.get_css_variables())
        has = "console" if plain and characters == "all" else characters
        self._drawn = Drawn()
        self._filters = filters_for(self._filters, has, None if colours else self._ground)

    def _display(self, screen: "Screen[Any]", renderable: "RenderableType | None") -> None:
        super()._display(screen, self._drawn.lean(renderable))

    def _ground(self) -> RichColor:
        return Color.parse(self.theme_variables["ground"]).rich_color

    @property
    def target(self) -> tuple[int, int]:
        """(columns, lines) of the least thing to be tapped at this size of this panel."""
        return target_cells(self.panel, *self.size)

    def get_css_variables(self) -> dict[str, str]:
        """As Textual's, worked out once for a theme; it asks at every turn of the start."""
        known = self._variables.get(self.theme)
        if known is None:
            known = self._variables[self.theme] = super().get_css_variables()
        self.theme_variables = known
        return known

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Every theme of Textual can be chosen: what it does not name is taken from ours."""
        return dict(theme.VARIABLES)

    # --- opening and leaving --------------------------------------------------------------------

    def on_mount(self) -> None:
        """First screen, clean leaving, the slow tick."""
        self.animation_level = "none"
        if not self.is_headless:
            leave_on_signals(self)
        self.set_interval(TICK_S, self.beat.tick)
        self.call_after_refresh(self._shown)

    def get_default_screen(self) -> "FloorScreen[None]":
        """The screen that everything begins with; an empty one below it would be laid out and drawn first."""
        self._first = self._first_screen()
        for path in self._first.css_path:  # Textual reads the files of pushed screens alone
            self.stylesheet.read(path)
        return self._first

    def _first_screen(self) -> "FloorScreen[None]":
        if self._wall:
            from floorterm.terminal.screens.wall import WallScreen  # noqa: PLC0415  screens import the base

            return WallScreen()
        from floorterm.terminal.screens.lines import LinesScreen  # noqa: PLC0415

        return LinesScreen()

    def _shown(self) -> None:
        """The first frame stands: only now what takes long."""
        self.open_plant()

    def open_plant(self) -> None:
        """Open the record; again after a failure."""
        self.run_worker(self._open(), group="opening", exclusive=True)

    async def _open(self) -> None:
        try:
            if await open_record(self, self._opener):
                self.beat.begin()
                self.retell()
                self.ear.release()
                await self.clock_doubt.say()
        finally:
            if self._when_opened is not None:
                self._when_opened()
                self._when_opened = None

    def _fatal_error(self) -> None:
        """Textual would print the traceback with every variable; here it goes to a file without them."""
        from floorterm.terminal.crash import keep  # noqa: PLC0415

        path = keep(self._exception) if self._exception is not None else None
        LOG.critical("ended by a fault of the program, kept in %s", path or "no file")
        self._exit_renderables.append(words("terminal.crashed", self.language, path=str(path or "-")))
        self._close_messages_no_wait()

    def on_unmount(self) -> None:
        """Let a commit that is under way end."""
        self.desk.close()

    # --- keys, taps, scans ----------------------------------------------------------------------

    async def on_event(self, event: events.Event) -> None:
        """Every key passes the scanner's ear first; every key and tap keeps the session alive."""
        if isinstance(event, events.Key) and not event.is_forwarded:
            await self.ear.hear(Key(event.key, event.character, event.time))
            return
        if isinstance(event, events.Key):  # it comes back from the screen to act
            aimed = self._aimed.get(event)
            if aimed is not None and not (self.screen_stack and aimed is self.screen):
                return  # another screen has come on top since: the key was not pressed for that one
            if event.key == "enter":
                self.patience.press(event.key, event.time)
        if isinstance(event, events.MouseDown) and not event.is_forwarded:
            self._touched()
        await super().on_event(event)

    @property
    def at_first(self) -> bool:
        """Whether the screen that everything begins with is on top."""
        return self.has_screen and self.screen is self._first

    @property
    def has_screen(self) -> bool:
        """Whether a screen of ours stands yet."""
        return bool(self.screen_stack) and self.screen.is_mounted

    async def carry_out(self, given: Key | str) -> None:
        """Give the screen on top a key, or a scanned text."""
        self._touched()
        if isinstance(given, str):
            self.screen.post_message(Scanned(given))
        else:
            name = "enter" if given.key in ENTERS else given.key
            key = events.Key(name, given.character)
            key.time = given.at
            self._aimed[key] = self.screen
            await super().on_event(key)

    def press(self, key: str) -> None:
        """Do what a key does, for a tap on its zone."""
        self.post_message(events.Key(key, None))

    def _touched(self) -> None:
        self.session.touch()
        self.say("")

    def say(self, text: str) -> None:
        """Say something short under the heading until the next key."""
        if text == self.said:
            return
        self.said = text
        from floorterm.terminal.base import FloorScreen  # noqa: PLC0415

        if self.screen_stack and isinstance(self.screen, FloorScreen):  # none is left once the program ends
            self.screen.show_heading()

    # --- the record -----------------------------------------------------------------------------

    async def look_at_record(self) -> None:
        """Tell the screen on top if the record has moved, or say that it does not answer, and since when."""
        if await self.record_watch.look():
            self.clock_doubt.look()

    @property
    def lost(self) -> str:
        """That the record does not answer, and since when; "" while it does."""
        return self.record_watch.lost

    def losing_record(self) -> "AbstractContextManager[None]":
        """Where the record does not answer, what was shown stays, and the heading says so."""
        return self.record_watch.losing()

    def _check_action_state(self, action: str, default_namespace: "DOMNode") -> bool | None:
        """As Textual's; one key that cannot be asked while the record is away takes no other one with it."""
        check = partial(super()._check_action_state, action, default_namespace)
        return self.record_watch.state_of(action, default_namespace, check)

    async def run_action(
        self,
        action: "str | ActionParseResult",
        default_namespace: "DOMNode | None" = None,
        namespaces: "Mapping[str, DOMNode] | None" = None,
    ) -> bool:
        """What a key does; where the record does not answer, or it fails, the screen stays and says so."""
        with self.own_faults.outlived():
            return await super().run_action(action, default_namespace, namespaces)
        return True

    def run_worker(self, work: Any, *args: Any, **options: Any) -> "Worker[Any]":
        """As Textual's, for coroutines, whose faults end no terminal."""
        start = super().run_worker
        return self.own_faults.work(lambda outlived: start(outlived, *args, **options), work)

    async def push_screen_wait(  # type: ignore[override]  # by name no screen is asked for here
        self, screen: Screen[_Result], *, mode: str | None = None
    ) -> _Result | None:
        """As Textual's; a screen over which another one has come meanwhile begins no dialogue: it counts as left."""
        await self._flush_next_callbacks()
        asking = get_current_worker().node
        if isinstance(asking, Screen) and asking is not self.screen:
            return None
        return await super().push_screen_wait(screen, mode=mode)

    def call_next(self, callback: Callable[..., Any], *args: Any, **options: Any) -> None:
        """As Textual's: what is done with a dialogue's answer ends no terminal either."""
        super().call_next(self.own_faults.call(callback), *args, **options)

    def retell(self) -> None:
        """Every screen says everything anew."""
        for screen in self.screen_stack:
            screen.post_message(Retold())

    # --- people ---------------------------------------------------------------------------------

    def begin_session(self, person: "Person") -> None:
        """Somebody gave their PIN: they act at this terminal from now on."""
        self.session.begin(person)
        self.retell()

    def end_session(self) -> None:
        """Nobody is signed in; the step in hand stays on the screen."""
        self.session.end()
        self.retell()

    async def ensure_signed_in(self) -> "Who | None":
        """The person signed in, who signs in first if nobody is. To be awaited in a worker."""
        signature = await self.signer.in_session()
        return signature.who if signature else None

    def badge_scanned(self, text: str) -> bool:
        """Whether a scanned text is somebody's badge; then they are asked for their PIN to take over here."""
        person = self.desk.plant.ledger.by_badge(text)
        if person is None or not person.active:
            return False
        if self.session.person is None or self.session.person.code != person.code:
            self._start_signing(self.signer.take_over, person)
        return True

    def action_person(self) -> None:
        """Another person takes over this terminal, or the one signed in signs out."""
        if not self.desk.is_open:
            self.say(words("terminal.opening_wait", self.language))
        elif not self._is_top("SignInScreen"):
            self._start_signing(self.signer.sign_in)

    def _start_signing(self, way: "Callable[..., Coroutine[Any, Any, Any]]", *about: Any) -> None:
        """One sign-in at a time: a key or badge that bounces opens none beneath the first."""
        if self._signing is None or self._signing.is_finished:
            self._signing = self.run_worker(way(*about), group="signing")

    # --- everywhere -----------------------------------------------------------------------------

    def action_first_aid(self) -> None:
        """First aid, from every screen, without signing in."""
        from floorterm.terminal.screens.first_aid import FirstAidScreen  # noqa: PLC0415

        if not isinstance(self.screen, FirstAidScreen):
            self.push_screen(FirstAidScreen())

    def action_language(self) -> None:
        """The next language: first those of the plant, then the others that the program speaks."""
        plant = self.desk.plant if self.desk.is_open else None
        known = in_order((FALLBACK, *plant.library.plant.languages) if plant else ())
        self.language = known[(known.index(self.language) + 1) % len(known)]
        self.said = ""
        self.retell()

    def action_look(self) -> None:
        """Light ground for daylight, dark ground for the night. Sixteen colours have one look."""
        if not self.plain:
            self.theme = theme.NIGHT if self.theme == theme.DAY else theme.DAY

    def action_redraw(self) -> None:
        """Write the whole screen anew, over whatever a stranger wrote there."""
        self.screen.refresh()

    def action_help(self) -> None:
        """Every key that works on this screen, as a list to choose from."""
        from floorterm.terminal.base import FloorScreen  # noqa: PLC0415
        from floorterm.terminal.screens.keys_help import KeysScreen  # noqa: PLC0415

        below = self.screen
        if isinstance(below, FloorScreen) and not isinstance(below, KeysScreen):
            self.push_screen(KeysScreen(below.offered()), self._press_chosen)

    def _press_chosen(self, key: Any) -> None:
        if key:
            self.press(str(key))

    def _is_top(self, name: str) -> bool:
        return type(self.screen).__name__ == name

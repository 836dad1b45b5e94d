"""Shift: what was run and how long it took, what waits for a decision or for its release."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from floorterm.terminal.base import FloorScreen
from floorterm.terminal.messages import NotRecorded
from floorterm.terminal.retry import Retry
from floorterm.terminal.screens.entries import EntriesScreen
from floorterm.terminal.views.text import Line, sides
from floorterm.terminal.widgets.rows import Row, Rows

if TYPE_CHECKING:
    from floorterm.changeover.state import State
    from floorterm.shift.window import Window
    from floorterm.terminal.views.shift import ShiftRow


class ShiftScreen(FloorScreen[None]):
    """One shift; Left and Right turn to others."""

    NAME = "terminal.shift"
    CSS_PATH = "shift.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f4", "sign_offs", "terminal.key_sign_offs", id="shift.sign_offs"),
        Binding("f5", "settle", "terminal.key_decide", id="shift.settle"),
        Binding("f6", "review", "shift.key_review", id="shift.review"),
        Binding("f7", "open_work", "terminal.key_work", id="shift.work"),
        Binding("left", "turn(-1)", "terminal.key_before", id="shift.before"),
        Binding("right", "turn(1)", "terminal.key_after", id="shift.after"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._window: Window | None = None  # None: the shift that runs now
        self._rows: tuple[ShiftRow, ...] = ()
        self._retry = Retry()
        self._drafts: dict[str, str] = {}  # texts for the next shift that are not signed yet

    def body(self) -> Iterable[Widget]:
        """One list in three parts."""
        yield Rows(row_height=2, id="shift", on_chosen=self._row_chosen)

    @property
    def window(self) -> "Window":
        """The shift that is shown."""
        from floorterm.shift.window import window_at  # noqa: PLC0415

        plant = self.desk.plant
        return self._window or window_at(plant.library.plant.shifts, plant.now(), plant.zone)

    def question_text(self) -> str:
        """Which shift it is."""
        from floorterm.shift.window import window_text  # noqa: PLC0415

        return window_text(self.window, self.language)

    def right_line(self) -> Line:
        """Whether the second place for seals is away, and since when; else whether the shift is signed."""
        from floorterm.shift_review import signature_of  # noqa: PLC0415
        from floorterm.terminal.views.shift import second_place_line, signature_line  # noqa: PLC0415

        place = self.app.beat.second_place
        if not self.desk.is_open:
            return ()
        plant, language, window = self.desk.plant, self.language, self.window
        away = second_place_line(place.fault, place.since, plant.zone, language)
        return away or signature_line(signature_of(plant, window), window, plant.now(), language)

    def show(self) -> None:
        """The works that were on in the shift."""
        from floorterm.terminal.views.lines import names_of  # noqa: PLC0415
        from floorterm.terminal.views.shift import ledger_tells, shift_rows  # noqa: PLC0415

        plant, language = self.desk.plant, self.language
        names = names_of(plant.library, language)
        told, since = ledger_tells(plant.ledger, self.window), self.window.since
        self._rows = shift_rows(self._states(), names, plant.now(), plant.zone, language, told, since)
        self.query_one("#shift", Rows).show([self._row(row) for row in self._rows])

    def _states(self) -> "tuple[State, ...]":
        """Works that were on in the shift; in the shift that runs, also everything that is still open."""
        from floorterm.shift_review import states_shown  # noqa: PLC0415

        return states_shown(self.desk.plant, self.window)

    def _row(self, row: "ShiftRow") -> Row:
        if row.heading:
            return Row(row.key, row.left, heading=True)
        return Row(row.key, sides(row.left, row.right, self.size.width - 7, plain=self.app.plain))

    @property
    def chosen(self) -> "ShiftRow | None":
        """The row that keys are about."""
        row = self.query_one("#shift", Rows).chosen if self.stands else None
        return next((one for one in self._rows if row and one.key == row.key), None)

    # --- keys -----------------------------------------------------------------------------------

    def check_action(self, action: str, _: tuple[object, ...]) -> bool | None:
        """Keys for what the chosen row allows."""
        row = self.chosen
        if action == "settle":
            return True if row is not None and (row.deviation or row.ready) else None
        if action == "open_work":
            return True if row is not None and row.work else None
        return True

    def _row_chosen(self, _: Row) -> None:
        """Other keys work."""
        self.show_keys()

    def on_rows_opened(self, _: Rows.Opened) -> None:
        """Decide about a deviation, look back at a work."""
        row = self.chosen
        if row is None or not self.on_top:  # a key that bounced has opened it already
            return
        if row.deviation:
            self._decide_row()
        elif row.work:
            self.app.push_screen(EntriesScreen(work=row.work))
        else:
            self.action_sign_offs()

    def action_sign_offs(self) -> None:
        """Every entry of the shift."""
        self.app.push_screen(EntriesScreen(window=self.window))

    def action_review(self) -> None:
        """The whole shift as it is signed."""
        from floorterm.terminal.screens.review import ReviewScreen  # noqa: PLC0415

        self.app.push_screen(ReviewScreen(self.window, self._drafts))

    def action_open_work(self) -> None:
        """The work of the row, as it stands."""
        from floorterm.terminal.screens.work import WorkScreen  # noqa: PLC0415

        row = self.chosen
        if row is not None and row.work:
            self.app.push_screen(WorkScreen(row.work))

    def action_turn(self, by: int) -> None:
        """The shift before, the shift after; after the one that runs there is none."""
        from floorterm.shift.window import window_after, window_at, window_before  # noqa: PLC0415

        plant = self.desk.plant
        shifts = plant.library.plant.shifts
        now = window_at(shifts, plant.now(), plant.zone)
        turn = window_before if by < 0 else window_after
        fresh = turn(shifts, self.window, plant.zone)
        self._window = None if fresh.since >= now.since else fresh
        self.retell()

    def key_label(self, wording: str) -> str:
        """One key settles what waits: a deviation is decided, a finished work released."""
        row = self.chosen
        if wording == "terminal.key_decide" and row is not None and row.ready:
            wording = "terminal.key_release"
        return super().key_label(wording)

    def action_settle(self) -> None:
        """Decide about a deviation or release a finished work, whichever the row is about."""
        row = self.chosen
        if row is not None and row.deviation:
            self._decide_row()
        elif row is not None and row.ready:
            self._release()

    def _release(self) -> None:
        """Release a finished work; the rules say who may and what is still missing."""
        from floorterm.changeover.acts import Release  # noqa: PLC0415

        row = self.chosen
        if row is not None and row.work:
            act = Release()
            self.desk.record(row.work, act, key=self._retry.key_of((row.work, act)))

    def _decide_row(self) -> None:
        row = self.chosen
        if row is not None and row.deviation:
            self.start_way(self._decide, row.work, row.deviation)

    async def _decide(self, work: str, number: int) -> None:
        from floorterm.terminal.screens.dispose import ask_disposition  # noqa: PLC0415

        given = await ask_disposition(self, work, number)
        if given is not None:
            act, own = given
            self.desk.record(work, act, key=self._retry.key_of((work, act)), ask_witness=own, screen=self)

    def not_recorded(self, message: NotRecorded) -> None:
        """Keep the key, so that a commit of unknown outcome is looked up."""
        row = self.chosen
        if row is not None:
            self._retry.keep((row.work, message.act), message.key)

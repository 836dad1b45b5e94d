"""Minutes: why a changeover took as long as it did; the parts of the difference add up."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar, cast

from textual.binding import Binding, BindingType
from textual.widget import Widget

from floorterm.terminal.base import FloorScreen
from floorterm.terminal.messages import NotRecorded
from floorterm.terminal.retry import Retry
from floorterm.terminal.screens.dialogs import AskScreen, Item, MenuScreen, reason_spec, words_spec
from floorterm.terminal.views.text import tell, wrapped
from floorterm.terminal.widgets.page import Page
from floorterm.terminal.widgets.rows import Row, Rows
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.changeover.acts import Cause, ExplainMinutes
    from floorterm.terminal.views.shift_review import MinutesRow

_CAUSES = ("waiting", "searching")
_BESIDE = 3  # lines of the list that no part takes: the sum, its rule, the line that counts the rows


class MinutesScreen(FloorScreen[None]):
    """One piece of work; what somebody knows of waiting and searching is recorded from here."""

    CSS_PATH = "minutes.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f5", "explain", "shift.key_explain", id="minutes.explain"),
    ]

    def __init__(self, work: str) -> None:
        super().__init__()
        self._work = work
        self._rows: tuple[MinutesRow, ...] = ()
        self._retry = Retry()

    def body(self) -> Iterable[Widget]:
        """The three figures, the parts, the chosen part whole."""
        yield Page(id="figures")
        yield Rows(digits=False, opens=False, id="parts", on_chosen=self._chosen)
        yield Page(id="part")

    def title_text(self) -> str:
        """Which work."""
        return words("shift.minutes_of", self.language, work=self._work)

    def question_text(self) -> str:
        """What it was."""
        from floorterm.changeover.view import title_of  # noqa: PLC0415

        if not self.desk.is_open:
            return ""
        sheet = self.desk.plant.state(self._work).worksheet
        return f"{tell(sheet.line.name, self.language)}  {title_of(sheet, self.language)}"

    def show(self) -> None:
        """Compute the parts from the record."""
        from floorterm.shift.summarise import minutes_line  # noqa: PLC0415
        from floorterm.terminal.views.shift_review import (  # noqa: PLC0415
            minutes_head,
            minutes_rows,
            minutes_sum,
        )

        plant, language = self.desk.plant, self.language
        line = minutes_line(plant.state(self._work), plant.now())
        rows = self.query_one("#parts", Rows)
        if line is None:
            rows.show((), empty=words("shift.minutes_later", language))
            return
        self.query_one("#figures", Page).show(minutes_head(line, language))
        room = max(3, (rows.size.height or self.size.height - 14) - _BESIDE)
        width = self.size.width - 6
        self._rows = minutes_rows(line, room, language, width=width, plain=self.app.plain)
        total = Row("sum", (minutes_sum(line, language),), heading=True)
        rows.show([*(Row(row.key, (row.line,)) for row in self._rows), total])
        self._tell()

    @property
    def chosen(self) -> "MinutesRow | None":
        """The part that keys are about."""
        row = self.query_one("#parts", Rows).chosen if self.stands else None
        return next((one for one in self._rows if row and one.key == row.key), None)

    def _chosen(self, _: Row) -> None:
        """Another part: its words whole."""
        self.refuse(())
        self._tell()
        self.show_keys()

    def _tell(self) -> None:
        row = self.chosen
        lines = wrapped(row.whole, max(20, self.size.width - 4), "quiet") if row is not None else ()
        self.query_one("#part", Page).show(lines[:2])

    def resized(self) -> None:
        """Another height has room for other parts."""
        self.call_after_refresh(self.retell)

    # --- keys -----------------------------------------------------------------------------------

    def check_action(self, action: str, _: tuple[object, ...]) -> bool | None:
        """Only what went over its standard can be explained."""
        if action == "explain":
            row = self.chosen
            return True if row is not None and row.step else None
        return True

    def action_explain(self) -> None:
        """Say that so many of its minutes were waiting or searching."""
        row = self.chosen
        if row is not None and row.step:
            self.start_way(self._explain, row.step, row.whole)

    async def _explain(self, step: str, question: str) -> None:
        from floorterm.changeover.acts import ExplainMinutes  # noqa: PLC0415

        title = words("shift.explain", self.language)
        items = [
            Item(
                name, words(f"shift.cause_{name}", self.language), words(f"shift.{name}_note", self.language)
            )
            for name in _CAUSES
        ]
        cause = await self.app.push_screen_wait(MenuScreen(title, question, items))
        if cause is None:
            return
        title = f"{title}: {words(f'shift.cause_{cause}', self.language)}"
        given = await self.app.push_screen_wait(
            AskScreen(title, question, words_spec("ask_minutes", self.language))
        )
        if given is None:
            return
        text = given.text.strip()
        if not text.isdecimal():
            self.refuse((words("shift.not_minutes", self.language, text=text),), "caution")
            return
        reason = await self.app.push_screen_wait(AskScreen(title, question, reason_spec(self.language)))
        if reason is None:
            return
        act = ExplainMinutes(
            step=step, cause=cast("Cause", cause), minutes=int(text), reason=reason.text.strip()
        )
        self._record(act)

    def _record(self, act: "ExplainMinutes") -> None:
        self.desk.record(self._work, act, key=self._retry.key_of(act), screen=self)

    def not_recorded(self, message: NotRecorded) -> None:
        """Keep the key, so that a commit of unknown outcome is looked up."""
        self._retry.keep(message.act, message.key)

"""First aid: one key from everywhere, no sign-in, also when nothing else works."""

from collections.abc import Iterable
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import Horizontal
from textual.widget import Widget

from floorterm.terminal.base import FloorScreen
from floorterm.terminal.views.first_aid import (
    FirstAidView,
    banner_lines,
    call_line,
    first_aid_view,
    topic_lines,
)
from floorterm.terminal.views.text import Line, wrapped
from floorterm.terminal.widgets.page import Page
from floorterm.terminal.widgets.rows import Row, Rows


class FirstAidScreen(FloorScreen[None]):
    """The number to call, large; what happened; what to do, in the languages of the plant."""

    NAME = "terminal.first_aid"
    QUESTION = "terminal.first_aid_question"
    READS_RECORD = False
    CSS_PATH = "first_aid.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("left", "turn(-1)", "terminal.key_before", id="first_aid.before"),
        Binding("right", "turn(1)", "terminal.key_after", id="first_aid.after"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._reading = False  # one topic over the whole width, where both do not fit beside each other

    def body(self) -> Iterable[Widget]:
        """Number, topics, what to do."""
        yield Page(id="number")
        with Horizontal():
            yield Rows(
                row_height=2, digit_opens=True, tap_opens=True, id="topics", on_chosen=self._row_chosen
            )
            yield Page(id="what-to-do")

    def _view(self) -> FirstAidView:
        plant = self.desk.plant.library.plant if self.desk.is_open else None
        return first_aid_view(plant, self.language)

    @property
    def _wide(self) -> bool:
        return self.size.width >= 100

    def show(self) -> None:
        """Everything from plant.yaml; without it, the sentence that always holds."""
        view = self._view()
        self.set_class(self._reading and not self._wide, "reading")
        width = self.size.width - 2
        number = self.query_one("#number", Page)
        if self.has_class("reading"):
            number.show(call_line(view, width, self.language))
        else:
            number.show(banner_lines(view, width, plain=self.app.plain))
        topics = self.query_one("#topics", Rows)
        topics.show([Row(topic.id, _titled(topic.title, self._wide)) for topic in view.topics])
        self._show_topic()

    def _show_topic(self) -> None:
        page = self.query_one("#what-to-do", Page)
        chosen = self.query_one("#topics", Rows).chosen
        view = self._view()
        topic = next((one for one in view.topics if chosen and one.id == chosen.key), None)
        if topic is None or not (self._wide or self._reading):
            page.show(())
            return
        width = self.size.width - (48 if self._wide else 4)
        height = self.size.height - (14 if self._wide else 7)
        page.show(topic_lines(topic, width, height))

    def _row_chosen(self, _: Row) -> None:
        """Another topic."""
        self._show_topic()

    def on_rows_opened(self, _: Rows.Opened) -> None:
        """Read the topic over the whole width."""
        self._reading = True
        self.retell()

    def action_turn(self, by: int) -> None:
        """The topic before, the topic after."""
        self.query_one("#topics", Rows).action_move(by)

    def action_back(self) -> None:
        """From a topic to the topics, from there to where one came from."""
        if self.has_class("reading"):
            self._reading = False
            self.retell()
        else:
            self.dismiss()


def _titled(title: str, wide: bool) -> tuple[Line, ...]:
    return wrapped(title, 36 if wide else 60, "strong")

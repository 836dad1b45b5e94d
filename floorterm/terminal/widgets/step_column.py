"""The middle of *Work*: what was, the step with its field, what comes; and the whole list beside it."""

from textual.app import ComposeResult
from textual.containers import Vertical

from floorterm.terminal.views.text import Line
from floorterm.terminal.widgets.entry import Entry
from floorterm.terminal.widgets.page import Page
from floorterm.terminal.widgets.rows import Rows
from floorterm.terminal.widgets.step_card import StepCard


class SideList(Rows, can_focus=False):
    """The whole list beside the step; it is tapped, and never takes the focus."""


class StepColumn(Vertical):
    """What was, the step, its field, what comes: the step gets its lines, and what is left over is air."""

    def compose(self) -> ComposeResult:
        """From top to foot."""
        yield Page(id="top")
        yield StepCard(id="card")
        yield Entry(id="entry")
        yield Page(id="air")
        yield Page(id="foot")

    def fill(self, selector: str, lines: list[Line]) -> None:
        """Lines for `#top` or `#foot`, which are as high as what they show."""
        page = self.query_one(selector, Page)
        page.styles.height = len(lines)
        page.show(lines)

    def fit(self) -> None:
        """Give the step as many lines as it wants, or as there are."""
        card = self.query_one(StepCard)
        others = sum(len(self.query_one(name, Page).lines) for name in ("#top", "#foot"))
        room = self.size.height - others - self.query_one(Entry).needed()
        height = max(1, min(card.wanted + 1, room))
        card.styles.height = height
        self.query_one("#air", Page).styles.height = max(0, room - height)

    def on_resize(self) -> None:
        """More or less room."""
        self.fit()

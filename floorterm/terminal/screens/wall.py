"""Wall: every line for a large display. It takes no input and signs nothing; first aid stays one key away."""

from collections.abc import Iterable

from textual.widget import Widget

from floorterm.terminal.base import FloorScreen
from floorterm.terminal.views.text import Span
from floorterm.terminal.widgets.page import Page
from floorterm.wording import words


class WallScreen(FloorScreen[None]):
    """One block a line of the plant, in the plant's own order. Nothing is written while nothing changes."""

    NAME = "wall.title"
    QUESTION = "wall.question"
    LEAVES = False
    CSS_PATH = "wall.tcss"

    def body(self) -> Iterable[Widget]:
        """The blocks."""
        yield Page(id="wall")

    def show(self) -> None:
        """Each line as it stands."""
        page = self.query_one("#wall", Page)
        if not self.desk.is_open:
            page.show(((Span(words("terminal.opening", self.language)),),))
            return
        from floorterm.terminal.views.lines import names_of  # noqa: PLC0415  after the first frame
        from floorterm.terminal.views.wall import wall_blocks, wall_lines  # noqa: PLC0415

        plant, language = self.desk.plant, self.language
        names = names_of(plant.library, language)
        order = tuple(plant.library.lines)
        blocks = wall_blocks(plant.lines(), order, names, plant.now(), plant.zone, language)
        size = page.size
        page.show(wall_lines(blocks, size.width or self.size.width, size.height or 20, plain=self.app.plain))

"""The plant cannot be opened: why, and what to do."""

import textwrap
from collections.abc import Iterable
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from floorterm.terminal.base import FloorScreen
from floorterm.terminal.views.text import Span
from floorterm.terminal.widgets.rows import Row, Rows


class TroubleScreen(FloorScreen[None]):
    """Sentences, one after the other; the arrows turn long lists of faults."""

    NAME = "terminal.trouble"
    QUESTION = "terminal.trouble_question"
    LEAVES = False
    CSS_PATH = "trouble.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f5", "try_again", "terminal.key_try_again", id="trouble.again"),
        Binding("f12", "leave", "terminal.key_leave", id="trouble.leave"),
    ]

    def __init__(self, sentences: tuple[str, ...]) -> None:
        super().__init__()
        self._sentences = sentences

    def body(self) -> Iterable[Widget]:
        """The sentences as a list that can be paged."""
        yield Rows(digits=False, opens=False, id="sentences")

    def show(self) -> None:
        """The sentences, wrapped."""
        rows = []
        for number, sentence in enumerate(self._sentences):
            wide = max(30, self.size.width - 6)
            for part, text in enumerate(textwrap.wrap(sentence, wide, subsequent_indent="  ") or [""]):
                rows.append(Row(f"{number}.{part}", ((Span(text),),)))
        self.query_one("#sentences", Rows).show(rows)

    def action_try_again(self) -> None:
        """Open the plant again."""
        self.dismiss()
        self.app.open_plant()

    def action_leave(self) -> None:
        """Leave the program; the exit status says that the plant could not be opened."""
        self.app.exit(return_code=2)

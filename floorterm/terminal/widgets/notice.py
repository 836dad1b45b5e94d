"""What was refused and what to do instead, above the keys; takes no room when there is nothing to say."""

import textwrap
from collections.abc import Collection

from textual.strip import Strip

from floorterm.terminal.views.text import Line, Span, Tone
from floorterm.terminal.widgets.paint import Painted

_MOST_LINES = 8


class Notice(Painted):
    """Sentences in one tone, wrapped; a word says what the colour says."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._said: tuple[tuple[str, ...], Tone, str] = ((), "", "")
        self._lines: tuple[str, ...] = ()
        self.styles.height = 0  # as it is laid out first, so that nothing is drawn twice

    @property
    def sentences(self) -> tuple[str, ...]:
        """What is said."""
        return self._said[0]

    def show(self, sentences: tuple[str, ...], tone: Tone = "danger", title: str = "") -> None:
        """Say these sentences; nothing takes the widget away."""
        if (sentences, tone, title) == self._said:
            return
        self._said = (sentences, tone, title)
        self._lay_out()
        self.refresh()  # in another tone, perhaps

    def take_back(self, said: Collection[tuple[str, ...]]) -> None:
        """Say nothing any more if it is one of these that stands here; what was refused meanwhile stays."""
        sentences, tone, _ = self._said
        if tone == "caution" and sentences in said:
            self.show(())

    def _lay_out(self) -> None:
        sentences, _, title = self._said
        width = max(20, self.app.size.width - 4)
        lines: list[str] = [title] if title and sentences else []
        for sentence in sentences:
            lines.extend(textwrap.wrap(sentence, width) or [""])
        fresh = tuple(lines[:_MOST_LINES])
        if fresh != self._lines:
            self._lines = fresh
            self.styles.height = len(fresh)
            self.refresh()  # a height that stays draws nothing anew

    def on_resize(self) -> None:
        """Wrap anew."""
        self._lay_out()

    def render_line(self, y: int) -> Strip:
        """One line of it."""
        _, tone, _ = self._said
        if y >= len(self._lines):
            return self.paint((), self.size.width)
        text = f"{' ! ' if y == 0 else '   '}{self._lines[y]}"
        line: Line = (Span(text.ljust(self.size.width), tone),)
        return self.paint(line, self.size.width)

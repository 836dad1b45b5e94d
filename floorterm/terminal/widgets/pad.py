"""A pad of digits for fingers in gloves."""

from dataclasses import dataclass
from typing import ClassVar

from textual import events
from textual.geometry import Region
from textual.strip import Strip

from floorterm.terminal.messages import ByHand
from floorterm.terminal.views.text import Span
from floorterm.terminal.widgets.paint import Look, Looks, Painted, looks
from floorterm.wording import words

_KEYS = (("1", "2", "3"), ("4", "5", "6"), ("7", "8", "9"), ("backspace", "0", "enter"))


class PinPad(Painted, can_focus=True):
    """Three by four keys; taking back and confirming have the 0 between them."""

    DEFAULT_CSS = """
    PinPad { width: 31; height: 15; }
    """
    LOOKS: ClassVar[Looks] = looks(
        {"head": Look("cap-fore", "cap-back"), "strong": Look("cap-name", "cap-back", "cap-style")}
    )

    _gap = 1

    @dataclass(eq=False, repr=False)
    class Pressed(ByHand):
        """A key of the pad: a digit, "backspace" or "enter"."""

        key: str

    def lay_out(self, room: int) -> None:
        """Take as many cells as gloves need, with a line between keys where so many lines have room for it."""
        wide, high = self.least
        self._gap = 1 if 4 * (high + 1) - 1 <= room else 0
        self.styles.width = 3 * (wide + 3) - 1
        self.styles.height = 4 * (high + self._gap) - self._gap
        self.refresh()

    def targets(self) -> tuple[Region, ...]:
        """Every key of the pad."""
        wide, high = self._step_x, self._step_y
        gap = self._gap
        return tuple(
            Region(column * wide, row * high, wide - 1, high - gap) for row in range(4) for column in range(3)
        )

    def zone_of(self, key: str) -> tuple[int, int]:
        """The cell in the middle of a key, relative to this widget."""
        for row, keys in enumerate(_KEYS):
            if key in keys:
                x, y = keys.index(key) * self._step_x, row * self._step_y
                return (x + (self._step_x - 1) // 2, y + (self._step_y - self._gap) // 2)
        raise KeyError(key)

    @property
    def _step_x(self) -> int:
        return (self.size.width + 1) // 3

    @property
    def _step_y(self) -> int:
        return (self.size.height + self._gap) // 4

    def render_line(self, y: int) -> Strip:
        """One line of the pad; one empty line and column between keys."""
        row, inside = divmod(y, self._step_y)
        if row > 3 or (self._gap and inside == self._step_y - 1):
            return self.paint((), self.size.width)
        language = str(getattr(self.app, "language", "en"))
        line: list[Span] = []
        for key in _KEYS[row]:
            wide = self._step_x - 1
            label = key if key.isdigit() else words(f"terminal.pad_{key}", language)
            text = label if inside == (self._step_y - self._gap) // 2 else ""
            line += [Span(text.center(wide), "strong"), Span(" ")]
        return self.paint(tuple(line[:-1]), self.size.width)

    def on_click(self, event: events.Click) -> None:
        """Press the key that was tapped."""
        event.stop()
        row, column = event.y // self._step_y, event.x // self._step_x
        if row < 4 and column < 3:
            self.post_message(self.Pressed(_KEYS[row][column]))

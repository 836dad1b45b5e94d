"""The keys that work now, at the foot of every screen: each is a touch zone that does the same as its key."""

from dataclasses import dataclass
from typing import ClassVar

from msgspec import Struct
from rich.cells import cell_len
from textual import events
from textual.geometry import Region
from textual.strip import Strip

from floorterm.terminal.messages import ByHand
from floorterm.terminal.views.text import Line, Span, Tone, fit
from floorterm.terminal.widgets.paint import Look, Looks, Painted, looks

HELP_KEYS = frozenset("?/")  # open the list of keys wherever they are not typed; `/` is, in a text


class Cap(Struct, frozen=True):
    """One key: its name as printed on the keyboard, what it does, whether it can do so now."""

    key: str
    name: str
    label: str
    enabled: bool = True
    tone: Tone = ""


class KeyBar(Painted):
    """A row of keys, as high as a finger in a glove needs. The last key has a place of its own at the right."""

    DEFAULT_CSS = """
    KeyBar { height: 3; }
    """
    LOOKS: ClassVar[Looks] = looks(
        {
            "head": Look("cap-fore", "cap-back"),
            "off": Look("cap-off", "ground"),
            "strong": Look("cap-name", "cap-back", "cap-style"),
        }
    )

    @dataclass(eq=False, repr=False)
    class Pressed(ByHand):
        """A key was tapped; `key` is the name that a binding knows it by."""

        key: str

    ALLOW_SELECT: ClassVar[bool] = False

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._caps: tuple[Cap, ...] = ()

    @property
    def caps(self) -> tuple[Cap, ...]:
        """The keys as shown, from left to right."""
        return self._caps

    def show(self, caps: tuple[Cap, ...]) -> None:
        """Show these keys; the same keys repaint nothing."""
        if caps != self._caps:
            self._caps = caps
            self.refresh()

    def zones(self) -> tuple[tuple[Cap, int, int], ...]:
        """(key, first column, width) of each key that has room; the last one always has."""
        if not self._caps:
            return ()
        width = self.size.width
        count = min(len(self._caps), max(1, width // (self.least[0] + 1)))
        caps = (*self._caps[: count - 1], self._caps[-1])
        each = width // count
        spare = width - each * count
        found, x = [], 0
        for index, cap in enumerate(caps):
            size = each + (1 if index < spare else 0)
            found.append((cap, x, size - (1 if index < len(caps) - 1 else 0)))
            x += size
        return tuple(found)

    def targets(self) -> tuple[Region, ...]:
        """Every key in sight."""
        return tuple(Region(x, 0, size, self.size.height) for _, x, size in self.zones())

    def zone_of(self, key: str) -> tuple[int, int] | None:
        """The cell in the middle of a key's touch zone, relative to this widget."""
        for cap, x, size in self.zones():
            if cap.key == key:
                return (x + size // 2, self.size.height // 2)
        return None

    def render_line(self, y: int) -> Strip:
        """One line of the keys."""
        line: list[Span] = []
        top = (self.size.height - 3) // 2
        x = 0
        for cap, start, size in self.zones():
            if start > x:
                line.append(Span(" " * (start - x)))
            line.extend(self._cell(cap, y - top, size))
            x = start + size
        return self.paint(tuple(line), self.size.width)

    def _cell(self, cap: Cap, y: int, size: int) -> Line:
        tone: Tone = "off" if not cap.enabled else cap.tone or "head"
        if y == 0:
            text, tone = cap.name, ("strong" if cap.enabled and not cap.tone else tone)
        elif y in (1, 2):
            text = in_two(cap.label, size, plain=self.plain)[y - 1]
        else:
            text = ""
        left = (size - cell_len(text)) // 2
        return (Span(" " * left + text + " " * (size - left - cell_len(text)), tone),)

    def on_click(self, event: events.Click) -> None:
        """Press the key that was tapped."""
        event.stop()
        for cap, x, size in self.zones():
            if x <= event.x < x + size:
                self.post_message(self.Pressed(cap.key))


def in_two(label: str, width: int, *, plain: bool = False) -> tuple[str, str]:
    """A label on two lines, split at a space, or at a `|` where a word may be parted."""
    whole = label.replace("|", "")
    if cell_len(whole) <= width:
        return whole, ""
    if "|" in label:
        first, _, second = label.partition("|")
        return fit(f"{first}-", width, plain=plain), fit(second, width, plain=plain)
    words_ = label.split(" ")
    for count in range(len(words_) - 1, 0, -1):
        first, second = " ".join(words_[:count]), " ".join(words_[count:])
        if cell_len(first) <= width:
            return first, fit(second, width, plain=plain)
    return fit(label, width, plain=plain), ""

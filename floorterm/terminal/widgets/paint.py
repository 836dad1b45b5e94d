"""Drawing lines of spans: the base of every widget here that renders line by line.

A tone is a row of a table, not a component class of Textual: every widget would have its stylesheet applied
once more for each of a dozen classes, which took longer than all the rest of putting a screen up.
"""

from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType
from typing import ClassVar, Literal, NamedTuple

from msgspec.structs import replace
from rich.segment import Segment
from rich.style import Style
from textual.color import Color
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from floorterm.entries import visible
from floorterm.terminal.hands import target_cells
from floorterm.terminal.views.text import Line, Span, Tone, fit, width_of


class Look(NamedTuple):
    """How a tone looks: names of the theme's variables, or words of a text style; "" as the widget itself."""

    fore: str = ""
    back: str = ""
    style: str = ""


Looks = Mapping[Tone | Literal["selected"], Look]
TONES: Looks = MappingProxyType(
    {
        "strong": Look("strong", style="bold"),
        "quiet": Look("quiet"),
        "done": Look("done"),
        "notice": Look("notice-fore", "notice-back"),
        "caution": Look("caution-fore", "caution-back", "caution-style"),
        "warning": Look("warning-fore", "warning-back", "warning-style"),
        "danger": Look("danger-fore", "danger-back", "bold"),
        "safe": Look("safe-fore", "safe-back", "bold"),
        "input": Look("typed"),
        "off": Look("quiet"),
        "head": Look("head-fore", "head-back"),
        "code": Look("code-fore", "code-back"),
        "selected": Look("chosen-fore", "chosen-back"),
    }
)


def looks(changed: Looks) -> Looks:
    """The table of tones with some rows of a widget's own."""
    return MappingProxyType({**TONES, **changed})


@lru_cache(maxsize=256)
def _style(fore: str, back: str, style: str) -> Style:
    """What colours and words of a theme add to a widget's own style."""
    colours = (Color.parse(name).rich_color if name else None for name in (fore, back))
    return Style.parse(style) + Style.from_color(*colours)


def _inert(span: Span) -> Span:
    """The span without anything that the terminal would take for a command, whoever put it into the record."""
    if span.text.isprintable():
        return span
    return replace(span, text=visible(span.text).replace("\n", " "))


class Painted(Widget):
    """A widget drawn by `render_line` from frozen values, in the tones of the theme."""

    LOOKS: ClassVar[Looks] = TONES

    @property
    def plain(self) -> bool:
        """Whether only the characters and colours of a plain console may be used."""
        return bool(getattr(self.app, "plain", False))

    @property
    def least(self) -> tuple[int, int]:
        """(columns, lines) that a finger in a glove needs on this terminal."""
        return getattr(self.app, "target", None) or target_cells(None, *self.app.size)

    @property
    def touched(self) -> bool:
        """Whether this terminal is known to be a touch panel."""
        return getattr(self.app, "panel", None) is not None

    def targets(self) -> tuple[Region, ...]:
        """What can be tapped here, in cells of this widget."""
        return ()

    def tone(self, tone: Tone | Literal["selected"]) -> Style:
        """The style of a tone on this terminal."""
        return self._toned(self.rich_style, tone)

    def _toned(self, own: Style, tone: Tone | Literal["selected"]) -> Style:
        """A tone over the widget's own style, which is asked once a line: Textual walks up the tree for it."""
        if not tone:
            return own
        look, variables = self.LOOKS[tone], self.app.theme_variables
        fore, back = (variables[name] if name else "" for name in (look.fore, look.back))
        return own + _style(fore, back, variables.get(look.style, look.style))

    def render_lines(self, crop: Region) -> list[Strip]:
        """A fault in drawing would come with every frame: this widget says that it is not shown; all else goes on."""
        try:
            return super().render_lines(crop)
        except Exception as fault:
            faults = getattr(self.app, "own_faults", None)
            if faults is None:
                raise
            said = f" {faults.not_drawn(fault)} ".ljust(crop.right)[crop.x : crop.right]
            blank = Strip.blank(crop.width)
            return [Strip([Segment(said)], crop.width) if y == 0 else blank for y in crop.line_range]

    def paint(self, line: Line, width: int, *, selected: bool = False) -> Strip:
        """A line as a strip of exactly that width; what does not fit is cut with a mark."""
        segments: list[Segment] = []
        left = width
        line = tuple(map(_inert, line))
        own = self.rich_style
        chosen = self._toned(own, "selected") if selected else None
        base = chosen or own
        for span in line if width_of(line) <= width else self._cut(line, width):
            style = self._toned(own, span.tone)
            if chosen is not None and span.tone not in ("danger", "warning", "caution", "notice", "safe"):
                style = chosen if self.plain else chosen + Style(bold=style.bold or None)
            segments.append(Segment(span.text, style))
        strip = Strip(segments)
        left = width - strip.cell_length
        return strip if left <= 0 else Strip([*segments, Segment(" " * left, base)], width)

    def _cut(self, line: Line, width: int) -> Line:
        kept: list[Span] = []
        left = width
        for span in line:
            needed = width_of((span,))
            if needed > left:
                kept.append(Span(fit(span.text, left, plain=self.plain), span.tone))
                break
            kept.append(span)
            left -= needed
            if left == 0:
                break
        return tuple(kept)

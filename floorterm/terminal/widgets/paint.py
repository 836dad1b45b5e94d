"""Drawing lines of spans: the base of every widget here that renders line by line."""

from typing import ClassVar

from rich.segment import Segment
from rich.style import Style
from textual.strip import Strip
from textual.widget import Widget

from floorterm.terminal.views.text import Line, Span, Tone, fit, width_of

TONES: tuple[Tone, ...] = (
    "strong", "quiet", "done", "notice", "caution", "warning", "danger", "safe", "input", "off", "head",
)  # fmt: skip


class Painted(Widget):
    """A widget drawn by `render_line` from frozen values, in the tones of the theme."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {f"tone--{tone}" for tone in TONES} | {"tone--selected"}
    DEFAULT_CSS = """
    Painted {
        & > .tone--strong { color: $strong; text-style: bold; }
        & > .tone--quiet { color: $quiet; }
        & > .tone--done { color: $done; }
        & > .tone--notice { background: $notice-back; color: $notice-fore; }
        & > .tone--caution { background: $caution-back; color: $caution-fore; text-style: $caution-style; }
        & > .tone--warning { background: $warning-back; color: $warning-fore; text-style: $warning-style; }
        & > .tone--danger { background: $danger-back; color: $danger-fore; text-style: bold; }
        & > .tone--safe { background: $safe-back; color: $safe-fore; text-style: bold; }
        & > .tone--input { color: $typed; }
        & > .tone--off { color: $quiet; }
        & > .tone--head { background: $head-back; color: $head-fore; }
        & > .tone--selected { background: $chosen-back; color: $chosen-fore; }
    }
    """

    @property
    def plain(self) -> bool:
        """Whether only the characters and colours of a plain console may be used."""
        return bool(getattr(self.app, "plain", False))

    def tone(self, tone: Tone) -> Style:
        """The style of a tone on this terminal."""
        return self.get_component_rich_style(f"tone--{tone}") if tone else self.rich_style

    def paint(self, line: Line, width: int, *, selected: bool = False) -> Strip:
        """A line as a strip of exactly that width; what does not fit is cut with a mark."""
        segments: list[Segment] = []
        left = width
        chosen = self.get_component_rich_style("tone--selected") if selected else None
        base = chosen or self.rich_style
        for span in line if width_of(line) <= width else self._cut(line, width):
            style = self.tone(span.tone)
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

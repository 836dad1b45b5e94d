"""What every line passes before it is sent: characters that the terminal has, no colour where none is wanted."""

from collections.abc import Callable, Iterable
from functools import lru_cache

from rich.color import Color as RichColor
from rich.segment import Segment
from rich.style import Style
from textual.color import Color
from textual.filter import LineFilter, Monochrome, NoColor

from floorterm.terminal.repertoire import Characters, folded


def filters_for(
    known: Iterable[LineFilter], characters: Characters, ground: Callable[[], RichColor] | None
) -> list[LineFilter]:
    """What every line passes on a terminal of these characters; `ground`, the screen's own, where it has one colour.

    Textual's own filters for one colour make greys of colours, which are colours to the terminal: they give way.
    """
    passed = [one for one in known if not isinstance(one, Monochrome | NoColor)]
    if characters != "all":
        passed.append(Repertoire(characters))
    if ground is not None:
        passed.append(Colourless(ground))
    return passed


class Repertoire(LineFilter):
    """Draws with the characters of a terminal alone."""

    def __init__(self, characters: Characters) -> None:
        super().__init__()
        self._characters = characters

    def apply(self, segments: list[Segment], _: Color) -> list[Segment]:
        """The same cells with a stand-in for each character that is not there."""
        return [Segment(folded(text, self._characters), style, control) for text, style, control in segments]


class Colourless(LineFilter):
    """Draws without any colour: what stands on another ground than the screen's is reversed, bold stays bold."""

    def __init__(self, ground: Callable[[], RichColor]) -> None:
        super().__init__()
        self._ground = ground

    def apply(self, segments: list[Segment], _: Color) -> list[Segment]:
        """The same text; of its styles what a terminal of one colour can show."""
        ground = self._ground()
        return [
            Segment(text, None if style is None else _of_one_colour(style, ground), control)
            for text, style, control in segments
        ]


@lru_cache(maxsize=1024)
def _of_one_colour(style: Style, ground: RichColor) -> Style:
    back = style.bgcolor
    apart = back is not None and _code(back) != _code(ground)
    return style.without_color + Style(reverse=bool(style.reverse) != apart)


def _code(colour: RichColor) -> object:
    return colour.triplet or colour.number

"""What the first-aid screen says: the emergency number in large figures, topics, what to do in its languages."""

from typing import TYPE_CHECKING

from msgspec import Struct

from floorterm.languages import by_language
from floorterm.terminal.views.text import Line, Span, Tone, tell, unreviewed, wrapped
from floorterm.wording import LANGUAGES, words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from floorterm.languages import Worded
    from floorterm.library.model import PlantFile

# figures and letters of five lines, three wide (M and W five); drawn with full blocks, which every console has
_LARGE = {
    "0": "###|# #|# #|# #|###", "1": " # |## | # | # |###", "2": "###|  #|###|#  |###",
    "3": "###|  #|###|  #|###", "4": "# #|# #|###|  #|  #", "5": "###|#  |###|  #|###",
    "6": "###|#  |###|# #|###", "7": "###|  #|  #|  #|  #", "8": "###|# #|###|# #|###",
    "9": "###|# #|###|  #|###", "A": "###|# #|###|# #|# #", "B": "## |# #|## |# #|## ",
    "C": "###|#  |#  |#  |###", "D": "## |# #|# #|# #|## ", "E": "###|#  |###|#  |###",
    "F": "###|#  |###|#  |#  ", "G": "###|#  |# #|# #|###", "H": "# #|# #|###|# #|# #",
    "I": "###| # | # | # |###", "J": "  #|  #|  #|# #|###", "K": "# #|# #|## |# #|# #",
    "L": "#  |#  |#  |#  |###", "M": "#   #|## ##|# # #|#   #|#   #", "N": "#  #|## #|# ##|#  #|#  #",
    "O": "###|# #|# #|# #|###", "P": "###|# #|###|#  |#  ", "Q": "###|# #|# #|###|  #",
    "R": "###|# #|## |# #|# #", "S": "###|#  |###|  #|###", "T": "###| # | # | # | # ",
    "U": "# #|# #|# #|# #|###", "V": "# #|# #|# #|# #| # ", "W": "#   #|#   #|# # #|## ##|#   #",
    "X": "# #|# #| # |# #|# #", "Y": "# #|# #|###| # | # ", "Z": "###|  #| # |#  |###",
    " ": "  |  |  |  |  ", "-": "   |   |###|   |   ", "+": "   | # |###| # |   ", "/": "  #|  #| # |#  |#  ",
}  # fmt: skip
_HEIGHT = 5


class TopicView(Struct, frozen=True):
    """One topic: its title and what to do, a text a language, the one spoken first."""

    id: str
    title: str
    steps: tuple[tuple[str, ...], ...]
    mark: str = ""  # said where nobody has reviewed what the first language says


class FirstAidView(Struct, frozen=True):
    """The number to call ("" when the plant's own is not known), the note under it, the topics."""

    number: str
    notes: tuple[str, ...]
    topics: tuple[TopicView, ...]
    mark: str = ""  # said where nobody has reviewed a note or the title of a topic


def first_aid_view(plant: "PlantFile | None", language: str) -> FirstAidView:
    """From plant.yaml, or the sentence that holds without it."""
    marked = words("work.draft", language).strip()
    order = tuple(dict.fromkeys((language, *(plant.written if plant is not None else LANGUAGES))))
    if plant is None:
        return FirstAidView("", tuple(words("terminal.call_emergency", one) for one in order), ())
    topics = tuple(
        TopicView(
            topic.id,
            tell(topic.title, language),
            tuple(_spoken(line, order) for line in topic.lines),
            marked if unreviewed((topic.title, *topic.lines), language) else "",
        )
        for topic in plant.first_aid
    )
    shown = (plant.emergency_note, *(topic.title for topic in plant.first_aid))
    mark = marked if unreviewed(shown, language) else ""
    return FirstAidView(plant.emergency_number, (tell(plant.emergency_note, language),), topics, mark)


def _spoken(text: "Worded", order: "Sequence[str]") -> tuple[str, ...]:
    """In the first language, reviewed or not, which a mark says; then in the others, where reviewed."""
    first, *others = order
    reviewed = by_language(text)
    return tuple(dict.fromkeys((tell(text, first), *(reviewed[one] for one in others if one in reviewed))))


def large(text: str, *, plain: bool = False) -> tuple[str, ...]:
    """A short text in figures of five lines; () if a character has no figure."""
    figures = [_LARGE.get(character.upper()) for character in text]
    if not text or None in figures:
        return ()
    block = "#" if plain else "█"
    rows = [(figure or "").split("|") for figure in figures]
    return tuple("  ".join(one[y].replace("#", block * 1) for one in rows) for y in range(_HEIGHT))


def banner_lines(view: FirstAidView, width: int, *, plain: bool = False) -> tuple[Line, ...]:
    """The number large, with the note beside it, or under it where there is no room."""
    figures = large(view.number, plain=plain)
    mark: tuple[Line, ...] = ((Span(view.mark, "notice"),),) if view.mark else ()
    notes: list[Line] = [line for note in view.notes for line in wrapped(note, width, "strong")]
    if not figures or len(figures[0]) + 26 > width:
        number: Line = (Span(f" {view.number} ".ljust(width), "safe"),)
        return (*((number,) if view.number else ((),)), *notes, *mark)
    room = width - len(figures[0]) - 5
    beside: list[Line] = [line for note in view.notes for line in wrapped(note, room, "strong")]
    lines: list[Line] = []
    for y, row in enumerate(figures):
        lines.append((Span(f" {row} ", "safe"), Span("  "), *(beside[y] if y < len(beside) else ())))
    return (*lines, *mark)


def call_line(view: FirstAidView, width: int, language: str) -> tuple[Line, ...]:
    """The number in one line, above a topic."""
    return ((Span(f" {words('terminal.call', language, number=view.number)} ".ljust(width), "safe"),),)


def topic_lines(topic: TopicView, width: int, height: int) -> tuple[Line, ...]:
    """What to do, step by step: each in as many languages as the screen has room for, then in the others.

    So all that is to be done stands on the first screen in the language spoken, however many the plant has.
    """
    mark: list[Line] = [(Span(topic.mark, "notice"),)] if topic.mark else []
    most = max(map(len, topic.steps))
    beside = next(
        (n for n in range(most, 1, -1) if len(mark) + sum(map(len, _blocks(topic, width, 0, n))) <= height), 1
    )
    blocks = _blocks(topic, width, 0, beside)
    room = height - 2 - len(mark)  # below a title and an empty line
    used = sum(map(len, blocks))
    lines = [*mark, *_joined(blocks, loose=used + len(blocks) - 1 <= room)]
    if used <= room:
        lines = [(Span(topic.title, "strong"),), (), *lines]
    others = _blocks(topic, width, beside, most)
    return (*lines, *([()] if others else []), *_joined(others, loose=False))


def _blocks(topic: TopicView, width: int, first: int, end: int) -> list[list[Line]]:
    """The lines of each step in some of its languages; none for a step that has no more."""
    blocks: list[list[Line]] = []
    for number, texts in enumerate(topic.steps, 1):
        block: list[Line] = []
        for which, text in enumerate(texts[first:end], first):
            tone: Tone = "strong" if which == 0 else "quiet"
            for line in wrapped(text, width - 3, tone):
                block.append((Span("   " if block else f"{number}  ", tone), *line))
        if block:
            blocks.append(block)
    return blocks


def _joined(blocks: "Sequence[Sequence[Line]]", *, loose: bool) -> list[Line]:
    lines: list[Line] = []
    for block in blocks:
        if lines and loose:
            lines.append(())
        lines.extend(block)
    return lines

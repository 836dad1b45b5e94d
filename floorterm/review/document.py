"""A document as a pure value: blocks in order, and what stands on every page. Writers make text, HTML or PDF of it.

Every text in it is spoken already, in one language; nothing in it is markup, and no writer takes it for such.
"""

from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from floorterm.languages import amount

Signal = Literal["danger", "warning", "caution", "notice"]
Weight = Literal["", "quiet", "strong"]


class Heading(Struct, frozen=True, kw_only=True):
    """A heading; level 1 opens a part, 2 a piece of it."""

    text: str
    level: Literal[1, 2] = 1


class Paragraph(Struct, frozen=True, kw_only=True):
    """One paragraph."""

    text: str
    weight: Weight = ""


class Caution(Struct, frozen=True, kw_only=True):
    """A text under its signal word, in the safety colour of ISO 3864 and ANSI Z535 that belongs to the word."""

    word: str
    text: str
    signal: Signal = "caution"


class KeyValues(Struct, frozen=True, kw_only=True):
    """What is known, a line each: (name, value)."""

    pairs: tuple[tuple[str, str], ...]


class Table(Struct, frozen=True, kw_only=True):
    """Rows under their head. `widths` are shares of the page's width; `numbers` the columns set to the right."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[int, ...] = ()
    numbers: tuple[int, ...] = ()
    empty: str = ""

    def __post_init__(self) -> None:
        """Raise ValueError for a row, or widths, that do not fit the head."""
        count = len(self.head)
        if any(len(row) != count for row in self.rows) or (self.widths and len(self.widths) != count):
            raise ValueError(f"every row and the widths have {count} cells")

    @property
    def shares(self) -> tuple[int, ...]:
        """A width for each column."""
        return self.widths or (1,) * len(self.head)


class Figure(Struct, frozen=True, kw_only=True):
    """A drawing: `svg` is a whole SVG element that the program drew, `told` says the same in words, `drawn` shows it in
    letters, a line each, where it can be.
    """

    svg: str
    told: str
    caption: str = ""
    drawn: tuple[str, ...] = ()


class Signatures(Struct, frozen=True, kw_only=True):
    """Lines to sign on paper, one a role."""

    roles: tuple[str, ...]


Block = Heading | Paragraph | Caution | KeyValues | Table | Figure | Signatures


def for_people(block: Block, language: str) -> Block:
    """The block with its figures in the form of the language: values by a name, and columns of numbers. What is read
    by programs (JSON, CSV, spreadsheets) keeps the decimal point.
    """
    match block:
        case KeyValues():
            return KeyValues(pairs=tuple((name, amount(value, language)) for name, value in block.pairs))
        case Table():
            rows = tuple(
                tuple(amount(cell, language) if n in block.numbers else cell for n, cell in enumerate(row))
                for row in block.rows
            )
            return replace(block, rows=rows)
        case _:
            return block


class Sealed(Struct, frozen=True, kw_only=True):
    """What the record's head was when the document was made: the one line that is kept and compared."""

    line: str


class Frame(Struct, frozen=True, kw_only=True):
    """What stands around the blocks in a language: the words that the writers need besides the blocks."""

    page: str  # with {page} and {pages}
    signature: str
    date: str
    seal: str
    origin: str


class Document(Struct, frozen=True, kw_only=True):
    """One document. `printed` says who made it when, `at` is that moment as UTC, `YYYY-MM-DDTHH:MM:SSZ`.

    `cautions` stand under the title, `foot` on every page; `compact` asks for small print; `origin` is the word
    by which the file is compared with the record (`floorterm.review.origin`). The same value gives the same bytes.
    """

    title: str
    subtitle: str
    language: str
    printed: str
    at: str
    foot: str
    frame: Frame
    cautions: tuple[Caution, ...] = ()
    blocks: tuple[Block, ...] = ()
    sealed: Sealed | None = None
    compact: bool = False
    origin: str = ""

    def __post_init__(self) -> None:
        """Raise ValueError for a piece that stands outside every part: readers of screens are led by headings."""
        levels = [block.level for block in self.blocks if isinstance(block, Heading)]
        if levels and levels[0] != 1:
            raise ValueError("a heading of level 2 stands under one of level 1")

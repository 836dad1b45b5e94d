"""A document on a screen: its parts one at a time, in lines of a width. Pure."""

from collections.abc import Iterator

from msgspec import Struct

from floorterm.review.document import Block, Document, Heading
from floorterm.review.document_text import block_lines
from floorterm.terminal.views.text import Line, Span


class Part(Struct, frozen=True):
    """What stands under one heading of the first level; before the first one, under the document's title."""

    name: str
    blocks: tuple[Block, ...]


def document_parts(document: Document) -> tuple[Part, ...]:
    """The parts in order; one without blocks is left out."""
    found: list[tuple[str, list[Block]]] = [(document.title, [])]
    for block in document.blocks:
        if isinstance(block, Heading) and block.level == 1:
            found.append((block.text, []))
        else:
            found[-1][1].append(block)
    return tuple(Part(name, tuple(blocks)) for name, blocks in found if blocks)


def part_lines(document: Document, part: Part, width: int) -> tuple[Line, ...]:
    """A part in lines, an empty one between two blocks; on the first part what every document says of itself."""
    return tuple((Span(line),) for line in _lines(document, part, width))


def _lines(document: Document, part: Part, width: int) -> Iterator[str]:
    first = document.blocks[:1] == part.blocks[:1]
    for caution in document.cautions if first else ():
        yield from block_lines(caution, document, width)
    for at, block in enumerate(part.blocks):
        if at or first:
            yield ""
        yield from block_lines(block, document, width)

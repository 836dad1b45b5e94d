"""A document as plain text, 78 columns wide, for a terminal or a pager."""

import textwrap

from floorterm.review.document import (
    Block,
    Caution,
    Document,
    Figure,
    Heading,
    KeyValues,
    Paragraph,
    Signatures,
    Table,
    for_people,
)

WIDTH = 78
DRAWN = 74  # of a chart made of letters, so that it fits a screen of 80 columns too
_GAP = 2


def as_text(document: Document) -> str:
    """The document as text; every line at most `WIDTH` columns."""
    out = [*_wrap(document.title.upper()), *_wrap(document.subtitle), *_wrap(document.printed)]
    for caution in document.cautions:
        out += block_lines(caution, document)
    for block in document.blocks:
        out += ["", *block_lines(block, document)]
    if document.sealed:
        out += ["", *_wrap(f"{document.frame.seal}: {document.sealed.line}")]
    out += ["", *_wrap(document.foot)]
    return "\n".join(out) + "\n"


def _wrap(text: str, width: int = WIDTH, hang: str = "") -> list[str]:
    return textwrap.wrap(text, width, subsequent_indent=hang)


def block_lines(block: Block, document: Document, width: int = WIDTH) -> list[str]:
    """One block in lines of at most `width` columns; a chart as wide as it was made."""
    block = for_people(block, document.language)
    match block:
        case Heading():
            text = block.text.upper() if block.level == 1 else block.text
            return [*_wrap(text, width), ("=" if block.level == 1 else "-") * min(width, len(text))]
        case Paragraph():
            return _wrap(block.text, width)
        case Caution():
            return _wrap(f"{block.word}: {block.text}", width, "  ")
        case KeyValues():
            names = min(24, max((len(name) for name, _ in block.pairs), default=0))
            return [
                line
                for name, value in block.pairs
                for line in _wrap(f"{name:<{names}}  {value}", width, " " * (names + _GAP))
            ]
        case Table():
            return _table(block, width)
        case Figure():
            return list(block.drawn) or _wrap(f"[{block.told}]", width)
        case Signatures():
            return [
                line
                for role in block.roles
                for line in _wrap(f"{role}: {'_' * 28}  {document.frame.date}: {'_' * 10}", width)
            ]


def _table(table: Table, width: int) -> list[str]:
    if not table.rows:
        return _wrap(table.empty, width)
    widths = _widths(table, width)
    out = [*_row(table.head, widths, ()), "  ".join("-" * column for column in widths)]
    for row in table.rows:
        out += _row(row, widths, table.numbers)
    return out


def _widths(table: Table, width: int) -> list[int]:
    """Columns by their shares, none wider than its content and none narrower than a word of its head, which the
    widest pays for; what is left goes to the one that wants most.
    """
    cells = (table.head, *table.rows)
    wanted = [max(len(row[i]) for row in cells) for i in range(len(table.head))]
    room = width - _GAP * (len(wanted) - 1)
    if sum(wanted) <= room:
        return wanted
    total = sum(table.shares)
    least = [max(map(len, name.split()), default=1) for name in table.head]
    widths = [
        min(want, max(word, room * share // total))
        for want, word, share in zip(wanted, least, table.shares, strict=True)
    ]
    while sum(widths) > room:
        widths[widths.index(max(widths))] -= 1
    spare = room - sum(widths)
    while spare > 0:
        hungry = [i for i, want in enumerate(wanted) if widths[i] < want]
        neediest = max(hungry, key=lambda i: wanted[i] - widths[i])
        widths[neediest] += 1
        spare -= 1
    return widths


def _row(row: tuple[str, ...], widths: list[int], numbers: tuple[int, ...]) -> list[str]:
    cells = [textwrap.wrap(cell, width) or [""] for cell, width in zip(row, widths, strict=True)]
    lines = []
    for index in range(max(len(cell) for cell in cells)):
        parts = [cell[index] if index < len(cell) else "" for cell in cells]
        set_ = [
            part.rjust(width) if i in numbers else part.ljust(width)
            for i, (part, width) in enumerate(zip(parts, widths, strict=True))
        ]
        lines.append("  ".join(set_).rstrip())
    return lines

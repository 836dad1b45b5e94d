"""A document's tables as CSV and as a spreadsheet, for a program that calculates.

CSV: UTF-8 with a byte order mark (without it common spreadsheet programs take the bytes for another alphabet), commas,
CRLF (RFC 4180); the tables one under another, each under its heading. Spreadsheet: a tab a table. A cell that a program
could take for a formula (it begins with = + - @, a tab or a line end: OWASP, CSV injection, from memory) is made text;
what is a plain number stays one.
"""

import csv
import io
import re
import zipfile
import zlib
from collections.abc import Iterator
from datetime import datetime
from decimal import Decimal

from floorterm.review.document import Document, Heading, KeyValues, Table

_NUMBER = re.compile(r"-?(0|[1-9]\d{0,14})(\.\d{1,9})?")
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
_NOT_IN_TAB = re.compile(r"[\[\]:*?/\\']")
_TAB = 31  # characters in a tab's name, and no more than this
_WIDEST = 60
_FOOT = 120  # half of what a footer takes, since an ampersand is doubled
_ABOUT = "docProps/core.xml"
_MOST_ABOUT = 65_536  # bytes; an origin has about a thousand

Part = tuple[str, tuple[tuple[str, ...], ...], frozenset[int]]


def parts_of(document: Document) -> Iterator[Part]:
    """Each table as (heading, rows with the head first, columns that hold numbers); what is of the whole first."""
    about: list[tuple[str, ...]] = [(document.title, document.subtitle), ("", document.printed)]
    if document.sealed is not None:
        about.append((document.frame.seal, document.sealed.line))
    if document.origin:
        about.append((document.frame.origin, document.origin))
    about += [(one.word, one.text) for one in document.cautions]
    yield document.title, tuple(about), frozenset()
    heading = document.title
    for block in document.blocks:
        match block:
            case Heading():
                heading = block.text
            case KeyValues():
                yield heading, block.pairs, frozenset({1})
            case Table():
                yield heading, (block.head, *block.rows), frozenset(block.numbers)
            case _:
                continue


def as_csv(document: Document) -> bytes:
    """The tables as CSV, an empty line between two."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    for at, (heading, rows, _) in enumerate(parts_of(document)):
        if at:
            writer.writerows(((), (plain(heading),)))
        writer.writerows([plain(cell) for cell in row] for row in rows)
    return out.getvalue().encode("utf-8-sig")


def plain(cell: str) -> str:
    """A cell that no spreadsheet program runs: an apostrophe before what would begin a formula."""
    return f"'{cell}" if cell.lstrip(" ").startswith(_FORMULA) and not _NUMBER.fullmatch(cell) else cell


def as_xlsx(document: Document) -> bytes:
    """The tables as an Office Open XML workbook; the same document gives the same bytes."""
    import xlsxwriter  # noqa: PLC0415  only a spreadsheet needs it

    out = io.BytesIO()
    book = xlsxwriter.Workbook(
        out, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    )
    made = datetime.strptime(document.at, "%Y-%m-%dT%H:%M:%SZ")  # noqa: DTZ007  the format knows no zone
    book.set_properties({"title": document.title, "comments": document.origin, "created": made})
    head = book.add_format({"bold": True, "text_wrap": True, "valign": "top"})
    body = book.add_format({"text_wrap": True, "valign": "top"})
    taken: set[str] = set()
    for heading, rows, numbers in parts_of(document):
        sheet = book.add_worksheet(_tab(heading, taken))
        sheet.set_landscape()
        sheet.fit_to_pages(1, 0)
        sheet.set_footer(f"&L{_plain_foot(document.printed)}&R&P / &N")
        columns = max(len(row) for row in rows)
        for column in range(columns):
            widest = max(len(row[column]) for row in rows)
            sheet.set_column(column, column, min(_WIDEST, widest + 2))
        for line, row in enumerate(rows):
            for column, cell in enumerate(row):
                style = body if line else head
                if column in numbers and _NUMBER.fullmatch(cell):
                    sheet.write_number(line, column, Decimal(cell), style)
                else:
                    sheet.write_string(line, column, cell, style)
    book.close()
    return out.getvalue()


def told_by(workbook: bytes) -> bytes:
    """What a workbook says of itself, where its origin stands; nothing for a file that is no workbook."""
    try:
        with zipfile.ZipFile(io.BytesIO(workbook)) as parts, parts.open(_ABOUT) as about:
            return about.read(_MOST_ABOUT)
    except (zipfile.BadZipFile, zlib.error, KeyError, ValueError, EOFError, OSError, RuntimeError):
        return b""  # RuntimeError also for what is encrypted or packed in a way that is not known


def _plain_foot(text: str) -> str:
    """A footer's text: an ampersand begins a command there, and 255 characters are all it takes."""
    return text[:_FOOT].replace("&", "&&")


def _tab(heading: str, taken: set[str]) -> str:
    """A name that no other tab has, whatever the case of its letters."""
    name = _NOT_IN_TAB.sub(" ", heading).strip()[:_TAB] or "-"
    at = 2
    while name.casefold() in taken:
        end = f" {at}"
        name = name[: _TAB - len(end)].rstrip("0123456789 ") + end
        at += 1
    taken.add(name.casefold())
    return name

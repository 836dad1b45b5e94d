"""CSV and spreadsheet: read back by readers of their own, nothing runs, numbers stay numbers."""

import csv
import io

import openpyxl

from floorterm.review.document import Document, Frame, Heading, KeyValues, Sealed, Table
from floorterm.review.document_table import as_csv, as_xlsx, plain

NASTY = ("=1+1", "+cmd", "-2+3", "@SUM(A1)", "\t=1", "\r=1")


def _document() -> Document:
    rows = tuple((text, "-1.5", "2026-11-24") for text in NASTY)
    return Document(
        title="Registro: jabón",
        subtitle="=HYPERLINK(1)",
        language="es",
        printed="-",
        at="2026-11-24T21:22:00Z",
        foot="f",
        frame=Frame(page="{page} {pages}", signature="s", date="d", seal="sello", origin="origen"),
        sealed=Sealed(line="floorterm seal: x"),
        blocks=(
            KeyValues(pairs=(("minutos", "42"), ("código", "007"))),
            Heading(text="a/b [c]"),
            Table(head=("texto", "número", "día"), rows=rows, numbers=(1,)),
            Heading(text="A/B [C]"),
            Table(head=("x",), rows=(('ñ, "q"\nz',),)),
        ),
    )


def test_csv_opens_as_utf_8_and_nothing_begins_a_formula() -> None:
    data = as_csv(_document())
    assert data.startswith(b"\xef\xbb\xbf")
    rows = list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))
    cells = [cell for row in rows for cell in row]
    assert [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t", "\r"))] == ["-1.5"] * 6
    assert ["'=1+1", "-1.5", "2026-11-24"] in rows
    assert ['ñ, "q"\nz'] in rows
    assert plain("-12.5") == "-12.5"


def test_a_spreadsheet_holds_numbers_as_numbers_and_everything_else_as_text() -> None:
    data = as_xlsx(_document())
    assert data == as_xlsx(_document())
    book = openpyxl.load_workbook(io.BytesIO(data))
    assert len({name.casefold() for name in book.sheetnames}) == len(book.sheetnames) == 4
    kinds = {(cell.value, cell.data_type) for sheet in book for row in sheet.iter_rows() for cell in row}
    assert not [value for value, kind in kinds if kind == "f"]
    assert {("=1+1", "s"), (-1.5, "n"), (42, "n"), ("007", "s"), ("2026-11-24", "s")} <= kinds
    assert book[book.sheetnames[0]]["B3"].value == "floorterm seal: x"

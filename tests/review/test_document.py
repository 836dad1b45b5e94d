"""A document says the same as text, HTML and PDF, says it in the same bytes again, and takes no text for markup."""

import io
import re
from html.parser import HTMLParser

import pypdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from floorterm.review.document import (
    Caution,
    Document,
    Figure,
    Frame,
    Heading,
    KeyValues,
    Paragraph,
    Sealed,
    Signatures,
    Table,
)
from floorterm.review.document_html import as_html
from floorterm.review.document_pdf import as_pdf
from floorterm.review.document_text import WIDTH, as_text

SEAL = "floorterm seal: entry 12 at 2026-11-24T21:22:00.000000Z chain c hash " + " ".join(["0a1b2c3d"] * 8)
SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 20"><rect width="40" height="20" fill="#F9A800"/></svg>'
DOCUMENT = Document(
    title="Lockouts of a month",
    subtitle="Northmere, October",
    language="en",
    printed="Printed by A. Vale on 2026-11-24 14:22 -07:00",
    at="2026-11-24T21:22:00Z",
    foot="Says what was recorded",
    frame=Frame(
        page="page {page} of {pages}",
        signature="signature",
        date="date",
        seal="Seal of the record",
        origin="Origin",
    ),
    cautions=(Caution(word="caution", text="The locks decide.", signal="caution"),),
    blocks=(
        Heading(text="Jobs"),
        Paragraph(text="One paragraph.", weight="strong"),
        KeyValues(pairs=(("machine", "stamper"), ("procedure", "3"))),
        Table(
            head=("entry", "what"), rows=(("17", "isolated"), ("18", "locked")), widths=(1, 5), numbers=(0,)
        ),
        Table(head=("a",), rows=(), empty="Nothing is missing."),
        Figure(svg=SVG, told="a plan of one point", caption="Plan"),
        Signatures(roles=("Safety officer",)),
    ),
    sealed=Sealed(line=SEAL),
)
SAID = (
    "Northmere, October", "A. Vale", "The locks decide.", "One paragraph.", "stamper", "isolated", "locked",
    "Nothing is missing.", "Safety officer", "Seal of the record", "Says what was recorded",
)  # fmt: skip
NASTY = "#panic() $x$ *b* @ref <script>alert(1)</script> {{ 7*7 }} \\u \"'&amp; // /* [link] ñ Ω %s"


def _pdf_text(data: bytes) -> str:
    reader = pypdf.PdfReader(io.BytesIO(data))
    return " ".join(" ".join(page.extract_text().split()) for page in reader.pages)


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        assert not any(name in ("src", "href") or name.startswith("on") for name, _ in attrs)

    def handle_data(self, data: str) -> None:
        self.text += data


def _html(document: Document) -> _Reader:
    reader = _Reader()
    reader.feed(as_html(document))
    return reader


@pytest.mark.parametrize("said", SAID)
def test_all_three_forms_say_everything(said: str) -> None:
    assert said in " ".join(as_text(DOCUMENT).split())
    assert said in " ".join(_html(DOCUMENT).text.split())
    assert said in _pdf_text(as_pdf(DOCUMENT))


def test_the_seal_is_printed_whole_with_all_its_digits() -> None:
    for text in (as_text(DOCUMENT), _html(DOCUMENT).text, _pdf_text(as_pdf(DOCUMENT))):
        assert SEAL in " ".join(text.split())


def test_html_is_one_file_without_script_or_anything_from_elsewhere() -> None:
    page = as_html(DOCUMENT)
    assert "script" not in _html(DOCUMENT).tags
    assert not re.search(r"url\(|@import|https?://(?!www\.w3\.org/)", page)


def test_html_counts_its_pages_when_it_is_printed() -> None:
    assert '"page " counter(page) " of " counter(pages) ""' in as_html(DOCUMENT)


def test_the_foot_of_a_printed_page_is_escaped_so_that_no_sign_and_no_space_is_lost() -> None:
    """CSS Syntax 3, 4.3.7: one space after the digits belongs to the escape, a second one to the text."""
    page = as_html(replace(DOCUMENT, foot='a"; b'))
    assert 'content: "a\\000022 \\00003b  b"' in page


def test_a_code_that_is_broken_at_its_hyphen_is_not_printed_with_two_in_any_language() -> None:
    """Spanish spelling repeats a word's hyphen on the next line (from memory); a code would be read with two."""
    codes = " ".join(f"C-{n:04d}/strip-down-1" for n in range(60))
    document = replace(
        DOCUMENT, language="es", blocks=(Table(head=("a", "b"), rows=((codes, codes),), widths=(1, 7)),)
    )
    text = _pdf_text(as_pdf(document)).replace(" ", "")
    assert "--" not in text
    assert "0a1b2c3d" in text
    assert text.count("strip-down-1") >= 110, "but for those that a page's end cuts"


def test_every_pdf_page_carries_its_number_who_printed_it_and_the_foot() -> None:
    long = replace(DOCUMENT, blocks=(Table(head=("n",), rows=tuple((str(n),) for n in range(120))),))
    pages = pypdf.PdfReader(io.BytesIO(as_pdf(long))).pages
    assert len(pages) > 2
    for number, page in enumerate(pages, start=1):
        text = " ".join(page.extract_text().split())
        assert f"page {number} of {len(pages)}" in text
        assert "A. Vale" in text
        assert "Says what was recorded" in text


def test_the_head_of_a_table_stands_on_every_page_that_it_runs_over() -> None:
    rows = tuple((str(n), "x") for n in range(120))
    long = replace(DOCUMENT, blocks=(Table(head=("Entrynumber", "what"), rows=rows),))
    pages = pypdf.PdfReader(io.BytesIO(as_pdf(long))).pages
    assert all("Entrynumber" in page.extract_text() for page in list(pages)[:-1])


def test_the_same_document_gives_the_same_bytes_and_another_time_gives_others() -> None:
    assert as_pdf(DOCUMENT) == as_pdf(replace(DOCUMENT))
    assert as_html(DOCUMENT) == as_html(replace(DOCUMENT))
    assert as_text(DOCUMENT) == as_text(replace(DOCUMENT))
    assert as_pdf(DOCUMENT) != as_pdf(replace(DOCUMENT, at="2026-11-24T21:22:01Z"))


def test_the_pdf_names_its_title_language_and_archive_profile() -> None:
    reader = pypdf.PdfReader(io.BytesIO(as_pdf(replace(DOCUMENT, language="es"))))
    assert reader.metadata is not None
    assert reader.metadata.title == "Lockouts of a month"
    assert reader.trailer["/Root"]["/Lang"] == "es"
    xmp = reader.trailer["/Root"]["/Metadata"].get_data().decode("utf-8")
    # ISO 19005-2 (PDF/A-2, level A) and ISO 14289-1 (PDF/UA-1) name themselves in the metadata like this
    assert "<pdfaid:part>2</pdfaid:part><pdfaid:conformance>A</pdfaid:conformance>" in xmp
    assert "<pdfuaid:part>1</pdfuaid:part>" in xmp


def test_no_text_is_taken_for_markup() -> None:
    document = replace(
        DOCUMENT,
        title=NASTY,
        subtitle=NASTY,
        foot=NASTY,
        printed=NASTY,
        cautions=(Caution(word="caution", text=NASTY),),
        blocks=(Heading(text=NASTY), Paragraph(text=NASTY), Table(head=(NASTY,), rows=((NASTY,),))),
    )
    plain = re.sub(r"\s", "", NASTY)
    assert re.sub(r"\s", "", _html(document).text).count(plain) >= 7
    assert "script" not in _html(document).tags
    printed = re.sub(r"\s", "", _pdf_text(as_pdf(document)))
    assert printed.count("alert(1)") >= 8
    assert "{{7*7}}" in printed


PRINTABLE = st.text(st.characters(codec="ascii", categories=["L", "N", "P", "S", "Zs"]))


@settings(max_examples=60)
@given(st.lists(st.tuples(PRINTABLE, st.text("abc ", max_size=200)), max_size=5))
def test_no_line_of_the_text_is_wider_than_a_page(rows: list[tuple[str, str]]) -> None:
    table = Table(head=("one", "two"), rows=tuple(rows), widths=(1, 3), empty="none")
    pairs = KeyValues(pairs=tuple(rows))
    text = as_text(replace(DOCUMENT, blocks=(table, pairs)))
    assert max(len(line) for line in text.splitlines()) <= WIDTH


def test_a_narrow_column_is_as_wide_as_the_words_of_its_head() -> None:
    rows = (("over its standard: " + "x " * 60, "9"),)
    table = Table(head=("Cause and step", "Changeovers"), rows=rows, widths=(12, 1), numbers=(1,))
    assert "  Changeovers\n" in as_text(replace(DOCUMENT, blocks=(table,)))


def test_a_row_of_another_length_is_refused() -> None:
    with pytest.raises(ValueError, match="2 cells"):
        Table(head=("a", "b"), rows=(("1",),))


def test_the_typesetter_is_loaded_only_for_a_pdf() -> None:
    import subprocess
    import sys

    code = (
        "import sys; from floorterm.review.document_pdf import as_pdf; "
        "from floorterm.review import document_html; print('typst' in sys.modules or 'jinja2' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"

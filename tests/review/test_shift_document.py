"""What the report of a shift says, read back out of the PDF: what was signed, by whom, and what is different since."""

import dataclasses
import io
import re
from datetime import date, datetime

import pypdf
import pytest
from msgspec.structs import replace

from floorterm.changeover.acts import Dispose, Note
from floorterm.demo import open_still
from floorterm.languages import day
from floorterm.ledger import Seal
from floorterm.plant import Plant
from floorterm.review.document import Document, Table
from floorterm.review.document_html import as_html
from floorterm.review.document_pdf import as_pdf
from floorterm.review.document_table import as_csv
from floorterm.review.document_text import as_text
from floorterm.review.framing import Printing
from floorterm.review.shift_document import shift_document
from floorterm.shift.summary import differences
from floorterm.shift.window import window_named
from floorterm.shift_review import Review, countersign, review_of, sign
from floorterm.wording import LANGUAGES, words
from tests.conftest import who

TEXT = "line 1 stays locked; oil O-4471 is nearly empty"


@pytest.fixture(scope="module")
def still() -> Plant:
    """The demo plant on Tuesday at 14:22, its early shift over."""
    return open_still()


def _review(plant: Plant, key: str) -> Review:
    return review_of(plant, window_named(plant.library.plant.shifts, key, plant.zone))


@pytest.fixture(scope="module")
def signed(still: Plant) -> Review:
    """Monday's late shift, signed by one lead and taken over by another; decided about first, where something waits."""
    for one in _review(still, "2026-11-23/late").summary.undecided:
        act = Dispose(deviation=one.n, decision="scrap", reason="sorted out")
        still.act(one.work, act, who(still, "CI"), key=still.ledger.new_id())
    sign(still, who(still, "SH"), _review(still, "2026-11-23/late"), TEXT, key=still.ledger.new_id())
    countersign(still, who(still, "CI"), _review(still, "2026-11-23/late"), key=still.ledger.new_id())
    return _review(still, "2026-11-23/late")


def _printing(plant: Plant, language: str = "en") -> Printing:
    start = plant.ledger.start()
    seal = Seal.of(plant.ledger.head(), start.plant)
    return Printing(plant=start.plant, language=language, at=plant.now(), by="S. Holt (SH)", seal=seal)


def _bare(text: str) -> str:
    return re.sub(r"[\s\u00ad‐-]", "", text)


def _said(document: Document) -> str:
    reader = pypdf.PdfReader(io.BytesIO(as_pdf(document)))
    return _bare(" ".join(page.extract_text() for page in reader.pages))


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_signed_shift_names_its_signatures_digest_and_text(
    still: Plant, signed: Review, language: str
) -> None:
    said = _said(shift_document(signed, _printing(still, language)))
    assert signed.signature is not None
    found = {"es": "rota", "de": "gerissen"}.get(language, "torn")  # the plant's own word
    own = (TEXT, signed.signature.digest, "S. Holt", "C. Iversen", words("shift.report", language), found)
    for part in own:
        assert _bare(part) in said, part
    assert _bare(words("shift.report_unsigned", language)) not in said


def test_every_figure_of_a_changeover_stands_in_it_and_the_parts_add_up(still: Plant, signed: Review) -> None:
    document = shift_document(signed, _printing(still))
    tables = [block for block in document.blocks if isinstance(block, Table) and block.head[0] == "min:s"]
    lines = [line.minutes for line in signed.summary.works if line.minutes is not None]
    assert len(tables) == len(lines) > 1
    for table, line in zip(tables, lines, strict=True):
        *parts, total = [_seconds(row[0]) for row in table.rows]
        assert sum(parts) == total == line.actual_s - line.planned_s
    said = _said(document)
    for line in lines:
        assert _bare(f"{line.actual_s // 60}:{line.actual_s % 60:02d}") in said


def _seconds(amount: str) -> int:
    whole, _, rest = amount.lstrip("+-").partition(":")
    return (-1 if amount.startswith("-") else 1) * (int(whole) * 60 + int(rest))


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_shift_that_nobody_signed_says_so_first_and_has_lines_to_sign(still: Plant, language: str) -> None:
    document = shift_document(_review(still, "2026-11-24/early"), _printing(still, language))
    assert document.cautions[0].text == words("shift.report_unsigned", language)
    text = as_text(document)
    assert words("shift.next_lead", language) in text
    assert "C-0011" in text
    assert f'lang="{language}"' in as_html(document)


def test_what_reads_differently_since_is_said_above_what_was_signed(still: Plant, signed: Review) -> None:
    assert signed.changed == ()
    works = signed.summary.works
    before = replace(signed.summary, works=(replace(works[0], status="open"), *works[1:]))
    assert signed.signature is not None
    older = replace(signed.signature, summary=before, holds=False)
    changed = dataclasses.replace(
        signed, signatures=(older,), changed=differences(before, signed.summary, dues=False)
    )
    first, second, *_ = shift_document(changed, _printing(still)).cautions
    assert "digest" in first.text
    assert works[0].work in second.text


def test_the_same_record_gives_the_same_bytes_and_notes_change_nothing(still: Plant, signed: Review) -> None:
    first = as_pdf(shift_document(signed, _printing(still)))
    assert first == as_pdf(shift_document(_review(still, "2026-11-23/late"), _printing(still)))
    still.act("C-0011", Note(text="warm"), who(still, "RO"), key=still.ledger.new_id())
    assert _review(still, "2026-11-23/late").changed == ()


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_signature_stands_with_its_date_its_offset_and_its_meaning(
    still: Plant, signed: Review, language: str
) -> None:
    """21 CFR 11.50, on every readable copy; the shift was signed on another day than it began, or on the same."""
    (one,) = signed.signatures
    assert one.taken_over is not None
    on_its_day = dataclasses.replace(
        signed, signatures=(replace(one, at=datetime.fromisoformat("2026-11-23T22:05:07-07:00")),)
    )
    taken = f"{day(one.taken_over.at, language)} {one.taken_over.at:%H:%M}-07:00"
    again = f"{day(date(2026, 11, 23), language)} 22:05-07:00"
    for review, at in ((signed, f"{day(one.at, language)} {one.at:%H:%M}-07:00"), (on_its_day, again)):
        document = shift_document(review, _printing(still, language))
        told = " ".join(f"{as_text(document)} {as_csv(document).decode()}".split())
        meant = words("shift.signed_by", language, name="S. Holt", at=at, entry=one.n)
        assert told.count(meant) == 2, meant
        meant = words("shift.taken_over_by", language, name="C. Iversen", at=taken, entry=one.taken_over.n)
        assert told.count(meant) == 2, meant

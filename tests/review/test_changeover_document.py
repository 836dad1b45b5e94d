"""The record of a changeover and the list of deviations: what was signed stands in the file that people keep."""

import csv
import io
import re
from datetime import date, datetime, time, timedelta

import pypdf
import pytest

from floorterm.changeover.acts import CorrectStep, SignStep
from floorterm.demo import open_still
from floorterm.ledger import Seal
from floorterm.plant import Plant
from floorterm.review.changeover_document import changeover_document, deviations_document
from floorterm.review.document import Document
from floorterm.review.document_pdf import as_pdf
from floorterm.review.document_table import as_csv
from floorterm.review.framing import Printing
from floorterm.wording import LANGUAGES, words

WORK = "C-0005"  # the demo's changeover with a first article out of limits


@pytest.fixture(scope="module")
def still() -> Plant:
    """The demo plant on Tuesday at 14:22."""
    return open_still()


def _printing(plant: Plant, language: str) -> Printing:
    start = plant.ledger.start()
    seal = Seal.of(plant.ledger.head(), start.plant)
    return Printing(plant=start.plant, language=language, at=plant.now(), by="S. Holt (SH)", seal=seal)


def _record(plant: Plant, language: str = "en") -> Document:
    return changeover_document(
        plant.state(WORK), plant.ledger.entries(changeover=WORK), _printing(plant, language)
    )


def _rows(document: Document) -> list[list[str]]:
    return list(csv.reader(io.StringIO(as_csv(document).decode("utf-8-sig"), newline="")))


def _bare(text: str) -> str:
    return re.sub(r"[\s\u00ad‐-]", "", text)


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_sign_off_with_its_value_person_and_entry_can_be_read_out_of_the_pdf(
    still: Plant, language: str
) -> None:
    data = as_pdf(_record(still, language))
    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    said = _bare(" ".join(page.extract_text() for page in pages))
    signed = [one for one in still.ledger.entries(changeover=WORK) if one.kind == SignStep.KIND]
    assert len(signed) > 40
    for one in signed:
        assert _bare(one.name) in said
        assert _bare(one.step) in said
        assert str(one.n) in said
        assert _bare(str(one.value.get("number") or "")) in said
    page = words("report.page", language, page=len(pages), pages=len(pages))
    assert _bare(page) in said
    assert _bare("floorterm seal: entry") in said
    assert _bare("S. Holt (SH)") in said
    assert data == as_pdf(_record(still, language))


def test_a_correction_names_the_old_value_the_new_one_and_why(still: Plant) -> None:
    one = next(entry for entry in still.ledger.entries() if entry.kind == CorrectStep.KIND)
    work = one.changeover
    document = changeover_document(
        still.state(work), still.ledger.entries(changeover=work), _printing(still, "en")
    )
    row = next(row for row in _rows(document) if row[-1:] == [str(one.n)])
    before = next(old for old in still.ledger.entries(changeover=work) if old.n == one.corrects)
    assert row[2] == str(before.value["number"])
    assert row[3] == str(one.value["number"])
    assert row[2] != row[3]


def test_the_list_has_every_deviation_of_its_days_and_no_other(still: Plant) -> None:
    day = date(2026, 11, 23)
    begin = datetime.combine(day, time(), still.zone)
    works = still.works_between(begin, begin + timedelta(days=1))
    rows = _rows(deviations_document(works, day, day + timedelta(days=1), _printing(still, "en")))
    expected = [
        str(one.n)
        for state in still.works_between(begin, begin + timedelta(days=2))
        for one in state.deviations
        if one.at.astimezone(still.zone).date() == day
    ]
    listed = [row[-1] for row in rows if row[-1:] and row[0].startswith("2026-11-2")]
    assert sorted(listed) == sorted(expected)
    assert ["Deviations in all", str(len(expected))] in rows
    later = _rows(deviations_document(works, date(2026, 12, 1), date(2026, 12, 2), _printing(still, "en")))
    assert ["Deviations in all", "0"] in later

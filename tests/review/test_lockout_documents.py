"""What the documents about lockout say, read back out of the PDF that people print."""

import io
import re
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from xml.etree import ElementTree

import pypdf
import pytest
from msgspec.structs import replace

from floorterm.demo.clock import SetClock
from floorterm.inspecting import inspections, record_attestation, record_correction, record_inspection
from floorterm.library import lacks_review
from floorterm.library.model import Library
from floorterm.lockout.auditing import rules
from floorterm.lockout.auditing.record import EVENTS
from floorterm.lockout.inspection import Found, Report, energy_control
from floorterm.plant import Plant
from floorterm.review.document import Document
from floorterm.review.document_html import as_html
from floorterm.review.document_pdf import as_pdf
from floorterm.review.document_text import as_text
from floorterm.review.framing import Printing
from floorterm.review.lockout_audit import audit_period, month_of, year_until
from floorterm.review.lockout_documents import audit_document, inspection_document, lockout_document
from floorterm.review.plan_svg import BLUE, YELLOW, plan_svg, told
from floorterm.review.sheet import sheet_document
from floorterm.terminal.views.text import tell
from floorterm.wording import LANGUAGES, words
from tests.conftest import DAY, Plants, who
from tests.lockout.ledger_jobs import inspected, left_early, well_done

AT = datetime(2026, 11, 24, 14, 22, tzinfo=timezone(timedelta(hours=-7)))
CAUTIONS = {
    "en": ("never says that a machine is safe", "competent person prevail"),
    "es": ("nunca dice que una máquina sea segura", "persona competente prevalecen"),
    "de": ("sagt nie, dass eine Maschine sicher ist", "eine befähigte Person gehen allem vor"),
}


def _printing(plant: Plant, language: str = "en") -> Printing:
    audit = audit_period(plant, *month_of(DAY))
    return Printing(
        plant="Northmere soap works", language=language, at=AT, by="V. Voss (VV)", seal=audit.seal
    )


_TYPESET: dict[str, list[str]] = {}


def _pages(document: Document) -> list[str]:
    """The text of each page; the same document is typeset once, however much is looked up in it."""
    key = repr(document)
    if key not in _TYPESET:
        reader = pypdf.PdfReader(io.BytesIO(as_pdf(document)))
        _TYPESET[key] = [" ".join(page.extract_text().split()) for page in reader.pages]
    return _TYPESET[key]


def _said(document: Document) -> str:
    """The text of the PDF without spaces: lines are broken where the page ends, words where a column does."""
    return re.sub(r"[\s\u00ad‐-]", "", " ".join(_pages(document)))


def _has(document: Document, *parts: str) -> None:
    said = _said(document)
    for part in parts:
        assert re.sub(r"[\s\u00ad‐-]", "", part) in said, part


@pytest.fixture
def busy(plants: Plants, tmp_path: Path, clock: SetClock) -> Plant:
    return plants.copy(tmp_path / "ledger.db", clock, _work)


def _work(plant: Plant, clock: SetClock) -> None:
    """An inspected procedure, one whole lockout with one attestation, one that fell short."""
    inspected(plant)
    whole = well_done(plant, clock)
    left_early(plant, clock)
    record_attestation(
        plant, who(plant, "VV"), "LO-10", [whole.id], "every lock looked at on 20 Nov", key="word"
    )


def _audit(plant: Plant, language: str = "en") -> Document:
    audit = audit_period(plant, *month_of(DAY), chain_valid=True)
    year = audit_period(plant, *year_until(DAY), chain_valid=True)
    return audit_document(audit, year, _printing(plant, language))


# --- the audit --------------------------------------------------------------------------------------


def test_the_audit_says_what_fell_short_with_rule_clause_person_entry_and_what_was_asked(busy: Plant) -> None:
    audit = audit_period(busy, *month_of(DAY))
    (short,) = audit.short[0].of("V")
    _has(
        _audit(busy), "Lockout audit", "November 2026", "LO-30 (29 CFR 1910.147(d)(4)(i), (f)(3)(i))", "B. Brand",
        short.text, rules()["LO-30"].requirement(), audit.short[0].id,
    )  # fmt: skip


def test_the_audit_lists_every_lockout_what_waits_who_attested_and_the_year(busy: Plant) -> None:
    document = _audit(busy)
    _has(
        document, "P-0001/stamper-1", "P-0002/stamper-1", "every lock looked at on 20 Nov", "V. Voss, 2026-11-24",
        "What a person must still attest", "LO-09", "From 2025-11-25 up to 2026-11-25: 2 lockouts",
        "The record of this job is not finished", "hashed again when this was printed: no fault",
    )  # fmt: skip


def test_the_audit_names_every_rule_that_rests_on_memory(busy: Plant) -> None:
    from_memory = [name for name, rule in rules().items() if rule.from_memory]
    assert len(from_memory) >= 4
    _has(_audit(busy), ", ".join(from_memory))


def test_what_is_only_the_sites_own_is_told_apart_from_the_regulation(busy: Plant, clock: SetClock) -> None:
    clock.advance(timedelta(hours=30))
    _has(_audit(busy), "LS-02 (site policy, not in 29 CFR 1910.147)")


@pytest.mark.parametrize("language", [language for language in LANGUAGES if language != "en"])
def test_an_audit_in_another_language_keeps_no_clause_in_english(
    busy: Plant, clock: SetClock, language: str
) -> None:
    clock.advance(timedelta(hours=30))  # LS-02 is the site's own, LO-36 a rule of this program
    audit = audit_period(busy, *month_of(DAY))
    document = lockout_document(audit, audit.jobs[1], _printing(busy, language))
    said = as_text(_audit(busy, language)) + as_text(document)
    assert "LS-02" in said
    assert "LO-36" in said
    for english in ("site policy", "own rule", "State plans", "record integrity"):
        assert english not in said, english


def test_a_month_without_lockouts_says_so_and_no_more(plant: Plant) -> None:
    document = _audit(plant)
    _has(document, "none of these 0 lockouts fell short", "No lockout was recorded")
    assert "compliant" not in as_text(document)


def test_a_broken_record_is_said_on_the_audit(busy: Plant) -> None:
    audit = audit_period(busy, *month_of(DAY), chain_valid=False)
    document = audit_document(audit, audit, _printing(busy))
    _has(document, "THE RECORD IS FAULTY", "LR-04")


# --- one lockout ------------------------------------------------------------------------------------


def test_the_record_of_a_lockout_shows_every_event_with_entry_time_with_offset_and_name(busy: Plant) -> None:
    audit = audit_period(busy, *month_of(DAY))
    job = audit.jobs[0]
    document = lockout_document(audit, job, _printing(busy))
    table = next(block for block in document.blocks if getattr(block, "numbers", ()) == (0,))
    assert len(table.rows) == len(job.events)  # type: ignore[union-attr]
    _has(
        document, *(f"{event.number}" for event in job.events), "2026-11-24 06:01:00 -07:00", "B. Brand (BB)"
    )
    _has(document, *(words(f"report.event_{event.ev}") for event in job.events))
    for point in job.points:
        _has(document, point.verify_method["en"], point.verify_expect["en"])
    _has(
        document, "LO-10: V. Voss attested on 2026-11-24: every lock looked at on 20 Nov", "must still attest"
    )


def test_the_record_of_a_lockout_that_is_not_ended_says_open(busy: Plant) -> None:
    audit = audit_period(busy, *month_of(DAY))
    _has(lockout_document(audit, audit.jobs[1], _printing(busy)), "- open", "LO-36", "LO-30")


def test_whatever_an_event_names_stands_in_the_record(busy: Plant) -> None:
    """A lock of somebody absent, a hand-over, a group: the words of records kept elsewhere too."""
    audit = audit_period(busy, *month_of(DAY))
    job = audit.jobs[0]
    first = job.events[0]
    named = (
        replace(first, ev="remove_other", owner="AA", directed_by="SS", to=(), lock="AA-L1-S1"),
        replace(first, ev="hand_over", giver="AA", to=("QQ",)),
        replace(first, ev="assign_primary", primary="BB", members=("AA", "QQ"), coordinator="VV", to=()),
        replace(first, ev="owner_contact_try", owner="AA", result="telephone rang out", to=()),
    )
    document = lockout_document(audit, replace(job, events=named), _printing(busy))
    _has(
        document, "AA-L1-S1; lock of A. Abel; directed by S. Stern", "to: Q. Quist; from A. Abel",
        "primary: B. Brand; members: A. Abel, Q. Quist; coordinator: V. Voss", "telephone rang out; lock of A. Abel",
    )  # fmt: skip


# --- the certificate --------------------------------------------------------------------------------


def _certificate(plant: Plant, language: str = "en") -> Document:
    (made,) = inspections(plant)
    names = {person.code: person.name for person in plant.ledger.people()}
    return inspection_document(
        made, plant.library.lockouts[made.procedure], names, _printing(plant, language)
    )


def test_the_certificate_names_machine_date_employees_and_inspector(plant: Plant) -> None:
    """29 CFR 1910.147(c)(6)(ii) asks for these four; it asks for no signature."""
    inspected(plant)
    document = _certificate(plant)
    _has(
        document, "Certificate of a periodic inspection", "stamper of line 1", "2026-11-24", "S. Stern (SS)",
        "A. Abel (AA), B. Brand (BB)", "asks for no signature", "Every review and every correction is recorded",
    )  # fmt: skip


def test_an_open_review_or_correction_stands_on_the_certificate_until_it_is_closed(plant: Plant) -> None:
    report = Report(
        procedure="lockout-stamper-1", on=DAY, observed=("AA",), reviewed=("AA", "BB", "QQ", "VV"),
        found=(Found(text="lock on the pipe", persons=("AA",)),),
    )  # fmt: skip
    entry = record_inspection(plant, who(plant, "SS"), report, key="made")
    _has(
        _certificate(plant),
        "lock on the pipe",
        "A. Abel (AA)",
        "NOT CORRECTED YET",
        "Something is still open",
    )
    record_correction(plant, who(plant, "VV"), entry.n, 1, "shown at the machine", key="done")
    document = _certificate(plant)
    _has(
        document,
        "shown at the machine",
        "V. Voss, 2026-11-24",
        "Every review and every correction is recorded",
    )
    assert "NOTCORRECTED" not in _said(document)


# --- the sheet --------------------------------------------------------------------------------------


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_sheet_is_one_page_with_all_that_a_procedure_states_of_each_point(
    library: Library, language: str
) -> None:
    printing = Printing(plant=library.plant.name, language=language, at=AT)
    for lockout in energy_control(library.lockouts).values():
        line = library.lines[lockout.lines[0]]
        document = sheet_document(lockout, line, printing)
        assert len(_pages(document)) == 1, lockout.id
        unreviewed = words("print.unreviewed", language) in document.subtitle
        assert unreviewed == lacks_review((lockout, line), language) == (language == "de")
        points = {point.id: point for point in line.points}
        for name in lockout.points:
            point = points[name]
            stated = [point.name, point.place, point.verify.method, point.verify.expect]
            stated += [point.release_how] if point.release_how else []
            _has(document, point.magnitude, *(tell(text, language) for text in stated))
        _has(document, tell(lockout.shut_down, language), tell(lockout.restart, language))


def test_the_signal_words_of_a_sheet_stand_beside_their_colours(library: Library) -> None:
    lockout = library.lockouts["lockout-line-1"]
    document = sheet_document(lockout, library.lines["L1"], Printing(plant="x", language="en", at=AT))
    assert [(one.signal, one.word) for one in document.cautions] == [
        ("danger", "danger"),
        ("notice", "notice"),
    ]
    page = as_html(document)
    assert (
        ".danger { background: #9b2423; color: #fff; }" in page
    )  # RAL 3001 and white, as ISO 3864-4 pairs them
    assert '<b class="danger">danger</b>' in page


def test_the_plan_draws_each_point_of_the_procedure_once_and_the_others_as_empty_rings(
    library: Library,
) -> None:
    line = library.lines["L1"]
    lockout = library.lockouts["lockout-stamper-1"]
    root = ElementTree.fromstring(plan_svg(line, lockout, "en"))
    space = "{http://www.w3.org/2000/svg}"
    discs = [one for one in root.iter(f"{space}circle") if one.get("r") == "17"]
    full = [one for one in discs if one.get("fill") == BLUE]
    assert len(discs) == len(line.points)
    assert len(full) == len(lockout.points)
    stored = {point.id for point in line.points if point.needs_release} & set(lockout.points)
    triangles = [one for one in root.iter(f"{space}path") if one.get("fill") == YELLOW]
    assert len(triangles) == len(stored) + 1, "one more explains itself in the legend"
    texts = {one.text for one in root.iter(f"{space}text")}
    assert {"S1", "A1", "P1", "E1", "lock out here", "stored energy: relieve it", "5 m"} <= texts
    assert all(name in told(line, lockout, "en") for name in lockout.points)


def test_where_a_point_is_drawn_follows_from_its_metres(library: Library) -> None:
    """Metres grow to the right and away from the operators' side, which is drawn below."""
    line = library.lines["L2"]
    lockout = library.lockouts["lockout-line-2"]
    root = ElementTree.fromstring(plan_svg(line, lockout, "en"))
    discs = [one for one in root.iter("{http://www.w3.org/2000/svg}circle") if one.get("r") == "17"]
    drawn = [(float(one.get("cx", "")), float(one.get("cy", ""))) for one in discs]
    told_ = [(float(point.at.x_m), float(point.at.y_m)) for point in line.points if point.at]
    by_x = sorted(range(len(drawn)), key=lambda i: drawn[i][0])
    by_y = sorted(range(len(drawn)), key=lambda i: -drawn[i][1])
    assert [told_[i][0] for i in by_x] == sorted(x for x, _ in told_)
    assert [told_[i][1] for i in by_y] == sorted(y for _, y in told_)


def test_a_line_without_a_plan_still_has_its_sheet(library: Library) -> None:
    line = replace(library.lines["L1"], plan=None)
    lockout = library.lockouts["lockout-line-1"]
    document = sheet_document(lockout, line, Printing(plant="x", language="en", at=AT))
    _has(document, "Main disconnect E1")
    with pytest.raises(ValueError, match="no plan"):
        plan_svg(line, lockout, "en")


# --- all of them ------------------------------------------------------------------------------------


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_page_of_every_document_is_numbered_cautioned_and_says_who_printed_it(
    busy: Plant, language: str
) -> None:
    audit = audit_period(busy, *month_of(DAY))
    documents = (
        _audit(busy, language),
        lockout_document(audit, audit.jobs[0], _printing(busy, language)),
        _certificate(busy, language),
    )
    for document in documents:
        pages = _pages(document)
        for number, page in enumerate(pages, start=1):
            numbered = words("report.page", language, page=number, pages=len(pages))
            assert numbered in page
            assert "V. Voss (VV)" in page
            assert "2026-11-24 14:22 -07:00" in page
        _has(document, *CAUTIONS[language], str(audit.seal))
        assert as_pdf(document) == as_pdf(replace(document))


def test_every_event_of_a_record_has_its_words() -> None:
    for event in EVENTS:
        for language in LANGUAGES:
            assert words(f"report.event_{event}", language)


def test_who_is_not_named_is_said_to_be_nobody(library: Library) -> None:
    printing = Printing(plant="x", language="en", at=AT.astimezone(UTC))
    document = sheet_document(library.lockouts["lockout-line-1"], library.lines["L1"], printing)
    assert "nobody is named" in document.printed
    assert "2026-11-24 21:22 +00:00" in document.printed

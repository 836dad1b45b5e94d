"""A worksheet on paper says everything that the screen would have asked."""

from datetime import date
from html.parser import HTMLParser

import pytest

from floorterm.changeover.compose import compose, compose_procedure
from floorterm.changeover.worksheet import Worksheet
from floorterm.library.model import Library
from floorterm.review.worksheet import as_html, as_text, printed

DAY = date(2026, 11, 24)


@pytest.fixture(scope="module")
def sheet(library: Library) -> Worksheet:
    return compose(library, "L1", "clove-leaf", "plain", DAY)


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_step_is_printed_with_its_number_and_a_box(sheet: Worksheet, language: str) -> None:
    text = as_text(sheet, language)
    page = printed(sheet, language)
    assert page.steps == sum(1 for _ in sheet.steps())
    for number in range(1, page.steps + 1):
        assert f"{number:3d} [ ] " in text


def test_no_line_of_the_text_is_wider_than_a_page(sheet: Worksheet) -> None:
    assert max(len(line) for line in as_text(sheet, "es").splitlines()) <= 78


def test_the_paper_says_that_locks_decide_and_never_that_a_machine_is_safe(sheet: Worksheet) -> None:
    text = " ".join(as_text(sheet, "en").split())
    assert "never says that a machine is safe" in text
    assert "competent person prevail" in text
    assert text.count("UNDER YOUR OWN LOCK") == sum(1 for step in sheet.steps() if step.needs_lockout)


def test_limits_codes_and_choices_stand_where_they_are_written_down(sheet: Worksheet) -> None:
    page = {step.id: step for section in printed(sheet, "en").sections for step in section.steps}
    assert ">= 0 <= 0.05" in page["prep/noodle-alkali"].entry
    assert "NM-NOODLE" in page["prep/noodle-bag"].entry
    assert page["strip-down-1/pull-screen-1"].entry.count("[ ]") == 3
    assert "Bar counter" in page["run-out/last-good-bar"].entry
    verify = page["strip-down-1-lock/verify"]
    assert len(verify.points) == len(sheet.jobs[0].points), "every point with its own method"


def test_a_text_without_a_reviewed_translation_is_marked(sheet: Worksheet) -> None:
    marked = [
        step.id for section in printed(sheet, "es").sections for step in section.steps if step.unreviewed
    ]
    assert marked == ["run-out/empty-trim"]


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.rows = 0
        self.scripts = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.scripts += tag == "script"
        self.rows += tag == "tr"
        if tag not in ("meta", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_the_html_is_one_well_formed_file_without_script(sheet: Worksheet) -> None:
    reader = _Reader()
    reader.feed(as_html(sheet, "en"))
    assert reader.open == []
    assert reader.scripts == 0
    assert reader.rows == sum(1 for _ in sheet.steps())


def test_what_somebody_wrote_in_yaml_is_text_and_never_markup(library: Library) -> None:
    sheet = compose_procedure(library, "L1", "eyewash-weekly", DAY)
    assert sheet.procedure is not None
    hostile = {"en": "<script>alert(1)</script>"}
    named = type(sheet.procedure)(id="x", name=hostile)
    page = as_html(type(sheet)(**{**_fields(sheet), "procedure": named}), "en")
    assert "<script>" not in page
    assert "&lt;script&gt;" in page


def _fields(sheet: Worksheet) -> dict[str, object]:
    return {name: getattr(sheet, name) for name in sheet.__struct_fields__}

"""Charts: what is drawn, what is made of letters and what is said in words come from the same values."""

import xml.etree.ElementTree as ET
from collections.abc import Iterator
from datetime import timedelta
from itertools import groupby

import pytest

from floorterm.demo import open_still
from floorterm.plant import Plant
from floorterm.review.chart_makers import control, figure, pareto, timeline, told_of, washed
from floorterm.review.charts import Chart, Control, Timeline, Washed
from floorterm.review.charts_svg import chart_svg
from floorterm.review.charts_text import chart_lines
from floorterm.review.shift_document import minutes_figure
from floorterm.review.shortening import shortened
from floorterm.shift import telling
from floorterm.shift.summarise import minutes_line
from floorterm.studying import context_of
from floorterm.timestudy.charting import Point, time_chart
from floorterm.timestudy.observed import observed
from floorterm.timestudy.study import Study, study
from floorterm.wording import LANGUAGES
from tests.timestudy.made import BEGIN

SVG = "{http://www.w3.org/2000/svg}"
WORK = "C-0005"


@pytest.fixture(scope="module")
def still() -> Plant:
    """The demo plant on Tuesday at 14:22."""
    return open_still()


@pytest.fixture(scope="module")
def studied(still: Plant) -> Study:
    """Its two days."""
    return study(still.works(), context_of(still.library), still.now())


def _shifted() -> Control:
    values = [60.0, 64, 58, 62, 66, 59, 61, 65, 63, 57] * 3 + [95.0, *[72.0] * 9]
    points = [
        Point(work=f"C-{n:04d}", at=BEGIN + timedelta(days=n), minutes=value)
        for n, value in enumerate(values)
    ]
    return control(time_chart(points), "A > B", "en")


def _charts(still: Plant, studied: Study, language: str) -> Iterator[Chart]:
    state = still.state(WORK)
    drawn = timeline(state, observed(state, {}), still.zone, language)
    assert drawn is not None
    yield drawn
    yield from washed(state, language)
    yield pareto(studied.lost, language)
    yield _shifted()


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_chart_is_well_formed_the_same_twice_and_fits_its_width(
    still: Plant, studied: Study, language: str
) -> None:
    found = list(_charts(still, studied, language))
    assert {type(chart).__name__ for chart in found} == {
        "Timeline",
        "Washed",
        "Pareto",
        "Control",
    }
    for chart in found:
        told = told_of(chart, language)
        svg = chart_svg(chart, told)
        assert svg == chart_svg(chart, told)
        root = ET.fromstring(svg)
        assert root.findtext(f"{SVG}desc") == told
        for width in (60, 78, 110):
            lines = chart_lines(chart, width)
            assert max(map(len, lines)) <= width
            assert len(lines) > 3
        block = figure(chart, language)
        assert block.drawn == chart_lines(chart, 74, language)


def test_a_timeline_has_every_step_of_every_person_in_its_minutes(still: Plant) -> None:
    state = still.state(WORK)
    found = observed(state, {})
    drawn = timeline(state, found, still.zone, "en")
    assert isinstance(drawn, Timeline)
    assert {name for name, _ in drawn.rows} == {one.by for one in found}
    assert sum(len(spans) for _, spans in drawn.rows) == len([one for one in found if not one.alone])
    assert all(0 <= span.since <= span.until <= drawn.minutes for _, spans in drawn.rows for span in spans)


def test_the_minutes_of_a_changeover_in_letters_have_every_part_with_its_figure(still: Plant) -> None:
    line = minutes_line(still.state(WORK), still.now())
    assert line is not None
    title, planned, *parts, actual = minutes_figure(line, WORK, "en").drawn
    assert WORK in title
    assert planned.startswith("planned")
    assert telling.minutes(line.actual_s) in actual
    assert all(telling.more(part.seconds) in row for part, row in zip(line.parts, parts, strict=True))
    assert max(len(row.rstrip()) for row in (planned, *parts, actual)) <= 74
    assert planned.count("#") < actual.count("#")  # it took longer than planned


def test_a_pareto_says_that_four_changeovers_are_too_few_and_marks_none(still: Plant) -> None:
    few = [one for one in still.works() if one.status == "released" and one.worksheet.procedure is None][:4]
    drawn = pareto(study(few, context_of(still.library), still.now()).lost, "en")
    assert "4 changeovers are too few" in drawn.note
    assert not any(bar.few for bar in drawn.bars)


def test_a_control_chart_marks_what_a_rule_named_and_shows_both_baselines() -> None:
    drawn = _shifted()
    assert 30 in drawn.signalled
    assert "C-0030 rule 1" in drawn.note
    assert [level.first for level in drawn.levels if level.sort == "later"] == [30]
    letters = chart_lines(drawn, 78)
    assert sum(line.count("X") for line in letters[1:15]) >= 1
    circles = ET.fromstring(chart_svg(drawn, "")).findall(f"{SVG}circle")
    assert len(circles) == len(drawn.values)
    assert sum(circle.get("fill") == "black" for circle in circles) == len(drawn.signalled)


def test_check_samples_stand_on_the_washout_in_letters_and_in_the_drawing() -> None:
    curve = tuple((float(kg), 0.5 ** (kg / 50)) for kg in range(0, 401, 10))
    drawn = Washed(title="t", points=curve, limit=0.02, samples=((100.0, 0.3), (200.0, 0.05)), note="n")
    assert sum(line.count("o") for line in chart_lines(drawn, 78)[1:-2]) == 2
    assert len(ET.fromstring(chart_svg(drawn, "")).findall(f"{SVG}circle")) == 2


def test_steps_of_a_study_stand_section_by_section(studied: Study) -> None:
    """Worksheets of two pairs number their steps each in its own way; one list of both must not mix their sections."""
    sections = [section for section, _ in groupby(one.step.partition("/")[0] for one in studied.steps)]
    assert len(sections) == len(set(sections)) > 10
    assert (sections[0], sections[-1]) == ("prep", "release")


@pytest.mark.parametrize(
    ("name", "letters", "said"),
    [
        ("Flush 575 kg", 12, "Flush 575 kg"),
        ("over its standard: Flush 575 kg into the bins", 40, "over its standard: Flush 575 kg into..."),
        ("over its standard: Flush", 22, "over its standard..."),
        ("Start the balance", 12, "Start the..."),
        ("Freischaltungsanweisung der Linie", 12, "Freischal..."),
    ],
)
def test_a_name_without_room_ends_after_a_word_and_says_so(name: str, letters: int, said: str) -> None:
    assert shortened(name, letters) == said
    assert len(said) <= letters

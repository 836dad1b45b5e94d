"""The waterfall of the minutes: every bar begins where the one before it ended, on paper and in cells."""

import xml.etree.ElementTree as ET
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from floorterm.review.plots import FallRow, waterfall_svg
from floorterm.review.shift_document import minutes_figure
from floorterm.shift.summary import MinutesLine, MinutesPart
from floorterm.shift.waterfall import cells, falls, shown_parts, waterfall
from floorterm.terminal.views.shift_review import minutes_rows
from floorterm.wording import LANGUAGES

SVG = "{http://www.w3.org/2000/svg}"
_amounts = st.lists(st.integers(-4000, 4000).filter(bool), min_size=1, max_size=14)


def _line(amounts: list[int], planned: int = 6000) -> MinutesLine:
    parts = tuple(
        MinutesPart(cause="over", seconds=seconds, step=f"s/{place}", text={"en": f"Step {place}."})
        for place, seconds in enumerate(sorted(amounts, key=abs, reverse=True))
    )
    actual = planned + sum(amounts)
    return MinutesLine(planned_s=planned, standard_s=planned, actual_s=actual, parts=parts)


@given(_amounts, st.integers(1, 16))
def test_each_bar_begins_where_the_one_before_ended_and_the_last_is_the_actual(
    amounts: list[int], room: int
) -> None:
    line = _line(amounts)
    first, *steps, last = waterfall(line)
    assert (first.until_s, last.until_s) == (line.planned_s, line.actual_s)
    level = first.until_s
    for step in steps:
        assert step.since_s == level
        level = step.until_s
    assert level == last.until_s
    shown = shown_parts(line.parts, room)
    assert len(shown) <= room
    assert [*falls(line.planned_s, shown)][-1].until_s == line.actual_s
    assert sum(part.n for part in shown) == len(amounts)


@given(_amounts, st.integers(2, 60))
def test_in_cells_no_bar_is_lost_and_none_reaches_over_the_edge(amounts: list[int], width: int) -> None:
    steps = tuple(falls(6000, _line(amounts).parts))
    low, high = min(step.low_s for step in steps), max(step.high_s for step in steps)
    for step in steps:
        first, count = cells(step, low, high, width)
        assert 0 <= first < first + count <= width
    places = [cells(step, low, high, width) for step in steps]
    for before, after in pairwise(places):  # neighbours touch
        assert before[0] <= after[0] + after[1]
        assert after[0] <= before[0] + before[1]


def test_by_example() -> None:
    """Planned 100 min, 20 more, 10 less, 5 more: 115 min."""
    line = _line([1200, -600, 300])
    rows = minutes_rows(line, 10, "en", width=110, plain=True)
    drawn = ["".join(span.text for span in row.line) for row in rows]
    assert [text.rstrip()[-36:].strip() for text in drawn[:1]] == ["#" * 36]
    assert drawn[1].endswith(" " * 18 + "-" * 18)
    assert drawn[2].endswith(" " * 18 + "#" * 9 + " " * 9)
    narrow = minutes_rows(line, 10, "en", width=74)
    assert all("█" not in "".join(span.text for span in row.line) for row in narrow)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_drawing_says_the_same_as_its_words(language: str) -> None:
    figure = minutes_figure(_line([1200, -600, 300]), "C-0001", language)
    root = ET.fromstring(figure.svg)
    bars = [
        (float(node.get("x", "")), float(node.get("x", "")) + float(node.get("width", "")))
        for node in root.iter(f"{SVG}rect")
        if node.get("stroke") == "black"
    ]
    planned, more, less, again, actual = bars
    assert planned[1] == pytest.approx(more[0], abs=0.02)
    assert more[1] == pytest.approx(less[1], abs=0.02)
    assert less[0] == pytest.approx(again[0], abs=0.02)
    assert again[1] == pytest.approx(actual[1], abs=0.02)
    assert more[1] - more[0] == pytest.approx(2 * (less[1] - less[0]), abs=0.05)
    texts = [node.text or "" for node in root.iter(f"{SVG}text")]
    for said in ("100:00", "+20:00", "-10:00", "+5:00", "115:00"):
        assert said in texts
        assert said in figure.told


def test_bars_that_do_not_meet_are_no_waterfall() -> None:
    rows = (FallRow("a", 0, 10, "10"), FallRow("b", 12, 14, "2"), FallRow("c", 0, 14, "14"))
    with pytest.raises(ValueError, match="begins where"):
        waterfall_svg("t", rows)
    with pytest.raises(ValueError, match="begins where"):
        waterfall_svg("t", (rows[0], FallRow("b", 10, 14, "4"), FallRow("c", 0, 15, "15")))
    with pytest.raises(ValueError, match="a first and a last"):
        waterfall_svg("t", rows[:1])
    same = waterfall_svg("t", (FallRow("a", 0, 10, "10"), FallRow("c", 0, 10, "10")))
    assert same.startswith("<svg")

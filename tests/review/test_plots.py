"""Plots as SVG: well-formed, the same every time, with words for whoever sees no grey."""

import math
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from floorterm.flush import LineModel, Unit, curve, washout
from floorterm.flush.progress import live_band
from floorterm.review.plots import BarRow, WashoutPlot, bars_svg, washout_svg
from floorterm.wording import LANGUAGES

SVG = "{http://www.w3.org/2000/svg}"
LINE = LineModel(units=(Unit(name="tank", mixed_kg=260),))
CURVE = washout(LINE)
END = 260 * math.log(50)  # closed form: one tank, 0.02


def plot(**changed: object) -> WashoutPlot:
    points = curve(CURVE, 1300.0, 27)
    band = [(one.kg, one.low, one.high) for one in live_band(CURVE, [kg for kg, _ in points])]
    given = {
        "points": points,
        "limit": 0.02,
        "crossing_kg": END,
        "outgoing": 'Clove <leaf> & "co"',
        "band": band,
        "samples": [(260.0, 0.35)],
    }
    return WashoutPlot(**(given | changed))  # type: ignore[arg-type]


def texts(svg: str) -> list[str]:
    return [node.text or "" for node in ET.fromstring(svg).iter(f"{SVG}text")]


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_washout_plot_says_limit_crossing_and_band_in_words(language: str) -> None:
    found = texts(washout_svg(plot(), language=language))
    assert "1018 kg" in found  # the crossing, rounded up
    assert any("2 %" in text for text in found)
    assert any('Clove <leaf> & "co"' in text for text in found)
    described = ET.fromstring(washout_svg(plot(), language=language)).find(f"{SVG}desc")
    assert described is not None
    assert "1018 kg" in (described.text or "")


def test_the_crossing_stands_where_curve_and_limit_meet() -> None:
    root = ET.fromstring(washout_svg(plot()))
    lines = {
        node.get("stroke-dasharray"): [
            tuple(map(float, spot.split(","))) for spot in node.get("points", "").split()
        ]
        for node in root.iter(f"{SVG}polyline")
    }
    limit_y, crossing_x = lines["8 4"][0][1], lines["2 3"][0][0]
    spots = lines[None]
    before = max(spot for spot in spots if spot[0] <= crossing_x)
    after = min(spot for spot in spots if spot[0] > crossing_x)
    share = (crossing_x - before[0]) / (after[0] - before[0])
    assert before[1] + share * (after[1] - before[1]) == pytest.approx(limit_y, abs=0.1)


def test_a_limit_that_is_never_reached_has_no_crossing_and_says_so() -> None:
    svg = washout_svg(plot(crossing_kg=math.inf))
    assert "is not reached" in svg
    assert "stroke-dasharray='2 3'" not in svg
    assert "stroke-dasharray='2 3'" in washout_svg(plot())


def test_nothing_but_black_white_and_grey_is_drawn() -> None:
    rows = [BarRow("push", 3.0), BarRow("strip", 2.0, chosen=True)]
    for svg in (washout_svg(plot()), bars_svg("kg", rows)):
        for node in ET.fromstring(svg).iter():
            for name in ("fill", "stroke"):
                colour = node.get(name, "none")
                grey = colour.startswith("#") and len(set(colour[1:])) == 1
                assert colour in ("none", "black", "white") or grey


def test_the_same_values_give_the_same_text() -> None:
    assert washout_svg(plot()) == washout_svg(plot())
    rows = (BarRow("a", 1.0), BarRow("b", None, "no"))
    assert bars_svg("t", rows) == bars_svg("t", rows)


def test_bars_are_as_long_as_their_values_and_say_what_is_not_allowed() -> None:
    rows = (
        BarRow("push through", 722.05, "35 min"),
        BarRow("divert <flash>", 580.34, "proposed", chosen=True),
        BarRow("plain noodles first", None, "the bar claims no fragrance"),
        BarRow("nothing", 0.0),
    )
    svg = bars_svg("kg diverted", rows, unit="kg")
    bars = [node for node in ET.fromstring(svg).iter(f"{SVG}rect") if node.get("stroke") == "black"]
    lengths = [float(node.get("width", "")) for node in bars]
    assert lengths[1] / lengths[0] == pytest.approx(580.34 / 722.05, abs=1e-3)
    assert lengths[2] == 0.0
    assert len(bars) == 3
    found = texts(svg)
    assert "not allowed, the bar claims no fragrance" in found
    assert "722.05 kg, 35 min" in found
    assert "divert <flash>" in found
    chosen = [
        node.get("font-weight") for node in ET.fromstring(svg).iter(f"{SVG}text") if node.text == found[3]
    ]
    assert chosen == ["bold"]


@pytest.mark.parametrize(
    "changed",
    [
        {"points": [(0.0, 1.0)]},
        {"points": [(0.0, 1.0), (0.0, 0.5)]},
        {"limit": 0.0},
        {"limit": 1.5},
    ],
)
def test_what_cannot_be_drawn_is_refused(changed: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"curve needs|limit lies"):
        washout_svg(plot(**changed))


@pytest.mark.parametrize("rows", [[], [BarRow("a", -1.0)], [BarRow("a", math.inf)], [BarRow("a", math.nan)]])
def test_bars_without_rows_or_with_impossible_values_are_refused(rows: list[BarRow]) -> None:
    with pytest.raises(ValueError, match="bar"):
        bars_svg("t", rows)


@given(
    st.lists(
        st.tuples(
            st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), max_size=30),
            st.none() | st.floats(0, 1e9),
        ),
        min_size=1,
        max_size=8,
    )
)
def test_any_label_leaves_the_document_well_formed(rows: list[tuple[str, float | None]]) -> None:
    root = ET.fromstring(bars_svg("t", [BarRow(label, value) for label, value in rows]))
    assert len(list(root.iter(f"{SVG}text"))) == 2 * len(rows) + 1


def test_deep_residuals_and_zero_stay_on_the_picture() -> None:
    root = ET.fromstring(washout_svg(plot(points=[(0.0, 1.0), (100.0, 1e-20), (200.0, 0.0)], band=())))
    spots = next(n.get("points", "") for n in root.iter(f"{SVG}polyline") if n.get("stroke-width") == "2.5")
    ys = [float(spot.split(",")[1]) for spot in spots.split()]
    assert all(0 <= y <= 400 for y in ys)

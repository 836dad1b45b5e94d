"""Charts as SVG, of the same values as those made of letters. Black, white, grey; the same value, the same text."""

import math
import textwrap
from collections.abc import Iterator, Sequence

from floorterm.languages import FALLBACK
from floorterm.languages import number as decimal
from floorterm.review.charts import Chart, Control, Pareto, Sort, Timeline, Washed
from floorterm.review.charts_text import reach
from floorterm.review.shortening import shortened
from floorterm.review.svg import LETTER, number, polyline, round_steps, svg_document, svg_text

WIDTH = 720
_TOP, _ROW, _BAR = 40, 24, 16
_PLOT = 240  # height of a plot
_FILL: dict[Sort, str] = {"internal": "#777", "external": "#ddd", "doubtful": "white"}
_THIN = "stroke='#999' stroke-width='0.5'"


def chart_svg(chart: Chart, told: str, language: str = FALLBACK) -> str:
    """The chart as one SVG element, its figures in the form of the language; `told` says the same in words."""
    match chart:
        case Timeline():
            height, body = _timeline(chart)
        case Pareto():
            height, body = _pareto(chart, language)
        case Control():
            height, body = _control(chart, language)
        case Washed():
            height, body = _washed(chart)
    return svg_document(WIDTH, height, chart.title, told, body)


def _room(names: Sequence[str], most: float) -> float:
    """Width of a column of names."""
    return min(most, max((len(name) for name in names), default=0) * LETTER + 20)


def _cut(name: str, width: float) -> str:
    return shortened(name, int((width - 16) / LETTER), "…")


def _box(x: float, y: float, width: float, height: float, fill: str, more: str = "") -> str:
    size = f"width='{number(width)}' height='{number(height)}'"
    return f"<rect x='{number(x)}' y='{number(y)}' {size} fill='{fill}' stroke='black' stroke-width='0.7'{more}/>"


def _line(x1: float, y1: float, x2: float, y2: float, style: str) -> str:
    return f"<line x1='{number(x1)}' y1='{number(y1)}' x2='{number(x2)}' y2='{number(y2)}' {style}/>"


def _noted(body: list[str], y: int, note: str) -> tuple[int, list[str]]:
    """A drawing's height and body with its note under it, as many lines as it takes."""
    lines = textwrap.wrap(note, int((WIDTH - 24) / LETTER))
    return y + 14 * len(lines), [*body, *(svg_text(12, y + 14 * at, line) for at, line in enumerate(lines))]


def _timeline(chart: Timeline) -> tuple[int, list[str]]:
    left = _room([name for name, _ in chart.rows], WIDTH * 0.25)
    scale = (WIDTH - left - 16) / max(chart.minutes, 1e-9)
    bottom = _TOP + _ROW * len(chart.rows)
    body = []
    for minute in round_steps(max(chart.minutes, 1.0)):
        x = left + minute * scale
        body += [
            _line(x, _TOP - 6, x, bottom, _THIN),
            svg_text(x, bottom + 14, f"{minute:g}", anchor="middle"),
        ]
    for place, (name, spans) in enumerate(chart.rows):
        y = _TOP + place * _ROW
        body.append(svg_text(12, y + 12, _cut(name, left)))
        for span in spans:
            dashed = " stroke-dasharray='2 2'" if span.sort == "doubtful" else ""
            width = max(1.0, (span.until - span.since) * scale)
            body.append(_box(left + span.since * scale, y, width, _BAR, _FILL[span.sort], dashed))
    for place, (minute, word) in enumerate(chart.marks):
        x = left + minute * scale
        body.append(_line(x, _TOP - 8, x, bottom + 20 + 14 * place, "stroke='black' stroke-width='1.5'"))
        anchor = "end" if x > WIDTH * 0.6 else "start"
        aside = -4 if anchor == "end" else 4
        body.append(svg_text(x + aside, bottom + 30 + 14 * place, f"{word} {minute:.0f}", anchor=anchor))
    low = bottom + 36 + 14 * len(chart.marks)
    body.append(svg_text(12, low, f"{chart.begin}, {chart.axis}"))
    x = left + 150
    for sort, word in chart.legend:
        dashed = " stroke-dasharray='2 2'" if sort == "doubtful" else ""
        body += [_box(x, low - 10, 14, 11, _FILL[sort], dashed), svg_text(x + 20, low, word)]
        x += 40 + len(word) * LETTER
    return low + 14, body


def _pareto(chart: Pareto, language: str) -> tuple[int, list[str]]:
    left = _room([bar.name for bar in chart.bars], WIDTH * 0.45)
    told = [
        f"{decimal(f'{bar.minutes:.1f}', language)} min, {bar.count}x, {bar.share * 100:.0f} %"
        for bar in chart.bars
    ]
    room = WIDTH - left - max((len(text) for text in told), default=0) * LETTER - 20
    most = max((bar.minutes for bar in chart.bars), default=1.0)
    body: list[str] = []
    for place, (bar, text) in enumerate(zip(chart.bars, told, strict=True)):
        y = _TOP + place * _ROW
        width = max(1.0, bar.minutes / most * room)
        body += [
            svg_text(12, y + 12, _cut(bar.name, left), weight=bar.few),
            _box(left, y, width, _BAR, "#555" if bar.few else "#ddd"),
            svg_text(left + width + 5, y + 12, text, weight=bar.few),
        ]
    return _noted(body, _TOP + _ROW * len(chart.bars) + 14, chart.note)


class _Upright:
    """A logarithmic axis from the bottom to the top of a plot."""

    def __init__(self, values: Sequence[float]) -> None:
        low, high = reach(values)
        self._low, self._high = math.log(low), math.log(high)

    def y(self, value: float) -> float:
        """Where a value stands; what lies beyond the axis stands at its end."""
        share = (self._high - math.log(max(value, 1e-300))) / (self._high - self._low)
        return _TOP + min(max(share, 0.0), 1.0) * _PLOT


def _control(chart: Control, language: str) -> tuple[int, list[str]]:
    if not chart.values:
        return _noted([], _TOP + 8, chart.note)
    left, right = 64.0, 150.0
    axis = _Upright([*chart.values, *(level.value for level in chart.levels)])
    step = (WIDTH - left - right) / max(1, len(chart.values) - 1)
    body = [_box(left - 8, _TOP, WIDTH - left - right + 16, _PLOT, "white")]
    dashes = {"centre": "", "limit": "stroke-dasharray='8 4'", "later": "stroke-dasharray='2 3'"}
    last_named = -100.0
    for level in sorted(chart.levels, key=lambda one: -one.value):
        y = axis.y(level.value)
        ends = left + level.first * step, left + level.last * step
        body.append(
            _line(ends[0] - 6, y, ends[1] + 6, y, f"stroke='black' stroke-width='1' {dashes[level.sort]}")
        )
        last_named = max(y, last_named + 12)
        body.append(
            svg_text(
                WIDTH - right + 12, last_named + 4, f"{level.name} {decimal(f'{level.value:.1f}', language)}"
            )
        )
    spots = [(left + at * step, axis.y(value)) for at, value in enumerate(chart.values)]
    body.append(polyline(spots, "stroke-width='1'"))
    body += list(_dots(spots, chart.signalled))
    for value in (min(chart.values), max(chart.values)):
        body.append(svg_text(left - 12, axis.y(value) + 4, decimal(f"{value:.1f}", language), anchor="end"))
    body.append(svg_text(12, _TOP - 4, chart.axis))
    return _noted(body, _TOP + _PLOT + 20, chart.note)


def _dots(spots: Sequence[tuple[float, float]], signalled: frozenset[int]) -> Iterator[str]:
    for at, (x, y) in enumerate(spots):
        fill, size = ("black", 5) if at in signalled else ("white", 3)
        yield f"<circle cx='{number(x)}' cy='{number(y)}' r='{size}' fill='{fill}' stroke='black'/>"


def _washed(chart: Washed) -> tuple[int, list[str]]:
    left, right = 64.0, 24.0
    most = chart.points[-1][0]
    room = WIDTH - left - right
    least = max(min(residual for _, residual in chart.points), chart.limit / 100)
    axis = _Upright([least, chart.limit, 1.0])
    y = axis.y(chart.limit)
    body = [_box(left, _TOP, room, _PLOT, "white")]
    for kg in round_steps(most):
        x = left + kg / most * room
        body += [
            _line(x, _TOP, x, _TOP + _PLOT, _THIN),
            svg_text(x, _TOP + _PLOT + 14, f"{kg:g}", anchor="middle"),
        ]
    body += [
        svg_text(left - 6, axis.y(1.0) + 4, "100 %", anchor="end"),
        svg_text(left - 6, y + 4, f"{chart.limit * 100:.3g} %", anchor="end"),
        _line(left, y, left + room, y, "stroke='black' stroke-dasharray='8 4'"),
        polyline(
            [(left + kg / most * room, axis.y(residual)) for kg, residual in chart.points], "stroke-width='2'"
        ),
        *_dots([(left + kg / most * room, axis.y(residual)) for kg, residual in chart.samples], frozenset()),
    ]
    return _noted(body, _TOP + _PLOT + 32, chart.note)

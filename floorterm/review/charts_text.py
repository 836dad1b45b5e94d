"""Charts made of letters, for a terminal or a plain text: the same values as the drawings of `charts_svg`.

Plain ASCII, so that a pager, a log and a screen reader's braille line show them alike; every bar has its figure.
"""

import math
import textwrap
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from floorterm.languages import FALLBACK, number
from floorterm.review.charts import Chart, Control, Pareto, Sort, Timeline, Washed
from floorterm.review.shortening import shortened

if TYPE_CHECKING:
    from floorterm.review.plots import FallRow

_INK: dict[Sort, str] = {"internal": "#", "external": "=", "doubtful": "?"}
_NAME = 38
_HIGH = 14  # lines of a plot
_SMALLEST = 1e-12


def chart_lines(chart: Chart, width: int, language: str = FALLBACK) -> tuple[str, ...]:
    """The chart in lines of at most `width` columns (60 and more), its figures in the form of the language."""
    match chart:
        case Timeline():
            lines = _timeline(chart, width)
        case Pareto():
            lines = _pareto(chart, width, language)
        case Control():
            lines = _control(chart, width, language)
        case Washed():
            lines = _washed(chart, width)
    return tuple(line.rstrip()[:width] for line in (chart.title, *lines))


def fall_lines(title: str, rows: Sequence["FallRow"], width: int) -> tuple[str, ...]:
    """A waterfall in lines of at most `width` columns: totals `#`, what adds `+`, what takes `-`; levels from 0."""
    names = min(max(_NAME, width // 2), max(len(row.label) for row in rows))
    amounts = max(len(row.said) for row in rows)
    room = width - names - amounts - 3
    most = max(1, *(max(row.since, row.until) for row in rows))
    lines = [title]
    for place, row in enumerate(rows):
        first, last = (round(max(0, level) / most * room) for level in sorted((row.since, row.until)))
        ink = "#" if place in (0, len(rows) - 1) else "+" if row.until >= row.since else "-"
        drawn = " " * first + ink * max(1, last - first)
        lines.append(f"{shortened(row.label, names):<{names}} {row.said:>{amounts}} |{drawn[:room]}")
    return tuple(lines)


def _timeline(chart: Timeline, width: int) -> Iterator[str]:
    names = min(_NAME // 2, max((len(name) for name, _ in chart.rows), default=0))
    room = width - names - 2
    scale = room / chart.minutes if chart.minutes > 0 else 0.0
    for name, spans in chart.rows:
        cells = [" "] * room
        for span in spans:
            first = min(room - 1, int(span.since * scale))
            for at in range(first, max(first + 1, min(room, round(span.until * scale)))):
                cells[at] = _INK[span.sort]
            cells[first] = "|"
        yield f"{shortened(name, names):<{names}} {''.join(cells)}"
    for minute, word in chart.marks:
        at = min(room - 1, int(minute * scale))
        told = f"{word} {minute:.0f}"
        line = f"{'':<{at}}^ {told}" if at + 2 + len(told) <= room else f"{told:>{max(0, at - 1)}} ^"
        yield f"{'':<{names}} {line}"
    yield f"{'':<{names}} {chart.begin}{f'{chart.minutes:.0f} {chart.axis}':>{room - len(chart.begin)}}"
    yield "; ".join(f"{_INK[sort]} {word}" for sort, word in chart.legend)


def _pareto(chart: Pareto, width: int, language: str) -> Iterator[str]:
    names = min(max(_NAME + 6, width // 2), max((len(bar.name) for bar in chart.bars), default=0))
    most = max((bar.minutes for bar in chart.bars), default=0.0)
    room = width - names - 24
    for bar in chart.bars:
        drawn = "#" * max(1, round(bar.minutes / most * room))
        told = f"{number(f'{bar.minutes:7.1f}', language)} {bar.count:4d}x {bar.share * 100:4.0f} %"
        yield f"{'*' if bar.few else ' '} {shortened(bar.name, names):<{names}} {told} {drawn}"
    yield from textwrap.wrap(chart.note, width)


def _control(chart: Control, width: int, language: str) -> Iterator[str]:
    if chart.values:
        low, high = reach([*chart.values, *(level.value for level in chart.levels)])
        plot = _Plot(len(chart.values), low, high, width - 9)
        for level in chart.levels:
            ink = {"centre": "-", "limit": "=", "later": "~"}[level.sort]
            for column in range(plot.column(level.first), plot.column(level.last) + 1):
                plot.put(column, level.value, ink)
            plot.name(level.value, number(f"{level.value:.1f}", language))
        for at, value in enumerate(chart.values):
            plot.put(plot.column(at), value, "X" if at in chart.signalled else "o")
        yield from plot.lines()
    yield from textwrap.wrap(chart.note, width)


def _washed(chart: Washed, width: int) -> Iterator[str]:
    most = chart.points[-1][0]
    residuals = [max(residual, _SMALLEST) for _, residual in chart.points]
    low, high = reach([max(min(residuals), chart.limit / 100), chart.limit, 1.0])
    plot = _Plot(width - 9, low, high, width - 9)
    for column in range(width - 9):
        plot.put(column, chart.limit, "-")
        kg = most * column / (width - 10)
        plot.put(column, max(_read(chart.points, kg), _SMALLEST), "*")
    plot.name(chart.limit, f"{chart.limit * 100:.3g}%")
    plot.name(1.0, "100%")
    for kg, residual in chart.samples:
        plot.put(min(width - 10, round(kg / most * (width - 10))), residual, "o")
    yield from plot.lines()
    yield f"{'':>8} 0{f'{most:.0f} kg':>{width - 11}}"
    yield from textwrap.wrap(chart.note, width)


def reach(values: Sequence[float]) -> tuple[float, float]:
    """The ends of a logarithmic axis that shows every value, with a little room; never of no length."""
    least, most = min(values), max(values)
    room = max((most / least) ** 0.04, 1.01)
    return least / room, most * room


def _read(points: Sequence[tuple[float, float]], kg: float) -> float:
    """The curve between its points, on straight lines."""
    for (a, low), (b, high) in pairwise(points):
        if a <= kg <= b:
            return low + (high - low) * (kg - a) / (b - a)
    return points[-1][1]


class _Plot:
    """Letters on a grid with a logarithmic upright axis."""

    def __init__(self, count: int, low: float, high: float, room: int) -> None:
        self._count, self._low, self._high, self._room = count, math.log(low), math.log(high), room
        self._cells = [[" "] * room for _ in range(_HIGH)]
        self._names: dict[int, str] = {}

    def column(self, at: int) -> int:
        """Where a point (from 0) stands."""
        return (
            at if self._count <= 1 else round(at * min(self._room - 1, 3 * self._count) / (self._count - 1))
        )

    def _row(self, value: float) -> int:
        share = (self._high - math.log(value)) / (self._high - self._low)
        return min(_HIGH - 1, max(0, round(share * (_HIGH - 1))))

    def put(self, column: int, value: float, ink: str) -> None:
        """One letter."""
        self._cells[self._row(value)][column] = ink

    def name(self, value: float, text: str) -> None:
        """What stands on the axis."""
        self._names.setdefault(self._row(value), text)

    def lines(self) -> Iterator[str]:
        """The grid with its axis."""
        for at, cells in enumerate(self._cells):
            yield f"{self._names.get(at, ''):>7} |{''.join(cells)}"

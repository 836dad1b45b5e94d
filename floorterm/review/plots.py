"""Plots for documents, as SVG text: the washout curve of a flush, and horizontal bars for what is compared.

Black on white with grey, dashes and words, so that a photocopy says the same. The same values give the same
text, byte for byte.
"""

import math
from collections.abc import Sequence
from html import escape

from msgspec import Struct

from floorterm.review.shortening import shortened
from floorterm.review.svg import number, polyline, round_steps, svg_document, svg_text
from floorterm.wording import words

_LEFT, _RIGHT, _TOP, _BOTTOM = 64, 24, 40, 52
_SMALLEST = 1e-12
_BAR_HEIGHT, _BAR_GAP = 22, 14
_FALL_STEP, _FALL_HEIGHT, _FALL_LEFT, _FALL_ROOM = 19, 13, 330, 230
_FALL_LETTERS = 46  # of a label, so that it ends before the bars
_CHAR = 6.7  # width of a letter of this size, on average


class WashoutPlot(Struct, frozen=True, kw_only=True):
    """What a washout plot shows; residuals are fractions, kg are line mass.

    `points`: (kg, residual). `limit` and `crossing_kg`: the residual limit and where it is kept (math.inf:
    never). `band`: (kg, low, high). `samples`: (kg, residual) of check samples. `outgoing`: a name.
    """

    points: Sequence[tuple[float, float]]
    limit: float
    crossing_kg: float
    outgoing: str = ""
    band: Sequence[tuple[float, float, float]] = ()
    samples: Sequence[tuple[float, float]] = ()


class BarRow(Struct, frozen=True):
    """One bar: label, value (None: not allowed), and a note that stands beside it. `chosen` is proposed."""

    label: str
    value: float | None
    note: str = ""
    chosen: bool = False


class _Scale:
    """Where kg and residuals stand on the picture; residuals by decades."""

    def __init__(self, most_kg: float, least: float, width: int, height: int) -> None:
        self.most_kg, self.width, self.height = most_kg, width, height
        self.decades = max(1, math.ceil(-math.log10(max(least, _SMALLEST)) - 1e-9))

    def x(self, kg: float) -> float:
        """Across."""
        share = min(max(kg / self.most_kg, 0.0), 1.0)
        return _LEFT + share * (self.width - _LEFT - _RIGHT)

    def y(self, residual: float) -> float:
        """Down: 1 at the top, the last decade at the bottom."""
        down = -math.log10(max(residual, _SMALLEST)) / self.decades
        return _TOP + min(max(down, 0.0), 1.0) * (self.height - _TOP - _BOTTOM)

    @property
    def bottom(self) -> float:
        """The lower edge."""
        return float(self.height - _BOTTOM)

    @property
    def right(self) -> float:
        """The right edge."""
        return float(self.width - _RIGHT)


def washout_svg(plot: WashoutPlot, *, language: str = "en", width: int = 640, height: int = 400) -> str:
    """The washout curve by decades, with limit, crossing, band and samples, as one SVG document.

    Raises ValueError for fewer than two points, for kg that do not rise, or for a limit outside (0, 1].
    """
    if len(plot.points) < 2 or any(b[0] <= a[0] for a, b in zip(plot.points, plot.points[1:], strict=False)):
        raise ValueError("a curve needs at least two points with rising kg")
    if not 0.0 < plot.limit <= 1.0:
        raise ValueError("a residual limit lies above 0 and not above 1")
    least = min(plot.limit, *(max(r, _SMALLEST) for _, r in plot.points)) * 0.999
    scale = _Scale(plot.points[-1][0], max(least, plot.limit / 100.0), width, height)
    body = [
        *_axes(scale, language),
        *_band(scale, plot, language),
        *_limit(scale, plot, language),
        polyline([(scale.x(kg), scale.y(r)) for kg, r in plot.points], "stroke-width='2.5'"),
        *_samples(scale, plot, language),
    ]
    title = words("plots.washout", language, outgoing=plot.outgoing)
    return svg_document(width, height, title, _described(plot, language), body)


def bars_svg(
    title: str, rows: Sequence[BarRow], *, unit: str = "", language: str = "en", width: int = 640
) -> str:
    """Horizontal bars with their values and notes in words, as one SVG document.

    Bars start at 0; a chosen one is dark, the others light; one without a value says that it is not allowed.
    Raises ValueError for no rows or for a value that is negative or not finite.
    """
    values = [row.value for row in rows if row.value is not None]
    if not rows:
        raise ValueError("bars need at least one row")
    if any(not math.isfinite(value) or value < 0.0 for value in values):
        raise ValueError("a bar's value is finite and not negative")
    most = max(values, default=0.0)
    labels = min(max(len(row.label) for row in rows) * _CHAR + 12.0, width * 0.4)
    room = (width - labels - 24.0) * 0.45
    step = _BAR_HEIGHT + _BAR_GAP
    height = _TOP + step * len(rows) + 16
    body: list[str] = []
    for place, row in enumerate(rows):
        top = _TOP + place * step
        middle = top + _BAR_HEIGHT / 2 + 4
        body.append(svg_text(12, middle, row.label, weight=row.chosen))
        length = room * row.value / most if row.value and most else 0.0
        if row.value is not None:
            fill = "#555" if row.chosen else "#ddd"
            body.append(
                f"<rect x='{number(12 + labels)}' y='{number(top)}' width='{number(length)}' height='{_BAR_HEIGHT}'"
                f" fill='{fill}' stroke='black'/>"
            )
        said = [
            words("plots.not_allowed", language) if row.value is None else f"{row.value:g} {unit}".strip()
        ]
        said += [row.note] if row.note else []
        body.append(svg_text(12 + labels + length + 6, middle, ", ".join(said), weight=row.chosen))
    told = "; ".join(
        f"{row.label}: {'-' if row.value is None else f'{row.value:g} {unit}'.strip()}" for row in rows
    )
    return svg_document(
        width, height, title, words("plots.bars_described", language, most=f"{most:g}", rows=told), body
    )


class FallRow(Struct, frozen=True):
    """One bar of a waterfall: its label, from one level to the next, and how much that is in words."""

    label: str
    since: float
    until: float
    said: str


def waterfall_svg(title: str, rows: Sequence[FallRow], *, language: str = "en", width: int = 640) -> str:
    """Bars that each begin where the one before ended, as one SVG document: dark ones add, light ones take away.

    The first and the last row are totals from 0; the picture shows the range in which the parts move, and says so.
    Raises ValueError for fewer than two rows, or for a part that does not begin where the one before it ended.
    """
    if len(rows) < 2:
        raise ValueError("a waterfall has a first and a last total")
    inner = rows[1:-1]
    levels = [rows[0].until, *(row.until for row in inner)]
    if (
        any(row.since != level for row, level in zip(inner, levels, strict=False))
        or levels[-1] != rows[-1].until
    ):
        raise ValueError("each bar begins where the one before it ended")
    low, high = min(levels), max(levels)
    low -= (high - low or 1.0) * 0.1  # the totals keep a visible end
    body: list[str] = []
    for place, row in enumerate(rows):
        top = _TOP + place * _FALL_STEP
        ends = sorted((low if row in (rows[0], rows[-1]) else row.since, row.until))
        left, right = (_FALL_LEFT + (end - low) / (high - low) * _FALL_ROOM for end in ends)
        total = place in (0, len(rows) - 1)
        fill = "#999" if total else "#333" if row.until >= row.since else "#ddd"
        body.append(svg_text(12, top + 11, shortened(row.label, _FALL_LETTERS), weight=total))
        body.append(
            f"<rect x='{number(left)}' y='{number(top)}' width='{number(max(right - left, 1.0))}'"
            f" height='{_FALL_HEIGHT}' fill='{fill}' stroke='black' stroke-width='0.5'/>"
        )
        body.append(svg_text(width - 12, top + 11, row.said, anchor="end", weight=total))
    height = _TOP + _FALL_STEP * len(rows) + 24
    body.append(svg_text(12, height - 10, words("plots.totals_cut", language)))
    told = "; ".join(f"{row.label}: {row.said}" for row in rows)
    return svg_document(width, height, title, words("plots.waterfall", language, rows=told), body)


# --- how ---------------------------------------------------------------------------------------------


def _axes(scale: _Scale, language: str) -> list[str]:
    thin = "stroke-width='0.5' stroke='#999'"
    found = []
    for kg in round_steps(scale.most_kg):
        x = scale.x(kg)
        found.append(
            f"<line x1='{number(x)}' y1='{_TOP}' x2='{number(x)}' y2='{number(scale.bottom)}' {thin}/>"
        )
        found.append(svg_text(x, scale.bottom + 16, f"{kg:g}", anchor="middle"))
    for decade in range(scale.decades + 1):
        y = scale.y(10.0**-decade)
        found.append(
            f"<line x1='{_LEFT}' y1='{number(y)}' x2='{number(scale.right)}' y2='{number(y)}' {thin}/>"
        )
        found.append(svg_text(_LEFT - 6, y + 4, f"{10.0 ** (2 - decade):g}", anchor="end"))
    found.append(
        f"<rect x='{_LEFT}' y='{_TOP}' width='{number(scale.right - _LEFT)}' height='{number(scale.bottom - _TOP)}'"
        " fill='none' stroke='black'/>"
    )
    found.append(
        svg_text((_LEFT + scale.right) / 2, scale.height - 14, words("plots.kg", language), anchor="middle")
    )
    middle = (_TOP + scale.bottom) / 2
    found.append(
        f"<text transform='translate(16 {number(middle)}) rotate(-90)' text-anchor='middle'>"
        f"{escape(words('plots.residual', language))}</text>"
    )
    return found


def _band(scale: _Scale, plot: WashoutPlot, language: str) -> list[str]:
    if not plot.band:
        return []
    upper = [(scale.x(kg), scale.y(high)) for kg, _, high in plot.band]
    lower = [(scale.x(kg), scale.y(low)) for kg, low, _ in plot.band]
    return [
        polyline([*upper, *reversed(lower)], "fill='#ccc' stroke='#777' stroke-width='0.5'", closed=True),
        svg_text(scale.right - 4, _TOP + 16, words("plots.band", language), anchor="end"),
    ]


def _limit(scale: _Scale, plot: WashoutPlot, language: str) -> list[str]:
    y = scale.y(plot.limit)
    found = [
        polyline([(_LEFT, y), (scale.right, y)], "stroke-dasharray='8 4'"),
        svg_text(_LEFT + 6, y - 5, words("plots.limit", language, percent=_percent(plot.limit))),
    ]
    if plot.crossing_kg <= scale.most_kg:
        x = scale.x(plot.crossing_kg)
        kg = f"{math.ceil(plot.crossing_kg - 1e-9)}"
        found.append(polyline([(x, _TOP), (x, scale.bottom)], "stroke-dasharray='2 3'"))
        end = x > (_LEFT + scale.right) * 0.7
        anchor, aside = ("end", -5) if end else ("start", 5)
        found.append(
            svg_text(x + aside, scale.bottom - 6, words("plots.crossing", language, kg=kg), anchor=anchor)
        )
    return found


def _samples(scale: _Scale, plot: WashoutPlot, language: str) -> list[str]:
    if not plot.samples:
        return []
    found = [
        f"<circle cx='{number(scale.x(kg))}' cy='{number(scale.y(r))}' r='4' fill='white' stroke='black'/>"
        for kg, r in plot.samples
    ]
    return [*found, svg_text(scale.right - 4, _TOP + 32, words("plots.samples", language), anchor="end")]


def _percent(fraction: float) -> str:
    return f"{fraction * 100:.3g}"


def _described(plot: WashoutPlot, language: str) -> str:
    facts = {
        "first": _percent(plot.points[0][1]),
        "last": _percent(plot.points[-1][1]),
        "kg": f"{plot.points[-1][0]:.0f}",
        "percent": _percent(plot.limit),
    }
    if math.isinf(plot.crossing_kg):
        return words("plots.described_never", language, **facts)
    kg = math.ceil(plot.crossing_kg - 1e-9)
    return words("plots.described", language, crossing=f"{kg}", **facts)

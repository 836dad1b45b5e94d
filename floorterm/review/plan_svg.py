"""The plan of a line's isolation points as SVG text, drawn from the positions in the line's file.

Blue discs (ISO 3864-1: mandatory action, here *lock out here*) carry the point's short name; a yellow triangle
(warning) beside one says that energy stays stored behind it. Every colour comes with its word in the legend, and a
point that is not of the procedure is an empty ring. The same values give the same text.
"""

from collections.abc import Iterator
from html import escape
from typing import TYPE_CHECKING

from floorterm.languages import by_language, in_
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.library.model import IsolationPoint, LineFile, LockoutFile
    from floorterm.library.model import Text as LibraryText

BLUE, YELLOW = "#005387", "#F9A800"
_WIDTH, _MARGIN, _LEGEND = 900.0, 16.0, 58.0
_RADIUS = 17.0
_FONT = "font-family=\"'DejaVu Sans Mono', monospace\""


def plan_svg(line: "LineFile", lockout: "LockoutFile", language: str) -> str:
    """The plan as one SVG element. Raises ValueError for a line without a plan."""
    if line.plan is None:
        raise ValueError(f"{line.id} has no plan")
    scale = (_WIDTH - 2 * _MARGIN) / float(line.plan.length_m)
    high = float(line.plan.width_m) * scale
    box = f"0 0 {_WIDTH:.0f} {high + 2 * _MARGIN + _LEGEND:.0f}"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" {_FONT}>',
        f'<rect x="{_MARGIN:g}" y="{_MARGIN:g}" width="{_WIDTH - 2 * _MARGIN:.1f}" height="{high:.1f}"'
        ' fill="#fff" stroke="#000" stroke-width="1.5"/>',
        *_machines(line, scale, high, language),
        *(mark for point in line.points for mark in _point(point, lockout, scale, high)),
        *_legend(scale, high, language),
        "</svg>",
    ]
    return "\n".join(parts)


def told(line: "LineFile", lockout: "LockoutFile", language: str) -> str:
    """The same in words: every point of the procedure with its place, in the order of the procedure."""
    points = {point.id: point for point in line.points}
    named = [f"{name}: {_in(points[name].place, language)}" for name in lockout.points]
    return words("report.plan_told", language, points="; ".join(named))


def _in(text: "LibraryText", language: str) -> str:
    return in_(by_language(text), language)


def _machines(line: "LineFile", scale: float, high: float, language: str) -> Iterator[str]:
    assert line.plan is not None
    for one in line.plan.machines:
        x = _MARGIN + float(one.x_m) * scale
        y = _MARGIN + high - (float(one.y_m) + float(one.width_m)) * scale
        wide, tall = float(one.length_m) * scale, float(one.width_m) * scale
        yield (
            f'<rect x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{tall:.1f}" fill="#E6E6E6" stroke="#555"/>'
        )
        yield from _label(_in(one.name, language), x + wide / 2, y + tall / 2, wide)


def _label(text: str, x: float, y: float, room: float) -> Iterator[str]:
    """A name in the middle of its outline, a word a line, small enough for it."""
    lines = text.split()
    size = min(13.0, room * 1.55 / max(len(word) for word in lines))
    for number, word in enumerate(lines):
        at = y + (number - (len(lines) - 1) / 2) * size * 1.15 + size * 0.35
        style = f'font-size="{size:.1f}" text-anchor="middle" fill="#222"'
        yield f'<text x="{x:.1f}" y="{at:.1f}" {style}>{escape(word)}</text>'


def _point(point: "IsolationPoint", lockout: "LockoutFile", scale: float, high: float) -> Iterator[str]:
    assert point.at is not None
    x = _MARGIN + float(point.at.x_m) * scale
    y = _MARGIN + high - float(point.at.y_m) * scale
    short = escape(point.id.rpartition("-")[2])
    if point.id not in lockout.points:
        yield f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{_RADIUS:g}" fill="#fff" stroke="#555" stroke-dasharray="4 3"/>'
        yield _text(short, x, y + 5, "#555")
        return
    yield f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{_RADIUS:g}" fill="{BLUE}" stroke="#000"/>'
    yield _text(short, x, y + 5, "#fff", bold=True)
    if point.needs_release:
        yield _triangle(x + _RADIUS + 9, y - 8)


def _text(text: str, x: float, y: float, fill: str, *, bold: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="14" text-anchor="middle" fill="{fill}"{weight}>{text}</text>'


def _triangle(x: float, y: float) -> str:
    return (
        f'<path d="M {x:.1f} {y - 9:.1f} L {x + 10:.1f} {y + 8:.1f} L {x - 10:.1f} {y + 8:.1f} Z" fill="{YELLOW}"'
        f' stroke="#000" stroke-width="1.5" stroke-linejoin="round"/>'
        f'<text x="{x:.1f}" y="{y + 6:.1f}" font-size="11" font-weight="bold" text-anchor="middle">!</text>'
    )


def _legend(scale: float, high: float, language: str) -> Iterator[str]:
    """What the marks mean, in words, and a bar of five metres."""
    y = _MARGIN * 2 + high + 10

    def said(key: str, x: float) -> str:
        text = escape(words(f"report.{key}", language))
        return f'<text x="{x:.1f}" y="{y + 5:.1f}" font-size="13">{text}</text>'

    yield f'<circle cx="{_MARGIN + 12:g}" cy="{y:.1f}" r="11" fill="{BLUE}" stroke="#000"/>'
    yield said("legend_lock", _MARGIN + 30)
    yield _triangle(_MARGIN + 262, y)
    yield said("legend_stored", _MARGIN + 280)
    yield f'<circle cx="{_MARGIN + 562:g}" cy="{y:.1f}" r="11" fill="#fff" stroke="#555" stroke-dasharray="4 3"/>'
    yield said("legend_other", _MARGIN + 580)
    bar, low = 5 * scale, y + 30
    drawn = f"M {_MARGIN:g} {low:.1f} h {bar:.1f} m 0 -5 v 10 M {_MARGIN:g} {low - 5:.1f} v 10"
    yield f'<path d="{drawn}" stroke="#000" fill="none"/>'
    yield f'<text x="{_MARGIN + bar + 8:.1f}" y="{low + 5:.1f}" font-size="13">5 m</text>'

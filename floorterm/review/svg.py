"""Pieces of drawings as SVG text: black, white and grey, words beside them. The same values give the same text."""

import math
from collections.abc import Sequence
from html import escape

# the typesetter's own fonts hold one without serifs, in which every letter is as wide as any other
FONT = "font-family='DejaVu Sans Mono, monospace' font-size='11'"
LETTER = 6.63  # width of a letter of this size


def svg_document(width: int, height: int, title: str, described: str, body: Sequence[str]) -> str:
    """One drawing with its title on it, its description for readers of screens, on white."""
    head = (
        f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {width} {height}' width='{width}'"
        f" height='{height}' role='img' {FONT}>"
    )
    return "\n".join(
        [
            head,
            f"<title>{escape(title)}</title>",
            f"<desc>{escape(described)}</desc>",
            f"<rect width='{width}' height='{height}' fill='white'/>",
            svg_text(12, 22, title, weight=True),
            *body,
            "</svg>\n",
        ]
    )


def number(value: float) -> str:
    """A coordinate with two digits; no negative zero."""
    return f"{round(value, 2) + 0.0:g}" if abs(value) < 1e5 else f"{value:.0f}"


def svg_text(x: float, y: float, text: str, *, anchor: str = "start", weight: bool = False) -> str:
    """A text; `anchor` start, middle or end."""
    bold = " font-weight='bold'" if weight else ""
    return f"<text x='{number(x)}' y='{number(y)}' text-anchor='{anchor}'{bold}>{escape(text)}</text>"


def polyline(points: Sequence[tuple[float, float]], style: str, *, closed: bool = False) -> str:
    """A line through points, or a closed shape; `style` are further attributes."""
    spots = " ".join(f"{number(x)},{number(y)}" for x, y in points)
    if closed:
        return f"<polygon points='{spots}' {style}/>"
    return f"<polyline points='{spots}' fill='none' stroke='black' {style}/>"


def round_steps(most: float) -> list[float]:
    """Round figures along an axis, four to ten of them."""
    rough = most / 6.0
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(times * power for times in (1.0, 2.0, 5.0, 10.0) if times * power >= rough * 0.999)
    return [k * step for k in range(int(most / step + 1e-9) + 1)]

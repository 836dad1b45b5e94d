"""The pictures in README are what the program draws now: compared by their words, line by line, not by their bytes."""

import re
from html import unescape
from pathlib import Path

import pytest

from floorterm.demo import open_still
from floorterm.terminal.pictures import SCREENS, SIZES, picture

PICTURES = Path(__file__).parents[1] / "pictures"
_WORDS = re.compile(r'<text class="[^"]+" x="([\d.]+)" y="([\d.]+)"[^>]*>([^<]*)</text>')


def _lines(svg: str) -> list[str]:
    """The lines of text that a picture shows, top to bottom."""
    rows: dict[float, list[tuple[float, str]]] = {}
    for x, y, text in _WORDS.findall(svg):
        rows.setdefault(float(y), []).append((float(x), unescape(text).replace("\xa0", " ")))
    return ["".join(text for _, text in sorted(parts)).rstrip() for _, parts in sorted(rows.items())]


@pytest.mark.parametrize("name", ["lines", "work", "locks", "flush", "shift", "first-aid"])
async def test_a_picture_shows_what_the_screen_shows(name: str) -> None:
    stored = (PICTURES / f"{name}-80x24.svg").read_text(encoding="utf-8")
    drawn = await picture(open_still, SCREENS[name], (80, 24))
    assert _lines(drawn) == _lines(stored), "run: floorterm demo --pictures tests/pictures"
    assert len(_lines(stored)) >= 10


def test_every_screen_has_its_picture_at_both_sizes() -> None:
    expected = {f"{name}-{columns}x{rows}.svg" for name in SCREENS for columns, rows in SIZES}
    assert {path.name for path in PICTURES.iterdir()} == expected

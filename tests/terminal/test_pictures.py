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


@pytest.mark.parametrize(
    ("name", "language"),
    [
        *((name, "en") for name in ("lines", "work", "locks", "flush", "first-aid", "review")),
        *((name, "es") for name in ("shift", "minutes")),
    ],
)
async def test_a_picture_shows_what_the_screen_shows(name: str, language: str) -> None:
    path = PICTURES / f"{name}-80x24{'' if language == 'en' else f'-{language}'}.svg"
    stored = path.read_text(encoding="utf-8")
    drawn = await picture(open_still, SCREENS[name], (80, 24), language=language)
    assert _lines(drawn) == _lines(stored), "run: floorterm demo --pictures tests/pictures (--language es)"
    assert len(_lines(stored)) >= 10


def test_every_screen_has_its_picture_at_both_sizes_in_english_and_spanish() -> None:
    expected = {
        f"{name}-{columns}x{rows}{language}.svg"
        for name in SCREENS
        for columns, rows in SIZES
        for language in ("", "-es")
    }
    assert {path.name for path in PICTURES.iterdir()} == expected

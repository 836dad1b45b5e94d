"""Looks: contrast of every tone in every theme.

Contrast after WCAG 2.2 (1.4.3: text at least 4.5 to 1; from memory, to be checked); the formula of relative
luminance is that of WCAG 2.x. The sixteen colours are those of the VGA palette.
"""

import pytest

from floorterm.terminal import theme
from floorterm.terminal.views.first_aid import large

# VGA palette, as the Linux console has it
_VGA = {
    "ansi_black": "#000000", "ansi_red": "#AA0000", "ansi_green": "#00AA00", "ansi_yellow": "#AA5500",
    "ansi_blue": "#0000AA", "ansi_magenta": "#AA00AA", "ansi_cyan": "#00AAAA", "ansi_white": "#AAAAAA",
    "ansi_bright_yellow": "#FFFF55", "ansi_bright_white": "#FFFFFF",
}  # fmt: skip
_PAIRS = (
    ("ink", "ground"), ("strong", "ground"), ("quiet", "ground"), ("done", "ground"), ("typed", "ground"),
    ("notice-fore", "notice-back"), ("caution-fore", "caution-back"), ("warning-fore", "warning-back"),
    ("danger-fore", "danger-back"), ("safe-fore", "safe-back"), ("head-fore", "head-back"),
    ("head-strong", "head-back"), ("head-quiet", "head-back"), ("cap-fore", "cap-back"),
    ("cap-off", "ground"), ("cap-name", "cap-back"), ("chosen-fore", "chosen-back"),
    ("code-fore", "code-back"),
)  # fmt: skip


def _luminance(colour: str) -> float:
    value = _VGA.get(colour, colour)
    parts = [int(value[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast of two colours, 1 to 21."""
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize(
    ("one", "other", "wanted"),
    [
        ("#FFFFFF", "#000000", 21.0),
        ("#9B2423", "#FFFFFF", 7.9),
        ("#F9A800", "#000000", 10.6),
        ("#005387", "#FFFFFF", 8.1),
    ],
)
def test_the_contrast_is_computed_as_published_figures_say(one: str, other: str, wanted: float) -> None:
    """Figures of safety colours computed beforehand with a separate tool, to one decimal."""
    assert contrast(one, other) == pytest.approx(wanted, abs=0.06)


@pytest.mark.parametrize("pair", _PAIRS)
@pytest.mark.parametrize("which", [0, 1, 2])
def test_every_tone_can_be_read_in_every_theme(pair: tuple[str, str], which: int) -> None:
    variables = theme.themes()[which].variables
    assert contrast(variables[pair[0]], variables[pair[1]]) >= 4.5


def test_every_theme_says_every_tone() -> None:
    night, day, sixteen = theme.themes()
    assert set(night.variables) == set(day.variables) <= set(sixteen.variables)


def test_safety_colours_are_the_same_by_day_and_by_night() -> None:
    night, day, _ = theme.themes()
    for name in ("danger", "warning", "caution", "notice", "safe"):
        for end in ("-back", "-fore"):
            assert night.variables[name + end] == day.variables[name + end]


def test_the_sixteen_colour_theme_uses_only_colours_of_the_terminal() -> None:
    for name, value in theme.themes()[2].variables.items():
        assert value.startswith("ansi_") or name.endswith("-style"), (name, value)


def test_large_figures_say_every_number_and_letter_and_nothing_else() -> None:
    text = "0123456789 ABCDEFGHIJKLMNOPQRSTUVWXYZ +-/"
    for character in text:
        figure = large(character)
        assert len(figure) == 5
        assert len({len(row) for row in figure}) == 1, character
    assert large("4444 (internal)") == ()
    assert large("") == ()
    shapes = {large(character) for character in text}
    assert (
        len(shapes) == len(set(text)) - 2
    )  # 0 and O, 5 and S look the same, as in most figures of five lines

"""Themes: what a tone looks like. A dark and a light ground in 24 bit, and one that keeps to the sixteen colours.

Safety colours are those of ISO 3864 and ANSI Z535.1: white on red danger, black on orange warning, black on
yellow caution, white on blue notice, white on green safe condition and first aid. They are used for nothing
else, and every one comes with its word. In sixteen colours only pairs with a contrast of 6.8 or more are used
(VGA palette); a warning is a caution in reverse there, since there is no orange.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal

from textual.theme import Theme

NIGHT, DAY = "floor-night", "floor-day"
SIXTEEN = "floor-16"
Look = Literal["night", "day"]
LOOKS: Mapping[Look, str] = MappingProxyType({"night": NIGHT, "day": DAY})

VARIABLES: Mapping[str, str] = MappingProxyType(
    {
        "strong": "#FFFFFF",
        "quiet": "#A9B4BD",
        "done": "#7FCB9F",
        "typed": "#7FD4E0",
        "notice-back": "#005387",
        "notice-fore": "#FFFFFF",
        "caution-back": "#F9A800",
        "caution-fore": "#000000",
        "caution-style": "none",
        "warning-back": "#D05D29",
        "warning-fore": "#000000",
        "warning-style": "bold",
        "danger-back": "#9B2423",
        "danger-fore": "#FFFFFF",
        "safe-back": "#237F52",
        "safe-fore": "#FFFFFF",
        "head-back": "#27313A",
        "head-fore": "#E3E8EC",
        "head-strong": "#FFFFFF",
        "cap-style": "bold",
        "head-quiet": "#AEBAC3",
        "cap-back": "#27313A",
        "cap-fore": "#D5DCE1",
        "cap-off": "#95A1AB",
        "cap-name": "#FFFFFF",
        "chosen-back": "#D5DCE1",
        "chosen-fore": "#10161B",
        "code-back": "#FFFFFF",
        "code-fore": "#000000",
        "ground": "#10161B",
        "ink": "#D5DCE1",
        "rule": "#5F6F7C",
    }
)
# on a light ground under a skylight: what is read is black or nearly so; safety colours stay what they are
_DAY_VARIABLES: Mapping[str, str] = MappingProxyType(
    {
        **VARIABLES,
        "strong": "#000000",
        "quiet": "#46525C",
        "done": "#0F5C38",
        "typed": "#00505C",
        "head-back": "#C9D2D9",
        "head-fore": "#10161B",
        "head-strong": "#000000",
        "head-quiet": "#36414A",
        "cap-back": "#C9D2D9",
        "cap-fore": "#10161B",
        "cap-off": "#5A6670",
        "cap-name": "#000000",
        "chosen-back": "#10161B",
        "chosen-fore": "#FFFFFF",
        "ground": "#F7F9FA",
        "ink": "#10161B",
        "rule": "#6C7A86",
    }
)
_SIXTEEN_VARIABLES: Mapping[str, str] = MappingProxyType(
    {
        "strong": "ansi_bright_white",
        "quiet": "ansi_white",
        "done": "ansi_green",
        "typed": "ansi_cyan",
        "notice-back": "ansi_blue",
        "notice-fore": "ansi_bright_white",
        "caution-back": "ansi_black",
        "caution-fore": "ansi_bright_yellow",
        "caution-style": "none",
        "warning-back": "ansi_black",
        "warning-fore": "ansi_bright_yellow",
        "warning-style": "bold reverse",
        "danger-back": "ansi_red",
        "danger-fore": "ansi_bright_white",
        "safe-back": "ansi_black",
        "safe-fore": "ansi_green",
        "head-back": "ansi_white",
        "head-fore": "ansi_black",
        "head-strong": "ansi_black",
        "cap-style": "none",
        "head-quiet": "ansi_black",
        "cap-back": "ansi_white",
        "cap-fore": "ansi_black",
        "cap-off": "ansi_white",
        "cap-name": "ansi_black",
        "chosen-back": "ansi_white",
        "chosen-fore": "ansi_black",
        "code-back": "ansi_white",
        "code-fore": "ansi_black",
        "ground": "ansi_black",
        "ink": "ansi_white",
        "rule": "ansi_white",
    }
)


def _true_colour(name: str, variables: Mapping[str, str], *, dark: bool) -> Theme:
    return Theme(
        name=name,
        dark=dark,
        primary="#5B8DB8",
        foreground=variables["ink"],
        background=variables["ground"],
        surface=variables["head-back"],
        panel=variables["head-back"],
        warning=variables["caution-back"],
        error=variables["danger-back"],
        success=variables["safe-back"],
        variables=dict(variables),
    )


def themes() -> tuple[Theme, Theme, Theme]:
    """For the night (or a dim hall), for daylight, and in sixteen colours."""
    night = _true_colour(NIGHT, VARIABLES, dark=True)
    day = _true_colour(DAY, _DAY_VARIABLES, dark=False)
    sixteen = Theme(
        name=SIXTEEN,
        ansi=True,
        primary="ansi_blue",
        secondary="ansi_cyan",
        warning="ansi_yellow",
        error="ansi_red",
        success="ansi_green",
        accent="ansi_green",
        foreground="ansi_white",
        background="ansi_black",
        surface="ansi_black",
        panel="ansi_black",
        boost="ansi_black",
        variables={
            **_SIXTEEN_VARIABLES,
            "ansi-background": "ansi_black",
            "ansi-foreground": "ansi_white",
            "block-cursor-foreground": "ansi_black",
            "block-cursor-background": "ansi_white",
            "input-cursor-background": "ansi_white",
            "input-cursor-foreground": "ansi_black",
            "input-selection-background": "ansi_white",
            "input-selection-foreground": "ansi_black",
        },
    )
    return night, day, sixteen

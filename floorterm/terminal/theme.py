"""Themes: what a tone looks like. One for 24 bit, one that keeps to the sixteen colours of the terminal.

Safety colours are those of ISO 3864 and ANSI Z535.1: white on red danger, black on orange warning, black on
yellow caution, white on blue notice, white on green safe condition and first aid. They are used for nothing
else, and every one comes with its word. In sixteen colours only pairs with a contrast of 6.8 or more are used
(VGA palette); a warning is a caution in reverse there, since there is no orange.
"""

from collections.abc import Mapping
from types import MappingProxyType

from textual.theme import Theme

DARK = "floor-dark"
SIXTEEN = "floor-16"

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
        "rule": "#51606C",
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


def themes() -> tuple[Theme, Theme]:
    """Both themes."""
    dark = Theme(
        name=DARK,
        primary="#5B8DB8",
        foreground=VARIABLES["ink"],
        background=VARIABLES["ground"],
        surface="#182028",
        panel="#27313A",
        warning=VARIABLES["caution-back"],
        error=VARIABLES["danger-back"],
        success=VARIABLES["safe-back"],
        variables=dict(VARIABLES),
    )
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
    return dark, sixteen

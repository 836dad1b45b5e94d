"""Which characters a terminal has, and what stands for one that it lacks.

A console has the 256 signs of code page 437, as a rule; a terminal of the vt family, or one whose locale is not
UTF-8, is sure to have ASCII alone. There the bytes of anything else are worse than wrong signs: some are commands.
A stand-in is as wide as what it stands for, so that nothing on the screen moves, and only what is drawn is
changed: the record keeps what was typed.
"""

import locale
import os
import re
import sys
import unicodedata
from collections.abc import Mapping
from functools import lru_cache
from itertools import accumulate
from types import MappingProxyType
from typing import Literal

Characters = Literal["all", "console", "ascii"]
UNKNOWN = "?"
_CUT = re.compile("([^…]{2})…")
_C_LOCALES = frozenset({"C", "POSIX"})
# what parts one thing from another, and signs whose meaning another sign keeps; letters are taken apart instead
_STAND_INS: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys("─━═╌┄", "-"),
        **dict.fromkeys("│┃║╎┆", "|"),
        **dict.fromkeys("┌┐└┘├┤┬┴┼╔╗╚╝╠╣╦╩╬╭╮╯╰", "+"),
        **dict.fromkeys("█▓■▉▊▋", "#"),
        **dict.fromkeys("▄▂▃▁", "_"),
        **dict.fromkeys("▀▔", '"'),
        **dict.fromkeys("░▒", ":"),
        **dict.fromkeys("‐‑‒–—−", "-"),
        **dict.fromkeys("‘’‚′´", "'"),
        **dict.fromkeys("“”„″", '"'),
        **dict.fromkeys("•·∙▪", "*"),
        **dict.fromkeys("→▶►»", ">"),
        **dict.fromkeys("←◀◄«", "<"),
        **dict.fromkeys("¿¡°\u00a0\u2009\u202f", " "),
        "…": ".", "×": "x", "✓": "x", "µ": "u", "μ": "u", "÷": "/",
        "ß": "s", "ø": "o", "Ø": "O", "ł": "l", "Ł": "L", "æ": "a", "Æ": "A", "œ": "o", "Œ": "O",
        "đ": "d", "Đ": "D", "ð": "d", "þ": "t", "ı": "i",
    }
)  # fmt: skip


def characters_of(env: Mapping[str, str], encoding: str, *, coerced: bool = False) -> Characters:
    """What a terminal can show, from its environment and the encoding that the program writes in.

    `coerced` says that Python itself took UTF-8 because the locale has no encoding of its own (PEP 538 and 540): then
    a `LC_CTYPE` of C.UTF-8 is Python's. A locale that nobody named says nothing of the terminal.
    """
    term = env.get("TERM", "")
    if term.startswith("vt"):
        return "ascii"
    named = (env.get(name, "") for name in ("LC_ALL", "LC_CTYPE", "LANG"))
    locale = next((name for name in named if name and not (coerced and name == "C.UTF-8")), "")
    _, _, charset = locale.partition("@")[0].partition(".")
    if locale in _C_LOCALES or not all(map(_is_utf8, filter(None, (charset, encoding)))):
        return "ascii"
    return "console" if term.startswith("linux") else "all"


def characters_here() -> Characters:
    """What the terminal of this process can show."""
    coerced = sys.flags.utf8_mode == 1 and os.environ.get("PYTHONUTF8") != "1"
    return characters_of(os.environ, locale.getpreferredencoding(do_setlocale=False), coerced=coerced)


def has_colours(env: Mapping[str, str]) -> bool:
    """Whether colours may be sent: not where somebody asks for none (`NO_COLOR`), nor to the vt family."""
    return "NO_COLOR" not in env and not env.get("TERM", "").startswith("vt")


def _is_utf8(encoding: str) -> bool:
    return encoding.replace("-", "").replace("_", "").lower() == "utf8"


@lru_cache(maxsize=4096)
def folded(text: str, characters: Characters) -> str:
    """The text in characters that the terminal has, cell for cell."""
    if text.isascii() or characters == "all":
        return text
    return "".join(_folded(one, characters) for one in _CUT.sub(_three_dots, text))


def cut(text: str, columns: int) -> str:
    """As much of a text as so many columns hold; a character of two is not halved."""
    ends = accumulate(_cells(one) for one in text)
    return text[: sum(end <= columns for end in ends)]


def _three_dots(found: re.Match[str]) -> str:
    """A text that is cut must not look as if it ended with a full stop: two more characters give way to dots."""
    return "..." if all(_cells(one) == 1 for one in found[1]) else found[0]


def _folded(character: str, characters: Characters) -> str:
    if _has(character, characters):
        return character
    if character in _STAND_INS:
        return _STAND_INS[character]
    letter = unicodedata.normalize("NFKD", character)[:1]
    if _has(letter, characters) and _cells(character) == 1:
        return letter
    return UNKNOWN * _cells(character)


def _cells(character: str) -> int:
    """Cells that a character takes: none if it is put on the one before, two for wide scripts."""
    if unicodedata.combining(character):
        return 0
    return 2 if unicodedata.east_asian_width(character) in ("W", "F") else 1


def _has(character: str, characters: Characters) -> bool:
    if characters == "ascii":
        return character.isascii()
    try:
        character.encode("cp437")
    except UnicodeEncodeError:
        return False
    return True

"""The terminal: a Textual application on the plant's ledger. Textual itself is imported when a screen opens."""

import gc
import locale
import os
import sys
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from floorterm.plant import Plant
    from floorterm.terminal.hands import Panel
    from floorterm.terminal.theme import Look

UNUSABLE = 2
BROWSER_DRIVER = "floorterm.web.driver:BrowserDriver"  # as TEXTUAL_DRIVER: the screens go to a browser
_PLAIN_TERMS = ("linux", "vt")


def why_not(env: Mapping[str, str], *, stdin_tty: bool, stdout_tty: bool) -> str:
    """Why no screen can be drawn here ("" if one can), with the commands that print the same."""
    commands = (
        "floorterm status, next, locks and shift print the same without a screen,"
        " floorterm worksheet prints a worksheet."
    )
    if not (stdin_tty and stdout_tty):
        return f"floorterm needs a terminal; input or output is none. {commands}"
    if env.get("TERM", "") in ("", "dumb"):
        return f"The terminal says that it cannot place text (TERM is {env.get('TERM') or 'not set'}). {commands}"
    return ""


def looks_plain(env: Mapping[str, str], encoding: str) -> bool:
    """Whether this terminal gets the plain look: a console, an old terminal, or characters that are not UTF-8."""
    return env.get("TERM", "").startswith(_PLAIN_TERMS) or encoding.replace("-", "").lower() != "utf8"


def launch(
    opener: "Callable[[], Plant]",
    *,
    terminal: str = "T1",
    language: str = "en",
    plain: bool = False,
    demo: bool = False,
    wall: bool = False,
    look: "Look" = "night",
    panel: "Panel | None" = None,
) -> int:
    """Open the screens on the plant that `opener` opens, and give the exit status back when they are left.

    `look` is the ground that the terminal begins with; `panel` the size of a display that fingers tap.
    `wall` shows every line for a large display. `terminal` is the name of this terminal (the opener's plant signs with
    it). 2 with a sentence on standard error where no screen can be drawn; 128 + n after signal n.
    """
    tty = os.environ.get("TEXTUAL_DRIVER") == BROWSER_DRIVER
    refused = why_not(os.environ, stdin_tty=tty or sys.stdin.isatty(), stdout_tty=tty or sys.stdout.isatty())
    if refused:
        print(refused, file=sys.stderr)  # noqa: T201  there is no screen to say it on
        return UNUSABLE
    gc.disable()  # nothing that an import makes is rubbish; to look for it costs a tenth of the start
    from floorterm.terminal.app import FloorApp  # noqa: PLC0415  Textual only where a screen opens

    plain = plain or looks_plain(os.environ, locale.getpreferredencoding(do_setlocale=False))
    app = FloorApp(
        opener,
        language=language,
        plain=plain,
        demo=demo,
        wall=wall,
        look=look,
        panel=panel,
        when_shown=_collect_again,
    )
    app.title = f"floorterm {terminal}"
    app.run()
    return app.return_code or 0


def _collect_again() -> None:
    """What was imported stays for good: it is never looked at again."""
    gc.freeze()
    gc.enable()

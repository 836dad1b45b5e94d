"""The terminal: a Textual application on the plant's ledger. Textual itself is imported when a screen opens."""

import gc
import os
import sys
from collections.abc import Callable, Mapping
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from floorterm.terminal.early import EarlyTerminal, early_terminal
from floorterm.terminal.repertoire import characters_here, has_colours

if TYPE_CHECKING:
    from floorterm.ledger import Place
    from floorterm.plant import Plant
    from floorterm.terminal.first_sight import FirstSight
    from floorterm.terminal.hands import Panel
    from floorterm.terminal.sight_memory import SightMemory
    from floorterm.terminal.theme import Look

UNUSABLE = 2
BROWSER_DRIVER = "floorterm.web.driver:BrowserDriver"  # as TEXTUAL_DRIVER: the screens go to a browser


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


def is_terminal(stream: TextIO | None) -> bool:
    """Whether a standard stream is a terminal; one that was closed before the start is None."""
    try:
        return stream is not None and stream.isatty()
    except ValueError:  # closed since
        return False


def launch(
    opener: "Callable[[], Plant]",
    *,
    place: "Place | None" = None,
    memory: Path | None = None,
    terminal: str = "T1",
    language: str = "en",
    plain: bool = False,
    demo: bool = False,
    wall: bool = False,
    look: "Look" = "night",
    panel: "Panel | None" = None,
) -> int:
    """Open the screens on the plant that `opener` opens, and give the exit status back when they are left.

    `place` is the ledger that `opener` opens, for what can be seen at once; `memory` the file in which this terminal
    keeps what it said last. `look` is the ground that the terminal
    begins with; `panel` the size of a display that fingers tap. `wall` shows every line for a large display.
    `terminal` is the name of this terminal (the opener's plant signs with it). 2 with a sentence on standard error
    where no screen can be drawn; 128 + n after signal n.
    """
    browser = os.environ.get("TEXTUAL_DRIVER") == BROWSER_DRIVER
    stdin_tty, stdout_tty = (browser or is_terminal(stream) for stream in (sys.stdin, sys.stdout))
    refused = why_not(os.environ, stdin_tty=stdin_tty, stdout_tty=stdout_tty)
    if refused:
        print(refused, file=sys.stderr)  # noqa: T201  there is no screen to say it on
        return UNUSABLE
    if not browser:
        _ask_the_terminal_its_size()
    gc.disable()  # nothing that an import makes is rubbish; to look for it costs a tenth of the start
    characters = "all" if browser else characters_here()
    with nullcontext() if browser else early_terminal(characters) as early:
        sight, kept = _at_once(early, place, memory, language)
        from floorterm.terminal.app import FloorApp  # noqa: PLC0415  Textual only where a screen opens

        app = FloorApp(
            opener,
            sight=sight,
            memory=kept,
            language=language,
            plain=plain,
            characters=characters,
            colours=browser or has_colours(os.environ),
            demo=demo,
            wall=wall,
            look=look,
            panel=panel,
            when_opened=_collect_again,
        )
        app.title = f"floorterm {terminal}"
        app.run()
        if early is not None:
            early.left()
        return app.return_code or 0


def _at_once(
    early: EarlyTerminal | None, place: "Place | None", memory: Path | None, language: str
) -> "tuple[FirstSight | None, SightMemory | None]":
    """Say that it begins; then, where the record can be read at once, how it stands."""
    from floorterm.wording import words  # noqa: PLC0415  not to print a refusal

    if early is not None:
        early.show((words("terminal.lines", language), words("terminal.opening", language)))
    if place is None:
        return None, None
    from floorterm.terminal.first_sight import first_sight  # noqa: PLC0415  after the first lines
    from floorterm.terminal.sight_memory import SightMemory  # noqa: PLC0415

    kept = SightMemory(memory) if memory else None
    found = first_sight(place, language, kept)
    if found is not None and early is not None:
        early.show(tuple(found.plain(language)))
    return found, kept


def _ask_the_terminal_its_size() -> None:
    """Some shells and libraries export the size at their start; it would be taken for the size at any time."""
    for name in ("COLUMNS", "LINES"):
        os.environ.pop(name, None)


def _collect_again() -> None:
    """What was imported stays for good: it is never looked at again."""
    gc.freeze()
    gc.enable()

"""From a process to its screens: Textual itself is imported once the first lines stand."""

import gc
import os
import sys
from collections.abc import Callable
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

from floorterm.terminal.early import EarlyTerminal, early_here, in_browser, why_not_here
from floorterm.terminal.repertoire import characters_here, has_colours

if TYPE_CHECKING:
    from floorterm.ledger import Place
    from floorterm.plant import Plant
    from floorterm.terminal.first_sight import FirstSight
    from floorterm.terminal.hands import Panel
    from floorterm.terminal.sight_memory import SightMemory
    from floorterm.terminal.theme import Look

UNUSABLE = 2


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
    early: EarlyTerminal | None = None,
) -> int:
    """Open the screens on the plant that `opener` opens, and give the exit status back when they are left.

    `place` is the ledger that `opener` opens, for what can be seen at once; `memory` the file in which this terminal
    keeps what it said last. `look` is the ground that the terminal begins with; `panel` the size of a display that
    fingers tap. `wall` shows every line for a large display. `terminal` is the name of this terminal (the opener's
    plant signs with it). `early` is this process's terminal where it was taken before, which its owner gives back.
    2 with a sentence on standard error where no screen can be drawn; 128 + n after signal n.
    """
    if refused := why_not_here():
        print(refused, file=sys.stderr)  # noqa: T201  there is no screen to say it on
        return UNUSABLE
    browser = in_browser(os.environ)
    if not browser:
        _ask_the_terminal_its_size()
    gc.disable()  # nothing that an import makes is rubbish; to look for it costs a tenth of the start
    with nullcontext(early) if browser or early is not None else early_here() as mine:
        sight, kept = _at_once(mine, place, memory, language)
        import_asyncio()
        from floorterm.terminal.app import FloorApp  # noqa: PLC0415  Textual only where a screen opens

        app = FloorApp(
            opener,
            sight=sight,
            memory=kept,
            language=language,
            plain=plain,
            characters="all" if browser else characters_here(),
            colours=browser or has_colours(os.environ),
            demo=demo,
            wall=wall,
            look=look,
            panel=panel,
            when_opened=_collect_again,
        )
        app.title = f"floorterm {terminal}"
        app.run()
        if mine is not None:
            mine.left()
        return app.return_code or 0


def _at_once(
    early: EarlyTerminal | None, place: "Place | None", memory: Path | None, language: str
) -> "tuple[FirstSight | None, SightMemory | None]":
    """Say that it begins; then, where the record can be read at once, how it stands. What stands there stays."""
    from floorterm.wording import words  # noqa: PLC0415  not to print a refusal

    silent = early is None or early.shown
    if early is not None and not silent:
        early.show((words("terminal.lines", language), words("terminal.opening", language)))
    from floorterm.ledger import is_server  # noqa: PLC0415  after the first lines

    if place is None or is_server(place):  # a server's record is seen once it is open
        return None, None
    from floorterm.terminal.first_sight import first_sight  # noqa: PLC0415
    from floorterm.terminal.sight_memory import SightMemory  # noqa: PLC0415

    kept = SightMemory(memory) if memory else None
    found = first_sight(Path(place), language, kept)
    if found is not None and early is not None and not silent:
        early.show(tuple(found.plain(language)))
    return found, kept


def _ask_the_terminal_its_size() -> None:
    """Some shells and libraries export the size at their start; it would be taken for the size at any time."""
    for name in ("COLUMNS", "LINES"):
        os.environ.pop(name, None)


def import_asyncio() -> None:
    """The event loop as a Python without TLS has it: OpenSSL is a fortieth of the start, and no screen needs it.

    Whatever opens a connection itself (the driver of a server's record) brings its own; `import ssl` works as ever.
    """
    if "asyncio" in sys.modules or "ssl" in sys.modules:
        return
    sys.modules["ssl"] = None  # type: ignore[assignment]  # makes the import fail, which asyncio is written for
    try:
        import asyncio  # noqa: F401, PLC0415
    finally:
        del sys.modules["ssl"]


def _collect_again() -> None:
    """What was imported stays for good: it is never looked at again."""
    gc.freeze()
    gc.enable()

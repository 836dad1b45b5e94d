"""How a terminal comes to the plant's ledger: where things lie, what is seen at once, what is opened after it.

Whatever reads arguments calls this, the command line and the short way in (`floorterm.entry`); nothing large is
imported before a screen stands.
"""

import os
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from floorterm.ledger import Ledger, Place
    from floorterm.plant import Plant
    from floorterm.terminal.early import EarlyTerminal
    from floorterm.terminal.hands import Panel
    from floorterm.terminal.theme import Look


def open_here(
    place: "Place",
    *,
    terminal: str,
    language: str,
    visitor: str = "",
    plain: bool = False,
    look: "Look" = "night",
    panel: "Panel | None" = None,
    log: Path | None = None,
    seen: Path | None = None,
    checklists: Path | None = None,
    early: "EarlyTerminal | None" = None,
) -> int:
    """Open the plant of a ledger at this terminal; the exit status when it is left.

    `early` is this process's terminal where it was taken before. `visitor` is who reached it through a browser; `log`
    and `seen` are files, by default the account's own.
    """
    from floorterm.terminal.launching import launch  # noqa: PLC0415

    signed = f"{terminal} {visitor}".rstrip()  # the log names nobody
    begin_log = cache(_begin_log)  # the plant may be opened again, after a failure

    def opener() -> "Plant":
        begin_log(log, terminal)
        return opened(place, checklists, signed, seen)

    status = launch(
        opener,
        place=place,
        memory=memory_path(terminal, seen),
        terminal=signed,
        language=language,
        plain=plain,
        look=look,
        panel=panel,
        early=early,
    )
    _end_log(status)
    return status


def memory_path(terminal: str, seen: Path | None) -> Path | None:
    """Where a terminal keeps what its next start can show at once, found without a library."""
    from floorterm.entries import file_name  # noqa: PLC0415
    from floorterm.terminal.remembered import SUFFIX, path_of  # noqa: PLC0415

    if seen is not None:
        return seen.with_suffix(SUFFIX)
    found = path_of(file_name(terminal), os.environ)
    return Path(found) if found else None


def show_wall(
    place: "Place",
    *,
    language: str,
    plain: bool = False,
    look: "Look" = "night",
    checklists: Path | None = None,
) -> int:
    """Show every line for a large display; the exit status when it is left."""
    from floorterm.terminal.launching import launch  # noqa: PLC0415

    def opener() -> "Plant":
        from floorterm.ledger import Ledger  # noqa: PLC0415  after the first frame
        from floorterm.library import load  # noqa: PLC0415
        from floorterm.plant import Plant  # noqa: PLC0415

        ledger = Ledger.open(place, read_only=True)
        return Plant(load(own_folder(checklists, ledger)), ledger, "wall")

    return launch(opener, terminal="wall", language=language, plain=plain, look=look, wall=True)


def _begin_log(log: Path | None, terminal: str) -> None:
    """A log that cannot be written keeps nobody from working."""
    from floorterm import __version__  # noqa: PLC0415
    from floorterm.machine import clock_synchronised  # noqa: PLC0415  after the first frame
    from floorterm.terminal.log import LOG, open_log  # noqa: PLC0415

    if open_log(log or default_log(terminal)):
        return
    LOG.info("floorterm %s started at terminal %s", __version__, terminal)
    if clock_synchronised() is False:
        LOG.warning("nothing keeps this machine's clock right (see: floorterm health)")


def _end_log(status: int) -> None:
    from floorterm.terminal.log import LOG  # noqa: PLC0415

    LOG.info("ended with status %d", status)


def default_log(terminal: str) -> Path:
    """Where a terminal's log lies unless somebody says otherwise."""
    from platformdirs import user_log_path  # noqa: PLC0415

    from floorterm.entries import file_name  # noqa: PLC0415

    return user_log_path("floorterm") / f"{file_name(terminal)}.log"


def default_seen(terminal: str) -> Path:
    """Where a terminal remembers the newest entry that it saw."""
    from floorterm.entries import file_name  # noqa: PLC0415
    from floorterm.ledger.last_seen import SUFFIX  # noqa: PLC0415

    return seen_folder() / f"{file_name(terminal)}{SUFFIX}"


def seen_folder() -> Path:
    """Where the terminals of this account remember what they saw."""
    from platformdirs import user_state_path  # noqa: PLC0415

    return user_state_path("floorterm")


def opened(path: "Place", checklists: Path | None, terminal: str, seen: Path | None = None) -> "Plant":
    """The plant as a terminal opens it: its newest entries hold, and what this terminal saw last is in it."""
    from floorterm.ledger import Ledger, check_newest  # noqa: PLC0415
    from floorterm.ledger.last_seen import LastSeen  # noqa: PLC0415
    from floorterm.library import load  # noqa: PLC0415
    from floorterm.plant import Plant  # noqa: PLC0415

    ledger = Ledger.open(path, memory=LastSeen(seen or default_seen(terminal)))
    check_newest(ledger)
    return Plant(load(own_folder(checklists, ledger)), ledger, terminal)


def own_folder(checklists: Path | None, ledger: "Ledger") -> Path:
    """The checklists of a ledger: those asked for, else those that it was created with, else the starter set."""
    from floorterm.library import starter_folder  # noqa: PLC0415

    named = ledger.start().checklists
    return checklists or (Path(named) if named else starter_folder())


def default_db() -> Path:
    """The machine-wide ledger file."""
    from platformdirs import site_data_path  # noqa: PLC0415

    return site_data_path("floorterm") / "ledger.db"

"""`floorterm` and `floorterm demo`: the terminal, on the plant's ledger or on a copy of the demo plant."""

import sys
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import click

from floorterm.cli.common import (
    Status,
    checklists_option,
    db_option,
    default_db,
    fail,
    language_option,
    own_folder,
    put,
    terminal_option,
)
from floorterm.entries import TextError, clean_text, file_name
from floorterm.ledger import Place, is_server

if TYPE_CHECKING:
    from floorterm.plant import Plant
    from floorterm.terminal.hands import Panel
    from floorterm.terminal.theme import Look

_LOG = click.option(
    "--log",
    type=click.Path(path_type=Path, dir_okay=False),
    envvar="FLOORTERM_LOG",
    help="Log of this terminal, put aside at a megabyte (default: in the account's own log folder).",
)
_SEEN = click.option(
    "--seen",
    type=click.Path(path_type=Path, dir_okay=False),
    help="File in which this terminal remembers the newest entry that it saw (default: in the account's own state).",
)


def _visitor(_: click.Context, __: click.Parameter, text: str) -> str:
    try:
        return clean_text(text, limit=80)
    except TextError as fault:
        raise click.BadParameter(str(fault)) from fault


_VISITOR = click.option(
    "--visitor",
    default="",
    callback=_visitor,
    help="Who reached this terminal, and from where; entries say it behind its name (given by `floorterm serve`).",
)
_PLAIN = click.option(
    "--plain", is_flag=True, help="Plain characters and 16 colours (consoles, serial lines)."
)

_LOOK = click.option(
    "--look",
    type=click.Choice(["night", "day"]),
    default="night",
    show_default=True,
    envvar="FLOORTERM_LOOK",
    help="Dark ground, or light ground for daylight; F11 changes it. Sixteen colours have one look.",
)


def _panel(_: click.Context, __: click.Parameter, text: str | None) -> "Panel | None":
    from floorterm.terminal.hands import Panel, PanelError  # noqa: PLC0415  where it is given

    try:
        return Panel.parse(text) if text else None
    except PanelError as fault:
        raise click.BadParameter(str(fault)) from fault


_PANEL = click.option(
    "--panel",
    metavar="MM",
    callback=_panel,
    envvar="FLOORTERM_PANEL",
    help="A touch panel's seen area, as 246x184 (mm): everything that is tapped is then 20 mm or larger.",
)


@click.command(name="open")
@terminal_option
@language_option
@_PLAIN
@_LOOK
@_PANEL
@_LOG
@_SEEN
@_VISITOR
@checklists_option
@db_option
def open_plant(
    terminal: str,
    language: str,
    plain: bool,
    look: "Look",
    panel: "Panel | None",
    log: Path | None,
    seen: Path | None,
    visitor: str,
    checklists: Path | None,
    db: Place | None,
) -> None:
    """Open the plant at this terminal."""
    from floorterm.terminal import launch  # noqa: PLC0415  Textual only where a screen opens

    path = db or default_db()
    if not is_server(path) and not Path(path).exists():
        fail(
            f"There is no ledger at {path}. Create it with: floorterm init --db FILE (or try: floorterm demo)"
        )

    signed = f"{terminal} {visitor}".rstrip()  # the log names nobody
    begin_log = cache(_begin_log)  # the plant may be opened again, after a failure

    def opener() -> "Plant":
        begin_log(log, terminal)
        return opened(path, checklists, signed, seen)

    status = launch(opener, terminal=signed, language=language, plain=plain, look=look, panel=panel)
    _end_log(status)
    sys.exit(status)


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

    return user_log_path("floorterm") / f"{file_name(terminal)}.log"


def default_seen(terminal: str) -> Path:
    """Where a terminal remembers the newest entry that it saw."""
    from floorterm.ledger.last_seen import SUFFIX  # noqa: PLC0415

    return seen_folder() / f"{file_name(terminal)}{SUFFIX}"


def seen_folder() -> Path:
    """Where the terminals of this account remember what they saw."""
    from platformdirs import user_state_path  # noqa: PLC0415

    return user_state_path("floorterm")


def opened(path: Place, checklists: Path | None, terminal: str, seen: Path | None = None) -> "Plant":
    """The plant as a terminal opens it: its newest entries hold, and what this terminal saw last is in it."""
    from floorterm.ledger import Ledger, check_newest  # noqa: PLC0415
    from floorterm.ledger.last_seen import LastSeen  # noqa: PLC0415
    from floorterm.library import load  # noqa: PLC0415
    from floorterm.plant import Plant  # noqa: PLC0415

    ledger = Ledger.open(path, memory=LastSeen(seen or default_seen(terminal)))
    check_newest(ledger)
    return Plant(load(own_folder(checklists, ledger)), ledger, terminal)


@click.command()
@language_option
@_PLAIN
@_LOOK
@checklists_option
@db_option
def wall(language: str, plain: bool, look: "Look", checklists: Path | None, db: Place | None) -> None:
    """Show every line for a large display: what it does now, minutes, locks. Nothing can be signed there."""
    from floorterm.terminal import launch  # noqa: PLC0415  Textual only where a screen opens

    path = db or default_db()

    def opener() -> "Plant":
        from floorterm.ledger import Ledger  # noqa: PLC0415  after the first frame
        from floorterm.library import load  # noqa: PLC0415
        from floorterm.plant import Plant  # noqa: PLC0415

        ledger = Ledger.open(path, read_only=True)
        return Plant(load(own_folder(checklists, ledger)), ledger, "wall")

    sys.exit(launch(opener, terminal="wall", language=language, plain=plain, look=look, wall=True))


@click.command()
@click.option("--rebuild", is_flag=True, help="Build demo.db anew from its scenario and say its head hash.")
@click.option(
    "--pictures",
    type=click.Path(path_type=Path, file_okay=False),
    help="Write every screen as SVG into a folder.",
)
@click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False), help="With --rebuild: the file to write."
)
@language_option
@_PLAIN
@_LOOK
@_PANEL
def demo(
    rebuild: bool,
    pictures: Path | None,
    out: Path | None,
    language: str,
    plain: bool,
    look: "Look",
    panel: "Panel | None",
) -> None:
    """Open a copy of the invented demo plant, with its clock set to the last day of the scenario.

    Every PIN of the demo is 246810.
    """
    from floorterm.demo import open_copy, open_still, rebuild_to, shipped  # noqa: PLC0415

    if rebuild:
        target = out or shipped()
        head = rebuild_to(target)
        put(f"{target}: {head.n} entries, head {head.hash}")
        sys.exit(Status.WELL)
    if pictures:
        import asyncio  # noqa: PLC0415

        from floorterm.terminal.pictures import write_all  # noqa: PLC0415

        for path in asyncio.run(write_all(open_still, pictures, language)):
            put(str(path))
        sys.exit(Status.WELL)
    from floorterm.terminal import launch  # noqa: PLC0415

    sys.exit(
        launch(open_copy, terminal="T1", language=language, plain=plain, demo=True, look=look, panel=panel)
    )

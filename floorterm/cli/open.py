"""`floorterm` and `floorterm demo`: the terminal, on the plant's ledger or on a copy of the demo plant."""

import sys
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
    put,
    terminal_option,
)
from floorterm.entries import TextError, clean_text
from floorterm.ledger import Place, is_server
from floorterm.terminal.opening import open_here, show_wall

if TYPE_CHECKING:
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


panel_option = click.option(
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
@panel_option
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
    path = db or default_db()
    if not is_server(path) and not Path(path).exists():
        fail(
            f"There is no ledger at {path}. Create it with: floorterm init --db FILE (or try: floorterm demo)"
        )
    sys.exit(
        open_here(
            path,
            terminal=terminal,
            visitor=visitor,
            language=language,
            plain=plain,
            look=look,
            panel=panel,
            log=log,
            seen=seen,
            checklists=checklists,
        )
    )


@click.command()
@language_option
@_PLAIN
@_LOOK
@checklists_option
@db_option
def wall(language: str, plain: bool, look: "Look", checklists: Path | None, db: Place | None) -> None:
    """Show every line for a large display: what it does now, minutes, locks. Nothing can be signed there."""
    sys.exit(show_wall(db or default_db(), language=language, plain=plain, look=look, checklists=checklists))


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
@panel_option
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
    from floorterm.terminal.launching import launch  # noqa: PLC0415

    sys.exit(
        launch(open_copy, terminal="T1", language=language, plain=plain, demo=True, look=look, panel=panel)
    )

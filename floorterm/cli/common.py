"""What commands share: options, exit statuses, the two writers (a table for people, JSON for programs)."""

import json
import os
import sys
from collections.abc import Callable, Sequence
from datetime import date
from enum import IntEnum
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn, TypeVar

import click

from floorterm.entries import TextError, clean_text, visible
from floorterm.languages import FALLBACK, LANGUAGES
from floorterm.ledger import Place, is_server
from floorterm.terminal.opening import default_db as default_db  # noqa: PLC0414  for commands
from floorterm.terminal.opening import own_folder as own_folder  # noqa: PLC0414  for commands

if TYPE_CHECKING:
    from datetime import datetime

    from floorterm.ledger import Ledger, Seal
    from floorterm.library.calibrated import Calibration
    from floorterm.library.model import Library
    from floorterm.plant import Plant, Who

_Command = TypeVar("_Command", bound=Callable[..., Any])


class Status(IntEnum):
    """Exit statuses of every command."""

    WELL = 0
    SHORT = 1  # what was checked falls short
    UNUSABLE = 2  # bad usage, or input that cannot be read at all


def checklists_option(command: _Command) -> _Command:
    """`--checklists DIR`."""
    return click.option(
        "--checklists",
        type=click.Path(path_type=Path, file_okay=False),
        help="Folder of the plant's YAML (default: the one that an opened ledger names, else the starter set).",
    )(command)


class PlaceType(click.ParamType[Place]):
    """A ledger's place: a file, or the URL of a database server."""

    name = "file or URL"

    def convert(self, value: str | Path, param: click.Parameter | None, ctx: click.Context | None) -> Place:
        """A URL stays text, anything else is a path that is no folder; whether it may be read the ledger says."""
        if is_server(value):
            return value
        found: Path = click.Path(path_type=Path, dir_okay=False, readable=False).convert(value, param, ctx)
        return found


def db_option(command: _Command) -> _Command:
    """`--db PLACE`."""
    return click.option(
        "--db",
        type=PlaceType(),
        envvar="FLOORTERM_DB",
        help="The ledger: a file, or the URL of a server (default: one machine-wide file).",
    )(command)


def json_option(command: _Command) -> _Command:
    """`--json`."""
    return click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")(
        command
    )


_LONGEST_NAME = 20


def _terminal_name(_: click.Context, __: click.Parameter, text: str) -> str:
    """A name that every entry can carry."""
    try:
        name = clean_text(text, limit=_LONGEST_NAME)
    except TextError:
        name = ""
    if not name:
        raise click.BadParameter(f"a name of 1 to {_LONGEST_NAME} characters, such as L1")
    return name


def terminal_option_of(default: str) -> Callable[[_Command], _Command]:
    """`--terminal NAME`, with another name where nobody gives one."""
    return click.option(
        "--terminal",
        default=default,
        show_default=True,
        callback=_terminal_name,
        help="Name of this terminal in every entry.",
    )


def terminal_option(command: _Command) -> _Command:
    """`--terminal NAME`."""
    return terminal_option_of("T1")(command)


def day_option(told: str) -> Callable[[_Command], _Command]:
    """`--on DAY`, a date; without it the caller's own day."""

    def day(_: click.Context, __: click.Parameter, given: "datetime | None") -> date:
        return given.date() if given else date.today()  # noqa: DTZ011  whoever asks has a day of their own

    return click.option(
        "--on", type=click.DateTime(["%Y-%m-%d"]), callback=day, help=f"{told} (default: today)."
    )


def language_option(command: _Command) -> _Command:
    """`--language CODE`: one of those that the program speaks."""
    return click.option("--language", type=click.Choice(LANGUAGES), default=FALLBACK, show_default=True)(
        command
    )


def put(text: str = "", *, nl: bool = True, err: bool = False) -> None:
    """Write words for people; nothing in them is ever a command to the terminal, wherever they came from."""
    click.echo(visible(text), nl=nl, err=err)


def write_whole(path: Path, data: bytes) -> None:
    """Write a file whole: half a document could pass for the whole one, and one that stood there stays until then.

    What is no plain file, and a file in a folder that takes no other, is written as it stands. Raises OSError.
    """
    path = path.resolve()
    if path.exists() and not (path.is_file() and os.access(path.parent, os.W_OK)):
        path.write_bytes(data)
        return
    fresh = path.with_name(f".{os.getpid()}.new")
    try:
        fresh.write_bytes(data)
        if path.exists():
            fresh.chmod(path.stat().st_mode)
        fresh.replace(path)
    finally:
        fresh.unlink(missing_ok=True)


def fail(message: str, status: Status = Status.UNUSABLE) -> NoReturn:
    """Say why on standard error and leave."""
    put(message, err=True)
    sys.exit(status)


def print_json(value: Any) -> None:
    """One JSON document on standard output."""
    put(_escaped(json.dumps(value, ensure_ascii=False, indent=2, default=str)))


def _escaped(document: str) -> str:
    """The same JSON with what `visible` would take out written as escapes, so that no value is altered."""
    shown = visible(document)
    if shown == document:
        return document
    return "".join(
        was if was == now else json.dumps(was)[1:-1] for was, now in zip(document, shown, strict=True)
    )


def print_table(head: Sequence[str], rows: Sequence[Sequence[str]], *, numbers: Sequence[int] = ()) -> None:
    """Columns wide enough for their content, two spaces apart; `numbers` are the columns set to the right."""
    widths = [max(len(row[i]) for row in (head, *rows)) for i in range(len(head))]
    for row in (head, ["-" * width for width in widths], *rows):
        cells = [
            cell.rjust(width) if i in numbers else cell.ljust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        put("  ".join(cells).rstrip())


def load_library(folder: Path | None) -> "Library":
    """The library of a folder, or of the starter set; leaves with status 2 and every fault if it has any."""
    from floorterm.library import LibraryError, load, starter_folder  # noqa: PLC0415

    chosen = folder or starter_folder()
    try:
        return load(chosen)
    except LibraryError as error:
        fail("\n".join([f"The checklists in {chosen} have faults:", *map(str, error.faults)]))


def folder_of(checklists: Path | None, db: Place | None) -> Path | None:
    """The checklists that a command without a ledger of its own is about; a ledger that is named has its own."""
    if checklists is not None or db is None:
        return checklists
    return own_folder(None, open_ledger(db, read_only=True))


def open_ledger(
    db: Place | None, *, read_only: bool = False, clock: "Callable[[], datetime] | None" = None
) -> "Ledger":
    """The ledger; leaves with status 2 and the reason if it cannot be opened."""
    from floorterm.ledger import Ledger, LedgerError  # noqa: PLC0415

    try:
        return Ledger.open(db or default_db(), read_only=read_only, clock=clock)
    except LedgerError as error:
        fail(str(error))


def say_closed(ledger: "Ledger") -> None:
    """After a copy of a ledger that is closed: that it is not recorded, and what its seal is of."""
    if to := ledger.goes_on_at():
        put(
            f"Not recorded: this ledger is closed, and the record goes on at {to}. "
            "The seal is that of the closed ledger; there another entry has its number."
        )


def open_plant(
    db: Place | None,
    checklists: Path | None,
    *,
    read_only: bool = True,
    clock: "Callable[[], datetime] | None" = None,
) -> "Plant":
    """The plant of a ledger with its checklists; leaves with status 2 and every reason if it cannot be opened."""
    from floorterm.plant import Plant  # noqa: PLC0415

    ledger = open_ledger(db, read_only=read_only, clock=clock)
    return Plant(load_library(own_folder(checklists, ledger)), ledger, "cli")


def signer_of(plant: "Plant", by: str) -> "Who":
    """Whoever signs a command, by their PIN; leaves with status 1 and the reason if it is not theirs."""
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.plant import Who  # noqa: PLC0415

    pin = click.prompt(f"PIN of {by}", hide_input=True)
    try:
        return Who(plant.ledger.check_pin(by, pin, terminal="cli"), "pin")
    except LedgerError as error:
        fail(str(error), Status.SHORT)


def calibration_of(db: Place | None, library: "Library", line: str) -> "Calibration | None":
    """The figures of a line that somebody accepted, from a ledger that is named; None without one."""
    if db is None:
        return None
    from floorterm.plant import Plant  # noqa: PLC0415

    return Plant(library, open_ledger(db, read_only=True), "cli").calibration(line)


def seals_given(texts: Sequence[str] = (), files: Sequence[Path] = ()) -> "tuple[Seal, ...]":
    """Seals as lines and as witness files; leaves with status 2 at a text that is none."""
    from floorterm.ledger import LedgerError, Seal  # noqa: PLC0415
    from floorterm.ledger.witness import read_seals  # noqa: PLC0415

    try:
        found = [Seal.parse(text) for text in texts]
        for file in files:
            found += read_seals(file)
    except LedgerError as error:
        fail(str(error))
    return tuple(found)

"""`floorterm seal`: the head of the record in a form that leaves the machine."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from floorterm.cli.common import Status, checklists_option, db_option, fail, open_ledger, open_plant, put
from floorterm.ledger import Place

if TYPE_CHECKING:
    from floorterm.ledger import Seal


@click.command()
@click.option("--to", metavar="WHERE", help="Where the seal goes, in words: this stands in the record.")
@click.option(
    "--file",
    "witness",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Add the line to this witness file; it is made if it is not there.",
)
@click.option("--due", is_flag=True, help="Bring what the plant's own witness file is owed, for a timer.")
@checklists_option
@db_option
def seal(to: str | None, witness: Path | None, due: bool, checklists: Path | None, db: Place | None) -> None:
    """Seal the record as it is now, print the seal as a line and as a square code, and say in an entry where it goes.

    Keep it where whoever can write the ledger cannot: on paper, in a message, in a file on another machine.
    """
    if due:
        if to or witness:
            fail("--due goes alone: plant.yaml names the place.")
        _bring_due(db, checklists)
        return
    if not to:
        fail("Say with --to where the seal goes: it stands in the record.")
    from floorterm.entries import TextError, clean_text  # noqa: PLC0415
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.review.seal_code import can_draw, code_modules, half_blocks  # noqa: PLC0415

    try:
        made = open_ledger(db).seal(clean_text(to), terminal="cli")
    except (LedgerError, TextError) as error:
        fail(str(error), Status.SHORT)
    away = _kept_in(witness, made)  # before it is printed: whoever reads along may close the pipe at any line
    if away:
        put(away, err=True)
    put(str(made))
    if can_draw(sys.stdout.encoding):
        for line in half_blocks(code_modules(made.code)):
            click.echo(click.style(line, fg="black", bg="bright_white"))
    else:
        put("The square code cannot be drawn with the characters of this output.", err=True)
    if away:
        sys.exit(Status.SHORT)
    if witness is not None:
        put(f"Added to {witness}.")


def _kept_in(witness: Path | None, made: "Seal") -> str:
    """Why the seal is not in the witness file; "" where it is, or where none was named."""
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.ledger.witness import append_seals  # noqa: PLC0415

    if witness is not None:
        try:
            append_seals(witness, (made,), create=True)
        except LedgerError as error:
            return str(error)
    return ""


def _bring_due(db: Place | None, checklists: Path | None) -> None:
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.sealing import keep  # noqa: PLC0415

    plant = open_plant(db, checklists, read_only=False)
    policy = plant.library.plant
    if policy.record.witness is None:
        fail("plant.yaml names no second place for seals (record: {witness: PATH}).")
    witness = Path(policy.record.witness)
    try:
        kept = keep(plant.ledger, policy.shifts, plant.zone, witness, plant.terminal)
    except LedgerError as error:
        fail(str(error), Status.SHORT)
    put(f"{witness}: {kept.brought} seals added.")

"""Commands of periodic inspections: what is due, recording one, later reviews, corrections of what was found."""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from floorterm.cli.common import (
    Status,
    checklists_option,
    db_option,
    fail,
    json_option,
    language_option,
    open_plant,
    print_json,
    print_table,
    put,
    signer_of,
)
from floorterm.ledger import Place
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.entries import Entry
    from floorterm.lockout.inspection import Due, Found


@click.command(name="due")
@language_option
@json_option
@checklists_option
@db_option
@click.pass_context
def due(ctx: click.Context, language: str, as_json: bool, checklists: Path | None, db: Place | None) -> None:
    """List every lockout procedure with the day by which it must be inspected again, and what is open.

    Exit status 1 when one is overdue, a review is missing or a deviation is not corrected.
    """
    from floorterm.inspecting import inspections_due  # noqa: PLC0415

    found = inspections_due(open_plant(db, checklists))
    if as_json:
        print_json([_due_json(one) for one in found])
    else:
        print_table(
            ("procedure", "due", "days", "state", "not reviewed with", "not corrected"),
            [
                (
                    one.procedure,
                    one.due.isoformat(),
                    str(one.days),
                    words(f"inspection.status_{one.status}", language),
                    ", ".join(one.not_reviewed) or "-",
                    "; ".join(f"{made.n}.{deviation.id} {deviation.text}" for made, deviation in one.open)
                    or "-",
                )
                for one in found
            ],
            numbers=(2,),
        )
        put(words("inspection.due_note", language))
    short = any(one.status == "overdue" or one.not_reviewed or one.open for one in found)
    ctx.exit(Status.SHORT if short else Status.WELL)


def _due_json(one: "Due") -> dict[str, Any]:
    return {
        "procedure": one.procedure,
        "due": one.due.isoformat(),
        "days": one.days,
        "status": one.status,
        "certified": one.certified and one.certified.isoformat(),
        "entry": one.newest.n if one.newest else None,
        "not_reviewed": list(one.not_reviewed),
        "open": [
            {
                "entry": made.n,
                "deviation": deviation.id,
                "text": deviation.text,
                "persons": list(deviation.persons),
            }
            for made, deviation in one.open
        ],
    }


@click.command(name="inspect")
@click.argument("procedure")
@click.option("--on", type=click.DateTime(["%Y-%m-%d"]), help="Day of the inspection (default: today).")
@click.option(
    "--observed", multiple=True, required=True, help="Whoever used the procedure while you watched."
)
@click.option("--reviewed", multiple=True, help="With whom you went through their responsibilities.")
@click.option("--found", multiple=True, help="A deviation: TEXT, or CODE,CODE: TEXT to name people.")
@click.option("--by", required=True, help="Code of the inspector, who signs.")
@checklists_option
@db_option
def inspect(
    procedure: str,
    on: datetime | None,
    observed: tuple[str, ...],
    reviewed: tuple[str, ...],
    found: tuple[str, ...],
    by: str,
    checklists: Path | None,
    db: Place | None,
) -> None:
    """Record a periodic inspection of a lockout procedure (29 CFR 1910.147(c)(6)). The signer is the inspector."""
    from floorterm.inspecting import record_inspection  # noqa: PLC0415
    from floorterm.lockout.inspection import Report  # noqa: PLC0415

    plant = open_plant(db, checklists, read_only=False)
    codes = {person.code for person in plant.ledger.people()}
    report = Report(
        procedure=procedure,
        on=on.date() if on else plant.today(),
        observed=observed,
        reviewed=reviewed,
        found=tuple(found_of(text, codes) for text in found),
    )
    entry = _recorded(
        lambda: record_inspection(plant, signer_of(plant, by), report, key=plant.ledger.new_id())
    )
    put(f"Entry {entry.n} records the inspection of {procedure}.")
    put(f"Its certificate: floorterm report inspection {entry.n}")


def found_of(text: str, codes: set[str]) -> "Found":
    """A deviation as typed: `CODE,CODE: what was found`, or only what was found."""
    from floorterm.lockout.inspection import Found  # noqa: PLC0415

    head, colon, rest = text.partition(":")
    named = tuple(part.strip() for part in head.split(","))
    if colon and all(code in codes for code in named):
        return Found(text=rest.strip(), persons=named)
    return Found(text=text.strip())


@click.command(name="review")
@click.argument("inspection", type=int)
@click.option("--with", "codes", multiple=True, required=True, help="With whom; may be repeated.")
@click.option("--by", required=True, help="Code of the inspector, who signs.")
@checklists_option
@db_option
def review(
    inspection: int, codes: tuple[str, ...], by: str, checklists: Path | None, db: Place | None
) -> None:
    """Record that the inspector has reviewed their responsibilities with more people ((c)(6)(i)(C))."""
    from floorterm.inspecting import record_review  # noqa: PLC0415

    plant = open_plant(db, checklists, read_only=False)
    entry = _recorded(
        lambda: record_review(plant, signer_of(plant, by), inspection, codes, key=plant.ledger.new_id())
    )
    put(f"Entry {entry.n} adds {', '.join(codes)} to inspection {inspection}.")


@click.command(name="correct")
@click.argument("inspection", type=int)
@click.argument("deviation", type=int)
@click.option("--text", required=True, help="How it was corrected.")
@click.option("--by", required=True, help="Code of the supervisor or safety officer who closes it.")
@checklists_option
@db_option
def correct(
    inspection: int, deviation: int, text: str, by: str, checklists: Path | None, db: Place | None
) -> None:
    """Record how a deviation that an inspection found was corrected ((c)(6)(i)(B))."""
    from floorterm.inspecting import record_correction  # noqa: PLC0415

    plant = open_plant(db, checklists, read_only=False)
    entry = _recorded(
        lambda: record_correction(
            plant, signer_of(plant, by), inspection, deviation, text, key=plant.ledger.new_id()
        )
    )
    put(f"Entry {entry.n} closes deviation {deviation} of inspection {inspection}.")


def _recorded(write: "Callable[[], Entry]") -> "Entry":
    from floorterm.entries import TextError  # noqa: PLC0415
    from floorterm.ledger import LedgerError  # noqa: PLC0415

    try:
        return write()
    except (LedgerError, TextError) as error:
        fail(str(error), Status.SHORT)


COMMANDS = (due, inspect, review, correct)

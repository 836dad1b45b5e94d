"""`floorterm lots`: what went into a line, what came out, and what touched what."""

from datetime import datetime
from decimal import Decimal
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
from floorterm.genealogy.model import MADE_SORTS, TAKEN_SORTS, Lot
from floorterm.ledger import Place
from floorterm.wording import words

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from floorterm.entries import Entry
    from floorterm.genealogy.trace import Found
    from floorterm.plant import Plant, Who

_BY = click.option("--by", required=True, help="Code of whoever signs; the PIN is asked for.")


class LotType(click.ParamType[Lot]):
    """A lot as SORT:NAME."""

    name = "SORT:NAME"

    def convert(self, value: str | Lot, param: click.Parameter | None, ctx: click.Context | None) -> Lot:
        """`noodles:N-2611-07`."""
        if isinstance(value, Lot):
            return value
        from floorterm.lots import lot_of  # noqa: PLC0415

        try:
            return lot_of(value)
        except ValueError:
            sorts = ", ".join(dict.fromkeys((*TAKEN_SORTS, *MADE_SORTS)))
            self.fail(f"{value!r} is no SORT:NAME; sorts are {sorts}", param, ctx)


class NumberType(click.ParamType[Decimal]):
    """A number of at least zero."""

    name = "number"

    def convert(
        self, value: str | Decimal, param: click.Parameter | None, ctx: click.Context | None
    ) -> Decimal:
        """As written, never through binary fractions."""
        from floorterm.lots import at_least_zero  # noqa: PLC0415

        try:
            return at_least_zero(str(value))
        except ValueError:
            self.fail(f"{value!r} is no number of at least zero", param, ctx)


@click.group()
def lots() -> None:
    """Lots: take into use, record pallets and bins, judge rework, and see what touched what."""


@lots.command(name="list")
@language_option
@json_option
@checklists_option
@db_option
def list_lots(language: str, as_json: bool, checklists: Path | None, db: Place | None) -> None:
    """List every lot in the order of the record."""
    from floorterm.lots import past  # noqa: PLC0415

    plant = open_plant(db, checklists)
    found = past(plant)
    rows = found.every()
    if as_json:
        print_json(
            [{"entry": one.n, "line": one.line, "sort": one.lot.sort, "lot": one.lot.name} for one in rows]
        )
        return
    print_table(
        ("entry", "time", "line", "", "lot", ""),
        [
            (
                str(one.n),
                f"{one.at.astimezone(plant.zone):%Y-%m-%d %H:%M}",
                one.line,
                words(f"lots.way_{'in' if one in found.taken else 'out'}", language),
                words(f"lots.sort_{one.lot.sort}", language),
                one.lot.name,
            )
            for one in rows
        ],
        numbers=(0,),
    )


@lots.command()
@click.argument("line")
@click.argument("lot", type=LotType())
@click.option("--share", type=NumberType(), help="Of a bin of rework: its share of the batch in %.")
@click.option("--cure-age", type=NumberType(), help="Of noodles: days since they were made.")
@click.option("--alkali", type=NumberType(), help="Of noodles: free alkali as % NaOH.")
@_BY
@checklists_option
@db_option
def take(
    line: str,
    lot: Lot,
    share: Decimal | None,
    cure_age: Decimal | None,
    alkali: Decimal | None,
    by: str,
    checklists: Path | None,
    db: Place | None,
) -> None:
    """Take LOT (SORT:NAME) into use on LINE; the one of its sort before it counts as used up."""
    from floorterm.lots import take as record  # noqa: PLC0415

    known = {"cure_age_d": cure_age, "alkali_pct": alkali}
    facts = {name: number for name, number in known.items() if number is not None}
    _record(
        db,
        checklists,
        by,
        lambda plant, who, key: record(plant, who, line, lot, share_pct=share, facts=facts, key=key),
    )


@lots.command()
@click.argument("line")
@click.argument("lot", type=LotType())
@click.option(
    "--begun", required=True, metavar="HH:MM", help="When its filling began, today (or YYYY-MM-DDTHH:MM)."
)
@click.option("--kg", type=NumberType(), help="What it holds.")
@click.option(
    "--fragrance", "fragrances", multiple=True, help="What is in it (default: what the line makes)."
)
@_BY
@checklists_option
@db_option
def made(
    line: str,
    lot: Lot,
    begun: str,
    kg: Decimal | None,
    fragrances: tuple[str, ...],
    by: str,
    checklists: Path | None,
    db: Place | None,
) -> None:
    """Record that the pallet or bin LOT of LINE is full."""
    from floorterm.lots import make  # noqa: PLC0415

    _record(
        db,
        checklists,
        by,
        lambda plant, who, key: make(
            plant, who, line, lot, _moment(plant, begun), kg=kg, fragrances=fragrances, key=key
        ),
    )


def _moment(plant: "Plant", text: str) -> datetime:
    today = plant.today().isoformat()
    try:
        found = datetime.fromisoformat(text if "T" in text else f"{today}T{text}")
    except ValueError:
        fail(f"{text!r} is no time like 13:45 or 2026-11-24T13:45.")
    return found if found.tzinfo else found.replace(tzinfo=plant.zone)


@lots.command()
@click.argument("lot", metavar="BIN", type=LotType())
@click.argument("verdict", type=click.Choice(["released", "waste"]))
@click.option("--into", multiple=True, help="A fragrance that may take it up.")
@click.option(
    "--max-share",
    type=NumberType(),
    help="Largest share of a batch in % (never above the plant's own limit).",
)
@click.option("--reason", required=True, help="Why.")
@_BY
@checklists_option
@db_option
def judge(
    lot: Lot,
    verdict: str,
    into: tuple[str, ...],
    max_share: Decimal | None,
    reason: str,
    by: str,
    checklists: Path | None,
    db: Place | None,
) -> None:
    """Release a bin of rework for fragrances, or call it waste. Until then it is in quarantine."""
    from floorterm.lots import judge as record  # noqa: PLC0415

    _record(
        db,
        checklists,
        by,
        lambda plant, who, key: record(
            plant,
            who,
            lot,
            "released" if verdict == "released" else "waste",
            reason,
            into=into,
            max_share_pct=max_share,
            key=key,
        ),
    )


def _record(
    db: Place | None,
    checklists: Path | None,
    by: str,
    write: "Callable[[Plant, Who, str], Entry]",
) -> None:
    from floorterm.entries import TextError  # noqa: PLC0415
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.plant import new_key  # noqa: PLC0415

    plant = open_plant(db, checklists, read_only=False)
    who = signer_of(plant, by)
    try:
        entry = write(plant, who, new_key())
    except (LedgerError, TextError) as error:
        fail(str(error), Status.SHORT)
    put(f"Recorded as entry {entry.n}.")


@lots.command()
@click.argument("lot", type=LotType())
@click.option("--since", type=click.DateTime(["%Y-%m-%d"]), help="Leave out what began before that day.")
@language_option
@json_option
@checklists_option
@db_option
def trace(
    lot: Lot, since: datetime | None, language: str, as_json: bool, checklists: Path | None, db: Place | None
) -> None:
    """What LOT (SORT:NAME) touched, and what touched it, through bins of rework too.

    Errs to the wide side: what the line only still held is named and marked. Exit status 1 if nobody recorded the lot.
    """
    from floorterm.genealogy.trace import backward, forward  # noqa: PLC0415
    from floorterm.lots import links_of, past  # noqa: PLC0415
    from floorterm.review.lots_text import renamed_lines  # noqa: PLC0415

    plant = open_plant(db, checklists)
    known = past(plant, since.replace(tzinfo=plant.zone) if since else None)
    renamed = renamed_lines(lot, known, language)
    if not any(one.lot == lot for one in known.every()):
        if renamed:
            fail("\n".join(renamed), Status.SHORT)
        fail(words("lots.nobody_recorded", language, lot=lot.name), Status.SHORT)
    found = links_of(plant, known)
    ways = {"forward": forward(lot, found), "backward": backward(lot, found)}
    if as_json:
        names = [{"entry": one.n, "was": one.was.name, "now": one.now.name} for one in known.renamings(lot)]
        print_json(
            {"lot": lot.name, "sort": lot.sort}
            | {way: list(map(_json, rows)) for way, rows in ways.items()}
            | {"corrections": names}
        )
        return
    for way, rows in ways.items():
        if rows:
            put(words(f"lots.{way}", language, lot=lot.name))
            _print(rows, plant, language)
    for said in renamed:
        put(said)
    put(words("lots.wide", language))


def _print(rows: "Sequence[Found]", plant: "Plant", language: str) -> None:
    from floorterm.review.lots_text import found_row  # noqa: PLC0415

    print_table(
        ("", "lot", "line", "from", "to", "kg", "how"), [found_row(one, plant.zone, language) for one in rows]
    )


def _json(one: "Found") -> dict[str, Any]:
    made, taken = one.link.made, one.link.taken
    return {
        "sort": one.lot.sort,
        "lot": one.lot.name,
        "depth": one.depth,
        "carried": one.link.carried,
        "line": made.line,
        "taken": {
            "entry": taken.n,
            "at": taken.at,
            "lot": str(taken.lot),
            "share_pct": taken.share_pct,
            **dict(taken.facts),
        },
        "made": {"entry": made.n, "begun": made.begun, "at": made.at, "lot": str(made.lot), "kg": made.kg},
    }

"""`floorterm plan`: in which order a line runs the day's fragrances, what that costs, and what others would."""

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from floorterm.cli.common import (
    Status,
    calibration_of,
    checklists_option,
    day_option,
    db_option,
    fail,
    folder_of,
    json_option,
    language_option,
    load_library,
    open_ledger,
    print_json,
    print_table,
    put,
)
from floorterm.languages import by_language, in_
from floorterm.ledger import Place

if TYPE_CHECKING:
    from collections.abc import Iterator
    from decimal import Decimal

    from floorterm.library.model import Library
    from floorterm.planning import Change, Day, DayPlan, NoPlanError, Rule


@click.command()
@click.argument("fragrances", nargs=-1, required=True)
@click.option("--line", required=True, help="Line id, such as L1.")
@click.option(
    "--from", "held", multiple=True, help="Fragrance that the line holds (default: what --db says)."
)
@click.option("--first", help="Fragrance that runs before all others.")
@click.option("--last", help="Fragrance that runs behind all others.")
@click.option(
    "--before", nargs=2, multiple=True, metavar="A B", help="Fragrance A runs before B, at any distance."
)
@day_option("Day of the run: the label rule in force then")
@language_option
@checklists_option
@db_option
@json_option
def plan(
    fragrances: tuple[str, ...],
    line: str,
    held: tuple[str, ...],
    first: str | None,
    last: str | None,
    before: tuple[tuple[str, str], ...],
    on: date,
    language: str,
    checklists: Path | None,
    db: Place | None,
    as_json: bool,
) -> None:
    """The order of FRAGRANCES that loses the fewest minutes to changeovers, and what the order as given loses.

    With --db the line holds what the record says, and figures that somebody accepted from check samples count.
    """
    from floorterm.changeover.faults import ComposeError  # noqa: PLC0415
    from floorterm.planning import DayInputError, NoPlanError, Rule, changes_on, day_of, plan_day  # noqa: PLC0415

    library = load_library(folder_of(checklists, db))
    if line not in library.lines:
        fail(f"There is no line {line!r}; known are {', '.join(library.lines)}.")
    here = [name for name, fragrance in library.fragrances.items() if line in fragrance.lines]
    rules = [Rule(a, b) for a, b in before]
    rules += [Rule(first=first)] if first else []
    rules += [Rule(then=last)] if last else []
    for name in (*fragrances, *held, *(name for rule in rules for name in (rule.first, rule.then) if name)):
        if name not in here:
            fail(f"{name!r} does not run on {line}; known are {', '.join(here)}.")
    changes = changes_on(library, line, on, calibration_of(db, library, line))
    try:
        day = day_of(changes, tuple(dict.fromkeys(held)) or _held(library, line, db), fragrances)
        found = plan_day(day, rules)
    except (ComposeError, DayInputError) as fault:
        fail(str(fault))
    except NoPlanError as fault:
        fail("\n".join(_no_plan(fault, library, language)), Status.SHORT)
    if as_json:
        print_json({"line": line, "on": on.isoformat(), **_document(day, found)})
        return
    put(f"{in_(by_language(library.lines[line].name), language)}, {on.isoformat()}")
    _tell(day, found, library, language)


def _held(library: "Library", line: str, db: Place | None) -> tuple[str, ...]:
    from floorterm.planning import comes_from  # noqa: PLC0415
    from floorterm.plant import Plant  # noqa: PLC0415

    if db is None:
        fail("Give --from, or the record that says it with --db.")
    held = comes_from(Plant(library, open_ledger(db, read_only=True), "cli").line_now(line))
    if not held:
        fail(f"The record does not say what {line} holds; give --from.")
    return held


def _tell(day: "Day", found: "DayPlan", library: "Library", language: str) -> None:
    from floorterm.planning.telling import headings, rows, sentences  # noqa: PLC0415

    print_table(headings(language), rows(found, library, language), numbers=(0, 2, 3, 4))
    for text in sentences(day, found, library, language):
        put(text)


def _no_plan(fault: "NoPlanError", library: "Library", language: str) -> "Iterator[str]":
    from floorterm.planning.telling import no_plan  # noqa: PLC0415

    return no_plan(fault, library, language)


def _document(day: "Day", found: "DayPlan") -> dict[str, Any]:
    return {
        "given": list(day.fragrances),
        "given_min": _number(found.given_min),
        "order": [_change(change) for change in found.changes],
        "changeover_min": float(found.minutes),
        "bound_min": float(found.bound_min),
        "proved": found.proved,
        "ties": found.ties,
        "next_min": _number(found.next_min),
        "rules": [{**_rule(price.rule), "costs_min": _number(price.minutes)} for price in found.prices],
    }


def _change(change: "Change") -> dict[str, Any]:
    return {
        "outgoing": change.outgoing,
        "incoming": change.incoming,
        "minutes": float(change.minutes),
        "flush_kg": float(change.flush_kg),
        "bars": change.bars,
        "deviation": change.deviation,
        "claim_gates": list(change.gates),
        "evidence": change.evidence,
    }


def _rule(rule: "Rule") -> dict[str, str | None]:
    return {"first": rule.first or None, "then": rule.then or None}


def _number(value: "Decimal | None") -> float | None:
    return None if value is None else float(value)

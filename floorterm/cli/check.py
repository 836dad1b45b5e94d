"""`floorterm check`: every fault of the checklists, and every ordered pair composed on every line."""

from collections import Counter
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click
from msgspec import Struct, to_builtins

from floorterm.cli.common import (
    Status,
    calibration_of,
    checklists_option,
    db_option,
    folder_of,
    json_option,
    print_json,
    put,
)
from floorterm.ledger import Place

if TYPE_CHECKING:
    from floorterm.library.model import Library


_MOST_GAPS = 20  # texts of a language that are named one by one; a language just begun would fill the screen


class Composed(Struct, frozen=True):
    """What composing everything found: counts, and each worksheet that could not be composed."""

    pairs: int
    procedures: int
    fewest_steps: int
    most_steps: int
    failures: tuple[str, ...]


def compose_all(library: "Library", on: date) -> Composed:
    """Compose every ordered pair on every line and every procedure that stands alone."""
    from floorterm.changeover.compose import ComposeError, compose, compose_procedure  # noqa: PLC0415

    failures: list[str] = []
    steps: list[int] = []
    procedures = 0
    for line in library.lines:
        here = [name for name, fragrance in library.fragrances.items() if line in fragrance.lines]
        for outgoing in here:
            for incoming in here:
                if outgoing == incoming:
                    continue
                try:
                    sheet = compose(library, line, outgoing, incoming, on)
                except ComposeError as error:
                    failures.append(f"{line} {outgoing} > {incoming}: {error}")
                else:
                    steps.append(sum(1 for _ in sheet.steps()))
        for name, alone in library.alone.items():
            if line in alone.lines:
                procedures += 1
                try:
                    compose_procedure(library, line, name, on)
                except ComposeError as error:
                    failures.append(f"{line} {name}: {error}")
    return Composed(
        pairs=len(steps),
        procedures=procedures,
        fewest_steps=min(steps, default=0),
        most_steps=max(steps, default=0),
        failures=tuple(failures),
    )


def calibrated(library: "Library", db: Place | None) -> list[dict[str, str | int]]:
    """Figures that somebody accepted and that a line file does not have."""
    from floorterm.library.calibrated import differences  # noqa: PLC0415

    found: list[dict[str, str | int]] = []
    for name, line in library.lines.items():
        calibration = calibration_of(db, library, name)
        if calibration is not None:
            found += [
                {
                    "line": name,
                    "unit": one.unit,
                    "field": one.field,
                    "file": f"{old:f}",
                    "accepted": f"{one.value:f}",
                    "entry": calibration.n,
                }
                for one, old in differences(line, calibration.values)
            ]
    return found


def _write_json(
    folder: str, library: "Library", composed: Composed, differing: list[dict[str, str | int]]
) -> None:
    from floorterm.library import translation_gaps  # noqa: PLC0415

    print_json(
        {
            "checklists": folder,
            "well": not composed.failures,
            "faults": [],
            "digest": library.digest,
            "lines": len(library.lines),
            "fragrances": len(library.fragrances),
            "pairs": composed.pairs,
            "procedures": composed.procedures,
            "fewest_steps": composed.fewest_steps,
            "most_steps": composed.most_steps,
            "not_composed": list(composed.failures),
            "translation_gaps": [to_builtins(gap) for gap in translation_gaps(library)],
            "calibrated": differing,
        }
    )


def _write(
    folder: str, library: "Library", composed: Composed, differing: list[dict[str, str | int]]
) -> None:
    from floorterm.library import translation_gaps  # noqa: PLC0415

    put(f"{folder}: no fault. Digest {library.digest[:16]}.")
    put(
        f"{len(library.lines)} lines, {len(library.fragrances)} fragrances, {composed.pairs} ordered pairs "
        f"({composed.fewest_steps} to {composed.most_steps} steps), {composed.procedures} procedures composed."
    )
    for failure in composed.failures:
        put(f"not composed: {failure}")
    for one in differing:
        put("{line} {unit} {field}: {file} in the file, {accepted} accepted by entry {entry}".format(**one))
    gaps = translation_gaps(library)
    for (kind, language), n in Counter((gap.kind, gap.language) for gap in gaps).items():
        lead = f"translation {kind} ({language}):"
        if n > _MOST_GAPS:
            put(f"{lead} {n} texts; --json names each")
        else:
            mine = (gap for gap in gaps if (gap.kind, gap.language) == (kind, language))
            put("\n".join(f"{lead} {gap.path} {gap.field}" for gap in mine))


@click.command()
@checklists_option
@db_option
@json_option
@click.pass_context
def check(ctx: click.Context, checklists: Path | None, db: Place | None, as_json: bool) -> None:
    """Validate the checklists; then compose every pair on every line and every procedure.

    With --db it checks those of the ledger, and names the figures of lines that somebody accepted and that the
    files do not have.

    Exit status 0: no fault. 1: faults, each with file, line, column, field, what was found and expected.
    """
    from floorterm.library import LibraryError, load, starter_folder  # noqa: PLC0415

    folder = folder_of(checklists, db) or starter_folder()
    try:
        library = load(folder)
    except LibraryError as error:
        if as_json:
            print_json(
                {
                    "checklists": str(folder),
                    "well": False,
                    "faults": [to_builtins(fault) for fault in error.faults],
                }
            )
        else:
            for fault in error.faults:
                put(str(fault))
            count = len(error.faults)
            put(f"{count} fault{'s' if count != 1 else ''} in {folder}.", err=True)
        ctx.exit(Status.SHORT)
    composed = compose_all(library, date.today())  # noqa: DTZ011  the plant's people check on their own day
    differing = calibrated(library, db)
    write = _write_json if as_json else _write
    write(str(folder), library, composed, differing)
    ctx.exit(Status.SHORT if composed.failures else Status.WELL)

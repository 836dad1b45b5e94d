"""`floorterm flush`: how many kg for a pair and why, or the matrix of all pairs of a line."""

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from floorterm.cli.common import checklists_option, fail, json_option, load_library, print_json, print_table

if TYPE_CHECKING:
    from floorterm.changeover.worksheet import FlushNote
    from floorterm.library.model import Library


def _note(library: "Library", line: str, outgoing: str, incoming: str, on: date) -> "FlushNote":
    from floorterm.changeover.flushing import flush_note  # noqa: PLC0415

    old, new = library.fragrances[outgoing], library.fragrances[incoming]
    return flush_note(library, library.lines[line], (old,), new, on)


def _as_json(note: "FlushNote", line: str, outgoing: str, incoming: str, on: date) -> dict[str, Any]:
    governing = note.governing
    return {
        "line": line,
        "outgoing": outgoing,
        "incoming": incoming,
        "on": on.isoformat(),
        "status": note.status,
        "required_kg": int(note.required_kg),
        "bars": note.bars,
        "diverted_kg": int(note.diverted_kg),
        "minutes": note.minutes,
        "residual_limit": float(note.limit),
        "governing": governing and {"criterion": governing.criterion, "item": governing.item},
        "claim_gates": note.gate.split(",") if note.gate else [],
        "evidence": note.evidence,
        "measured": list(note.measured),
        "assumed": list(note.assumed),
        "warnings": list(note.warnings),
        "candidates": [
            {
                "criterion": one.criterion,
                "item": one.item,
                "limit": float(one.limit),
                "source": one.source,
                "confidence": one.confidence,
            }
            for one in note.candidates
        ],
    }


@click.command()
@click.option("--line", required=True, help="Line id, such as L1.")
@click.option("--from", "outgoing", help="Fragrance that the line holds.")
@click.option("--to", "incoming", help="Fragrance to change to.")
@click.option("--matrix", is_flag=True, help="All pairs of the line: kg of line mass.")
@click.option(
    "--on",
    type=click.DateTime(["%Y-%m-%d"]),
    help="Day of the run: the label rule in force then (default: today).",
)
@click.option("--language", type=click.Choice(["en", "es"]), default="en", show_default=True)
@checklists_option
@json_option
def flush(
    line: str,
    outgoing: str | None,
    incoming: str | None,
    matrix: bool,
    on: Any,
    language: str,
    checklists: Path | None,
    as_json: bool,
) -> None:
    """How many kg of line mass to flush, how many bars to divert, how long it takes, what governs and why."""
    library = load_library(checklists)
    day = on.date() if on else date.today()  # noqa: DTZ011  the caller's own day decides which rule is in force
    if line not in library.lines:
        fail(f"There is no line {line!r}; known are {', '.join(library.lines)}.")
    here = [name for name, fragrance in library.fragrances.items() if line in fragrance.lines]
    if matrix:
        _matrix(library, line, here, day, as_json=as_json)
        return
    if outgoing is None or incoming is None:
        fail("Give --from and --to, or --matrix.")
    for name in (outgoing, incoming):
        if name not in here:
            fail(f"{name!r} does not run on {line}; known are {', '.join(here)}.")
    note = _note(library, line, outgoing, incoming, day)
    if as_json:
        print_json(_as_json(note, line, outgoing, incoming, day))
    else:
        _print(library, note, line, outgoing, incoming, language)


def _print(
    library: "Library", note: "FlushNote", line: str, outgoing: str, incoming: str, language: str
) -> None:
    from floorterm.changeover.lockout_steps import in_, spoken  # noqa: PLC0415
    from floorterm.flush.explain import governing_sentence, item_words, percent  # noqa: PLC0415
    from floorterm.wording import sentence, words  # noqa: PLC0415

    def name(fragrance: str) -> str:
        return in_(spoken(library.fragrances[fragrance].name), language)

    click.echo(f"{in_(spoken(library.lines[line].name), language)}: {name(outgoing)} > {name(incoming)}")
    if note.status == "ok":
        click.echo(
            words("print.flush", language, kg=f"{note.required_kg}", bars=note.bars, minutes=note.minutes)
        )
    click.echo(
        sentence(governing_sentence(note.status, note.governing, note.limit, name(outgoing)), language)
    )
    if note.gate:
        for claim in note.gate.split(","):
            click.echo(words(f"flush.gate.{claim}", language))
    click.echo(words(f"print.evidence_{note.evidence}", language))
    for warning in note.warnings:
        click.echo(f"! {warning}")
    if note.candidates:
        click.echo("")
        print_table(
            (
                words("print.item", language),
                "%",
                words("print.confidence", language),
                words("print.source", language),
            ),
            [
                (
                    sentence(item_words(one.criterion, one.item), language),
                    percent(one.limit),
                    one.confidence,
                    one.source[:60],
                )
                for one in sorted(note.candidates, key=lambda one: one.limit)
            ],
            numbers=(1,),
        )


def _matrix(library: "Library", line: str, here: list[str], day: date, *, as_json: bool) -> None:
    notes = {(old, new): _note(library, line, old, new, day) for old in here for new in here if old != new}
    if as_json:
        print_json(
            {
                "line": line,
                "on": day.isoformat(),
                "pairs": [_as_json(note, line, old, new, day) for (old, new), note in notes.items()],
            }
        )
        return
    marks = {"ok": "", "none": "", "deviation": "dev.", "unreachable": "never"}

    def cell(old: str, new: str) -> str:
        if old == new:
            return "-"
        note = notes[old, new]
        return (marks[note.status] or str(note.required_kg)) + ("*" if note.gate else "")

    print_table(
        ("from \\ to", *here),
        [(old, *(cell(old, new) for new in here)) for old in here],
        numbers=range(1, len(here) + 1),
    )
    click.echo("kg of line mass. * a claim of the incoming bar is a gate: flushing alone may not reach it.")

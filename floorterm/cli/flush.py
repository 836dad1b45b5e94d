"""`floorterm flush`: how many kg for a pair and why, in which ways, from which state; or the matrix of all pairs."""

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from floorterm.cli.common import (
    calibration_of,
    checklists_option,
    day_option,
    db_option,
    fail,
    folder_of,
    json_option,
    language_option,
    load_library,
    print_json,
    print_table,
    put,
    write_whole,
)
from floorterm.ledger import Place

if TYPE_CHECKING:
    from floorterm.changeover.checked import Checked
    from floorterm.changeover.flush_case import Case
    from floorterm.changeover.worksheet import FlushNote, StrategyNote
    from floorterm.flush import UnitStart
    from floorterm.library.model import Library

_WAYS = (
    "push_through", "divert_flash", "return_at_once", "run_out", "strip", "noodles_first", "stop_early",
    "intermediate",
)  # fmt: skip
_FILE = click.Path(path_type=Path, dir_okay=False)


@click.command()
@click.option("--line", required=True, help="Line id, such as L1.")
@click.option("--from", "outgoing", help="Fragrance that the line holds.")
@click.option("--to", "incoming", help="Fragrance to change to.")
@click.option("--matrix", is_flag=True, help="All pairs of the line: kg of line mass.")
@click.option("--strategy", type=click.Choice(_WAYS), help="This way alone (default: all side by side).")
@click.option("--limit", type=float, help="Residual limit as a fraction; overrules that of the rules.")
@click.option("--state", type=_FILE, help="YAML or JSON: outgoing fraction by unit at the start.")
@click.option("--samples", type=_FILE, help="CSV of check samples of this changeover (m_kg, residual).")
@click.option(
    "--sample-error", type=float, help="Relative error of a check sample, 1 sd (default: 0.1, a guess)."
)
@click.option("--explain", is_flag=True, help="The chain of reasoning with sources and confidence.")
@click.option("--svg", type=_FILE, help="Write the washout curve with limit, crossing and band.")
@day_option("Day of the run: the label rule in force then")
@language_option
@checklists_option
@db_option
@json_option
def flush(
    line: str,
    outgoing: str | None,
    incoming: str | None,
    matrix: bool,
    strategy: str | None,
    limit: float | None,
    state: Path | None,
    samples: Path | None,
    sample_error: float | None,
    explain: bool,
    svg: Path | None,
    on: date,
    language: str,
    checklists: Path | None,
    db: Place | None,
    as_json: bool,
) -> None:
    """How many kg of line mass to flush, how many bars to divert, how long it takes, what governs and why.

    With --db the checklists are those of the ledger, and the figures that somebody accepted from check samples
    count instead of those of the line file.
    """
    library = load_library(folder_of(checklists, db))
    if line not in library.lines:
        fail(f"There is no line {line!r}; known are {', '.join(library.lines)}.")
    here = [name for name, fragrance in library.fragrances.items() if line in fragrance.lines]
    if matrix:
        if strategy or limit is not None or state or samples or explain or svg:
            fail("--matrix is about all pairs; the other options are about one.")
        _matrix(library, line, here, on, db, as_json=as_json)
        return
    if outgoing is None or incoming is None:
        fail("Give --from and --to, or --matrix.")
    for name in (outgoing, incoming):
        if name not in here:
            fail(f"{name!r} does not run on {line}; known are {', '.join(here)}.")
    if outgoing == incoming:
        fail(f"--to: {incoming!r} is what the line holds; there is nothing to change over.")
    if state and (strategy or samples):
        fail(
            "--state: ways and check samples count from the steady state before the switch; ask without them."
        )
    case = _case(library, line, outgoing, incoming, on, limit, state, db)
    found = _checked(case, samples, sample_error, language) if samples else None
    if svg:
        _draw(case, found, svg, language)
    _answer(case, found, strategy, on, language, explain=explain, as_json=as_json)


def _case(
    library: "Library",
    line: str,
    outgoing: str,
    incoming: str,
    day: date,
    limit: float | None,
    state: Path | None,
    db: Place | None,
) -> "Case":
    from floorterm.changeover.flush_case import case_of  # noqa: PLC0415
    from floorterm.flush import FlushError  # noqa: PLC0415
    from floorterm.library.calibrated import with_calibration  # noqa: PLC0415

    calibration = calibration_of(db, library, line)
    spec = library.lines[line]
    if calibration is not None:
        spec = with_calibration(spec, calibration.values)
    start = _start(state, [unit.name for unit in spec.units]) if state else None
    old, new = library.fragrances[outgoing], library.fragrances[incoming]
    try:
        return case_of(library, spec, (old,), new, day, limit=limit, start=start, calibration=calibration)
    except FlushError as fault:
        fail(f"--{fault}" if fault.field == "limit" else f"{library.files[f'lines/{line}']}: {fault}")


def _start(path: Path, units: list[str]) -> "dict[str, float | UnitStart]":
    from floorterm.flush import UnitStart  # noqa: PLC0415
    from floorterm.library import LibraryError  # noqa: PLC0415
    from floorterm.library.line_state import PartFractions, read_line_state  # noqa: PLC0415

    try:
        found = read_line_state(str(path), path.read_bytes(), units)
    except LibraryError as error:
        fail("\n".join(map(str, error.faults)))
    except OSError as fault:
        fail(f"{path}: {fault.strerror}.")
    return {
        name: UnitStart(active=value.active, dead=value.dead, plug=value.plug)
        if isinstance(value, PartFractions)
        else value
        for name, value in found.items()
    }


def _checked(case: "Case", path: Path, error: float | None, language: str) -> "Checked":
    from floorterm.changeover.checked import SAMPLE_ERROR, checked  # noqa: PLC0415
    from floorterm.flush import FlushError  # noqa: PLC0415
    from floorterm.flush.calibrate import read_samples  # noqa: PLC0415
    from floorterm.wording import sentence  # noqa: PLC0415

    if case.quantity.status in ("deviation", "unreachable"):
        fail("--samples: flushing does not get there, whatever the samples say.")
    try:
        readings = read_samples(path.read_text(encoding="utf-8-sig"))
        return checked(case, readings, relative_error=SAMPLE_ERROR if error is None else error)
    except FlushError as fault:
        place = "--sample-error" if fault.field == "relative_error" else str(path)
        fail(f"{place}: {sentence(fault.say, language)}")
    except UnicodeDecodeError:
        fail(f"{path}: this is no text in UTF-8.")
    except OSError as fault:
        fail(f"{path}: {fault.strerror}.")


def _answer(
    case: "Case",
    found: "Checked | None",
    strategy: str | None,
    day: date,
    language: str,
    *,
    explain: bool,
    as_json: bool,
) -> None:
    from floorterm.changeover.flush_case import chain  # noqa: PLC0415
    from floorterm.changeover.flushing import note_of  # noqa: PLC0415
    from floorterm.cli import flush_json as told  # noqa: PLC0415
    from floorterm.cli import flush_writing as written  # noqa: PLC0415
    from floorterm.wording import sentence  # noqa: PLC0415

    note = note_of(case, compare=case.start is None, also=language)
    rows = _rows(note, strategy)
    reasons = [sentence(say, language) for say in chain(case)] if explain else []
    if as_json:
        names = (case.line.id, case.outgoing[0].id, case.incoming.id)
        print_json(
            {
                **told.note_json(note, *names, day, language),
                **told.case_json(case, note, rows, chain=reasons, samples=found, language=language),
            }
        )
        return
    written.print_case(case, note, language)
    written.print_strategies(note, rows, language)
    if found is not None:
        written.print_checked(found, language)
    if explain:
        written.print_chain(reasons, language)
    elif strategy is None:
        written.print_candidates(note, language)


def _rows(note: "FlushNote", strategy: str | None) -> "tuple[StrategyNote, ...]":
    if strategy is None:
        return note.strategies
    row = note.strategy(strategy)
    if row is None:
        known = ", ".join(one.key for one in note.strategies) or "none, as nothing has to be flushed"
        fail(f"--strategy: {strategy!r} says nothing here; there are {known}.")
    return (row,)


def _draw(case: "Case", found: "Checked | None", path: Path, language: str) -> None:
    """The washout curve as SVG; after check samples with what they taught."""
    from floorterm.changeover.flush_picture import picture  # noqa: PLC0415
    from floorterm.changeover.lockout_steps import spoken  # noqa: PLC0415
    from floorterm.languages import in_  # noqa: PLC0415
    from floorterm.review.plots import WashoutPlot, washout_svg  # noqa: PLC0415

    if case.limit.value <= 0:
        fail("--svg: no limit above 0 to draw; flushing cannot help here.")
    spread = found.learnt.spread if found else case.spread
    drawn = picture(case.curve, case.limit.value, spread, case.confidence)
    readings = found.samples.readings if found else ()
    plot = WashoutPlot(
        points=drawn.points,
        limit=case.limit.value,
        crossing_kg=drawn.crossing_kg,
        outgoing=in_(spoken(case.outgoing[0].name), language),
        band=drawn.band,
        samples=tuple((one.m_kg, one.residual) for one in readings),
    )
    try:
        write_whole(path, washout_svg(plot, language=language).encode("utf-8"))
    except OSError as fault:
        fail(f"--svg: {path}: {fault.strerror}.")


def _matrix(
    library: "Library", line: str, here: list[str], day: date, db: Place | None, *, as_json: bool
) -> None:
    from floorterm.changeover.flushing import flush_note  # noqa: PLC0415
    from floorterm.cli.flush_json import note_json  # noqa: PLC0415
    from floorterm.library.calibrated import with_calibration  # noqa: PLC0415

    calibration = calibration_of(db, library, line)
    spec = library.lines[line]
    if calibration is not None:
        spec = with_calibration(spec, calibration.values)
    known = library.fragrances
    notes = {
        (old, new): flush_note(library, spec, (known[old],), known[new], day, calibration=calibration)
        for old in here
        for new in here
        if old != new
    }
    if as_json:
        print_json(
            {
                "line": line,
                "on": day.isoformat(),
                "pairs": [note_json(note, line, old, new, day) for (old, new), note in notes.items()],
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
    put("kg of line mass. * a claim of the incoming bar is a gate: flushing alone may not reach it.")

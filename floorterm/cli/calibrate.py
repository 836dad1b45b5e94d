"""`floorterm calibrate`: what check samples say about a line, as a proposal that a person accepts."""

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from floorterm.cli.common import (
    Status,
    calibration_of,
    checklists_option,
    day_option,
    db_option,
    default_db,
    fail,
    folder_of,
    json_option,
    language_option,
    load_library,
    open_ledger,
    print_json,
    put,
)
from floorterm.ledger import Place

if TYPE_CHECKING:
    from collections.abc import Mapping

    from floorterm.flush.calibrate import Fit, Proposal, Samples
    from floorterm.library.calibrated import Calibration
    from floorterm.library.model import Library, LineFile

Pair = tuple[str, str]


def _read(files: tuple[Path, ...], detection_limit: float, language: str) -> "list[Samples]":
    from floorterm.flush.calibrate import SampleError, read_samples  # noqa: PLC0415
    from floorterm.wording import sentence  # noqa: PLC0415

    found = []
    for file in files:
        try:
            found.append(read_samples(file.read_text(encoding="utf-8-sig"), detection_limit=detection_limit))
        except SampleError as fault:
            fail(f"{file}: {sentence(fault.say, language)}")
        except UnicodeDecodeError:
            fail(f"{file}: this is no text in UTF-8.")
        except OSError as fault:
            fail(f"{file}: {fault.strerror}.")
    return found


def _curve(samples: "Samples", plug_kg: float | None) -> "Fit":
    """The readings by themselves, with the plug fitted where it is not known."""
    from floorterm.flush.calibrate import fit  # noqa: PLC0415

    return fit(samples, plug_kg=plug_kg)


def _limits(library: "Library", line: "LineFile", day: date) -> "tuple[Mapping[Pair, float], list[Pair]]":
    """Residual limit of every pair of the line, and the pairs that flushing cannot help."""
    from floorterm.changeover.flushing import flush_note  # noqa: PLC0415

    here = [one for one in library.fragrances.values() if line.id in one.lines]
    limits: dict[Pair, float] = {}
    without = []
    for old in here:
        for new in here:
            if old.id != new.id:
                note = flush_note(library, line, (old,), new, day)
                if note.status in ("ok", "none"):
                    limits[old.id, new.id] = float(note.limit)
                else:
                    without.append((old.id, new.id))
    return limits, without


@click.command()
@click.argument("files", nargs=-1, required=True, metavar="SAMPLES.csv...", type=click.Path(path_type=Path))
@click.option("--line", required=True, help="Line id, such as L1.")
@click.option("--unit", default="", help="Fit this unit alone (default: one factor on the whole line).")
@click.option("--plug", type=float, help="Known plug in kg for the readings by themselves (default: fitted).")
@click.option("--diverted", is_flag=True, help="The flash left the line while the samples were taken.")
@click.option("--detection-limit", type=float, default=0.0, help="Readings below are left out and counted.")
@click.option("--confidence", type=float, default=0.95, show_default=True, help="One-sided.")
@day_option("Day whose label rule sets the limits of the pairs")
@click.option("--accept", is_flag=True, help="Accept the proposal: an entry of the ledger (asks for a PIN).")
@click.option("--by", default="", help="With --accept: code of the supervisor or safety officer.")
@click.option("--reason", default="", help="With --accept: why; it stands in the record.")
@language_option
@checklists_option
@db_option
@json_option
def calibrate(
    files: tuple[Path, ...],
    line: str,
    unit: str,
    plug: float | None,
    diverted: bool,
    detection_limit: float,
    confidence: float,
    on: date,
    accept: bool,
    by: str,
    reason: str,
    language: str,
    checklists: Path | None,
    db: Place | None,
    as_json: bool,
) -> None:
    """Propose new figures for a line from check samples (CSV with the columns m_kg and residual).

    One file a changeover, the oldest first. Nothing is changed unless a person accepts: with --accept the new
    figures become an entry of the ledger and count for every later worksheet; the line file stays as it is.
    With --db (and with --accept) the proposal starts from the figures that were accepted last.
    """
    from floorterm.cli.calibrate_json import proposal_json  # noqa: PLC0415
    from floorterm.cli.calibrate_writing import print_proposal  # noqa: PLC0415
    from floorterm.flush.calibrate import CalibrationError, Fit, propose_figures  # noqa: PLC0415
    from floorterm.flush.from_library import line_model  # noqa: PLC0415
    from floorterm.library.calibrated import with_calibration  # noqa: PLC0415
    from floorterm.wording import Say, sentence, words  # noqa: PLC0415

    library = load_library(folder_of(checklists, db))
    if line not in library.lines:
        fail(f"There is no line {line!r}; known are {', '.join(library.lines)}.")
    if accept and not (by and reason.strip()):
        fail("--accept: give --by CODE and --reason TEXT as well.")
    ledger = db or (default_db() if accept else None)
    before = calibration_of(ledger, library, line)
    spec = library.lines[line] if before is None else with_calibration(library.lines[line], before.values)
    samples = _read(files, detection_limit, language)
    try:
        found = propose_figures(
            line_model(spec),
            samples,
            unit=unit,
            confidence=confidence,
            divert_flash=diverted,
        )
    except CalibrationError as fault:
        fail(sentence(fault.say, language))
    alone: Fit | Say
    try:
        alone = _curve(samples[-1], plug)
    except CalibrationError as fault:
        alone = fault.say
    limits, without = _limits(library, spec, on)
    known = {limit: found.change(limit) for limit in set(limits.values())}
    changes = {pair: known[limit] for pair, limit in limits.items()}
    if not as_json:
        if before is not None:
            put(words("calibrate.in_force", language, entry=before.n))
        print_proposal(library, line, found, alone, changes, without, language)
    entry = _accept(library, line, found, files, before, ledger, by, reason) if accept else None
    if as_json:
        print_json(proposal_json(line, found, alone, changes, without, entry, before, language))
    elif entry is not None:
        put(words("calibrate.accepted", language, n=entry, line=line))


def _accept(
    library: "Library",
    line: str,
    found: "Proposal",
    files: tuple[Path, ...],
    before: "Calibration | None",
    db: Place | None,
    by: str,
    reason: str,
) -> int:
    """Ask for the PIN and record the acceptance; the number of its entry."""
    import hashlib  # noqa: PLC0415

    from floorterm.changeover.accepting import SampleFile, acceptance_of  # noqa: PLC0415
    from floorterm.entries import TextError  # noqa: PLC0415
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.plant import Plant, Who, new_key  # noqa: PLC0415

    named = [
        SampleFile(name=file.name, sha256=hashlib.sha256(file.read_bytes()).hexdigest()) for file in files
    ]
    ledger = open_ledger(db)
    pin = click.prompt(f"PIN of {by}", hide_input=True, err=True)
    try:
        person = ledger.check_pin(by, pin, terminal="cli")
        entry = Plant(library, ledger, "cli").accept_calibration(
            Who(person, "pin"),
            line,
            acceptance_of(found, named, before.n if before else 0),
            reason,
            key=new_key(),
        )
    except (LedgerError, TextError) as error:
        fail(str(error), Status.SHORT)
    return entry.n

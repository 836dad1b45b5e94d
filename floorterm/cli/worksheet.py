"""`floorterm worksheet`: one worksheet on paper, as text or HTML."""

from datetime import date
from pathlib import Path

import click

from floorterm.cli.common import (
    calibration_of,
    checklists_option,
    db_option,
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


@click.command()
@click.option("--line", help="Line id, such as L1.")
@click.option("--from", "outgoing", help="Fragrance that the line holds.")
@click.option("--to", "incoming", help="Fragrance to change to.")
@click.option("--procedure", help="A procedure that stands alone, instead of a pair.")
@click.option("--work", help="A work that runs, such as C-0001: what is signed, and lines for the rest.")
@click.option("--format", "form", type=click.Choice(["text", "html"]), default="text", show_default=True)
@language_option
@checklists_option
@db_option
@json_option
def worksheet(
    line: str | None,
    outgoing: str | None,
    incoming: str | None,
    procedure: str | None,
    work: str | None,
    form: str,
    language: str,
    checklists: Path | None,
    db: Place | None,
    as_json: bool,
) -> None:
    """Print the worksheet of a pair or of a procedure: the paper fallback.

    With --db it is what that ledger's terminals would show: its checklists, and the figures that somebody accepted.
    """
    from floorterm.changeover.compose import ComposeError, compose, compose_procedure  # noqa: PLC0415
    from floorterm.changeover.worksheet import to_json  # noqa: PLC0415
    from floorterm.review.worksheet import as_html, as_text  # noqa: PLC0415

    if work is not None:
        _running(work, form, language, db, as_json=as_json)
        return
    if line is None:
        fail("Give --line, or --work for a work that runs.")
    if (procedure is None) == (outgoing is None or incoming is None):
        fail("Give either --from and --to, or --procedure.")
    library = load_library(folder_of(checklists, db))
    today = date.today()  # noqa: DTZ011  a printed sheet carries the local day of whoever prints it
    try:
        if procedure is not None:
            sheet = compose_procedure(library, line, procedure, today)
        else:
            known = calibration_of(db, library, line) if line in library.lines else None
            sheet = compose(library, line, outgoing or "", incoming or "", today, calibration=known)
    except ComposeError as error:
        fail(str(error))
    if as_json:
        print_json(to_json(sheet))
    else:
        put(as_html(sheet, language) if form == "html" else as_text(sheet, language), nl=False)


def _running(work: str, form: str, language: str, db: Place | None, *, as_json: bool) -> None:
    """The sheet of a work that runs, from the record alone: a file that can only be read is enough."""
    from floorterm.changeover.fold import NotStartedError, fold  # noqa: PLC0415
    from floorterm.changeover.worksheet import to_json  # noqa: PLC0415
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.review.worksheet import as_html, as_text  # noqa: PLC0415

    try:
        state = fold(work, open_ledger(db, read_only=True).entries(changeover=work))
    except NotStartedError:
        fail(f"There is no work {work} in this record.")
    except LedgerError as error:
        fail(str(error))
    if as_json:
        print_json(
            {
                "work": work,
                "last_n": state.last_n,
                "last_at": state.last_at,
                "signed": [
                    {
                        "step": one.act.step,
                        "n": one.n,
                        "done_at": one.done_at,
                        "done_by": one.done_by,
                        "entered_at": one.at,
                        "entered_by": one.person,
                        "by_paper": one.paper is not None,
                    }
                    for one in state.history
                ],
                "remaining": [step.id for step in state.worksheet.steps() if state.done(step.id) is None],
                "worksheet": to_json(state.worksheet),
            }
        )
    else:
        write = as_html if form == "html" else as_text
        put(write(state.worksheet, language, state), nl=False)

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
    load_library,
    print_json,
)
from floorterm.ledger import Place


@click.command()
@click.option("--line", required=True, help="Line id, such as L1.")
@click.option("--from", "outgoing", help="Fragrance that the line holds.")
@click.option("--to", "incoming", help="Fragrance to change to.")
@click.option("--procedure", help="A procedure that stands alone, instead of a pair.")
@click.option("--format", "form", type=click.Choice(["text", "html"]), default="text", show_default=True)
@click.option("--language", type=click.Choice(["en", "es"]), default="en", show_default=True)
@checklists_option
@db_option
@json_option
def worksheet(
    line: str,
    outgoing: str | None,
    incoming: str | None,
    procedure: str | None,
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
        click.echo(as_html(sheet, language) if form == "html" else as_text(sheet, language), nl=False)

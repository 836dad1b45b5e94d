"""`floorterm verify`: whether a record holds, and which part of it a seal kept elsewhere confirms."""

import sys
from dataclasses import asdict
from pathlib import Path

import click

from floorterm.cli.common import (
    PlaceType,
    Status,
    checklists_option,
    db_option,
    default_db,
    fail,
    json_option,
    print_json,
    seals_given,
)
from floorterm.ledger import Place


@click.command()
@click.argument("place", metavar="[FILE]", required=False, type=PlaceType())
@click.option(
    "--since-seal", "texts", multiple=True, metavar="TEXT", help="A seal that was kept: its whole line."
)
@click.option(
    "--seals",
    "files",
    multiple=True,
    type=click.Path(path_type=Path, dir_okay=False),
    help="A witness file: one seal a line.",
)
@click.option(
    "--document",
    type=click.Path(path_type=Path, dir_okay=False, exists=True),
    help="A printed document (HTML, PDF, JSON): whether the ledger still holds what it says.",
)
@checklists_option
@db_option
@json_option
def verify(
    place: Place | None,
    texts: tuple[str, ...],
    files: tuple[Path, ...],
    document: Path | None,
    checklists: Path | None,
    db: Place | None,
    as_json: bool,
) -> None:
    """Verify the ledger (or FILE: a ledger, an export or a server's URL): every hash, the chain, the people, seals.

    Exit status 1 names the first entry that does not hold. A cut tail, an old copy put back and a chain computed
    anew show only against a seal that was kept elsewhere. A text that is no seal ends with status 2.
    --document makes a document anew from the entries up to its seal and compares: status 0 only if it matches.
    """
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.ledger.verdict import verdict  # noqa: PLC0415
    from floorterm.ledger.verify import verify_place  # noqa: PLC0415
    from floorterm.wording import sentence  # noqa: PLC0415

    chosen = place or db or default_db()
    if document is not None:
        from floorterm.cli.verify_document import say_document  # noqa: PLC0415

        say_document(document, chosen, checklists, as_json)
    seals = seals_given(texts, files)
    try:
        report = verify_place(chosen, seals)
    except LedgerError as error:
        fail(str(error))
    said = [sentence(say) for say in verdict(report)]
    if as_json:
        print_json(asdict(report) | {"verdict": said})
    else:
        for problem in report.problems:
            click.echo(f"entry {problem.n}: {problem.text}")
        if report.more:
            click.echo(f"and {report.more} more problems")
        for remark in report.remarks:
            click.echo(f"entry {remark.n}: {remark.text}")
        held = "holds" if report.ok else "DOES NOT HOLD"
        click.echo(f"{_shown(chosen)}: {report.entries} entries, the chain {held}, head {report.head}")
        click.echo("\n".join(said))
    sys.exit(Status.WELL if report.ok else Status.SHORT)


def _shown(place: Place) -> str:
    """A place as it may stand on a screen: a URL without its account."""
    if isinstance(place, Path):
        return str(place)
    from floorterm.ledger.server import name_of, read_url  # noqa: PLC0415  extra `server`

    return name_of(read_url(place))

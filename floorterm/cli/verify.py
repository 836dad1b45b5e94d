"""`floorterm verify`: whether a record holds, and which part of it a seal kept elsewhere confirms."""

import sys
from pathlib import Path

import click
from msgspec import to_builtins

from floorterm.cli.common import (
    PlaceType,
    Status,
    checklists_option,
    db_option,
    default_db,
    fail,
    json_option,
    print_json,
    put,
    seals_given,
)
from floorterm.ledger import Place, is_server


@click.command()
@click.argument("places", metavar="[FILE]...", nargs=-1, type=PlaceType())
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
    help="A printed document or table of any format but plain text: whether the ledger still holds what it says.",
)
@checklists_option
@db_option
@json_option
def verify(
    places: tuple[Place, ...],
    texts: tuple[str, ...],
    files: tuple[Path, ...],
    document: Path | None,
    checklists: Path | None,
    db: Place | None,
    as_json: bool,
) -> None:
    """Verify the ledger (or FILE: a ledger, an export or a server's URL): every hash, the chain, the people, seals.

    Several FILEs are exports of parts that follow each other, like the archives of years; they hold as one chain.

    Exit status 1 names the first entry that does not hold. A cut tail, an old copy put back and a chain computed
    anew show only against a seal that was kept elsewhere. A text that is no seal ends with status 2.
    --document makes a document anew from the entries up to its seal and compares: status 0 only if it matches.
    """
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.ledger.faults import NotAnExportError  # noqa: PLC0415
    from floorterm.ledger.verdict import verdict  # noqa: PLC0415
    from floorterm.ledger.verify import verify_exports, verify_place  # noqa: PLC0415
    from floorterm.wording import sentence  # noqa: PLC0415

    chosen = places[0] if places else db or default_db()
    if document is not None:
        from floorterm.cli.verify_document import say_document  # noqa: PLC0415

        say_document(document, chosen, checklists, as_json)
    seals = seals_given(texts, files)
    try:
        if len(places) > 1:
            for place in places:
                if is_server(place):
                    raise NotAnExportError(path=_shown(place))
            report = verify_exports([Path(place) for place in places], seals)
        else:
            report = verify_place(chosen, seals)
    except LedgerError as error:
        fail(str(error))
    said = [sentence(say) for say in verdict(report)]
    if as_json:
        print_json(to_builtins(report) | {"verdict": said})
    else:
        for problem in report.problems:
            put(f"entry {problem.n}: {problem.text}")
        if report.more:
            put(f"and {report.more} more problems")
        for remark in report.remarks:
            put(f"entry {remark.n}: {remark.text}")
        held = "holds" if report.ok else "DOES NOT HOLD"
        shown = ", ".join(map(_shown, places or (chosen,)))
        put(f"{shown}: {report.entries} entries, the chain {held}, head {report.head}")
        put("\n".join(said))
    sys.exit(Status.WELL if report.ok else Status.SHORT)


def _shown(place: Place) -> str:
    """A place as it may stand on a screen: a URL without its account."""
    if isinstance(place, Path):
        return str(place)
    from floorterm.ledger.server import name_of, read_url  # noqa: PLC0415  extra `server`

    return name_of(read_url(place))

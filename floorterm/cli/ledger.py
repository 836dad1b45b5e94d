"""Commands about the ledger: init, move, holds, export."""

from pathlib import Path

import click

from floorterm.cli.common import (
    PlaceType,
    Status,
    checklists_option,
    db_option,
    default_db,
    fail,
    load_library,
    open_ledger,
    own_folder,
    put,
    say_closed,
)
from floorterm.ledger import Place, is_server
from floorterm.people import LockoutStatus, Permission, Person


@click.command()
@click.option("--admin", prompt="Code of the first administrator", help="Code of the first administrator.")
@click.option("--name", prompt="Printed name", help="Printed name of the first administrator.")
@click.option("--role", help="On a server: the existing role of the terminals; it may add and read, no more.")
@checklists_option
@db_option
def init(admin: str, name: str, role: str | None, checklists: Path | None, db: Place | None) -> None:
    """Create the ledger and its first administrator. The PIN is asked for, never given as an option."""
    from floorterm.ledger import Ledger, LedgerError  # noqa: PLC0415

    library = load_library(checklists)
    path = db or default_db()
    check_role(path, role)
    pin = click.prompt("PIN (6 digits)", hide_input=True, confirmation_prompt="PIN again")
    try:
        if isinstance(path, Path):
            path.parent.mkdir(parents=True, exist_ok=True)
        ledger = Ledger.create(
            path,
            plant_id=library.plant.id,
            plant_name=library.plant.name,
            time_zone=library.plant.time_zone,
            checklists=str(checklists.resolve()) if checklists else "",
        )
    except (LedgerError, OSError) as error:
        fail(str(error))
    first = Person(code=admin, name=name, permission=Permission.ADMINISTRATOR, lockout=LockoutStatus.OTHER)
    try:
        ledger.add_person(first, pin, by="", terminal="cli")
    except LedgerError as error:
        # nobody could ever sign in it, and nothing but its own beginning is in it
        if isinstance(path, Path):
            path.unlink()
            fail(str(error))
        fail(f"{error} Drop the database, create it again, and repeat.")
    if role is not None:
        grant(path, role)
    head = ledger.head()
    put(f"{ledger.store.name}: ledger of {library.plant.name} created, head {head.n} {head.hash}")
    put("Next: floorterm people add, then floorterm holds for each line, then floorterm.")


def check_role(place: Place, role: str | None) -> None:
    """Leave with the reason if terminals cannot work under the role, before anything is made or anybody asked."""
    from floorterm.ledger import LedgerError  # noqa: PLC0415

    if role is None:
        return
    if not is_server(place):
        fail("--role is for a ledger on a server; a file's rights are those of the file system.")
    from floorterm.ledger.server_making import check_role as check  # noqa: PLC0415  extra `server`

    try:
        check(str(place), role)
    except LedgerError as error:
        fail(str(error))


def grant(place: Place, role: str) -> None:
    """Give the terminals' role on a server what it needs, or leave with the reason why not."""
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.ledger.server_making import grant_terminal  # noqa: PLC0415  extra `server`

    try:
        grant_terminal(str(place), role)
    except LedgerError as error:
        fail(str(error))
    say_granted(role)


def say_granted(role: str) -> None:
    """That the terminals can open it now."""
    put(f"The role {role} may add entries and read them; it cannot change or remove any.")


@click.command()
@click.argument("target", metavar="TARGET", type=PlaceType())
@click.option("--by", required=True, help="Code of the administrator who moves it.")
@click.option("--role", help="The existing role of the terminals on the server.")
@db_option
def move(target: Place, by: str, role: str | None, db: Place | None) -> None:
    """Move the ledger from its file to TARGET, verify it there, and close the file.

    TARGET is a new file, which may then be carried to another machine, or the URL of an empty database. Nothing
    can be recorded into the old file afterwards: start every terminal with the new place.
    """
    from floorterm.ledger import LedgerError, move_ledger  # noqa: PLC0415

    ledger = open_ledger(db)
    check_role(target, role)
    pin = click.prompt(f"PIN of {by}", hide_input=True)
    try:
        ledger.check_pin(by, pin, terminal="cli")
        seal, last = move_ledger(ledger, target, by=by, identity="pin", terminal="cli", role=role or "")
    except LedgerError as error:
        fail(str(error), Status.SHORT)
    if role is not None:
        say_granted(role)
    put(f"Moved and verified; the file is closed by its entry {last.n}. The seal of what was moved:\n{seal}")


@click.command()
@click.argument("line")
@click.argument("fragrances", nargs=-1, required=True)
@click.option("--by", required=True, help="Code of the supervisor who states it.")
@click.option("--reason", required=True, help="Why the record is stated or overruled.")
@checklists_option
@db_option
def holds(
    line: str, fragrances: tuple[str, ...], by: str, reason: str, checklists: Path | None, db: Place | None
) -> None:
    """State what LINE holds: FRAGRANCES, the main one first."""
    from floorterm.entries import TextError  # noqa: PLC0415
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.plant import Plant, Who, new_key  # noqa: PLC0415

    ledger = open_ledger(db)
    library = load_library(own_folder(checklists, ledger))
    if line not in library.lines:
        fail(f"There is no line {line!r}; known are {', '.join(library.lines)}.")
    for fragrance in fragrances:
        if fragrance not in library.fragrances or line not in library.fragrances[fragrance].lines:
            fail(f"{fragrance!r} does not run on {line}.")
    pin = click.prompt(f"PIN of {by}", hide_input=True)
    try:
        person = ledger.check_pin(by, pin, terminal="cli")
        entry = Plant(library, ledger, "cli").state_holds(
            Who(person, "pin"), line, fragrances, reason, key=new_key()
        )
    except (LedgerError, TextError) as error:
        fail(str(error), Status.SHORT)
    put(f"Recorded as entry {entry.n}: {line} holds {', '.join(fragrances)}.")


@click.command()
@click.argument("target", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--with-verifier", is_flag=True, help="Also a verifier of its own and a page about the format.")
@db_option
def export(target: Path, with_verifier: bool, db: Place | None) -> None:
    """Write the ledger to TARGET as JSON Lines; the last line is the seal."""
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.ledger.export import write_export  # noqa: PLC0415
    from floorterm.stranger import write_beside  # noqa: PLC0415

    ledger = open_ledger(db)
    try:
        seal = write_export(ledger, target, terminal="cli")
    except LedgerError as error:
        fail(str(error), Status.SHORT)
    put(f"{target}: written.\n{seal}")
    say_closed(ledger)
    if with_verifier:
        try:
            verifier, page = write_beside(target.absolute().parent)
        except OSError as error:
            fail(f"The verifier could not be written beside it: {error}", Status.SHORT)
        put(f"{verifier}: needs Python alone; {page.name} describes the format.")

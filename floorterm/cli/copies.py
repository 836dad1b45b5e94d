"""Commands about copies of the ledger: backup, drill, restore, migrate."""

from pathlib import Path
from typing import TYPE_CHECKING

import click
from msgspec import to_builtins

from floorterm.cli.common import (
    Status,
    checklists_option,
    db_option,
    default_db,
    fail,
    json_option,
    load_library,
    open_ledger,
    own_folder,
    print_json,
    put,
    say_closed,
    seals_given,
)
from floorterm.cli.ledger import check_role, grant, say_granted
from floorterm.ledger import Place, is_server
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.ledger import Ledger, Seal
    from floorterm.ledger.restore import Done, Signed, Standing

_SEALS = click.option(
    "--seals",
    "witness",
    multiple=True,
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="Witness file: seals that were kept elsewhere, one a line.",
)


@click.command()
@click.argument("target", required=False, type=click.Path(path_type=Path, dir_okay=False))
@click.option(
    "--into", type=click.Path(path_type=Path, exists=True, file_okay=False), help="Folder of backups."
)
@click.option(
    "--keep",
    default="14/8/24",
    show_default=True,
    metavar="DAYS/WEEKS/MONTHS",
    help="With --into: how many days, weeks and months keep their newest backup; the newest is always kept.",
)
@_SEALS
@db_option
def backup(
    target: Path | None, into: Path | None, keep: str, witness: tuple[Path, ...], db: Place | None
) -> None:
    """Copy the ledger to TARGET, or into a folder of backups, while it is in use; the copy is verified first.

    In a folder, older backups that no rule keeps are removed: only files that the ledger recorded as its own
    backups and that have not been altered since.
    """
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.ledger.backup import back_up  # noqa: PLC0415
    from floorterm.ledger.rotation import Keep, back_up_into  # noqa: PLC0415

    if (target is None) == (into is None):
        fail("Give either TARGET or --into FOLDER.")
    seals = seals_given(files=witness)
    ledger = open_ledger(db)
    try:
        if target is not None:
            seal = back_up(ledger, target, seals=seals, terminal="cli")
            put(f"{target}: verified.\n{seal}")
            say_closed(ledger)
            return
        assert into is not None
        done = back_up_into(ledger, into, Keep.parse(keep), seals=seals, terminal="cli")
    except LedgerError as error:
        fail(str(error), Status.SHORT)
    put(f"{done.path}: verified.\n{done.seal}")
    say_closed(ledger)
    for path in done.removed:
        put(f"Removed by --keep {keep}: {path}")
    for path in done.altered:
        put(f"Not removed, because it is no longer what was written there: {path}", err=True)
    for path, reason in done.refused:
        put(f"Not removed, because this machine refuses: {path}: {reason}", err=True)
    if done.refused:
        fail("The backup is made and counts. Make the old ones removable, or the disk fills.", Status.SHORT)


@click.command()
@click.argument("copy", type=click.Path(path_type=Path, dir_okay=False))
@_SEALS
@checklists_option
@db_option
@json_option
def drill(
    copy: Path, witness: tuple[Path, ...], checklists: Path | None, db: Place | None, as_json: bool
) -> None:
    """Prove that the backup COPY can be restored: in a scratch place, opened as the terminal opens it.

    It is verified and compared with the live ledger, which records that the drill was held.
    """
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.ledger.drill import drill as hold  # noqa: PLC0415

    live = open_ledger(db)
    try:
        proof, works = hold(
            copy,
            live,
            lambda ledger: _works_on(ledger, checklists),
            seals=seals_given(files=witness),
            terminal="cli",
        )
    except LedgerError as error:
        fail(str(error), Status.SHORT)
    if as_json:
        print_json(to_builtins(proof) | {"open_works": works})
        return
    put(f"{copy}: restored to a scratch place, verified, opened as the terminal opens it.")
    put(f"SHA-256 of the file {proof.sha256}")
    put(f"plant {proof.plant}, chain {proof.chain}, {proof.people} people")
    put(f"entry {proof.n} {proof.hash}")
    put(f"1-{proof.n} are the live ledger's own entries; {proof.behind} newer ones are in the live one only.")
    put(f"Open works in it: {', '.join(works) or 'none'}.")
    if witness:
        put(f"1-{proof.sealed_n} match the seals that were given.")
    put(f"Recorded as entry {proof.entry_n}.")


def _works_on(ledger: "Ledger", checklists: Path | None) -> list[str]:
    """The open works of a ledger, as the plant on it has them."""
    from floorterm.plant import Plant  # noqa: PLC0415

    plant = Plant(load_library(own_folder(checklists, ledger)), ledger, "cli")
    return [state.work for line in plant.lines() for state in line.works]


@click.command()
@click.argument("copy", required=False, type=click.Path(path_type=Path, dir_okay=False))
@click.option("--by", required=True, help="Code of the first person who answers for it, in the copy.")
@click.option("--and", "with_", required=True, help="Code of the second one. One supervises or administers.")
@click.option("--reason", help="Why; asked for if it is not given.")
@click.option("--seal", "seal_text", help="The newest seal: its line, as printed or photographed.")
@_SEALS
@click.option("--role", help="On a server: the existing role of the terminals, as for init.")
@click.option("--as-it-stands", is_flag=True, help="Go on with an older copy that stands in place already.")
@db_option
def restore(
    copy: Path | None,
    by: str,
    with_: str,
    reason: str | None,
    seal_text: str | None,
    witness: tuple[Path, ...],
    role: str | None,
    as_it_stands: bool,
    db: Place | None,
) -> None:
    """Put the backup COPY in the ledger's place, if it verifies and two people sign for it.

    The newest seal that anybody kept, and what terminals of this account saw, tell what the copy lacks. The file
    that stood there is kept beside. On a server, name an empty database.
    """
    from floorterm.entries import TextError  # noqa: PLC0415
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.ledger.last_seen import memories_in  # noqa: PLC0415
    from floorterm.ledger.restore import Signed, go_on_with, standing_of  # noqa: PLC0415
    from floorterm.ledger.restore import restore as put  # noqa: PLC0415
    from floorterm.terminal.opening import seen_folder  # noqa: PLC0415

    if (copy is None) != as_it_stands:
        fail("Give either COPY or --as-it-stands.")
    place = db or default_db()
    check_role(place, role)
    if copy is not None and role is None and is_server(place):
        fail(
            "Name the role of the terminals on the server: --role ROLE. Without its rights no terminal could record."
        )
    seals = _seals_or_asked(seal_text, witness)
    memories = memories_in(seen_folder())

    def sign(ledger: "Ledger", standing: "Standing") -> "Signed":
        _tell(standing)
        why = reason or click.prompt("Reason")
        for code in (by, with_):
            ledger.check_pin(code, click.prompt(f"PIN of {code}", hide_input=True), terminal="cli")
        return Signed(by=by, witness=with_, reason=why, terminal="cli")

    try:
        if copy is None:
            done = go_on_with(place, sign, standing_of(place, seals, memories))
        else:
            done = put(copy, place, sign, seals=seals, memories=memories, role=role or "")
    except (LedgerError, TextError) as error:
        fail(str(error), Status.SHORT)
    _say_done(done, place)
    if role is not None and copy is None:
        grant(place, role)
    elif role is not None:
        say_granted(role)


def _seals_or_asked(text: str | None, witness: tuple[Path, ...]) -> "tuple[Seal, ...]":
    """The seals that were named; where none was, somebody is asked for the newest."""
    if text is None and not witness:
        text = click.prompt("Newest seal that anybody kept (its line; empty if there is none)", default="")
    return seals_given((text,) if text else (), witness)


def _tell(standing: "Standing") -> None:
    """What the copy lacks, as far as anybody can know."""
    put(f"{standing.path}: verified, {standing.n} entries of {standing.plant}, head {standing.hash}")
    if standing.parted:
        put(words("copies.parted"))
    if standing.unnamed and standing.known:
        put(words("copies.unnamed", chain=standing.known.chain))
    if standing.known is None:
        put(words("copies.nothing_known", ends=standing.n))
    elif standing.missing:
        known, at = standing.known.n, standing.known_at
        put(words("copies.short_of", n=standing.missing, ends=standing.n, known=known, at=at))
    elif not standing.unnamed:
        put(words("copies.not_short", known=standing.known.n, at=standing.known_at))


def _say_done(done: "Done", place: Place) -> None:
    where = "the server's database" if is_server(place) else str(place)
    put(f"In place: {where}. Recorded as entry {done.entry.n}. From here on the chain has a new identifier.")
    if done.aside is not None:
        put(f"The file that stood there is kept: {done.aside}")
    put(
        "What came after the copy is not in it, locks too: the locks at the machine decide. Open each terminal again."
    )
    put(f"Keep this seal:\n{done.seal}")


@click.command()
@click.option(
    "--backup",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The copy that is made and verified first (default: beside the ledger's file).",
)
@db_option
def migrate(backup: Path | None, db: Place | None) -> None:
    """Bring a ledger of an older version to this one's layout, with a verified copy first.

    What was signed stays byte for byte what it was, or nothing is changed. End every terminal before.
    """
    from datetime import UTC, datetime  # noqa: PLC0415

    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.ledger.migrating import migrate as bring  # noqa: PLC0415

    place = db or default_db()
    if backup is None:
        if is_server(place):
            fail("Name the copy of the server's ledger that is made first: --backup FILE.")
        backup = Path(f"{place}.before-{datetime.now(UTC):%Y%m%dT%H%M%SZ}")
    open_ledger(place)
    try:
        done = bring(place, backup, terminal="cli")
    except LedgerError as error:
        fail(str(error), Status.SHORT)
    if done is None:
        put("The ledger has this version's layout already.")
        return
    put(f"{backup}: the ledger as it was, verified.")
    put(f"Brought from layout {done.was} to {done.now}, verified. Recorded as entry {done.entry.n}.")


@click.command()
@click.argument("year", type=click.IntRange(1970, 9998))
@click.option(
    "--into",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    required=True,
    help="Folder of archives.",
)
@db_option
def archive(year: int, into: Path, db: Place | None) -> None:
    """Write the entries of YEAR into a file of their own, verify it, and seal its end.

    The ledger keeps all of them. The file begins where that of the year before ends: floorterm verify FILE FILE...
    verifies them as one chain.
    """
    from zoneinfo import ZoneInfo  # noqa: PLC0415

    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.ledger.archive import archive_year  # noqa: PLC0415

    ledger = open_ledger(db)
    try:
        done = archive_year(ledger, year, into, ZoneInfo(ledger.start().time_zone), terminal="cli")
    except LedgerError as error:
        fail(str(error), Status.SHORT)
    put(f"{done.path}: entries {done.first} to {done.seal.n}, verified.\nKeep this seal:\n{done.seal}")
    say_closed(ledger)

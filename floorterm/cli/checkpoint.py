"""`floorterm checkpoint`: signed checkpoints, and the proof that of two of them the later extends the earlier."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from floorterm.cli.common import PlaceType, Status, db_option, default_db, fail, put
from floorterm.ledger import Place

if TYPE_CHECKING:
    from floorterm.ledger.checkpoint import Checkpoint
    from floorterm.ledger.note import PublicKey
    from floorterm.ledger.walk import Report

_Command = TypeVar("_Command", bound=Callable[..., Any])
_FILE = click.Path(path_type=Path, dir_okay=False)
_PLACE = click.argument("place", metavar="[FILE]", required=False, type=PlaceType())


def _public_option(command: _Command) -> _Command:
    return click.option("--public", required=True, type=_FILE, help="File with the public key's line.")(
        command
    )


@click.group()
def checkpoint() -> None:
    """Signed checkpoints: how many entries, the Merkle root over them, and a signature.

    FILE is a ledger, an export from the first entry on, or a server's URL; without it, the ledger.
    """


@checkpoint.command()
@click.argument("name")
@click.option(
    "--out", required=True, type=_FILE, help="New file for the secret key; FILE.pub gets the public one."
)
def key(name: str, out: Path) -> None:
    """Make a key called NAME, such as northmere.example/records.

    The secret key belongs off the terminal: on a machine of whoever vouches for the record, who signs exports or
    backups there. A key beside the ledger proves no more than a seal does.
    """
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.ledger.note import SecretKey  # noqa: PLC0415

    public = out.with_name(f"{out.name}.pub")
    try:
        made = SecretKey.new(name)
        made.write(out)
        with public.open("x", encoding="utf-8") as file:
            file.write(f"{made.public}\n")
    except (LedgerError, OSError) as error:
        fail(str(error))
    put(f"{out}: the secret key, for its owner alone. Keep it off the terminals.")
    put(f"{public}: the public key. Give it to everybody who checks:\n{made.public}")


@checkpoint.command()
@_PLACE
@click.option("--key", "key_file", required=True, type=_FILE, help="File of the secret key.")
@click.option("--out", type=_FILE, help="New file for the checkpoint (default: standard output).")
@click.option("--after", type=_FILE, help="The checkpoint signed last: sign only what extends it.")
@db_option
def sign(place: Place | None, key_file: Path, out: Path | None, after: Path | None, db: Place | None) -> None:
    """Verify the record, and sign a checkpoint of it."""
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.ledger.checkpoint import Checkpoint, roots_at  # noqa: PLC0415
    from floorterm.ledger.note import SecretKey  # noqa: PLC0415

    try:
        secret = SecretKey.read(key_file)
        last = _opened(after, secret.public) if after else None
        report, roots = roots_at(place or db or default_db(), (last.size,) if last else ())
        _sound(report)
        if last is not None and roots.get(last.size) != last.root:
            fail(
                f"Not signed: this record does not extend the checkpoint of {last.size} entries.",
                Status.SHORT,
            )
        note = secret.sign(Checkpoint(secret.name, report.n, roots[report.n]).text)
    except LedgerError as error:
        fail(str(error))
    _write(note, out)


@checkpoint.command()
@click.argument("note", type=_FILE)
@_PLACE
@_public_option
@db_option
def check(note: Path, place: Place | None, public: Path, db: Place | None) -> None:
    """Check the signature of the checkpoint NOTE, and that the record begins with what it says."""
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.ledger.checkpoint import roots_at  # noqa: PLC0415

    signed = _signed(note, public)
    try:
        report, roots = roots_at(place or db or default_db(), (signed.size,))
    except LedgerError as error:
        fail(str(error))
    _sound(report)
    if signed.size > report.n:
        fail(
            f"The record ends at entry {report.n}, before the {signed.size} of the checkpoint.", Status.SHORT
        )
    if roots[signed.size] != signed.root:
        fail(f"The first {signed.size} entries are not those of the checkpoint.", Status.SHORT)
    if not signed.size:
        put(f"{signed.origin} signed a record of no entry: all {report.n:,} are only chained.")
        return
    put(
        f"1-{signed.size:,} are those that {signed.origin} signed; {report.n - signed.size:,} newer are only chained."
    )


@checkpoint.command()
@click.argument("old", type=_FILE)
@click.argument("new", type=_FILE)
@_PLACE
@_public_option
@click.option("--out", type=_FILE, help="New file for the proof (default: standard output).")
@db_option
def prove(
    old: Path, new: Path, place: Place | None, public: Path, out: Path | None, db: Place | None
) -> None:
    """Write the proof that the checkpoint NEW extends OLD, from a record that holds both."""
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.ledger.checkpoint import extension_of  # noqa: PLC0415
    from floorterm.ledger.proof_faults import CheckpointFaultError  # noqa: PLC0415

    first, second = _signed(old, public), _signed(new, public)
    try:
        report, proof = extension_of(place or db or default_db(), first.size, second.size)
    except CheckpointFaultError as error:
        fail(str(error), Status.SHORT)
    except LedgerError as error:
        fail(str(error))
    _sound(report)
    if not proof.shows(first, second):
        fail("The record does not hold both: no proof can be made from it.", Status.SHORT)
    _write(str(proof), out)


@checkpoint.command()
@click.argument("old", type=_FILE)
@click.argument("new", type=_FILE)
@click.argument("proof", type=_FILE)
@_public_option
def extends(old: Path, new: Path, proof: Path, public: Path) -> None:
    """Check, without any record, that the checkpoint NEW extends OLD by the file PROOF."""
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.ledger.checkpoint import Extension  # noqa: PLC0415

    first, second = _signed(old, public), _signed(new, public)
    try:
        shown = Extension.parse(_text(proof))
    except LedgerError as error:
        fail(str(error))
    if not shown.shows(first, second):
        fail(f"NOT SHOWN that the checkpoint of {second.size} extends that of {first.size}.", Status.SHORT)
    put(
        f"The checkpoint of {second.size:,} entries extends that of {first.size:,}: nothing in them was altered."
    )


@checkpoint.command()
@click.argument("n", type=click.IntRange(min=1))
@click.argument("note", type=_FILE)
@_PLACE
@_public_option
@click.option("--out", type=_FILE, help="New file for the entry (default: standard output).")
@db_option
def excerpt(
    n: int, note: Path, place: Place | None, public: Path, out: Path | None, db: Place | None
) -> None:
    """Write entry N alone, with the proof that it stands in the checkpoint NOTE: nothing else need be shown."""
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.ledger.checkpoint import excerpt_of  # noqa: PLC0415
    from floorterm.ledger.proof_faults import CheckpointFaultError  # noqa: PLC0415

    signed = _signed(note, public)
    try:
        report, found = excerpt_of(place or db or default_db(), n, signed.size)
    except CheckpointFaultError as error:
        fail(str(error), Status.SHORT)
    except LedgerError as error:
        fail(str(error))
    _sound(report)
    if not found.shows(signed):
        fail("The record is not the one of the checkpoint: nothing can be shown from it.", Status.SHORT)
    _write(str(found), out)


@checkpoint.command()
@click.argument("note", type=_FILE)
@click.argument("entry", type=_FILE)
@_public_option
def includes(note: Path, entry: Path, public: Path) -> None:
    """Check, without any record, that the excerpt ENTRY stands in the checkpoint NOTE, and print its text."""
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.ledger.checkpoint import Excerpt  # noqa: PLC0415

    signed = _signed(note, public)
    try:
        found = Excerpt.parse(_text(entry))
    except LedgerError as error:
        fail(str(error))
    if not found.shows(signed):
        fail("NOT SHOWN that this entry stands in the checkpoint.", Status.SHORT)
    put(f"Entry {found.n:,} of {signed.size:,} that {signed.origin} signed:\n{ascii(found.body)[1:-1]}")


def _sound(report: "Report") -> None:
    if not report.ok:
        fail(f"The record does not hold: {report.problems[0].text}", Status.SHORT)


def _signed(note: Path, public: Path) -> "Checkpoint":
    """The checkpoint of a note; leaves with 2 if it is none, with 1 if the key did not sign it."""
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.ledger.note import PublicKey  # noqa: PLC0415
    from floorterm.ledger.proof_faults import SignatureFaultError  # noqa: PLC0415

    try:
        return _opened(note, PublicKey.parse(_text(public)))
    except SignatureFaultError as error:
        fail(str(error), Status.SHORT)
    except LedgerError as error:
        fail(str(error))


def _opened(note: Path, public: "PublicKey") -> "Checkpoint":
    from floorterm.ledger.checkpoint import Checkpoint  # noqa: PLC0415
    from floorterm.ledger.note import opened  # noqa: PLC0415

    return Checkpoint.parse(opened(_text(note), public))


def _text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8")
    except (OSError, UnicodeDecodeError):
        fail(f"{path} cannot be read as text.")


def _write(text: str, out: Path | None) -> None:
    if out is None:
        put(text, nl=False)
        return
    try:
        with out.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except OSError as error:
        if not isinstance(error, FileExistsError):
            out.unlink(missing_ok=True)  # half of it would stand in the way of the next try
        fail(f"{out}: {error.strerror}")
    put(f"{out}: written.")

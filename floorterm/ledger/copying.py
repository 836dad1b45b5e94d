"""Copying a ledger from one kind of store into another, entry by entry: the texts stay what was hashed.

The target's own guards look at every row, so a copy that would not be one chain is never finished.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection, insert, select

from floorterm.access import Right, has_right
from floorterm.entries import Draft, Entry
from floorterm.ledger import reading
from floorterm.ledger.faults import CopyFaultError, OutcomeUnknownError, RefusedError
from floorterm.ledger.file_store import half_made, laying_out
from floorterm.ledger.ledger import Ledger
from floorterm.ledger.schema import ATTEMPTS, ENTRIES, PEOPLE, PINS
from floorterm.ledger.seal import Seal
from floorterm.ledger.store import Store
from floorterm.ledger.transaction import LEDGER_MOVED, Transaction
from floorterm.ledger.values import Asked, Place, is_server
from floorterm.ledger.verify import verify_place
from floorterm.wording import Refusal, Say

_BESIDE = (PEOPLE, PINS, ATTEMPTS)


def copy_to_file(source: Store, target: Path) -> None:
    """Copy what a store holds at one moment into a new ledger file. Raises a LedgerError."""
    with source.snapshot() as read, laying_out(target) as write:
        copy_rows(read, write)


def copy_rows(read: Connection, write: Connection) -> None:
    """Every entry in its order, then people, PIN hashes and the count of wrong ones."""
    after_n = 0
    while lines := reading.lines(read, after_n, None):
        write.execute(
            insert(ENTRIES), [{"n": line.n, "body": line.body, "hash": line.hash} for line in lines]
        )
        after_n = lines[-1].n
    for table in _BESIDE:
        if rows := read.execute(select(table)).mappings().all():
            write.execute(insert(table), [dict(row) for row in rows])


def administers(asked: Asked) -> Sequence[Refusal]:
    if has_right(asked.person, Right.MOVE_LEDGER):
        return ()
    return (Refusal(Say("ledger.move_administrator"), "site policy"),)


def move_ledger(
    ledger: Ledger, place: Place, *, by: str, identity: str = "", terminal: str = ""
) -> tuple[Seal, Entry]:
    """Take a ledger from its file to another one or to an empty database, verify it there, and close the file.

    Everything happens while the file's write lock is held, so no sign-off falls between the two. The file's
    last entry names where the chain goes on; nothing can be added to the file after it. `by` is an
    administrator. Gives the seal of what was moved and that last entry. Raises CopyFaultError,
    LedgerExistsError, RefusedError or another LedgerError; the file is then as it was.
    """
    key = ledger.new_id()
    name = _name_of(place)
    made: list[Place] = []

    def work(transaction: Transaction) -> tuple[Seal, Entry]:
        transaction.check_open()
        asked = Asked(transaction.signer(by), None, transaction.now, transaction.entries)
        if refusals := tuple(administers(asked)):  # before anything is copied
            raise RefusedError(refusals)
        seal = Seal.of(transaction.head(), ledger.start().plant)
        with _laying_out(place) as write:
            copy_rows(transaction.connection, write)
        made.append(place)
        report = verify_place(place, (seal,))
        if not report.ok or report.sealed_n != seal.n:
            reason = report.problems[0].text if report.problems else f"{report.n} < {seal.n}"
            raise CopyFaultError(path=name, reason=reason)
        value = {"to": name, "head_n": seal.n, "head_hash": seal.hash}
        draft = Draft(
            kind=LEDGER_MOVED, key=key, person=by, identity=identity, terminal=terminal, value=value
        )
        return seal, transaction.append((draft,))[0]

    try:
        return ledger.unit_of_work(work)
    except OutcomeUnknownError:
        raise  # the file may be closed: its copy must stay
    except Exception:
        for new in made:
            _take_away(new)  # the file goes on, so nobody may go on with its copy
        raise


def _take_away(place: Place) -> None:
    if not is_server(place):
        Path(place).unlink()
        return
    from floorterm.ledger.server import unmake  # noqa: PLC0415  extra `server`

    unmake(str(place))


def _name_of(place: Place) -> str:
    if is_server(place):
        from floorterm.ledger.server import name_of, read_url  # noqa: PLC0415  extra `server`

        return name_of(read_url(str(place)))
    return str(place)


@contextmanager
def _laying_out(place: Place) -> Iterator[Connection]:
    """An empty ledger at a place; it is there, whole, when this ends well."""
    if is_server(place):
        from floorterm.ledger.server import laying_out_server  # noqa: PLC0415  extra `server`

        with laying_out_server(str(place)) as write:
            yield write
    else:
        with half_made(Path(place)) as fresh, laying_out(fresh) as write:
            yield write

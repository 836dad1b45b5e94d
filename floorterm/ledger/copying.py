"""Copying a ledger from one kind of store into another, entry by entry: the texts stay what was hashed.

The target's own guards look at every row, so a copy that would not be one chain is never finished.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from sqlalchemy import Connection, insert, select

from floorterm.access import Right, has_right
from floorterm.entries import Draft, Entry
from floorterm.ledger import reading
from floorterm.ledger.copy_faults import MoveUnfinishedError
from floorterm.ledger.faults import CopyFaultError, LedgerError, OutcomeUnknownError, RefusedError
from floorterm.ledger.file_store import half_made, laying_out
from floorterm.ledger.ledger import Ledger
from floorterm.ledger.seal import Seal
from floorterm.ledger.store import Store
from floorterm.ledger.tables import ATTEMPTS, ENTRIES, PEOPLE, PINS
from floorterm.ledger.transaction import LEDGER_MOVED, Transaction
from floorterm.ledger.values import Asked, Head, Place, is_server
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
    ledger: Ledger, place: Place, *, by: str, identity: str = "", terminal: str = "", role: str = ""
) -> tuple[Seal, Entry]:
    """Take a ledger from its file to another one or to an empty database, verify it there, and close the file.

    Everything happens while the file's write lock is held, so no sign-off falls between the two. The file's
    last entry names where the chain goes on; nothing can be added to the file after it. `by` is an
    administrator; `role` is that of the terminals on a server. Gives the seal of what was moved and that last entry.

    On a server the copy is not in use before the file is closed. Raises MoveUnfinishedError if it is closed and the
    server then fails: the same move again puts the copy in use. Raises CopyFaultError, LedgerExistsError,
    RefusedError or another LedgerError; the file is then as it was.
    """
    key = ledger.new_id()
    name = _name_of(place)
    if is_server(place) and (finished := _finished(ledger, str(place), name, by)):
        return finished
    made: list[Place] = []

    def work(transaction: Transaction) -> tuple[Seal, Entry]:
        transaction.check_open()
        asked = Asked(transaction.signer(by), None, transaction.now, transaction.entries)
        if refusals := tuple(administers(asked)):  # before anything is copied
            raise RefusedError(refusals)
        seal = Seal.of(transaction.head(), ledger.start().plant)
        with _laying_out(place, ledger.start().hash, role) as write:
            copy_rows(transaction.connection, write)
        made.append(place)
        report = verify_place(place, (seal,), unfinished=is_server(place))
        if not report.ok or report.sealed_n != seal.n:
            reason = report.problems[0].text if report.problems else f"{report.n} < {seal.n}"
            raise CopyFaultError(path=name, reason=reason)
        value = {"to": name, "head_n": seal.n, "head_hash": seal.hash}
        draft = Draft(
            kind=LEDGER_MOVED, key=key, person=by, identity=identity, terminal=terminal, value=value
        )
        return seal, transaction.append((draft,))[0]

    try:
        done = ledger.unit_of_work(work)
    except OutcomeUnknownError:
        raise  # the file may be closed: its copy must stay
    except Exception:
        for new in made:
            _take_away(new)  # the file goes on, so nobody may go on with its copy
        raise
    if is_server(place):
        _put_in_use(str(place), name, done[1])
    return done


def _finished(ledger: Ledger, place: str, name: str, by: str) -> tuple[Seal, Entry] | None:
    """Put the copy in use that a move left unfinished after it had closed the file; None if there is none."""
    last = ledger.entry(ledger.head().n)
    if last.kind != LEDGER_MOVED or last.value.get("to") != name:
        return None
    if refusals := tuple(administers(Asked(ledger.person(by), None, ledger.now(), ledger.entries))):
        raise RefusedError(refusals)
    if not _put_in_use(place, name, last):
        return None
    moved = ledger.entry(last.n - 1)
    head = Head(moved.n, moved.hash, moved.at, ledger.head().chain)
    return Seal.of(head, ledger.start().plant), last


def _put_in_use(place: str, name: str, last: Entry) -> bool:
    from floorterm.ledger.server_making import put_in_use  # noqa: PLC0415  extra `server`

    try:
        return put_in_use(place, last.value["head_n"], last.value["head_hash"])
    except LedgerError as fault:
        raise MoveUnfinishedError(path=name) from fault


def _take_away(place: Place) -> None:
    if not is_server(place):
        Path(place).unlink()
        return
    from floorterm.ledger.server_making import take_away  # noqa: PLC0415  extra `server`

    with suppress(LedgerError):  # what stays is not in use, and the next move takes its place
        take_away(str(place))


def _name_of(place: Place) -> str:
    if is_server(place):
        from floorterm.ledger.server import name_of, read_url  # noqa: PLC0415  extra `server`

        return name_of(read_url(str(place)))
    return str(place)


@contextmanager
def _laying_out(place: Place, start_hash: str, role: str) -> Iterator[Connection]:
    """An empty ledger at a place; it is there, whole, when this ends well, and on a server not in use yet."""
    if is_server(place):
        from floorterm.ledger.server_making import laying_out_server  # noqa: PLC0415  extra `server`

        with laying_out_server(str(place), role=role, unfinished_of=start_hash) as write:
            yield write
    else:
        with half_made(Path(place)) as fresh, laying_out(fresh) as write:
            yield write

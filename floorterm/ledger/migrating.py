"""Bringing a ledger of an older layout to this version's: with a verified copy first, and never what was signed.

Everything happens in one transaction under the write lock, the copy included: an entry is either in both or in
neither, and a step that does not end well is undone by the database.
"""

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from msgspec import Struct
from sqlalchemy import Connection, text

from floorterm.entries import Draft, Entry
from floorterm.ledger import reading
from floorterm.ledger.backup import copy_file
from floorterm.ledger.copy_faults import CopyNotSoundError, MigrationFaultError
from floorterm.ledger.copying import copy_to_file
from floorterm.ledger.export import file_digest
from floorterm.ledger.file_store import FileStore, half_made
from floorterm.ledger.layouts import STEPS, Step
from floorterm.ledger.ledger import Ledger
from floorterm.ledger.transaction import Transaction
from floorterm.ledger.values import Place
from floorterm.ledger.verify import verify_ledger, verify_place

MIGRATED = "schema.migrated"


class Migrated(Struct, frozen=True):
    """From which layout to which, by which entry, and the verified copy that was made before."""

    was: int
    now: int
    entry: Entry
    backup: Path


def migrate(
    place: Place, backup: Path, *, steps: Sequence[Step] = STEPS, terminal: str = ""
) -> Migrated | None:
    """Bring the ledger at a place to the newest layout of `steps`; None if it has that already.

    `backup` is a new file. Raises CopyNotSoundError if the ledger does not hold as it is, MigrationFaultError if a step
    changed a body or a hash (all of it is undone), LedgerExistsError, NewerLedgerError, or another LedgerError.
    """
    ledger = Ledger.open(place)
    was, now = ledger.store.layout, steps[-1].to
    due = [step for step in steps if step.to > was]
    if not due:
        return None

    def work(transaction: Transaction) -> Entry:
        digest = _copy(ledger, backup)
        _carry_out(ledger, transaction, due)
        return transaction.append((_draft(ledger, was, due, backup, digest, terminal),))[0]

    entry = ledger.unit_of_work(work, any_layout=True)
    ledger.close()
    report = verify_place(place)
    if not report.ok:
        raise CopyNotSoundError(path=ledger.store.name, reason=report.problems[0].text)
    return Migrated(was, now, entry, backup)


def lay_out_anew(path: Path, copy: Path, *, steps: Sequence[Step] = STEPS) -> Draft | None:
    """Give a file that was copied from `copy` the newest layout; the entry that says so, still to be recorded.

    Nothing is appended: in a restore the entry that names the copy's head comes first. None if the layout is new.
    Raises MigrationFaultError or another LedgerError.
    """
    ledger = Ledger.open(path)
    was = ledger.store.layout
    due = [step for step in steps if step.to > was]
    if not due:
        return None
    ledger.unit_of_work(lambda transaction: _carry_out(ledger, transaction, due), any_layout=True)
    ledger.close()
    return _draft(ledger, was, due, copy, file_digest(copy), terminal="")


def _carry_out(ledger: Ledger, transaction: Transaction, due: Sequence[Step]) -> None:
    """Take the steps; bodies and hashes are compared before and after."""
    signed, was, now = _signed(transaction.connection), ledger.store.layout, due[-1].to
    for step in due:
        _take(transaction.connection, step)
    if _signed(transaction.connection) != signed:
        raise MigrationFaultError(path=ledger.store.name, was=was, now=now)
    ledger.store.set_layout(transaction.connection, now)


def _draft(ledger: Ledger, was: int, due: Sequence[Step], before: Path, digest: str, terminal: str) -> Draft:
    value: dict[str, Any] = {
        "from": was, "to": due[-1].to, "why": [step.why for step in due],
        "backup": {"file": str(before), "sha256": digest},
    }  # fmt: skip
    return Draft(kind=MIGRATED, key=ledger.new_id(), terminal=terminal, value=value)


def _signed(connection: Connection) -> str:
    """One digest of every number, hash and body, byte for byte."""
    found, after_n = hashlib.sha256(), 0
    while page := reading.lines(connection, after_n, None):
        for line in page:
            found.update(f"{line.n} {line.hash} {len(line.body.encode())}\n{line.body}\n".encode())
        after_n = page[-1].n
    return found.hexdigest()


def _copy(ledger: Ledger, target: Path) -> str:
    """Copy the ledger as it is; give the copy's SHA-256 once it has been verified."""
    with half_made(target) as fresh:
        if isinstance(ledger.store, FileStore):
            copy_file(ledger.path, fresh)
        else:
            copy_to_file(ledger.store, fresh)
        report = verify_ledger(fresh)
        if not report.ok:
            raise CopyNotSoundError(path=ledger.store.name, reason=report.problems[0].text)
        return file_digest(fresh)


def _take(connection: Connection, step: Step) -> None:
    if connection.dialect.name == "sqlite":
        statements = step.file
    else:
        schema = connection.execute(text("SELECT quote_ident(current_schema())")).scalar_one()
        statements = tuple(statement.replace("{schema}", schema) for statement in step.server)
    for statement in statements:
        connection.exec_driver_sql(statement)

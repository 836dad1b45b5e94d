"""Copying the ledger while it is in use. A copy counts only after it was opened and verified."""

import sqlite3
from pathlib import Path

from floorterm.ledger import connect
from floorterm.ledger.copying import copy_to_file
from floorterm.ledger.export import check_copy, file_digest, record_copy
from floorterm.ledger.file_store import FileStore, half_made
from floorterm.ledger.ledger import Ledger
from floorterm.ledger.seal import Seal
from floorterm.ledger.verify import verify_ledger

BACKUP_MADE = "backup.made"
_PAGES_AT_A_TIME = 8192  # 32 MB: writers get their turn between two steps, small ledgers go in one


def back_up(ledger: Ledger, target: Path, *, by: str = "", terminal: str = "") -> Seal:
    """Copy the ledger to the file `target`, verify the copy, and record it.

    A file is copied with SQLite's backup interface, a server's ledger row by row as it stood at one moment;
    both give a ledger file that opens like any other. The copy holds the PIN hashes: keep it where the ledger
    would be kept. Raises LedgerExistsError (nothing is overwritten), CopyFaultError, or another LedgerError.
    """
    seal = Seal.of(ledger.head(), ledger.start().plant)
    with half_made(target) as fresh:
        if isinstance(ledger.store, FileStore):
            _copy(ledger.path, fresh)
        else:
            copy_to_file(ledger.store, fresh)
        check_copy(verify_ledger(fresh, (seal,)), target, seal)
        digest = file_digest(fresh)
    record_copy(ledger, BACKUP_MADE, target, seal, digest, by=by, terminal=terminal)
    return seal


def _copy(source: Path, target: Path) -> None:
    reading = connect.raw(source, read_only=True)
    try:
        writing = connect.raw(target, create=True)
        try:
            reading.backup(writing, pages=_PAGES_AT_A_TIME)
        finally:
            writing.close()
    except sqlite3.Error as fault:
        raise connect.explained(fault, target) from fault
    finally:
        reading.close()

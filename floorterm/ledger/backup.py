"""Copying the ledger while it is in use. A copy counts only after it was opened and verified."""

import sqlite3
from collections.abc import Iterable
from pathlib import Path

from floorterm.entries import Entry
from floorterm.ledger import connect
from floorterm.ledger.copying import copy_to_file
from floorterm.ledger.export import check_copy, file_digest, record_copy
from floorterm.ledger.faults import CopyFaultError, NoSuchEntryError
from floorterm.ledger.file_store import FileStore, half_made
from floorterm.ledger.ledger import Ledger
from floorterm.ledger.seal import Seal
from floorterm.ledger.verify import verify_ledger
from floorterm.ledger.walk import Report

BACKUP_MADE = "backup.made"
_MOST_STARTS = 4
_PATIENCE_MS = 60_000  # nobody waits at a screen for a backup, and signers come again and again
_PAGES_AT_A_TIME = 8192  # 32 MB: writers get their turn between two steps, small ledgers go in one


def back_up(
    ledger: Ledger, target: Path, *, seals: Iterable[Seal] = (), by: str = "", terminal: str = ""
) -> Seal:
    """Copy the ledger to the file `target`, verify the copy, and record it.

    A file is copied with SQLite's backup interface, a server's ledger row by row as it stood at one moment;
    both give a ledger file that opens like any other. The copy must hold, reach the head that the live ledger had
    when the copying began, end with an entry of the live ledger, and agree with the `seals` that are known. It holds
    the PIN hashes: keep it where the ledger would be kept. Raises LedgerExistsError (nothing is overwritten),
    CopyFaultError, or another LedgerError.
    """
    seal = Seal.of(ledger.head(), ledger.start().plant)
    with half_made(target) as fresh:
        if isinstance(ledger.store, FileStore):
            copy_file(ledger.path, fresh)
        else:
            copy_to_file(ledger.store, fresh)
        report = verify_ledger(fresh, (*seals, seal))
        check_copy(report, target, seal)
        _check_head(ledger, report, target)
        digest = file_digest(fresh)
    record_copy(ledger, BACKUP_MADE, target, seal, digest, by=by, terminal=terminal)
    return seal


def _check_head(ledger: Ledger, report: Report, target: Path) -> None:
    """The copy may have entries that came while it was made; its last one is one of the live ledger."""
    try:
        live = ledger.entry(report.n).hash
    except NoSuchEntryError as fault:
        raise CopyFaultError(path=str(target), reason=str(fault)) from fault
    if live != report.head:
        raise CopyFaultError(path=str(target), reason=f"{report.n}: {report.head} / {live}")


def last_backup(ledger: Ledger) -> Entry | None:
    """The entry of the newest backup; it was written only after the copy had been verified."""
    found = ledger.entries(kinds=(BACKUP_MADE,), newest_first=True, limit=1)
    return found[0] if found else None


def copy_file(source: Path, target: Path) -> None:
    """Copy a ledger file, in use or not, into a new file with SQLite's backup interface. Raises a LedgerError.

    SQLite begins again whenever somebody writes in between; after `_MOST_STARTS` writers wait until the copy is made.
    """
    reading = connect.raw(source, read_only=True)
    try:
        writing = connect.raw(target, create=True)
        try:
            _copy_in_turns(reading, writing, source)
        finally:
            writing.close()
    except sqlite3.Error as fault:
        raise connect.explained(fault, target) from fault
    finally:
        reading.close()


class _TooOftenError(Exception):
    """The copy was begun again too often."""


def _copy_in_turns(reading: sqlite3.Connection, writing: sqlite3.Connection, source: Path) -> None:
    left, starts = [0], [0]

    def told(_status: int, remaining: int, _total: int) -> None:
        if remaining >= left[0]:  # it goes down from step to step, unless the copy was begun again
            starts[0] += 1
            if starts[0] > _MOST_STARTS:
                raise _TooOftenError
        left[0] = remaining

    try:
        reading.backup(writing, pages=_PAGES_AT_A_TIME, progress=told)
    except _TooOftenError:
        held = connect.raw(source)
        try:
            held.execute(f"PRAGMA busy_timeout = {_PATIENCE_MS}")
            held.execute("BEGIN IMMEDIATE")
            reading.backup(writing)
        finally:
            held.close()

"""Exporting: every entry as a line that a stranger can verify, the seal as the last one."""

import hashlib
from pathlib import Path
from typing import Any

from floorterm.entries import Draft
from floorterm.ledger.export_lines import entry_line, seal_line
from floorterm.ledger.faults import CopyFaultError, OutcomeUnknownError
from floorterm.ledger.file_store import half_made
from floorterm.ledger.ledger import Ledger
from floorterm.ledger.seal import SEAL_MADE, Seal, seal_value
from floorterm.ledger.transaction import Transaction
from floorterm.ledger.verify import verify_export
from floorterm.ledger.walk import Report

EXPORT_MADE = "export.made"


def write_export(ledger: Ledger, target: Path, *, after_n: int = 0, by: str = "", terminal: str = "") -> Seal:
    """Write entries after number `after_n` up to the head as JSON Lines, verify the file, and record it.

    Raises LedgerExistsError (nothing is overwritten), CopyFaultError, or another LedgerError.
    """
    seal = Seal.of(ledger.head(), ledger.start().plant)
    with half_made(target) as fresh:
        write_lines(ledger, fresh, after_n, seal)
        check_copy(verify_export(fresh, (seal,)), target, seal)
        digest = file_digest(fresh)
    record_copy(ledger, EXPORT_MADE, target, seal, digest, by=by, terminal=terminal, after_n=after_n)
    return seal


def write_lines(ledger: Ledger, path: Path, after_n: int, seal: Seal) -> None:
    """The entries after number `after_n` up to the sealed one, and the seal, into a new file."""
    with path.open("x", encoding="utf-8", newline="\n") as file:
        for line in ledger.lines(after_n, seal.n):
            file.write(entry_line(line.body, line.hash) + "\n")
        file.write(seal_line(seal) + "\n")


def check_copy(report: Report, target: Path, seal: Seal) -> None:
    """Raise CopyFaultError unless a copy verified and reaches the seal."""
    if not report.ok:
        raise CopyFaultError(path=str(target), reason=report.problems[0].text)
    if report.sealed_n != seal.n:
        raise CopyFaultError(path=str(target), reason=f"{report.n} < {seal.n}")


def file_digest(path: Path) -> str:
    """SHA-256 of a finished file (never of a ledger in use: see `connect`)."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def record_copy(
    ledger: Ledger,
    kind: str,
    target: Path,
    seal: Seal,
    digest: str,
    *,
    by: str,
    terminal: str,
    after_n: int = 0,
    year: int | None = None,
) -> None:
    """Record that a copy was made and that its seal left with it; where that fails, the copy is removed.

    A closed ledger takes no entry: of it a copy is made and kept without one.
    """
    if ledger.goes_on_at():
        return
    value: dict[str, Any] = {"file": str(target), "sha256": digest, "head_n": seal.n, "head_hash": seal.hash}
    if after_n:
        value["after_n"] = after_n
    if year is not None:
        value["year"] = year
    drafts = [
        Draft(kind=made, key=ledger.new_id(), person=by, terminal=terminal, value=told)
        for made, told in ((kind, value), (SEAL_MADE, seal_value(seal, str(target))))
    ]

    def work(transaction: Transaction) -> None:
        transaction.append(drafts)

    try:
        ledger.unit_of_work(work)
    except OutcomeUnknownError:
        raise  # the entry may stand, and then it names this file
    except BaseException:
        target.unlink(missing_ok=True)
        raise

"""A year of the record as an export of its own, which the next year's carries on: kept for good, readable anywhere.

Nothing is taken out of the ledger. Where one archive ends the next begins: the first entry of each names the hash of
the last entry of the one before, so verifying them in order (`verify_exports`) shows that none is missing.
"""

from datetime import datetime, tzinfo
from pathlib import Path

from msgspec import Struct

from floorterm.entries import file_name, stamp
from floorterm.ledger.copy_faults import EmptyYearError, YearNotOverError
from floorterm.ledger.export import check_copy, file_digest, record_copy, write_lines
from floorterm.ledger.file_store import half_made
from floorterm.ledger.ledger import Ledger
from floorterm.ledger.seal import Seal
from floorterm.ledger.verify import verify_export

ARCHIVE_MADE = "archive.made"
_READ_ONLY = 0o444


class Archived(Struct, frozen=True):
    """A year's file: its first entry's number, and the seal of its last."""

    path: Path
    first: int
    seal: Seal


def archive_year(
    ledger: Ledger, year: int, folder: Path, zone: tzinfo, *, by: str = "", terminal: str = ""
) -> Archived:
    """Write the entries of a year of the plant's calendar into `folder`, verify the file, record and seal it.

    A year's first entry is the first in order of number that was made in it or later, unless the archive of the year
    before went further. The file can be read by everybody and written by nobody. Raises YearNotOverError,
    EmptyYearError, LedgerExistsError (nothing is overwritten), CopyFaultError, or another LedgerError.
    """
    if ledger.now() < datetime(year + 1, 1, 1, tzinfo=zone):
        raise YearNotOverError(year=str(year))
    after_n, last_n = _end_of(ledger, year - 1, zone), _end_of(ledger, year, zone)
    if last_n <= after_n:
        raise EmptyYearError(year=str(year))
    seal = _seal_at(ledger, last_n)
    plant = ledger.start().plant_id or "plant"
    target = folder / f"{file_name(plant)}-{year}.jsonl"
    with half_made(target) as fresh:
        write_lines(ledger, fresh, after_n, seal)
        check_copy(verify_export(fresh, (seal,)), target, seal)
        digest = file_digest(fresh)
    record_copy(
        ledger, ARCHIVE_MADE, target, seal, digest, by=by, terminal=terminal, after_n=after_n, year=year
    )
    target.chmod(_READ_ONLY)
    return Archived(target, after_n + 1, seal)


def _end_of(ledger: Ledger, year: int, zone: tzinfo) -> int:
    """The last entry of a year: as its archive says, if one was made, else by the entries' times."""
    for entry in ledger.entries(kinds=(ARCHIVE_MADE,), newest_first=True):
        if entry.value.get("year") == year:
            return int(entry.value["head_n"])
    later = ledger.refs(since=datetime(year + 1, 1, 1, tzinfo=zone), limit=1)
    return later[0].n - 1 if later else ledger.head().n


def _seal_at(ledger: Ledger, n: int) -> Seal:
    entry = ledger.entry(n)
    return Seal(
        chain=ledger.chain_at(n), plant=ledger.start().plant, n=n, hash=entry.hash, at=stamp(entry.at)
    )

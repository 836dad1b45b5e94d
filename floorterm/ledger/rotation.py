"""Which backups of a folder are kept: the newest of each of so many days, weeks and months that have one.

Only files that the ledger itself recorded as its backups, unaltered since, are ever removed, and never the newest.
"""

import re
from collections.abc import Callable, Iterable
from datetime import datetime
from pathlib import Path
from typing import Self
from zoneinfo import ZoneInfo

from msgspec import Struct

from floorterm.entries import Draft, file_name
from floorterm.ledger.backup import BACKUP_MADE, back_up
from floorterm.ledger.copy_faults import KeepRuleError
from floorterm.ledger.export import file_digest
from floorterm.ledger.ledger import Ledger
from floorterm.ledger.seal import Seal
from floorterm.ledger.transaction import Transaction

BACKUPS_REMOVED = "backup.removed"
_RULE = re.compile(r"(\d{1,4})/(\d{1,4})/(\d{1,4})")
_NAME = re.compile(r"floorterm-[0-9a-z-]{1,8}-\d{8}T\d{6}Z-\d+\.db")


class Keep(Struct, frozen=True):
    """How many days, weeks and months keep their newest backup. Days without a backup are not counted."""

    daily: int
    weekly: int
    monthly: int

    @classmethod
    def parse(cls, text: str) -> Self:
        """The rule that `7/4/12` says. Raises KeepRuleError."""
        found = _RULE.fullmatch(text)
        if found is None:
            raise KeepRuleError(text=repr(text[:40]))
        return cls(*map(int, found.groups()))


class Made(Struct, frozen=True):
    """A backup that the ledger recorded: where, when, and the SHA-256 of the file as it was written."""

    path: Path
    at: datetime
    sha256: str


_PERIODS: tuple[tuple[str, Callable[[datetime], tuple[int, ...]]], ...] = (
    ("daily", lambda at: (at.year, at.month, at.day)),
    ("weekly", lambda at: tuple(at.isocalendar()[:2])),
    ("monthly", lambda at: (at.year, at.month)),
)


def not_kept(backups: Iterable[Made], keep: Keep, zone: ZoneInfo) -> tuple[Made, ...]:
    """The backups that no rule keeps, the oldest first; the newest is always kept. Periods are the plant's own."""
    newest_first = sorted(backups, key=lambda made: made.at, reverse=True)
    kept = set(newest_first[:1])
    for name, period in _PERIODS:
        newest_of: dict[tuple[int, ...], Made] = {}
        for made in newest_first:
            newest_of.setdefault(period(made.at.astimezone(zone)), made)
        kept |= set(list(newest_of.values())[: getattr(keep, name)])
    return tuple(made for made in reversed(newest_first) if made not in kept)


class Rotated(Struct, frozen=True):
    """A backup in a folder and its seal; what was removed there, what no longer is what was written, and what stays.

    `refused` are those that the machine did not let go, each with its reason.
    """

    path: Path
    seal: Seal
    removed: tuple[Path, ...] = ()
    altered: tuple[Path, ...] = ()
    refused: tuple[tuple[Path, str], ...] = ()


def back_up_into(
    ledger: Ledger, folder: Path, keep: Keep, *, seals: Iterable[Seal] = (), by: str = "", terminal: str = ""
) -> Rotated:
    """Make a verified backup in a folder under a name of its own, then remove those that `keep` does not keep.

    A file that was altered since it was written, and one that cannot be removed, is left and said. A closed ledger
    can record no removal, so nothing is removed for it. Raises as `back_up` does.
    """
    head = ledger.head()
    target = folder / f"floorterm-{file_name(head.chain[:8])}-{ledger.now():%Y%m%dT%H%M%SZ}-{head.n}.db"
    seal = back_up(ledger, target.absolute(), seals=seals, by=by, terminal=terminal)
    removed: list[Made] = []
    altered: list[Path] = []
    refused: list[tuple[Path, str]] = []
    past = () if ledger.goes_on_at() else _made_in(ledger, folder)
    try:
        for made in not_kept(past, keep, ZoneInfo(ledger.start().time_zone)):
            if made.path == target.absolute():
                continue  # just made, though a clock that ran ahead once made others look newer
            try:
                if file_digest(made.path) != made.sha256:
                    altered.append(made.path)
                    continue
                made.path.unlink()
            except OSError as fault:
                refused.append((made.path, fault.strerror or str(fault)))
            else:
                removed.append(made)
    finally:  # what is gone is in the record, however this ends
        if removed:
            _record(ledger, removed, by, terminal)
    return Rotated(target, seal, tuple(made.path for made in removed), tuple(altered), tuple(refused))


def _made_in(ledger: Ledger, folder: Path) -> list[Made]:
    """The ledger's own backups that this way of making them has put into the folder and that are still there."""
    found = (
        Made(Path(str(entry.value["file"])), entry.at, str(entry.value["sha256"]))
        for entry in ledger.entries(kinds=(BACKUP_MADE,))
    )
    inside = folder.absolute()
    return [
        made
        for made in found
        if made.path.parent == inside and _NAME.fullmatch(made.path.name) and made.path.is_file()
    ]


def _record(ledger: Ledger, removed: list[Made], by: str, terminal: str) -> None:
    value = {"files": [{"file": str(made.path), "sha256": made.sha256} for made in removed]}
    draft = Draft(kind=BACKUPS_REMOVED, key=ledger.new_id(), person=by, terminal=terminal, value=value)

    def work(transaction: Transaction) -> None:
        transaction.append((draft,))

    ledger.unit_of_work(work)

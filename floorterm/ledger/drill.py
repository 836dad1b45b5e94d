"""The restore drill: a backup is opened as the program opens a ledger, in a scratch folder, and compared.

The live ledger gets one entry more: that the drill was held.
"""

import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, TypeVar

from msgspec import Struct

from floorterm.entries import Draft, Entry
from floorterm.ledger.backup import copy_file
from floorterm.ledger.copy_faults import NotOfThisHistoryError
from floorterm.ledger.export import file_digest
from floorterm.ledger.faults import NoSuchEntryError
from floorterm.ledger.ledger import Ledger
from floorterm.ledger.restore import check_sound, later_chains
from floorterm.ledger.seal import Seal
from floorterm.ledger.transaction import Transaction
from floorterm.ledger.verify import verify_ledger

DRILLED = "backup.drilled"
_Seen = TypeVar("_Seen")


class Proof(Struct, frozen=True, kw_only=True):
    """What a drill showed: the copy's entries up to `n` with `hash`, all of them those of the live ledger.

    `behind` counts the live ledger's entries after them; `sealed_n` is the last entry that a given seal confirms.
    """

    path: str
    sha256: str
    plant: str
    chain: str
    n: int
    hash: str
    people: int
    sealed_n: int
    behind: int
    entry_n: int


def drill(
    copy: Path,
    live: Ledger,
    look: Callable[[Ledger], _Seen],
    *,
    seals: Iterable[Seal] = (),
    by: str = "",
    terminal: str = "",
) -> tuple[Proof, _Seen]:
    """Restore a copy to a scratch place, verify it, open it, compare it with the live ledger, record the drill.

    `look` opens the plant on it as the program does; what it gives is given back. Raises CopyNotSoundError,
    OtherLedgerError, NotOfThisHistoryError, or another LedgerError; a drill that failed is not recorded as one.
    """
    with tempfile.TemporaryDirectory(prefix="floorterm-drill-") as folder:
        scratch = Path(folder) / "scratch.db"
        copy_file(copy, scratch)
        report = check_sound(verify_ledger(scratch, seals), copy, chains=later_chains(live))
        opened = Ledger.open(scratch)
        _same_beginning(live, report.n, report.head, copy)
        seen = look(opened)
        people, start = len(opened.people()), opened.start()
    digest = file_digest(copy)
    value = {"file": str(copy), "sha256": digest, "head_n": report.n, "head_hash": report.head}
    entry = _record(live, value, by, terminal)
    proof = Proof(
        path=str(copy),
        sha256=digest,
        plant=start.plant,
        chain=report.chain,
        n=report.n,
        hash=report.head,
        people=people,
        sealed_n=report.sealed_n,
        behind=entry.n - 1 - report.n,
        entry_n=entry.n,
    )
    return proof, seen


def _same_beginning(live: Ledger, n: int, hash_: str, copy: Path) -> None:
    """One entry is enough: its hash stands for every entry before it."""
    try:
        same = live.entry(n).hash == hash_
    except NoSuchEntryError:
        same = False
    if not same:
        raise NotOfThisHistoryError(path=str(copy), entry=n)


def _record(live: Ledger, value: dict[str, Any], by: str, terminal: str) -> Entry:
    draft = Draft(kind=DRILLED, key=live.new_id(), person=by, terminal=terminal, value=value)

    def work(transaction: Transaction) -> Entry:
        return transaction.append((draft,))[0]

    return live.unit_of_work(work)

"""What stored rows stand for, whichever way they were read. No database is loaded for it."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from floorterm.entries import Entry, entry_from_body, instant, read_body
from floorterm.ledger.faults import NotALedgerError, UnreadableEntryError
from floorterm.ledger.restored import RestoredFaultError, read_restored
from floorterm.ledger.values import Head, Ref, Start


@contextmanager
def _sound(n: int) -> Iterator[None]:
    """Rows of a damaged file can hold anything: whatever no entry is made of is said to be unreadable."""
    try:
        yield
    except (TypeError, ValueError, KeyError) as fault:
        raise UnreadableEntryError(n=n, reason=str(fault)) from fault


def to_entry(n: int, body: str, hash_: str) -> Entry:
    """The entry that a row stands for. Raises UnreadableEntryError."""
    with _sound(n):
        return entry_from_body(body, hash_)


def to_ref(row: Sequence[Any]) -> Ref:
    """The reference that a row stands for: n, at, kind, line, changeover, pos, step, person.

    Raises UnreadableEntryError.
    """
    n, at, kind, line, changeover, pos, step, person = row
    with _sound(n):
        return Ref(
            n=n,
            at=instant(at),
            kind=kind,
            line=line or "",
            changeover=changeover or "",
            pos=pos or 0,
            step=step or "",
            person=person or "",
        )


def to_head(n: int, hash_: str, at: str, restored: Entry | None, first_chain: str) -> Head:
    """The head that the last row stands for; `restored` is the newest restore, which gave the chain another name.

    Raises UnreadableEntryError.
    """
    try:
        chain = first_chain if restored is None else read_restored(restored.value).chain
    except RestoredFaultError as fault:
        raise UnreadableEntryError(n=restored.n if restored else n, reason=str(fault)) from fault
    with _sound(n):
        return Head(n, hash_, instant(at), chain)


def to_start(body: str, hash_: str, place: str) -> Start:
    """What row 1 says. Raises NotALedgerError for one that is no start, or an empty text where there is none."""
    try:
        said = read_body(body) if body else {}
        return Start(
            chain=said["chain"],
            plant=said["plant"],
            time_zone=said["time_zone"],
            at=instant(said["at"]),
            hash=hash_,
            plant_id=said.get("plant_id", ""),
            checklists=said.get("checklists", ""),
        )
    except (TypeError, ValueError, KeyError) as fault:
        raise NotALedgerError(path=place) from fault

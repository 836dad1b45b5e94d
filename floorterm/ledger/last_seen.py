"""The newest entry that a terminal saw: an older copy put in place, or another history, is known by it.

A ledger compares what it reads with what it saw before, as long as it is open. `LastSeen` is a file in which a
terminal also remembers it from one run to the next. It is no proof (whoever may write the file can forge it), and
where it cannot be read or written, nothing else suffers: seals are the proof.
"""

import contextlib
import json
import os
import threading
from pathlib import Path
from typing import Any

from sqlalchemy import Connection

from floorterm.entries import instant, stamp
from floorterm.ledger import reading
from floorterm.ledger.copy_faults import AnotherHistoryError, OlderCopyError
from floorterm.ledger.restored import RESTORED
from floorterm.ledger.values import Head, Place, is_server
from floorterm.wording import Fact

SUFFIX = ".seen.json"


def check_seen(connection: Connection, head: Head, seen: Head | None) -> None:
    """Raise OlderCopyError or AnotherHistoryError unless the ledger still holds the entry that was seen.

    A ledger whose restore names the identifier that the chain had then is in order: two people answer for it.
    """
    if seen is None or head == seen:
        return
    if head.chain != seen.chain and _accounted(connection, seen.chain):
        return
    facts: dict[str, Fact] = {"seen": seen.n, "at": f"{seen.at:%Y-%m-%d %H:%M} UTC"}
    if head.n < seen.n:
        raise OlderCopyError(ends=head.n, missing=seen.n - head.n, **facts)
    if reading.hash_of(connection, seen.n) != seen.hash:
        raise AnotherHistoryError(**facts)


def _accounted(connection: Connection, chain: str) -> bool:
    for entry in reading.entries(connection, reading.Filters(kinds=(RESTORED,))):
        known = entry.value.get("known")
        if chain == entry.value.get("was") or (isinstance(known, dict) and chain == known.get("chain")):
            return True
    return False


def place_key(place: Place) -> str:
    """How a place is named in a memory, however it was named by whoever opened it."""
    if not is_server(place):
        return str(Path(place).resolve())
    from floorterm.ledger.server import name_of, read_url  # noqa: PLC0415  extra `server`

    return name_of(read_url(str(place)))


def memories_in(folder: Path) -> "tuple[LastSeen, ...]":
    """What the terminals of this account remember."""
    return tuple(LastSeen(path) for path in sorted(folder.glob(f"*{SUFFIX}")))


class LastSeen:
    """A small file: the newest entry that this terminal saw of each ledger, by its place and its first entry's hash."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lock = threading.Lock()

    def of(self, place: str, start_hash: str) -> Head | None:
        """What was seen of the ledger at a place whose first entry has that hash."""
        match self._kept().get(f"{place} {start_hash}"):
            case {"n": int(n), "hash": str(hash_), "at": str(at), "chain": str(chain)}:
                with contextlib.suppress(ValueError):
                    return Head(n, hash_, instant(at), chain)
        return None

    def keep(self, place: str, start_hash: str, head: Head) -> None:
        """Remember; the file is whole at any moment."""
        with self._lock, contextlib.suppress(OSError):
            seen = {"n": head.n, "hash": head.hash, "at": stamp(head.at), "chain": head.chain}
            kept = self._kept() | {f"{place} {start_hash}": seen}
            self.path.parent.mkdir(parents=True, exist_ok=True)
            fresh = self.path.with_name(f".{self.path.name}.{os.getpid()}.new")
            fresh.write_text(json.dumps(kept), encoding="utf-8")
            fresh.replace(self.path)

    def _kept(self) -> dict[str, Any]:
        try:
            found = json.loads(self.path.read_text(encoding="utf-8"))
        except (OSError, ValueError, RecursionError):
            return {}
        return found if isinstance(found, dict) else {}

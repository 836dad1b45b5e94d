"""A ledger in memory, for readers of a plant alone: entries as a list, asked as the real one is asked."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any, cast

from floorterm.changeover.standing import STANDS
from floorterm.entries import Draft, Entry
from floorterm.ledger import Ledger
from floorterm.library.model import Library
from floorterm.plant import Plant

BEGIN = datetime(2026, 3, 2, 14, 0, tzinfo=UTC)


@dataclass
class MemoryLedger:
    """What is written is a list that several may share. `blind` ones see no standing: they read everything."""

    written: list[Entry] = field(default_factory=list)
    blind: bool = False

    def write(self, kind: str, value: Mapping[str, Any], **fields: Any) -> Entry:
        """The next entry, a minute after the last one."""
        n = len(self.written) + 1
        at = BEGIN + timedelta(minutes=n)
        entry = Entry(
            n=n, hash="", prev="", at=at, offset="-07:00", kind=kind, key=str(n), value=value, **fields
        )
        self.written.append(entry)
        return entry

    def append(self, draft: Draft) -> Entry:
        return self.write(draft.kind, draft.value)

    def start(self) -> SimpleNamespace:
        return SimpleNamespace(time_zone="America/Denver")

    def new_id(self) -> str:
        return str(len(self.written) + 1)

    def now(self) -> datetime:
        return BEGIN + timedelta(minutes=len(self.written) + 1)

    def head(self) -> SimpleNamespace:
        return SimpleNamespace(n=len(self.written))

    def entry(self, n: int) -> Entry:
        return self.written[n - 1]

    def entries(
        self,
        *,
        changeover: str | None = None,
        line: str | None = None,
        kinds: Iterable[str] | None = None,
        after_n: int = 0,
        since: datetime | None = None,
        until: datetime | None = None,
        limit: int | None = None,
        newest_first: bool = False,
    ) -> list[Entry]:
        chosen = None if kinds is None else set(kinds)
        found = [
            entry
            for entry in self.written[after_n:]
            if changeover in (None, entry.changeover)
            and line in (None, entry.line)
            and (chosen is None or entry.kind in chosen)
            and (since is None or entry.at >= since)
            and (until is None or entry.at < until)
            and not (self.blind and entry.kind == STANDS)
        ]
        return (found[::-1] if newest_first else found)[:limit]

    refs = entries


def plant_on(library: Library, ledger: MemoryLedger) -> Plant:
    """A plant that reads a ledger in memory."""
    return Plant(library, cast("Ledger", ledger), "T1")

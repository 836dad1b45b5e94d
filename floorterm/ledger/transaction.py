"""The ledger inside one write transaction: the steps of an append, in their order.

Whoever holds a `Transaction` holds the write lock: number, previous hash and position are assigned here.
"""

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from msgspec.structs import replace
from sqlalchemy import Connection, insert

from floorterm.entries import Draft, Entry, canonical, digest, entry_from_body
from floorterm.ledger import reading
from floorterm.ledger.bodies import body_of, check_draft
from floorterm.ledger.faults import (
    InactivePersonError,
    KeyReusedError,
    LedgerClosedError,
    LedgerReplacedError,
    RefusedError,
    ReservedKindError,
    UnknownPersonError,
)
from floorterm.ledger.last_seen import check_seen
from floorterm.ledger.restored import RESTORED
from floorterm.ledger.tables import ENTRIES
from floorterm.ledger.values import Asked, Guard, Head, Start
from floorterm.people import Person

CLOCK_STEPPED = "clock.stepped"
CLOCK_APART = "clock.apart"  # the terminal's clock is not with that of the record
LEDGER_MOVED = "ledger.moved"  # the last entry of a chain that goes on in another place
_RESERVED = ("ledger.", "person.", "pin.", "clock.", "seal.", "backup.", "export.", "archive.", "schema.")


class Transaction:
    """One unit of work on the chain. `now` is the time of every entry in it."""

    def __init__(
        self,
        connection: Connection,
        *,
        path: str,
        start: Start,
        now: datetime,
        new_id: Callable[[], str],
        step_since: Callable[[datetime, datetime], timedelta | None] | None = None,
        apart: timedelta | None = None,
        seen: Head | None = None,
    ) -> None:
        self.connection = connection
        self.now = now
        self.apart = apart
        self.new_id = new_id
        self.written: list[Entry] = []
        self.repeated = False  # whether an entry was given back that stood there before
        if reading.start_hash(connection) != start.hash:
            raise LedgerReplacedError(path=path)
        self._start = start
        self._zone = ZoneInfo(start.time_zone)
        self._step_since = step_since
        self._head: Head | None = None
        self._seen = seen

    # --- what a caller asks for -----------------------------------------------------------------

    def record(
        self, drafts: Sequence[Draft], guard: Guard | None, *, disabled_too: bool = False
    ) -> list[Entry]:
        """Append drafts of one person as one act, or give back what their keys already stand for."""
        for draft in drafts:
            if draft.kind.startswith(_RESERVED):
                raise ReservedKindError(kind=draft.kind)
        return self.append(drafts, guard, disabled_too=disabled_too)

    def append(
        self, drafts: Sequence[Draft], guard: Guard | None = None, *, disabled_too: bool = False
    ) -> list[Entry]:
        """`record` for entries of the ledger's own kinds too."""
        for draft in drafts:
            check_draft(draft)
        known = [self._recorded(draft) for draft in drafts]
        repeated = [entry for entry in known if entry is not None]
        if repeated:
            if len(repeated) != len(drafts):
                raise KeyReusedError(n=repeated[0].n)
            self.repeated = True
            return repeated
        if guard is not None:
            asked = Asked(
                person=self.signer(drafts[0].person, disabled_too=disabled_too),
                witness=self.signer(drafts[0].witness),
                now=self.now,
                entries=self.entries,
                stepped=self._stepped(),
            )
            if refusals := tuple(guard(asked)):
                raise RefusedError(refusals)
        self.check_open()
        clocks = self._clocks(drafts[0].terminal)
        if drafts[0].kind == RESTORED:  # nothing comes between the head of a copy and the entry that names it
            made = [self._insert(draft, disabled_too=disabled_too) for draft in drafts]
            self._insert_all(clocks)
            return made
        self._insert_all(clocks)
        return [self._insert(draft, disabled_too=disabled_too) for draft in drafts]

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
        """`EntriesReader` inside this transaction."""
        chosen = None if kinds is None else tuple(kinds)
        filters = reading.Filters(changeover, line, chosen, after_n, since, until)
        return reading.entries(self.connection, filters, limit=limit, newest_first=newest_first)

    def head(self) -> Head:
        """The last entry, this transaction's own included. Raises what `check_seen` does."""
        if self._head is None:
            self._head = reading.head(self.connection, self._start.chain)
            check_seen(self.connection, self._head, self._seen)
        return self._head

    def signer(self, code: str, *, disabled_too: bool = False) -> Person | None:
        """Somebody as the table of people has them now; None for an empty code.

        Raises UnknownPersonError, or InactivePersonError unless `disabled_too`.
        """
        if not code:
            return None
        person = reading.person(self.connection, code)
        if person is None:
            raise UnknownPersonError(code=code)
        if not person.active and not disabled_too:
            raise InactivePersonError(code=code, name=person.name)
        return person

    def check_open(self) -> None:
        """Raise LedgerClosedError if the chain goes on in another place."""
        if reading.last_kind(self.connection) == LEDGER_MOVED:
            last = reading.entry(self.connection, self.head().n)
            raise LedgerClosedError(to=str(last.value.get("to", "")), at=f"{last.at:%Y-%m-%d %H:%M}")

    # --- the steps ------------------------------------------------------------------------------

    def _recorded(self, draft: Draft) -> Entry | None:
        entry = reading.entry_of_key(self.connection, draft.key)
        if entry is None:
            return None
        one, other = ((it.person, it.kind, it.step, it.line) for it in (entry, draft))
        # the first entry of a changeover names it, and a retry may have counted to another name
        elsewhere = entry.pos != 1 and entry.changeover != draft.changeover
        if one != other or elsewhere or canonical(entry.value) != canonical(draft.value):
            raise KeyReusedError(n=entry.n)
        return entry

    def note_clocks(self, terminal: str) -> None:
        """Before anything else, entries say how far a clock was set since the last one, or is apart from here."""
        self._insert_all(self._clocks(terminal))

    def _clocks(self, terminal: str) -> list[Draft]:
        if self.written:
            return []
        found = []
        for kind, by in ((CLOCK_STEPPED, self._stepped()), (CLOCK_APART, self.apart)):
            if by is not None:
                value = {"by": {"number": f"{by.total_seconds():.1f}", "unit": "s"}}
                found.append(Draft(kind=kind, key=self.new_id(), terminal=terminal, value=value))
        return found

    def _insert_all(self, drafts: Iterable[Draft]) -> None:
        for draft in drafts:
            self._insert(draft)

    def _stepped(self) -> timedelta | None:
        return self._step_since(self.now, self.head().at) if self._step_since else None

    def _insert(self, draft: Draft, *, disabled_too: bool = False) -> Entry:
        head = self.head()
        body = self._body(draft, head, disabled_too=disabled_too)
        text = canonical(body)
        entry = entry_from_body(text, digest(text))
        self.connection.execute(insert(ENTRIES).values(n=entry.n, body=text, hash=entry.hash))
        chain = str(entry.value["chain"]) if entry.kind == RESTORED else head.chain
        self._head = replace(head, n=entry.n, hash=entry.hash, at=entry.at, chain=chain)
        self.written.append(entry)
        return entry

    def _body(self, draft: Draft, head: Head, *, disabled_too: bool) -> Any:
        return body_of(
            draft,
            n=head.n + 1,
            prev=head.hash,
            at=self.now,
            zone=self._zone,
            pos=reading.last_pos(self.connection, draft.changeover) + 1 if draft.changeover else 0,
            person=self.signer(draft.person, disabled_too=disabled_too),
            witness=self.signer(draft.witness),
        )

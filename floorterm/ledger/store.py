"""Where a chain is kept: a file of this machine, or a database server. What both must offer to `Chain`.

A store opens connections and knows what their faults mean; everything else (what an entry is, the order of an
append, who may what) is the same for both and stands elsewhere.
"""

from contextlib import AbstractContextManager
from datetime import datetime
from typing import Protocol

from sqlalchemy import Connection


class Store(Protocol):
    """One ledger's place, opened. Safe to share between threads: every unit of work takes its own connection."""

    @property
    def name(self) -> str:
        """The place as people are told it: never with a password in it."""

    @property
    def layout(self) -> int:
        """The layout of the tables, as it was when the place was opened."""

    def set_layout(self, connection: Connection, layout: int) -> None:
        """Mark the tables as of another layout, inside a writer's transaction."""

    def check_same(self) -> None:
        """Raise LedgerReplacedError if something else stands in the place now; asked before every use."""

    def reader(self) -> AbstractContextManager[Connection]:
        """A connection for reading; each statement sees what is committed when it begins."""

    def writer(self) -> AbstractContextManager[Connection]:
        """A connection inside a transaction that holds the one write lock of the chain.

        Raises OldLayoutError unless the tables are of this version's layout.
        """

    def migrator(self) -> AbstractContextManager[Connection]:
        """The same for tables of any layout that this version knows."""

    def snapshot(self) -> AbstractContextManager[Connection]:
        """A connection on which everything is read as it stood at one moment."""

    def time(self, connection: Connection) -> datetime:
        """The time by the clock that counts for everybody who writes here."""

    def settled(self) -> AbstractContextManager[Connection]:
        """A connection for reading after no write can be under way any more: to learn what became of one."""

    def assure(self) -> None:
        """Return once everything that can be read now would outlive a power cut."""

    def explained(self, fault: BaseException) -> Exception:
        """The LedgerError that a fault of the database stands for."""

    def close(self) -> None:
        """Let go of connections that are kept for the next use."""

"""How a terminal's program gets at the disk: on its own machine, or over a link to a server that has it."""

import sqlite3
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, suppress
from pathlib import Path
from typing import Any, Protocol, TypeVar

import apsw
import sqlalchemy

from floorterm.ledger import CHEAP_PROFILE, Ledger, LedgerError, ServerLostError
from floorterm.ledger.file_store import FileStore
from tests.durability.disk import Disk
from tests.durability.driver import Answer, Connection, opened
from tests.durability.machine import Fault, Machine
from tests.durability.schedule import Gone, Schedule, Task
from tests.ledger.conftest import Clock, counted

_Answer = TypeVar("_Answer")


class Site(Protocol):
    """Where it all happens."""

    disk: Disk
    path: Path
    schedule: Schedule

    def step(self, call: str, name: str) -> Fault | None:
        """Asked before each call to the disk."""

    def reachable(self) -> bool:
        """Whether a server takes new links at the moment."""

    def loses_reply(self) -> bool:
        """Whether this commit is one whose answer never arrives."""

    def delay(self) -> int:
        """For how many steps something is on its way."""


class Access(Protocol):
    """That of one run of a terminal's program."""

    def opened(self, uri: str, flags: int) -> Connection:
        """A connection for the program."""

    def ledger(self) -> Ledger:
        """The ledger as this terminal opens it."""

    def program_ended(self) -> None:
        """The terminal's program was killed: whatever it still tries to open raises Gone."""

    def link_lost(self) -> bool:
        """Whether there was a link to break."""

    def power_lost(self) -> bool:
        """Whoever has the disk lost its power; True if that ended the terminal's program too."""


class OnThisMachine:
    """The file lies on the terminal's own machine."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._machine = Machine(site.disk, site.path.parent, site.step)

    def opened(self, uri: str, flags: int) -> Connection:
        if self._machine.dead:
            raise Gone
        return Connection(opened(self._machine, uri, flags))

    def ledger(self) -> Ledger:
        return Ledger.open(self._site.path, clock=Clock(), new_id=counted(), pin_profile=CHEAP_PROFILE)

    def program_ended(self) -> None:
        self._machine.killed()

    def link_lost(self) -> bool:
        return False

    def power_lost(self) -> bool:
        return True


class LinkLost(sqlite3.OperationalError):
    """The server does not answer any more."""

    sqlite_errorcode = sqlite3.SQLITE_CANTOPEN


class _Link:
    """One link and the part of the server that works for it."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._schedule = site.schedule
        self._machine = Machine(site.disk, site.path.parent, site.step)
        self.broken = False
        self._connections: list[Connection] = []
        self._at_work: Task | None = None

    def opened(self, uri: str, flags: int) -> "_LinkedConnection":
        """The server opens its file for the terminal."""
        try:
            connection = opened(self._machine, uri, flags)
        except Gone:
            raise LinkLost from None
        self._connections.append(Connection(connection))
        return _LinkedConnection(self, connection)

    def ask(self, work: Callable[[], _Answer], *, commits: bool = False) -> _Answer:
        """Let the server work and wait for its answer. Raises LinkLost, and whatever the server answers with."""
        if self.broken:
            raise LinkLost
        answers: list[_Answer | sqlite3.Error] = []

        def serve() -> None:
            try:
                if self.broken:  # and the last that was sent is still on its way
                    self._schedule.pause_for(self._site.delay())
                answers.append(work())
            except sqlite3.Error as fault:
                answers.append(fault)
            except Gone:
                pass
            self._at_work = None
            if self.broken:  # nobody is there to go on with
                self._end()

        self._at_work = self._schedule.begin("server", serve)
        self.broken = commits and self._site.loses_reply()
        self._schedule.pause("asks", until=lambda: bool(answers) or self.broken)
        if self.broken:
            raise LinkLost
        if isinstance(answers[0], sqlite3.Error):
            raise answers[0]
        return answers[0]

    def breaks(self) -> None:
        """The terminal hears nothing any more; the server ends what it was just doing, and nothing else."""
        self.broken = True
        if not self._at_work:
            self._end()

    def server_ends(self) -> None:
        """The server is no more, wherever it was."""
        self.broken = True
        self._machine.killed()
        if self._at_work:
            self._schedule.end(self._at_work)
        self._end()

    def _end(self) -> None:
        self._machine.killed()
        while self._connections:
            self._connections.pop().close()


class _LinkedConnection(Connection):
    """What the terminal has in hand: statements go out, answers come in."""

    def __init__(self, link: _Link, connection: apsw.Connection) -> None:
        super().__init__(connection)
        self._link = link

    @property
    def in_transaction(self) -> bool:
        return self._link.broken or super().in_transaction

    def run(self, statement: str, parameters: Sequence[Any]) -> Answer:
        return self._link.ask(
            lambda: super(_LinkedConnection, self).run(statement, parameters), commits=statement == "COMMIT"
        )

    def rollback(self) -> None:
        if not self._link.broken:
            super().rollback()

    def close(self) -> None:
        if not self._link.broken:
            with suppress(LinkLost, Gone):
                self._link.ask(super().close)


class _LinkedStore(FileStore):
    """What `ServerStore` promises, on a simulated disk: to know a lost link, and to wait for who may still commit."""

    def settled(self) -> AbstractContextManager[sqlalchemy.Connection]:
        return self.migrator()

    def explained(self, fault: BaseException) -> LedgerError:
        return ServerLostError(place=self.name) if isinstance(fault, LinkLost) else super().explained(fault)


class OverLink:
    """The file lies with a server."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._link: _Link | None = None
        self._ended = False

    def opened(self, uri: str, flags: int) -> Connection:
        if self._ended:
            raise Gone
        if not self._site.reachable():
            raise LinkLost
        if self._link is None or self._link.broken:
            self._link = _Link(self._site)
        return self._link.opened(uri, flags)

    def ledger(self) -> Ledger:
        return Ledger(
            _LinkedStore(self._site.path), clock=Clock(), new_id=counted(), pin_profile=CHEAP_PROFILE
        )

    def program_ended(self) -> None:
        self._ended = True
        self.link_lost()

    def link_lost(self) -> bool:
        if self._link is None or self._link.broken:
            return False
        self._link.breaks()
        return True

    def power_lost(self) -> bool:
        if self._link:
            self._link.server_ends()
        return False

"""One append on a disk that fails at one of its calls, and what became of the entry."""

from dataclasses import dataclass
from pathlib import Path
from random import Random

import apsw

from floorterm.ledger import LedgerError, OutcomeUnknownError
from floorterm.ledger.faults import LedgerBusyError, LedgerCannotOpenError, LedgerDiskError, LedgerFullError
from tests.durability.disk import Disk
from tests.durability.driver import using
from tests.durability.machine import Fault, Machine, Step
from tests.durability.session import open_ledger, stage
from tests.ledger.conftest import note

KEY = "the act"
_BROKEN = apsw.SQLITE_IOERR
# How each call can fail: result code, and how much of it takes place all the same.
KINDS: dict[str, tuple[tuple[int, float], ...]] = {
    "xOpen": ((apsw.SQLITE_CANTOPEN, 0.0), (_BROKEN, 0.0), (apsw.SQLITE_FULL, 0.0)),
    "xAccess": ((apsw.SQLITE_IOERR_ACCESS, 0.0),),
    "xRead": ((apsw.SQLITE_IOERR_READ, 0.0),),
    "xWrite": (
        (apsw.SQLITE_IOERR_WRITE, 0.0),
        (apsw.SQLITE_IOERR_WRITE, 0.5),
        (apsw.SQLITE_FULL, 0.0),
        (apsw.SQLITE_FULL, 0.5),
    ),
    "xSync": ((apsw.SQLITE_IOERR_FSYNC, 0.0), (apsw.SQLITE_IOERR_FSYNC, 1.0)),
    "xDelete and sync": (
        (apsw.SQLITE_IOERR_DELETE, 0.0),
        (apsw.SQLITE_IOERR_DIR_FSYNC, 0.5),  # removed, and the folder not synced
        (apsw.SQLITE_IOERR_DIR_FSYNC, 1.0),
    ),
    "xFileSize": ((apsw.SQLITE_IOERR_FSTAT, 0.0),),
    "xLock": ((apsw.SQLITE_BUSY, 0.0), (apsw.SQLITE_IOERR_LOCK, 0.0)),
}
_MEANS: dict[int, type[LedgerError]] = {
    apsw.SQLITE_FULL: LedgerFullError,
    apsw.SQLITE_BUSY: LedgerBusyError,
    apsw.SQLITE_CANTOPEN: LedgerCannotOpenError,
    _BROKEN: LedgerDiskError,
}


RECORDED = "recorded"
UNKNOWN = OutcomeUnknownError.__name__


@dataclass(frozen=True)
class Trial:
    """What the caller was told, and how many entries there are at each look."""

    told: str
    before: int
    now: int
    after_cut: tuple[int, ...]  # had the power gone right after that
    again: int  # the number of the entry that the same key then gives
    after_later_cut: tuple[int, ...]
    expected: str = ""  # the error that this fault stands for

    @property
    def wrong(self) -> list[str]:
        """Everything that must not be so."""
        found = []
        after = self.before + 1
        if self.now not in (self.before, after):
            found.append("neither before the act nor after it")
        if self.told == RECORDED and {self.now, *self.after_cut} != {after}:
            found.append("said to be recorded, and is not there for good")
        if self.told not in (RECORDED, UNKNOWN) and {self.now, *self.after_cut} != {self.before}:
            found.append("said not to be recorded, and is there")
        if self.expected and self.told not in (RECORDED, UNKNOWN, self.expected):
            found.append(f"told {self.told} instead of {self.expected}")
        if {self.again, *self.after_later_cut} != {after}:
            found.append("the same key again does not make one entry that stays")
        return found


def calls_of_an_append(folder: Path) -> list[str]:
    """Every call to the disk that one append makes, in order; not those that only close or unlock."""
    calls: list[str] = []
    with stage(folder) as (disk, path), using(machine := Machine(disk, folder)):
        ledger = open_ledger(path)
        machine.step = lambda call, _name: calls.append(call)
        ledger.append(note(KEY))
    return calls


def trial(folder: Path, number: int, fault: Fault, *, lasts: bool, cuts: int = 1) -> Trial:
    """Append once, with the call of this number failing: alone, or with all like it from there on."""
    luck = Random(number)
    with stage(folder) as (disk, path):
        with using(machine := Machine(disk, folder)):
            ledger = open_ledger(path)
            before = ledger.head().n
            machine.step = _failing(number, fault, lasts=lasts)
            try:
                ledger.append(note(KEY))
                told = RECORDED
            except LedgerError as error:
                told = type(error).__name__
        after_cut = tuple(_count(Disk(disk.after_cut(luck)), path) for _ in range(cuts))
        now = _count(disk, path)
        with using(Machine(disk, folder)):
            again = open_ledger(path).append(note(KEY)).n
        later = tuple(_count(Disk(disk.after_cut(luck)), path) for _ in range(cuts))
    expected = _MEANS[fault.code & 0xFF].__name__
    return Trial(told, before, now, after_cut, again, later, expected)


def _failing(number: int, fault: Fault, *, lasts: bool) -> Step:
    calls: list[str] = []

    def step(call: str, _name: str) -> Fault | None:
        calls.append(call)
        late = len(calls) > number
        return fault if len(calls) == number + 1 or (lasts and late and call == calls[number]) else None

    return step


def _count(disk: Disk, path: Path) -> int:
    """How many entries a program finds that comes afterwards."""
    with using(Machine(disk, path.parent)):
        return open_ledger(path).head().n

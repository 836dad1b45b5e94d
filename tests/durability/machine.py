"""One program's way to a simulated disk: a VFS for `apsw` that asks before every call what becomes of it."""

from collections.abc import Callable
from itertools import count
from pathlib import Path
from typing import Any

import apsw

from tests.durability.disk import Disk, File, Truncate, Write
from tests.durability.schedule import Gone

_numbers = count(1)
_DIRECTORY_SYNCED = apsw.SQLITE_OPEN_MAIN_JOURNAL | apsw.SQLITE_OPEN_SUPER_JOURNAL | apsw.SQLITE_OPEN_WAL
Step = Callable[[str, str], "Fault | None"]
"""Asked before each call to the disk, with its name and the file's; what it answers goes wrong."""


class Fault:
    """How a call goes wrong: with which of SQLite's result codes, and how much of it takes place all the same."""

    def __init__(self, code: int, share: float = 0.0) -> None:
        """`share`: 0 for nothing, 0.5 for a write cut short, 1 for all of it, though it says that it failed."""
        self.code = code
        self.share = share

    def error(self) -> Exception:
        found = apsw.exception_for(self.code & 0xFF)
        found.extendedresult = self.code  # type: ignore[attr-defined]
        return found


def _nothing(_call: str, _name: str) -> None:
    return None


class Machine(apsw.VFS):
    """One program's way to a disk. `step` is asked before every call."""

    def __init__(self, disk: Disk, folder: Path, step: Step = _nothing) -> None:
        self.name = f"simulated-{next(_numbers)}"
        self.disk = disk
        self.folder = folder
        self.step = step
        self.handles: set[_Handle] = set()
        self.dead = False
        super().__init__(self.name, "")

    def excepthook(self, *_: object) -> bool:
        """What a call reports goes to its caller as a result code; nothing is printed besides."""
        return True

    def asked(self, call: str, name: str) -> Fault | None:
        """What is to become of a call. Raises Gone if the program was killed meanwhile."""
        if self.dead:
            return None
        fault = self.step(call, name)
        if self.dead:
            raise Gone
        return fault

    def do(self, call: str, name: str, effect: Callable[[float], None]) -> None:
        """Let a call take place: wholly, in part or not at all."""
        fault = self.asked(call, name)
        if fault is None:
            effect(1.0)
            return
        if fault.share:
            effect(fault.share)
        raise fault.error()

    def xFullPathname(self, name: str) -> str:
        return name

    def xAccess(self, pathname: str, flags: int) -> bool:
        found: list[bool] = []
        self.do(
            "xAccess", _short(pathname), lambda _: found.append(self.disk.find(_short(pathname)) is not None)
        )
        return found[0]

    def xDelete(self, filename: str, syncdir: bool) -> None:
        name = _short(filename)
        there: list[bool] = []

        def remove(share: float) -> None:
            there.append(self.disk.remove(name))
            if syncdir and share == 1.0:
                self.disk.sync_names()

        self.do("xDelete" if not syncdir else "xDelete and sync", name, remove)
        if not there[0]:
            raise Fault(apsw.SQLITE_IOERR_DELETE_NOENT).error()

    def xOpen(self, name: Any, flags: list[int]) -> "_Handle":  # type: ignore[override]
        text = "" if name is None else _short(name if isinstance(name, str) else name.filename())
        opened: list[_Handle] = []

        def open_(_share: float) -> None:
            file = File() if not text else self.disk.find(text)
            create = bool(flags[0] & apsw.SQLITE_OPEN_CREATE)
            if file is None and create:
                file = self.disk.make(text)
            if file is not None:
                opened.append(_Handle(self, text, file, new=create and bool(flags[0] & _DIRECTORY_SYNCED)))

        self.do("xOpen", text, open_)
        if not opened:
            raise Fault(apsw.SQLITE_CANTOPEN).error()
        flags[1] = flags[0]
        self.handles.add(opened[0])
        return opened[0]

    def xSleep(self, microseconds: int) -> int:
        """Time of no machine: nobody waits for a lock here, others are let do their steps instead."""
        self.asked("xSleep", "")
        return microseconds

    def killed(self) -> None:
        """The program is no more: its locks are free. What the library does to let go of it, it does to a ghost."""
        self.dead = True
        self.disk.leave(self.handles)
        self.disk = Disk({})
        for handle in self.handles:
            handle.becomes_ghost()


class _Handle:
    """An opened file, as SQLite's own for Unix treat theirs."""

    def __init__(self, machine: Machine, name: str, file: File, *, new: bool) -> None:
        self._machine, self._name, self._file, self._new = machine, name, file, new

    def excepthook(self, *_: object) -> bool:
        return True

    def becomes_ghost(self) -> None:
        """From here on a copy that nobody else sees."""
        self._file = File(seen=bytearray(self._file.seen))

    def xRead(self, amount: int, offset: int) -> bytes:
        found: list[bytes] = []
        self._do("xRead", lambda _: found.append(bytes(self._file.seen[offset : offset + amount])))
        return found[0]

    def xWrite(self, data: Any, offset: int) -> None:
        whole = bytes(data)
        self._do("xWrite", lambda share: self._file.change(Write(offset, whole[: int(len(whole) * share)])))

    def xTruncate(self, newsize: int) -> None:
        self._do("xTruncate", lambda _: self._file.change(Truncate(newsize)))

    def xSync(self, flags: int) -> None:
        def sync(_share: float) -> None:
            self._file.sync()
            if self._new:  # the first sync of a journal also keeps its name, as SQLite's own files do it
                self._machine.disk.sync_names()
                self._new = False

        self._do("xSync", sync)

    def xFileSize(self) -> int:
        self._do("xFileSize", lambda _: None)
        return len(self._file.seen)

    def xLock(self, level: int) -> None:
        got: list[bool] = []
        self._do("xLock", lambda _: got.append(self._file.lock(self, level)))
        if not got[0]:
            raise apsw.BusyError

    def xUnlock(self, level: int) -> None:
        self._file.unlock(self, level)  # SQLite does not listen to what an unlock reports

    def xCheckReservedLock(self) -> bool:
        self._do("xCheckReservedLock", lambda _: None)
        return max(self._file.locks.values(), default=0) >= 2

    def xFileControl(self, op: int, ptr: int) -> bool:
        return False

    def xSectorSize(self) -> int:
        return 4096

    def xDeviceCharacteristics(self) -> int:
        return apsw.SQLITE_IOCAP_POWERSAFE_OVERWRITE  # what SQLite takes for granted on Unix

    def xClose(self) -> None:
        self._file.unlock(self, 0)
        self._machine.handles.discard(self)

    def _do(self, call: str, effect: Callable[[float], None]) -> None:
        self._machine.do(call, self._name, effect)


def _short(path: str) -> str:
    return path.rsplit("/", 1)[-1]

"""A disk in memory that may forget or reorder whatever was not synced, and the locks that programs take on it.

What programs read is one thing, what a power cut leaves is another. Contents of a file are kept by a sync of that
file, names (a file made or removed) by a sync of the folder; everything since then survives in whole, in part,
in another order, as torn sectors, or as rubbish in the sectors that were being written.
"""

from collections.abc import Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from random import Random

SECTOR = 512  # bytes that a drive writes in one piece, at worst
NONE, SHARED, RESERVED, PENDING, EXCLUSIVE = range(5)  # SQLite's lock levels


@dataclass(frozen=True, slots=True)
class Write:
    """Bytes written at an offset and not yet synced."""

    offset: int
    data: bytes

    def apply(self, content: bytearray) -> None:
        _put(content, self.offset, self.data)

    def apply_in_part(self, content: bytearray, luck: Random, share: float) -> None:
        """Each sector is written, not written, or now and then left as rubbish."""
        first = self.offset // SECTOR
        for sector in range(first, (self.offset + len(self.data) - 1) // SECTOR + 1):
            start = max(sector * SECTOR, self.offset)
            piece = self.data[start - self.offset : (sector + 1) * SECTOR - self.offset]
            if luck.random() < share:
                _put(content, start, piece)
            elif luck.random() < 0.03:
                _put(content, start, luck.randbytes(len(piece)))


@dataclass(frozen=True, slots=True)
class Truncate:
    """A new size, not yet synced."""

    size: int

    def apply(self, content: bytearray) -> None:
        del content[self.size :]
        content.extend(bytes(self.size - len(content)))

    def apply_in_part(self, content: bytearray, luck: Random, share: float) -> None:
        if luck.random() < share:
            self.apply(content)


def _put(content: bytearray, offset: int, data: bytes) -> None:
    content.extend(bytes(max(0, offset - len(content))))
    content[offset : offset + len(data)] = data


@dataclass(eq=False, slots=True)
class File:
    """A file: what programs read, what is on the disk for sure, what was changed since, who holds which lock."""

    seen: bytearray = field(default_factory=bytearray)
    kept: bytes = b""
    changes: list[Write | Truncate] = field(default_factory=list)
    locks: dict[object, int] = field(default_factory=dict)

    def change(self, what: Write | Truncate) -> None:
        what.apply(self.seen)
        self.changes.append(what)

    def sync(self) -> None:
        self.kept = bytes(self.seen)
        self.changes.clear()

    def after_cut(self, luck: Random) -> bytes:
        """What this file may hold after a power cut."""
        content = bytearray(self.kept)
        match luck.randrange(4):
            case 0:  # nothing but what was synced
                pass
            case 1:  # in order, up to some point, where a write is torn
                whole = luck.randint(0, len(self.changes))
                for change in self.changes[:whole]:
                    change.apply(content)
                for change in self.changes[whole : whole + 1]:
                    change.apply_in_part(content, luck, 0.5)
            case _:  # in any order: some of it, or nearly all
                share = luck.choice((0.2, 0.5, 0.9))
                for change in self.changes:
                    change.apply_in_part(content, luck, share)
        return bytes(content)

    # --- locks, as SQLite's own files keep them ---------------------------------------------------

    def lock(self, holder: object, level: int) -> bool:
        """Raise a holder's lock to a level; False where another's lock is in the way."""
        held = self.locks.get(holder, NONE)
        others = max((it for who, it in self.locks.items() if who is not holder), default=NONE)
        if level <= held:
            return True
        if level == SHARED and others >= PENDING:
            return False
        if level == RESERVED and others >= RESERVED:
            return False
        if level == EXCLUSIVE:
            if others >= RESERVED:
                return False
            if others >= SHARED:
                self.locks[holder] = PENDING  # nobody new comes in; the holder asks again
                return False
        self.locks[holder] = level
        return True

    def unlock(self, holder: object, level: int) -> None:
        """Lower a holder's lock to a level."""
        if level == NONE:
            self.locks.pop(holder, None)
        else:
            self.locks[holder] = level


class Disk:
    """Files by name, in one folder."""

    def __init__(self, files: Mapping[str, bytes]) -> None:
        self._names = {name: File(seen=bytearray(content), kept=content) for name, content in files.items()}
        self._kept_names = dict(self._names)
        self._renamed: list[tuple[str, File | None]] = []

    def find(self, name: str) -> File | None:
        return self._names.get(name)

    def make(self, name: str) -> File:
        found = self._names[name] = File()
        self._renamed.append((name, found))
        return found

    def remove(self, name: str) -> bool:
        """Whether there was such a file; programs that have it open keep it."""
        self._renamed.append((name, None))
        return self._names.pop(name, None) is not None

    def sync_names(self) -> None:
        self._kept_names = dict(self._names)
        self._renamed.clear()

    def files(self) -> dict[str, bytes]:
        """What programs read now."""
        return {name: bytes(file.seen) for name, file in self._names.items()}

    def after_cut(self, luck: Random) -> dict[str, bytes]:
        """What may be found when the power is back."""
        names = dict(self._kept_names)
        in_order = luck.random() < 0.5
        chosen = (
            self._renamed[: luck.randint(0, len(self._renamed))]
            if in_order
            else [it for it in self._renamed if luck.random() < 0.5]
        )
        for name, file in chosen:
            if file is None:
                names.pop(name, None)
            else:
                names[name] = file
        return {name: file.after_cut(luck) for name, file in names.items()}

    def leave(self, holders: AbstractSet[object]) -> None:
        """Let go of what the programs of these holders had locked: they are no more."""
        for file in self._names.values():
            for holder in holders & file.locks.keys():
                del file.locks[holder]

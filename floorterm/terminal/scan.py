"""Telling a scanner from fingers: a scanner types a code and Enter far faster than anybody can.

A code is known by its rhythm alone: at least four characters with less than 35 ms between any two, ended by
Enter within that time. Until the rhythm is known, characters are held back for one gap, so that a scan never
presses a key of a screen. One and the same character over and over is a key held down.
"""

from collections import deque
from dataclasses import dataclass, field

from msgspec import Struct

GAP_S = 0.035
OPENING_GAP_S = 0.25  # while imports keep the reader of keys from noting when each of them came
LEAST_CHARACTERS = 4
SAME_S = 2.0
ENTERS = frozenset({"enter", "ctrl+m", "ctrl+j", "newline"})  # Enter as terminals and scanners send it
GROUP_SEPARATOR = "\x1d"


class Key(Struct, frozen=True):
    """One key: its name, the character that it types (if any), when it came (seconds of a steady clock)."""

    key: str
    character: str | None
    at: float


class Fed(Struct, frozen=True):
    """What one key means: keys to pass on, in their order, and a scanned text if one has just ended."""

    keys: tuple[Key, ...] = ()
    scanned: str = ""


@dataclass(eq=False, repr=False)
class ScanCollector:
    """Keys go in one by one; what comes out is either keys or a scanned text. `gap_s` 0 turns scans off."""

    gap_s: float = GAP_S
    _held: deque[Key] = field(default_factory=deque)
    _last: tuple[str, float] = ("", float("-inf"))

    @property
    def holding(self) -> bool:
        """Whether keys are held back at this moment."""
        return bool(self._held)

    def feed(self, key: Key) -> Fed:
        """Take a key."""
        released: tuple[Key, ...] = ()
        if self._held and key.at - self._held[-1].at >= self.gap_s:
            released = self._release()
        if self._collects(key):
            self._held.append(key)
            return Fed(released)
        if key.key in ENTERS:
            if self._is_code():
                return Fed(released, self._scanned(key.at))
        elif self._held and key.character is not None:  # a control character inside a code means nothing here
            return Fed(released)
        return Fed((*released, *self._release(), key))

    def quiet(self, now: float) -> tuple[Key, ...]:
        """Keys to pass on because nothing followed them within one gap."""
        if self._held and now - self._held[-1].at >= self.gap_s:
            return self._release()
        return ()

    def _collects(self, key: Key) -> bool:
        if self.gap_s <= 0 or key.character is None:
            return False
        return key.character == GROUP_SEPARATOR or key.character.isprintable()

    def _is_code(self) -> bool:
        typed = [key.character for key in self._held]
        return len(typed) >= LEAST_CHARACTERS and len(set(typed)) > 1

    def _release(self) -> tuple[Key, ...]:
        keys = tuple(self._held)
        self._held.clear()
        return keys

    def _scanned(self, at: float) -> str:
        text = "".join(key.character or "" for key in self._release())
        before, self._last = self._last, (text, at)
        return "" if before[0] == text and at - before[1] < SAME_S else text

"""Noticing that somebody, or something, set the clock of this machine.

Two clocks are compared: the wall clock and one that nobody can set. Where the system has one that also runs
while the machine sleeps, that one is taken, since waking up is no step.
"""

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

TOLERANCE = timedelta(seconds=2)
APART = timedelta(seconds=5)
A_DAY = timedelta(days=1)


def wall_clock() -> datetime:
    """The machine's time."""
    return datetime.now(UTC)


def steady_seconds() -> float:
    """Seconds of a clock that is never set."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot is None else time.clock_gettime(boot)


def doubtful(now: datetime, newest: datetime) -> str:
    """Why a clock is to be doubted at the start: "before" the newest entry, more than a day "past" it, or ""."""
    if newest - now > TOLERANCE:
        return "before"
    return "past" if now - newest > A_DAY else ""


class Watch:
    """Remembers both clocks at the last entry of this process; `step` says how far they parted since.

    Not safe between threads by itself: the ledger asks it under its own lock.
    """

    def __init__(self, steady: Callable[[], float] = steady_seconds) -> None:
        self._steady = steady
        self._last: tuple[datetime, float] | None = None

    def step(self, now: datetime, previous: datetime) -> timedelta | None:
        """How far the wall clock was set since the last entry, if by more than two seconds either way.

        The first time in this process, only a time before `previous` (the head's) can be told.
        """
        if self._last is None:
            found = min(now - previous, timedelta(0))
        else:
            wall, steady = self._last
            found = (now - wall) - timedelta(seconds=self._steady() - steady)
        return found if abs(found) > TOLERANCE else None

    def note(self, now: datetime) -> None:
        """Both clocks at an entry that was just recorded."""
        self._last = (now, self._steady())


class Apart:
    """Remembers how far this machine's clock was from the record's when that was last recorded."""

    def __init__(self) -> None:
        self._told = timedelta(0)

    def news(self, apart: timedelta) -> timedelta | None:
        """How far they are apart now, if by more than five seconds, and not as it was told already."""
        return apart if abs(apart) > APART and abs(apart - self._told) > APART else None

    def note(self, apart: timedelta | None) -> None:
        """What was just recorded; None if nothing was to be told."""
        self._told = self._told if apart is None else apart

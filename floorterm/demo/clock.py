"""A clock that is set, and identifiers that are counted: the same scenario gives the same ledger, byte for byte."""

import uuid
from collections.abc import Callable
from datetime import datetime, timedelta

_SPACE = uuid.UUID("6f6f1d0e-3a55-5c0b-9c5e-0d2a51b7c8a4")  # made once for this demo


class SetClock:
    """A clock that stands where it was set until it is moved; it refuses to go back."""

    def __init__(self, at: datetime) -> None:
        self._at = at

    def __call__(self) -> datetime:
        return self._at

    def move_to(self, at: datetime) -> None:
        """Set the clock; an earlier time leaves it where it stands."""
        self._at = max(self._at, at)

    def advance(self, by: timedelta) -> None:
        """Move the clock forward."""
        self._at += by


def running_clock(start: datetime, real: Callable[[], datetime]) -> Callable[[], datetime]:
    """A clock that read `start` when it was made and runs with the real one from there."""
    origin = real()
    return lambda: start + (real() - origin)


def counted_ids() -> Callable[[], str]:
    """Identifiers 1, 2, 3… as UUIDs: unique within one ledger, the same in every rebuild."""
    count = 0

    def next_id() -> str:
        nonlocal count
        count += 1
        return str(uuid.uuid5(_SPACE, str(count)))

    return next_id

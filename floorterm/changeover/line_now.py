"""One line at a glance: what it holds, and every piece of work that somebody may still have to act on."""

from datetime import datetime

from msgspec import Struct

from floorterm.changeover.state import State


class Holds(Struct, frozen=True, kw_only=True):
    """What a line holds according to the record: fragrances (the main one first), since which entry and when."""

    fragrances: tuple[str, ...] = ()
    n: int = 0
    at: datetime | None = None


class LineNow(Struct, frozen=True, kw_only=True):
    """One line at a glance. `changeover` is the open one; `procedures` are the open stand-alone ones.

    `leftover` are abandoned works on this line whose lockout is not ended: a lock on, or a point isolated. `waiting`
    are other works that have ended, and of which a deviation is open.
    """

    line: str
    holds: Holds
    changeover: State | None = None
    procedures: tuple[State, ...] = ()
    leftover: tuple[State, ...] = ()
    waiting: tuple[State, ...] = ()

    @property
    def works(self) -> tuple[State, ...]:
        """Every piece of work that somebody may still have to act on at the line."""
        first = (self.changeover,) if self.changeover else ()
        return (*first, *self.procedures, *self.leftover)

    @property
    def unsettled(self) -> tuple[State, ...]:
        """The same, and those about which somebody still has to decide."""
        return (*self.works, *self.waiting)


def under_lockout(state: State) -> bool:
    """Whether something of a work's lockouts is left on the machine."""
    return any(not job.is_idle for job in state.locks.values())


def _locks_on(state: State) -> bool:
    return any(job.locks_on() for job in state.locks.values())


def urgency(now: LineNow) -> tuple[int, str]:
    """What needs a person first: 0 locks on or a deviation waits; 1: work is on; 2: quiet."""
    pressing = any(_locks_on(state) or state.open_deviations for state in now.unsettled)
    return (0 if pressing else 1 if now.works else 2, now.line)

"""Where a plant stands after an entry, as an entry of its own: what is open, what is left, what was used last.

Whoever opens a ledger reads the newest such entry and those that came since, and not all that ever was. It says
nothing that the entries before it do not say; without one, or with one that this version cannot read, they are
all read.
"""

import msgspec
from msgspec import Struct

from floorterm.changeover.tank_history import Dosed
from floorterm.entries import Entry

STANDS = "plant.stands"
FORM = 2  # 2 keeps what waits for a decision
STANDS_EVERY = 2000  # entries between two: what an opening reads at most, against about 2 kB each


class LineStands(Struct, frozen=True, kw_only=True):
    """One line: open works in order of their start, abandoned ones of which something is left, the newest uses.

    `waiting` are works that have ended and of which a deviation is open. `holds` is the number of the entry that says
    what the line holds, 0 if none does.
    """

    line: str
    open: tuple[str, ...] = ()
    left: tuple[str, ...] = ()
    waiting: tuple[str, ...] = ()
    holds: int = 0
    dosed: tuple[Dosed, ...] = ()


class Checked(Struct, frozen=True, kw_only=True):
    """A procedure that checks eyewash or shower: its works, the newest first, back to what decides."""

    procedure: str
    works: tuple[str, ...] = ()


class Standing(Struct, frozen=True, kw_only=True):
    """The plant after entry `n`. `removed` are entries about locks taken off whose owners do not know it yet.

    `form` grows with what is kept here: one of an earlier form leaves something out, and is not read.
    """

    n: int = 0
    form: int = 1
    lines: tuple[LineStands, ...] = ()
    checked: tuple[Checked, ...] = ()
    removed: tuple[int, ...] = ()

    def line(self, line: str) -> LineStands:
        """One line; of a line without entries nothing is known."""
        return next((one for one in self.lines if one.line == line), LineStands(line=line))

    def checks(self, procedure: str) -> tuple[str, ...] | None:
        """Works of a checking procedure, the newest first; None if nothing was kept of it."""
        return next((one.works for one in self.checked if one.procedure == procedure), None)


NOTHING = Standing()


def standing_of(entry: Entry | None) -> Standing:
    """What such an entry says; nothing at all where there is none or this version cannot read it."""
    if entry is None:
        return NOTHING
    try:
        found = msgspec.convert(entry.value, Standing)
    except msgspec.ValidationError:
        return NOTHING
    return found if found.form >= FORM and 0 < found.n < entry.n else NOTHING

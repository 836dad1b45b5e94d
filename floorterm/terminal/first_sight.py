"""What the first frames say of the plant, before the ledger's machinery and the checklists are imported.

Lines without work follow once the record is open. Nothing here is verified yet, and nothing can be signed on it.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from msgspec import Struct

from floorterm.ledger import LedgerError
from floorterm.ledger.sight import Sight
from floorterm.terminal.sight_memory import SightMemory, Told, plain_lines
from floorterm.terminal.views.text import day_and_clock

if TYPE_CHECKING:
    from floorterm.terminal.views.line_row import LineRow


class FirstSight(Struct, frozen=True):
    """The plant's name, day and clock, and every line on which work is on, as the record has them."""

    plant: str
    time: str
    told: Told

    @property
    def rows(self) -> "tuple[LineRow, ...]":
        """The rows of the Lines screen."""
        return self.told.rows

    def plain(self, language: str) -> Iterator[str]:
        """The same as plain lines, with the step that every work has come to."""
        return plain_lines(self.told, f"{self.plant}  {self.time}", language)


def first_sight(path: Path, language: str, memory: SightMemory | None = None) -> FirstSight | None:
    """What can be seen at once; None where the ledger itself has to say what is wrong."""
    try:
        sight = Sight(path)
        try:
            plant, now = sight.start(), sight.now()
            told = memory.of(sight.head(), language, now) if memory else None
            if told is None:
                told = _folded(sight, language)
            zone = ZoneInfo(plant.time_zone)
            return FirstSight(plant.plant, day_and_clock(now, zone, language), told)
        finally:
            sight.close()
    except (LedgerError, OSError, ValueError, KeyError):
        return None


def _folded(sight: Sight, language: str) -> Told:
    from floorterm.line_record import LineRecord  # noqa: PLC0415  not where the terminal remembers
    from floorterm.terminal.views.first_rows import told_of  # noqa: PLC0415

    return told_of(LineRecord(sight), language)

"""What the first frames say of the plant, before the ledger's machinery and the checklists are imported.

A work that is on has its worksheet in the record, with the names of its line and fragrances: no YAML is read. Lines
without work follow once the record is open. Nothing here is verified yet, and nothing can be signed on it.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from floorterm.changeover.line_now import LineNow
from floorterm.changeover.waiting import due_steps
from floorterm.entries import visible
from floorterm.ledger import LedgerError, is_server
from floorterm.ledger.sight import Sight
from floorterm.line_record import LineRecord
from floorterm.terminal.views.lines import LineRow, line_rows, names_of_works
from floorterm.terminal.views.text import day_and_clock, tell
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.ledger import Place


@dataclass(frozen=True, slots=True)
class FirstSight:
    """The plant's name, the time, and every line on which work is on, as the record has them."""

    plant: str
    now: datetime
    zone: tzinfo
    lines: tuple[LineNow, ...]

    def rows(self, language: str) -> tuple[LineRow, ...]:
        """The rows of the Lines screen."""
        return line_rows(self.lines, names_of_works(self.lines, language), self.now, self.zone, language)

    def time(self, language: str) -> str:
        """Day and clock."""
        return day_and_clock(self.now, self.zone, language)

    def plain(self, language: str) -> Iterator[str]:
        """The same as plain lines, with the step that every work has come to."""
        yield visible(f"{words('terminal.lines', language)}  {self.plant}  {self.time(language)}")
        yield words("terminal.opening", language)
        states = {state.work: state for one in self.lines for state in one.works}
        for row in self.rows(language):
            yield ""
            for left, right in zip(row.left, row.right, strict=False):
                yield visible("  ".join(span.text for span in (*left, *right)))
            for step in due_steps(states[row.work], self.now)[:1]:
                yield visible(f"> {tell(step.text, language)}")


def first_sight(place: "Place") -> FirstSight | None:
    """What can be seen at once; None of a server, or where the ledger itself has to say what is wrong."""
    if is_server(place):
        return None
    try:
        sight = Sight(Path(place))
        try:
            record = LineRecord(sight)
            return FirstSight(sight.start().plant, record.now(), record.zone, record.working_lines())
        finally:
            sight.close()
    except (LedgerError, OSError, ValueError, KeyError, msgspec.MsgspecError):
        return None

"""What the first frames say of the lines on which work is on, folded from the record alone. Pure.

A work has its worksheet in the record, with the names of its line and fragrances: no YAML is read.
"""

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import msgspec

from floorterm.changeover.waiting import due_steps
from floorterm.terminal.sight_memory import Told
from floorterm.terminal.views.lines import line_rows, names_of_works
from floorterm.terminal.views.text import tell

if TYPE_CHECKING:
    from floorterm.changeover.state import State
    from floorterm.line_record import LineRecord


def told_of(record: "LineRecord", language: str) -> Told:
    """The rows and the steps that works have come to.

    Raises LedgerError, or ValueError for entries that this version does not understand.
    """
    now = record.now()
    try:
        lines = record.working_lines()
    except msgspec.MsgspecError as fault:
        raise ValueError(str(fault)) from fault
    states = {state.work: state for one in lines for state in one.works}
    rows = line_rows(lines, names_of_works(lines, language), now, record.zone, language)
    steps = {row.key: due_steps(states[row.work], now)[:1] for row in rows if row.work in states}
    return Told(
        rows=rows,
        steps={key: tell(one.text, language) for key, found in steps.items() for one in found},
        until=min(_expiries(states.values(), now), default=None),
    )


def _expiries(states: "Iterable[State]", now: datetime) -> Iterator[datetime]:
    """When signed steps will reopen by themselves."""
    for state in states:
        for step in state.worksheet.steps():
            signed = state.signed.get(step.id)
            if signed is not None and step.expires_min is not None:
                at = signed.done_at + timedelta(minutes=step.expires_min)
                if at >= now:
                    yield at

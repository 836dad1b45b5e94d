"""What the record says of eyewash and shower: the last good activation, the last inspection, a failure since.

The checks are procedures that stand alone; their states are folded like any other work's.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

from floorterm.changeover.state import State
from floorterm.lye.duties import Eyewash


def eyewash_of(weekly: Sequence[State], yearly: Sequence[State]) -> Eyewash:
    """The checks of an area. `weekly` and `yearly` are works of those procedures, in any order.

    An activation is good when every step is signed and nothing deviated; a deviation stays a failure until a
    later good one, whatever was decided about it. A check that was abandoned counts as nothing but its faults.
    """
    activated = inspected = failed = None
    good_at = max((at for state in weekly if (at := _good(state))), default=None)
    bad_at = max((one.at for state in weekly for one in state.deviations), default=None)
    if good_at is not None:
        activated = good_at.date()
    if bad_at is not None and (good_at is None or bad_at >= good_at):
        failed = bad_at.date()
    last = max((at for state in yearly if (at := _good(state))), default=None)
    if last is not None:
        inspected = last.date()
    return Eyewash(activated=activated, inspected=inspected, failed=failed)


def up_to_last_good(newest_first: Iterable[State]) -> list[State]:
    """Checks begun since the day before the last good one, that one included: older ones decide nothing."""
    found: list[State] = []
    until: datetime | None = None
    for state in newest_first:
        if until is not None and state.last_at < until:
            break
        found.append(state)
        good = _good(state)
        if good is not None and until is None:
            until = good - timedelta(days=1)
    return found


def _good(state: State) -> datetime | None:
    """When a check was done whole and without a fault."""
    if state.deviations or state.status == "abandoned":
        return None
    steps = tuple(state.worksheet.steps())
    if not steps or any(step.id not in state.signed for step in steps):
        return None
    return max(signed.done_at for signed in state.signed.values())

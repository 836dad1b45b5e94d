"""OEE figures of a line out of its changeovers, by the names of ISO 22400-2.

The record knows when a line stood for a changeover and what its counters said, not its breaks, its short stops or its
rejects. So planned busy time is all the time between the first and the last last good bar that is looked at; short
stops lower effectiveness; without rejects there is no quality ratio and no OEE, and that is said instead of a figure.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from itertools import pairwise

from msgspec import Struct

from floorterm.changeover.minutes import last_good_bar
from floorterm.changeover.state import State


class Busy(Struct, frozen=True, kw_only=True):
    """One line, in seconds and bars. `planned_busy_s` PBT, `setup_s` AUST (changeovers, last good bar to release),
    `production_s` APT (the rest). `counted_s` is the part of APT whose bars both counters tell, `produced` PQ those
    bars, `item_s` PRI, seconds a bar by the line's strokes and cavities (None where the line is not known).
    """

    line: str
    changeovers: int
    planned_busy_s: int
    setup_s: int
    counted_s: int
    produced: int
    item_s: float | None

    @property
    def production_s(self) -> int:
        """APT: planned busy time less changeovers."""
        return self.planned_busy_s - self.setup_s

    @property
    def availability(self) -> float:
        """APT / PBT."""
        return self.production_s / self.planned_busy_s

    @property
    def setup_ratio(self) -> float:
        """AUST / AUPT, where processing time AUPT is APT + AUST (from memory of the standard)."""
        return self.setup_s / self.planned_busy_s

    @property
    def effectiveness(self) -> float | None:
        """PRI * PQ / APT over the time whose bars are known; above 1 the planned time per item is wrong."""
        if self.item_s is None or self.counted_s <= 0:
            return None
        return self.item_s * self.produced / self.counted_s


def busy(states: Sequence[State], bars_min: Mapping[str, float]) -> tuple[Busy, ...]:
    """Each line with two released changeovers or more. `bars_min`: bars a minute by line, strokes times cavities."""
    lines: dict[str, list[tuple[datetime, datetime, State]]] = {}
    for state in states:
        bar = last_good_bar(state)
        if state.status == "released" and bar is not None and state.ended_at is not None:
            lines.setdefault(state.worksheet.line.id, []).append((bar, state.ended_at, state))
    found = []
    for line, own in sorted(lines.items()):
        own.sort(key=lambda one: one[0])
        if len(own) < 2 or own[-1][0] <= own[0][0]:
            continue
        runs = [_run(before, now) for before, now in pairwise(own)]
        setup = sum(_seconds(bar, min(end, now[0])) for (bar, end, _), now in pairwise(own))
        rate = bars_min.get(line)
        found.append(
            Busy(
                line=line,
                changeovers=len(own),
                planned_busy_s=_seconds(own[0][0], own[-1][0]),
                setup_s=setup,
                counted_s=sum(seconds for seconds, bars in runs if bars is not None),
                produced=sum(bars for _, bars in runs if bars is not None),
                item_s=60 / rate if rate else None,
            )
        )
    return tuple(found)


def _run(
    before: tuple[datetime, datetime, State], now: tuple[datetime, datetime, State]
) -> tuple[int, int | None]:
    """Seconds from a release to the next last good bar, and the bars that the counters tell of it."""
    first, last = _counter(before[2], "first_good_incoming"), _counter(now[2], "last_good_outgoing")
    known = (
        first is not None and last is not None and last > first
    )  # a counter that was set back tells nothing
    return max(0, _seconds(before[1], now[0])), (last - first if known else None)  # type: ignore[operator]


def _counter(state: State, mark: str) -> int | None:
    step = next((step for step in state.worksheet.steps() if step.mark == mark), None)
    signed = state.signed.get(step.id) if step is not None else None
    return signed.act.counter if signed is not None else None


def _seconds(since: datetime, until: datetime) -> int:
    return int((until - since).total_seconds())

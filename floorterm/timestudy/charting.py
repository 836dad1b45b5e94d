"""Control charts of durations on the logarithm, with the baselines that came after a proved shift.

The first baseline is frozen and keeps judging. Eight points in a row on one side prove a shift: a new baseline then
begins at the first of them and stands beside the old one, which stays visible (rules: `floorterm.quality.control`).
"""

from collections.abc import Sequence
from datetime import datetime

from msgspec import Struct

from floorterm.quality.control import FEWEST, FROZEN, Baseline, Chart, individuals

RUN = 8  # points on one side that prove a shift: rule 4 of the Western Electric handbook (1956)
RUN_RULE = 4


class Point(Struct, frozen=True, kw_only=True):
    """One duration in minutes: of which changeover, when. `gap`: what came before was made another way, so that no
    range is taken between the two.
    """

    work: str
    at: datetime
    minutes: float
    gap: bool = False


class Later(Struct, frozen=True, kw_only=True):
    """A baseline that began at a point (from 0) after a proved shift, in minutes."""

    first: int
    baseline: Baseline


class TimeChart(Struct, frozen=True, kw_only=True):
    """The points in order of time, their chart, and later baselines in order."""

    points: tuple[Point, ...]
    chart: Chart
    later: tuple[Later, ...] = ()


def time_chart(points: Sequence[Point]) -> TimeChart:
    """The chart of durations in order of time. Raises QualityError for a duration of nothing."""
    kept = tuple(points)
    chart = _chart(kept)
    return TimeChart(points=kept, chart=chart, later=_later(kept, chart, 0))


def _chart(points: tuple[Point, ...]) -> Chart:
    """No limits where fewer ranges are left over the gaps than eight values without a gap have."""
    values = tuple(point.minutes for point in points)
    gaps = frozenset(at for at, point in enumerate(points) if point.gap and at > 0)
    begun = frozenset(at for at in gaps if at < FROZEN)
    if min(len(values), FROZEN) - 1 - len(begun) < FEWEST - 1:
        return Chart(values, "too_few", None, (), logarithmic=True)
    return individuals(values, logarithmic=True, gaps=gaps)


def _later(points: tuple[Point, ...], chart: Chart, first: int) -> tuple[Later, ...]:
    """Baselines after the first proved shift of a chart whose first point is `first`; then those after the next."""
    run = next((signal for signal in chart.signals if signal.rule == RUN_RULE), None)
    if run is None:
        return ()
    begin = first + run.at - RUN + 1
    after = _chart(points[begin:])
    if after.baseline is None or begin == first:
        return ()
    return (Later(first=begin, baseline=after.baseline), *_later(points, after, begin))

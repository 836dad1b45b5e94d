"""One time study: everything that the times of the changeovers of a span of days say, as one frozen value."""

from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from datetime import datetime
from statistics import median

from msgspec import Struct

from floorterm.changeover.minutes import Minutes, minutes_spent
from floorterm.changeover.state import State
from floorterm.changeover.worksheet import Text
from floorterm.quality.control import FEWEST
from floorterm.timestudy.busy import Busy, busy
from floorterm.timestudy.charting import Point, TimeChart, time_chart
from floorterm.timestudy.durations import Key, Normal, normal, promise, spread
from floorterm.timestudy.lost import Lost, Work, lost, work_of
from floorterm.timestudy.observed import Observation, doubts, observed


class Context(Struct, frozen=True, kw_only=True):
    """What states do not say: the family of each fragrance, bars a minute of each line, entries before which a clock
    was set.
    """

    families: Mapping[str, str]
    bars_min: Mapping[str, float]
    clock_set: AbstractSet[int] = frozenset()


class StepTimes(Struct, frozen=True, kw_only=True):
    """One step over all fragrances and crews, in minutes: standard of the newest worksheet, and what happened.

    `text` is empty where the step says something else from one changeover to the next.
    """

    step: str
    text: Text
    standard_min: float
    normal: Normal


class PairTimes(Struct, frozen=True, kw_only=True):
    """The whole changeovers of a pair on a line, last good bar to release, in minutes.

    `promise_min` is None where there are fewer than eight.
    """

    line: Text
    outgoing: Text
    incoming: Text
    count: int
    planned_min: float
    median_min: float
    spread_min: float
    promise_min: float | None
    chart: TimeChart


class Study(Struct, frozen=True, kw_only=True):
    """The whole study. `observations` are all, the doubtful ones too; `doubtful` counts those by their doubt.

    `keys`: what is normal between two families with such a crew, where eight records say so.
    """

    changeovers: int
    observations: tuple[Observation, ...]
    doubtful: tuple[tuple[str, int], ...]
    steps: tuple[StepTimes, ...]
    keys: tuple[tuple[Key, Normal], ...]
    pairs: tuple[PairTimes, ...]
    lost: Lost
    work: Work
    lines: tuple[Busy, ...]

    def chart_of(self, step: str) -> TimeChart | None:
        """The chart of one step between the pair of families that has most records; None where nothing is known.

        No range is taken where the standard of the step changed: it was done another way.
        """
        known = [one for one in self.observations if one.step == step and not one.doubt]
        if not known:
            return None
        pairs = [one.families for one in known]
        most = max(dict.fromkeys(pairs), key=pairs.count)
        own = [one for one in known if one.families == most]
        return time_chart(
            [
                Point(
                    work=one.work,
                    at=one.at,
                    minutes=one.minutes,
                    gap=at > 0 and one.standard_s != own[at - 1].standard_s,
                )
                for at, one in enumerate(own)
            ]
        )


def study(states: Sequence[State], context: Context, now: datetime) -> Study:
    """The study of changeovers in order of their start. Procedures and works that go on are left out."""
    ended = [one for one in states if one.ended and one.worksheet.procedure is None]
    released = [
        (one, minutes)
        for one in ended
        if one.status == "released" and (minutes := minutes_spent(one, now)) is not None
    ]
    every = sorted(
        (one for state in ended for one in observed(state, context.families, context.clock_set)),
        key=lambda one: one.at,
    )
    return Study(
        changeovers=len(released),
        observations=tuple(every),
        doubtful=tuple(doubts(every)),
        steps=tuple(_steps(every)),
        keys=tuple(_keys(every)),
        pairs=_pairs(released),
        lost=lost(released),
        work=work_of(every),
        lines=busy(ended, context.bars_min),
    )


def _steps(observations: Sequence[Observation]) -> list[StepTimes]:
    """Every step in the order of its checklist, section by section, with what is normal whatever the pair and the crew.

    A section stands where it began in the longest worksheet, since worksheets of two pairs number their steps each in
    its own way.
    """
    by_step: dict[str, list[Observation]] = {}
    first: dict[tuple[str, str], int] = {}
    for one in observations:
        by_step.setdefault(one.step, []).append(one)
        key = _section(one.step), one.work
        first[key] = min(first.get(key, one.place), one.place)
    begins: dict[str, int] = {}
    for (section, _), place in first.items():
        begins[section] = max(begins.get(section, place), place)
    found = []
    for step, own in sorted(
        by_step.items(), key=lambda item: (begins[_section(item[0])], _section(item[0]), item[1][-1].place)
    ):
        usual = normal(Key(step=step, families=("", ""), crew=0), own)
        if usual is not None:
            newest = own[-1]
            same = all(one.text == newest.text for one in own)
            found.append(
                StepTimes(
                    step=step,
                    text=newest.text if same else {},
                    standard_min=newest.standard_s / 60,
                    normal=usual,
                )
            )
    return found


def _section(step: str) -> str:
    return step.partition("/")[0]


def _keys(observations: Sequence[Observation]) -> list[tuple[Key, Normal]]:
    """Each step between two families with such a crew that has records enough of its own, in checklist order."""
    groups: dict[Key, list[Observation]] = {}
    for one in observations:
        if not one.doubt:
            groups.setdefault(Key.of(one), []).append(one)
    enough = [(key, own) for key, own in groups.items() if len(own) >= FEWEST]
    enough.sort(key=lambda item: (item[1][-1].place, item[0].step, item[0].families, item[0].crew))
    return [(key, usual) for key, own in enough if (usual := normal(key, own)) is not None]


def _pairs(released: Sequence[tuple[State, Minutes]]) -> tuple[PairTimes, ...]:
    """Pairs in order of their count, then of their first changeover."""
    groups: dict[tuple[str, ...], list[tuple[State, Minutes]]] = {}
    for state, minutes in released:
        if minutes.actual_s > 0:
            groups.setdefault((state.worksheet.line.id, *state.title), []).append((state, minutes))
    return tuple(_pair(own) for own in sorted(groups.values(), key=len, reverse=True))


def _pair(own: Sequence[tuple[State, Minutes]]) -> PairTimes:
    sheet = own[-1][0].worksheet
    points = [
        Point(work=state.work, at=minutes.until, minutes=minutes.actual_s / 60) for state, minutes in own
    ]
    values = [point.minutes for point in points]
    planned = [minutes.planned_s / 60 for _, minutes in own]
    return PairTimes(
        line=sheet.line.name,
        outgoing=sheet.outgoing.name if sheet.outgoing else {},
        incoming=sheet.incoming.name if sheet.incoming else {},
        count=len(own),
        planned_min=planned[-1],
        median_min=median(values),
        spread_min=spread(values),
        promise_min=promise(values) if len(values) >= FEWEST else None,
        chart=time_chart(points),
    )

"""LO-28: verification goes on where energy can build up again (29 CFR 1910.147(d)(5)(ii))."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from decimal import Decimal

from floorterm.lockout.auditing.findings import Found
from floorterm.lockout.auditing.record import Point
from floorterm.lockout.auditing.replay import ENERGISES, READINGS, Replay
from floorterm.lockout.auditing.table import Level


def exposed(replay: Replay) -> Iterator[tuple[int, int]]:
    """Each time during which anybody is at work: index of its start and of its end (open: past the last)."""
    start: int | None = None
    for i in range(len(replay.events)):
        working = bool(replay.moments[i + 1].working)
        if working and start is None:
            start = i
        elif not working and start is not None:
            yield start, i
            start = None
    if start is not None:
        yield start, len(replay.events)


def monitored(replay: Replay) -> Iterator[Found]:
    """Readings not further apart than the point's interval while anybody works; what follows energy found."""
    watched = [point for point in replay.required if point.reaccumulates]
    unset = tuple(point.id for point in watched if point.monitor_min is None)
    if unset:
        yield Found("LO-28", "A", "LO-28.no_interval", points=unset)
    for start, end in exposed(replay):
        together: dict[tuple[int, str, str], list[str]] = {}
        for point in watched:
            gaps = (_gap(replay, point, *part) for part in _isolated(replay, point, start, end))
            if gap := next(filter(None, gaps), None):
                together.setdefault((*gap, str(point.monitor_min)), []).append(point.id)
        for (i, minutes, limit), points in together.items():
            event = replay.events[min(i, len(replay.events) - 1)]
            facts, who = {"minutes": minutes, "limit": limit}, tuple(replay.before(i).working)
            yield Found("LO-28", "V", "LO-28", event, who, tuple(points), facts, by=who)
    for i, event in replay.each(*READINGS):
        if event.result == "not_zero" and replay.touches(event):
            yield from _left(replay, i)
            yield from _again(replay, i)


def _isolated(replay: Replay, point: Point, start: int, end: int) -> Iterator[tuple[int, int]]:
    """The parts of a time at work in which the point has readings to come: until it is energised, or the record is
    finished; again from where it is isolated again.
    """
    until = min((i for i, _ in replay.each("close") if i > start), default=end)
    begin: int | None = start
    for i in range(start + 1, min(end, until)):
        event = replay.events[i]
        if point.id not in replay.points_of(event):
            continue
        if event.ev in ENERGISES and begin is not None:
            yield begin, i
            begin = None
        elif event.ev == "isolate" and begin is None:
            begin = i
    if begin is not None:
        yield begin, min(end, until)


def _gap(replay: Replay, point: Point, start: int, end: int) -> tuple[int, str] | None:
    """Where the first gap that is too long ends, and its minutes; None when every reading came in time."""
    if point.monitor_min is None:
        return None
    limit = timedelta(minutes=float(point.monitor_min))
    readings = [
        i
        for i, event in replay.each(*READINGS)
        if i < end and event.result == "zero" and point.id in replay.points_of(event)
    ]
    earlier = [i for i in readings if i <= start and replay.events[start].ev != "isolate"]
    at = replay.events[earlier[-1] if earlier else start].t
    for i in [*(i for i in readings if i > start), end]:
        now = _time(replay, i)
        if now - at > limit:
            return i, _minutes(now - at, point.monitor_min)
        at = now
    return None


def _minutes(gap: timedelta, limit: Decimal) -> str:
    """Minutes to a tenth; up where that would read as no longer than the limit, which the gap is."""
    text = f"{gap / timedelta(minutes=1):.1f}"
    if Decimal(text) <= limit:
        text = f"{-(-gap // timedelta(seconds=6)) / 10:.1f}"
    return text.removesuffix(".0")


def _time(replay: Replay, index: int) -> datetime:
    """The instant of an event; past the last one of an open job the moment for which the record is judged."""
    if index < len(replay.events):
        return replay.events[index].t
    last, now = replay.events[-1].t, replay.record.as_of
    return max(last, now) if now is not None and not replay.job.closed else last


def _left(replay: Replay, found: int) -> Iterator[Found]:
    """After energy was found nothing but ends of work may follow until nobody is at work."""
    for i in range(found + 1, len(replay.events)):
        if not replay.before(i).working:
            return
        if replay.events[i].ev != "work_end":
            persons = tuple(replay.before(i).working)
            facts = {"found": replay.events[found].number}
            yield Found("LO-28", "V", "LO-28.stayed", replay.events[i], persons, facts=facts, by=persons)
            return
    if replay.end.working:
        level: Level = "V" if replay.job.closed else "P"
        persons = tuple(replay.end.working)
        yield Found("LO-28", level, "LO-28.still_in", replay.events[found], persons, by=persons)


def _again(replay: Replay, found: int) -> Iterator[Found]:
    """Before anybody starts again, what was found is relieved and verified."""
    start = next((i for i, _ in replay.each("work_start") if i > found), None)
    if start is None:
        return
    points = [k for k in replay.points_of(replay.events[found]) if k in replay.required_ids]
    stored = {p.id for p in replay.required if p.needs_release or p.reaccumulates}
    missing = []
    for k in points:
        relieved = [i for i, e in replay.each("release") if found < i < start and k in replay.points_of(e)]
        since = relieved[0] if relieved and k in stored else found
        verified = any(
            since < i < start and e.result == "zero" and k in replay.points_of(e)
            for i, e in replay.each("verify")
        )
        if (k in stored and not relieved) or not verified:
            missing.append(k)
    if missing:
        event = replay.events[start]
        facts = {"found": replay.events[found].number}
        yield Found("LO-28", "V", "LO-28.not_again", event, (event.by,), tuple(missing), facts)

"""LO-37 to LO-39: temporary energising for a test, and outside employers (29 CFR 1910.147(f)(1)-(2))."""

from collections.abc import Iterator

from floorterm.lockout.auditing.findings import Found
from floorterm.lockout.auditing.replay import Replay
from floorterm.lockout.auditing.rules.leaving import (
    area_inspected,
    not_accounted,
    removal_legs,
    taken_by_owner,
    untold,
)
from floorterm.lockout.auditing.rules.sequence import exchanged


def temporary(replay: Replay) -> Iterator[Found]:
    """LO-37: before energising for a test the area is clear, the people out, the locks off by their owners."""
    for g, event in replay.each("temp_energise"):
        since, until = replay.last_work(g), replay.unlocking(g)
        working = tuple(replay.before(g).working)
        if working:
            yield Found("LO-37", "V", "LO-37.working", event, working)
        if not area_inspected(replay, since, until):
            yield Found("LO-37", "V", "LO-37.area", event)
        missing = not_accounted(replay, since, until, replay.workers(g))
        if missing is not None:
            uncleared = missing or replay.workers(g)
            yield Found("LO-37", "V", "LO-37.people" if uncleared else "LO-37.uncounted", event, uncleared)
        locked = tuple(k for k in replay.points_of(event) if replay.before(g).on(k))
        if locked:
            persons = tuple(held.owner for k in locked for held in replay.before(g).on(k))
            yield Found("LO-37", "V", "LO-37.locked", event, tuple(dict.fromkeys(persons)), locked)
        for i, place, held in replay.removals:
            if since < i < g and not _proper(replay, i):
                yield Found("LO-37", "V", "LO-37.removal", replay.events[i], (held.owner,), (place,))
        untold_ = untold(replay, _running(replay, g), g)
        if untold_:
            yield Found("LO-37", "W", "LO-37.untold", event, untold_)


def _proper(replay: Replay, index: int) -> bool:
    if replay.events[index].ev == "lock_off":
        return taken_by_owner(replay, index)
    return not any(leg.level == "V" for leg in removal_legs(replay, index))


def _running(replay: Replay, g: int) -> int:
    """When the machine runs for the test: at a restart before the test ends, else as it is energised."""
    ends = next((i for i, _ in replay.each("temp_end") if i > g), len(replay.events))
    return next((i for i, _ in replay.each("restart") if g < i < ends), g)


def controlled_again(replay: Replay) -> Iterator[Found]:
    """LO-38: after the test everything is de-energised and isolated again before anybody goes on."""
    for g, event in replay.each("temp_energise"):
        start = next((i for i, _ in replay.each("work_start") if i > g), None)
        until = len(replay.events) if start is None else start
        ended = next((i for i, _ in replay.each("temp_end") if g < i < until), None)
        if start is None:
            if ended is None and not replay.job.closed:
                yield Found("LO-38", "P", "LO-38.open", event, points=replay.points_of(event))
            continue
        isolated = {
            k
            for i, e in replay.each("isolate")
            if ended is not None and ended < i < start
            for k in replay.points_of(e)
        }
        missing = tuple(k for k in replay.points_of(event) if k not in isolated)
        if ended is None:
            who = (replay.events[start].by,)
            yield Found("LO-38", "V", "LO-38.no_end", replay.events[start], who, replay.points_of(event))
        elif missing:
            yield Found("LO-38", "V", "LO-38", replay.events[start], (replay.events[start].by,), missing)


def contractors(replay: Replay) -> Iterator[Found]:
    """LO-39: the two employers tell each other their procedures before a contractor's first act."""
    acting: dict[str, int] = {}
    for i, event in replay.each("isolate", "lock_on", "work_start"):
        person = replay.person(event.by, event)
        if person is not None and person.contractor:
            acting.setdefault(event.by, i)
    for who, i in acting.items():
        if not exchanged(replay, who, i):
            yield Found("LO-39", "V", "LO-39", replay.events[i], (who,))
    if acting and replay.first("own_staff_told") is None:
        yield Found("LO-39", "W", "LO-39.own_staff", None, tuple(acting))

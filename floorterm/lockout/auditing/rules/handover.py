"""LO-43: shift and personnel changes without a gap in protection (29 CFR 1910.147(f)(4))."""

from collections.abc import Iterator

from floorterm.lockout.auditing.findings import Found
from floorterm.lockout.auditing.record import BOX
from floorterm.lockout.auditing.replay import Replay


def continuity(replay: Replay) -> Iterator[Found]:
    """Overlapping locks at a hand-over; from scratch after a gap; a new primary verifies."""
    yield from _overlaps(replay)
    yield from _gaps(replay)
    if replay.group:
        yield from _new_primaries(replay)


def _overlaps(replay: Replay) -> Iterator[Found]:
    """(a) When the off-going person's lock comes off, the on-coming person's is on already."""
    for h, event in replay.each("hand_over"):
        for place in (*event.places, *event.points):
            removed = [i for i, at, held in replay.removals if at == place and held.owner == event.giver]
            after = [i for i in removed if i > h]
            if replay.before(h).owns(event.giver, place):
                meant = after[0] if after else None
            else:
                earlier = [i for i in removed if i < h]
                meant = earlier[-1] if earlier else None
            if meant is None:
                continue
            if not any(replay.before(meant).owns(who, place) for who in event.to):
                persons = (event.giver, *event.to)
                yield Found("LO-43", "V", "LO-43.gap", replay.events[meant], persons, (place,))


def _gaps(replay: Replay) -> Iterator[Found]:
    """(b) What stood without a lock is locked, relieved and verified again before anybody works again."""
    windows = tuple(_windows(replay))
    emptied: dict[str, int] = {}
    reported: set[tuple[str, int]] = set()
    for i, event in enumerate(replay.events):
        for place in replay.emptied(i):
            if not any(begin <= i <= end for begin, end in windows):
                emptied[place] = i
        if event.ev != "work_start":
            continue
        for place, gap in emptied.items():
            if (place, gap) not in reported and not _redone(replay, place, gap, i):
                reported.add((place, gap))
                facts = {"gap": replay.events[gap].number}
                yield Found("LO-43", "V", "LO-43.again", event, (event.by,), (place,), facts)


def _redone(replay: Replay, place: str, gap: int, start: int) -> bool:
    locked = [i for i, event in replay.each("lock_on") if gap < i < start and place in event.places]
    if not locked or replay.miss(replay.events[start].by, start):
        return False
    needs = any(point.id == place and point.needs_release for point in replay.required)
    if place == BOX or not needs:
        return True
    released = [
        i for i, e in replay.each("release") if locked[0] < i < start and place in replay.points_of(e)
    ]
    # (d)(5)(i) before (d)(6): what was relieved again is verified after that
    return bool(released) and any(
        released[0] < i < start and e.result == "zero" and place in replay.points_of(e)
        for i, e in replay.each("verify")
    )


def _windows(replay: Replay) -> Iterator[tuple[int, int]]:
    """Temporary energising: from the first lock removed after the last work to the first isolation after it."""
    for g, _ in replay.each("temp_energise"):
        since = replay.last_work(g)
        begin = next((i for i, _, _ in replay.removals if since < i < g), g)
        start = next((i for i, _ in replay.each("work_start") if i > g), len(replay.events))
        ended = next((i for i, _ in replay.each("temp_end") if g < i < start), g)
        yield begin, next((i for i, _ in replay.each("isolate") if i > ended), len(replay.events))


def _new_primaries(replay: Replay) -> Iterator[Found]:
    """(c) A new primary verifies while, or before, anybody is exposed under them."""
    for a, event in replay.each("assign_primary"):
        crew = next(crew for crew in replay.moments[a + 1].crews if crew.assigned == a)
        if a != crew.since or not _took_over(replay, a):
            continue
        checked = next(
            (i for i, e in replay.each("verify") if i > a and _sound(replay, i, event.primary)), None
        )
        until = _exposed_until(replay, a, event.primary)
        if until is not None and (checked is None or checked > until):
            still = until == len(replay.events) and replay.end.working and not replay.job.closed
            yield Found(
                "LO-43",
                "P" if still else "V",
                "LO-43.new_primary",
                event,
                (event.primary,),
                by=(event.primary,),
            )


def _took_over(replay: Replay, a: int) -> bool:
    """Whether the assignment replaced another primary."""
    after = {crew.primary for crew in replay.moments[a + 1].crews}
    return any(crew.primary not in after for crew in replay.before(a).crews)


def _sound(replay: Replay, v: int, who: str) -> bool:
    event, then = replay.events[v], replay.before(v)
    relieved = all(then.released(p.id) for p in replay.required if p.needs_release)
    return (
        event.by == who and event.result == "zero" and replay.covers(event) and replay.full(then) and relieved
    )


def _exposed_until(replay: Replay, a: int, who: str) -> int | None:
    """Up to when the primary must have verified: the end of the work under way at the take-over, else the next
    start of work under them; None when nobody is exposed under them.
    """
    if replay.before(a).working:
        return next(
            (i for i in range(a, len(replay.moments)) if not replay.before(i).working), len(replay.events)
        )
    for i, event in replay.each("work_start"):
        crew = replay.in_charge(replay.before(i), event.by)
        if i > a and crew is not None and crew.primary == who:
            return i
    return None

"""LO-20 to LO-27, LO-29, LO-30: applying control, in the order of 29 CFR 1910.147(d)."""

from collections.abc import Iterator

from floorterm.lockout.auditing.findings import Found
from floorterm.lockout.auditing.record import BOX, Event
from floorterm.lockout.auditing.replay import Replay
from floorterm.lockout.auditing.table import Level


def late_or_open(replay: Replay, deadline: int | None) -> Level | None:
    """V once the deadline's event has happened, until then P; None when the record was closed before it came."""
    if deadline is not None:
        return "V"
    return None if replay.job.closed else "P"


def who_may(replay: Replay) -> Iterator[Found]:
    """LO-20: authorised employees isolate and lock; a contractor only after the employers exchanged."""
    for i, event in replay.each("isolate", "lock_on"):
        person = replay.person(event.by, event)
        if not replay.authorized(event.by, event):
            yield Found("LO-20", "V", "LO-20", event, (event.by,), event.places or event.points)
        elif person is not None and person.contractor and not exchanged(replay, event.by, i):
            yield Found("LO-20", "V", "LO-20.contractor", event, (event.by,))


def exchanged(replay: Replay, contractor: str, index: int) -> bool:
    """Whether the two employers told each other their procedures before an event, in both directions."""
    person = replay.person(contractor, replay.events[index])
    ways: set[str] = set()
    for i, event in replay.each("contractor_exchange"):
        other = replay.person(event.by, event)
        theirs = event.by == contractor or (person and other and other.employer == person.employer != "")
        if i < index and (theirs or not event.partner or _meant(replay, contractor, event)):
            ways |= {"given", "received"} if event.direction == "both" else {event.direction}
    return person is not None and ways >= {"given", "received"}


def _meant(replay: Replay, contractor: str, exchange: Event) -> bool:
    """The exchange names this person, their employer, or a firm where no employer is known."""
    person = replay.person(contractor, exchange)
    employer = person.employer if person else ""
    for name in exchange.partner:
        other = replay.person(name, exchange)
        if name == contractor or (employer and (name == employer or (other and other.employer == employer))):
            return True
        if other is None and not employer:
            return True
    return False


def told_before(replay: Replay) -> Iterator[Found]:
    """LO-21: everybody affected is told before controls go on."""
    if replay.header.permit and "permit_for_notice" in replay.profile.options:
        return
    deadline = replay.first("isolate", "lock_on")
    if deadline is None:
        deadline = replay.first("work_start")
    until = len(replay.events) if deadline is None else deadline
    told = {who for i, event in replay.each("notify_before") if i < until for who in event.to}
    missing = tuple(who for who in replay.header.affected if who not in told)
    level = late_or_open(replay, deadline)
    if missing and level:
        event = replay.events[deadline] if deadline is not None else None
        yield Found("LO-21", level, "LO-21", event, missing)


def reviewed(replay: Replay) -> Iterator[Found]:
    """LO-22: an authorised employee reviews the revision in force before the stop; each worker before work."""
    revision = replay.procedure.revision
    stated = replay.header.revision
    if replay.procedure.id and stated != revision:
        yield Found(
            "LO-22", "V", "LO-22.revision", facts={"stated": stated or "-", "revision": revision or "-"}
        )
    deadline = replay.first("shut_down")
    if deadline is None:
        deadline = replay.first("isolate", "lock_on", "work_start")
    until = len(replay.events) if deadline is None else deadline
    good = [
        event.by
        for i, event in replay.each("review")
        if i < until
        and replay.authorized(event.by, event)
        and (event.rev == revision or not replay.procedure.id)
    ]
    level = late_or_open(replay, deadline)
    if not good and level:
        event = replay.events[deadline] if deadline is not None else None
        yield Found("LO-22", level, "LO-22", event, facts={"revision": revision or "-"})
    first = replay.workers()[:1]
    for who in replay.workers():
        start = next(i for i, event in replay.each("work_start") if event.by == who)
        own = any(i < start and event.by == who for i, event in replay.each("review"))
        if not own and not (not good and who in first):
            yield Found("LO-22", "W", "LO-22.worker", replay.events[start], (who,))


def shut_down(replay: Replay) -> Iterator[Found]:
    """LO-23: an orderly stop before the first isolation."""
    stop, isolated = replay.first("shut_down"), replay.first("isolate")
    event = replay.events[isolated] if isolated is not None else None
    if stop is None:
        started = isolated if isolated is not None else replay.first("work_start")
        level = late_or_open(replay, started)
        if level:
            yield Found("LO-23", level, "LO-23", event)
        return
    if isolated is not None and stop > isolated:
        yield Found("LO-23", "V", "LO-23.late", replay.events[stop])
    if replay.events[stop].how == "emergency":
        yield Found("LO-23", "W", "LO-23.emergency", replay.events[stop])


def at_work_start(replay: Replay) -> Iterator[Found]:
    """LO-24, LO-25, LO-27, LO-29: everything off, locked, relieved and proved when somebody starts work."""
    for i, event in replay.each("work_start"):
        now, who = replay.before(i), (event.by,)
        live = tuple(k for k in replay.required_ids if not now.off(k))
        bare = tuple(k for k in replay.required_ids if not now.on(k))
        stored = tuple(p.id for p in replay.required if p.needs_release and not now.released(p.id))
        if live:
            yield Found("LO-24", "V", "LO-24", event, who, live)
        if bare:
            yield Found("LO-25", "V", "LO-25", event, who, bare)
        if stored:
            yield Found("LO-27", "V", "LO-27", event, who, stored)
        miss = replay.miss(event.by, i)
        if miss:
            yield Found("LO-29", "V", f"LO-29.{miss}", event, who)


def locked_safe(replay: Replay) -> Iterator[Found]:
    """LO-26: a lock goes on a device that is in its safe position."""
    points = {point.id for point in replay.procedure.points if not _stays_on(replay, point.id)}
    for i, event in replay.each("lock_on"):
        live = tuple(k for k in event.places if k in points and not replay.before(i).off(k))
        if live:
            yield Found("LO-26", "V", "LO-26", event, (event.by,), live)


def _stays_on(replay: Replay, point: str) -> bool:
    return point not in replay.required_ids and any(
        p.id == point and p.stays_on for p in replay.procedure.points
    )


def own_lock(replay: Replay) -> Iterator[Found]:
    """LO-30 (individual) and LO-42 (group): under one's own lock for as long as one is exposed."""
    places = (BOX,) if replay.group else replay.required_ids
    rule = "LO-42" if replay.group else "LO-30"
    for start, end in intervals(replay):
        who = replay.events[start].by
        for i in range(start, end + 1):
            bare = tuple(place for place in places if not replay.before(i).owns(who, place))
            if bare:
                at = replay.events[min(i, len(replay.events) - 1)]
                last = replay.events[i - 1]
                by = last.by if i > start and last.ev == "remove_other" else who
                yield Found(rule, "V", rule, at, (who,), bare, by=(by,))
                break


def intervals(replay: Replay) -> Iterator[tuple[int, int]]:
    """Each person's work: index of its start, and of its end (after the last event while it is open)."""
    for i, event in replay.each("work_start"):
        if event.by in replay.before(i).working:
            continue
        ends = (j for j, e in replay.each("work_end") if j > i and e.by == event.by)
        yield i, next(ends, len(replay.events))

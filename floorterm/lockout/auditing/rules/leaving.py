"""LO-31 to LO-36: release from lockout, in the order of 29 CFR 1910.147(e)."""

from collections.abc import Iterator

from floorterm.lockout.auditing.findings import Found
from floorterm.lockout.auditing.record import BOX, Event
from floorterm.lockout.auditing.replay import Replay
from floorterm.lockout.auditing.table import Level


def restored(replay: Replay) -> Iterator[Found]:
    """LO-31, LO-32: area looked over and people accounted for before the first point lost its last lock."""
    together: dict[tuple[int, int], list[int]] = {}
    for i, _ in replay.each("re_energise"):
        together.setdefault((replay.last_work(i), replay.unlocking(i)), []).append(i)
    for (since, until), energised in together.items():
        i, event = energised[0], replay.events[energised[0]]
        if not area_inspected(replay, since, until):
            points = dict.fromkeys(k for each in energised for k in replay.points_of(replay.events[each]))
            yield Found("LO-31", "V", "LO-31", event, points=tuple(points))
        there = (*replay.workers(i), *_box_owners(replay, until))
        missing = not_accounted(replay, since, until, tuple(dict.fromkeys(there)))
        if missing is not None:
            yield Found("LO-32", "V", "LO-32.people" if missing else "LO-32", event, missing)
        working = tuple(dict.fromkeys((*replay.before(until).working, *replay.before(i).working)))
        if working:
            yield Found("LO-32", "V", "LO-32.working", event, working)


def area_inspected(replay: Replay, since: int, until: int) -> bool:
    """Whether the area was found in order between two events."""
    return any(since < i < until and event.result == "ok" for i, event in replay.each("inspect_area"))


def not_accounted(replay: Replay, since: int, until: int, there: tuple[str, ...]) -> tuple[str, ...] | None:
    """None when one head count between two events clears everybody; else who is missing from the best one."""
    counts = [
        tuple(who for who in there if who not in event.clear)
        for i, event in replay.each("account_people")
        if since < i < until and event.result == "ok"
    ]
    if not counts:
        return ()
    best = min(counts, key=len)
    return best or None


def _box_owners(replay: Replay, until: int) -> Iterator[str]:
    if replay.group:
        for i, event in replay.each("lock_on"):
            if i < until and BOX in event.places:
                yield event.by


def own_removal(replay: Replay) -> Iterator[Found]:
    """LO-33: each device comes off by the hand of the person who put it on."""
    for i, event in replay.each("lock_off"):
        if not taken_by_owner(replay, i):
            taken = replay.taken(i)
            key, owner = ("LO-33", taken[1].owner) if taken else ("LO-33.not_on", "-")
            facts = {"lock": event.lock or "-", "owner": owner or "?"}
            yield Found("LO-33", "V", key, event, (event.by,), event.places, facts)


def taken_by_owner(replay: Replay, index: int) -> bool:
    """Whether a lock_off took off a lock that was on there and was the acting person's own."""
    taken = replay.taken(index)
    return taken is not None and taken[1].owner == replay.events[index].by


def removed_by_other(replay: Replay) -> Iterator[Found]:
    """LO-34: somebody else's lock only under the employer's direction, with the three steps of (e)(3)."""
    for i, _ in replay.each("remove_other"):
        yield from removal_legs(replay, i)


def removal_legs(replay: Replay, index: int) -> Iterator[Found]:
    """What one removal of an absent person's lock lacks, leg by leg."""
    event = replay.events[index]
    owner = owner_of(replay, index)
    if replay.procedure.other_removal is None:
        yield _leg(event, "A", "procedure_unsaid", owner)
    elif not replay.procedure.other_removal:
        yield _leg(event, "V", "procedure", owner)
    director = replay.person(event.directed_by, event)
    if director is None or not (director.role == "employer_rep" or director.employer_rep):
        yield _leg(event, "V", "director", owner, director=event.directed_by or "-")
    back = _return(replay, owner, index + 1)
    checks = [i for i, _ in _absences(replay, owner, index)]
    if not checks:
        yield _leg(event, "V", "absence", owner)
    since = checks[0] if checks else -1
    until = len(replay.events) if back is None else back
    if not any(since < i < until and e.owner == owner for i, e in replay.each("owner_contact_try")):
        yield _leg(event, "V" if replay.job.closed or back is not None else "P", "contact", owner)
    informed = [i for i, e in replay.each("owner_informed") if e.owner == owner and index < i < until]
    if not informed:
        yield _leg(
            event, "P" if back is None else "V", "informed_open" if back is None else "informed", owner
        )


def owner_of(replay: Replay, index: int) -> str:
    """Whose lock a removal took: as named, else as the lock was on."""
    taken = replay.taken(index)
    return replay.events[index].owner or (taken[1].owner if taken else "")


def _leg(event: Event, level: Level, leg: str, owner: str, **facts: str) -> Found:
    told = {"owner": owner or "?", "lock": event.lock or "-", **facts}
    return Found("LO-34", level, f"LO-34.{leg}", event, (event.by, owner), event.places, told)


def _return(replay: Replay, owner: str, start: int) -> int | None:
    """The first event after which the owner is back: on site, or any act of theirs."""
    for i in range(start, len(replay.events)):
        event = replay.events[i]
        if event.by == owner or (event.ev == "on_site" and event.person == owner):
            return i
    return None


def _absences(replay: Replay, owner: str, index: int) -> Iterator[tuple[int, Event]]:
    """Checks that found the owner absent, with no return of the owner between check and removal."""
    for i, event in replay.each("owner_absent_check"):
        if i < index and event.owner == owner and event.result == "absent":
            back = _return(replay, owner, i + 1)
            if back is None or back > index:
                yield i, event


def told_after(replay: Replay) -> Iterator[Found]:
    """LO-35: everybody affected is told after the last lock is off, before the machine is started."""
    previous = -1
    for i, event in replay.each("restart"):
        missing = untold(replay, i, i)
        if missing:
            yield Found("LO-35", "V", "LO-35", event, missing)
        previous = i
    energised = [i for i, _ in replay.each("re_energise") if i > previous]
    if not energised:
        return
    end = replay.first("close")
    missing = untold(replay, end if end is not None else len(replay.events), len(replay.events))
    if missing:
        event = replay.events[end] if end is not None else replay.events[energised[-1]]
        yield Found("LO-35", "V" if end is not None else "P", "LO-35.close", event, missing)


def untold(replay: Replay, until: int, removed_before: int) -> tuple[str, ...]:
    """Affected persons whom no notice reached between the last removal and an event."""
    last = max((i for i, _, _ in replay.removals if i < removed_before), default=-1)
    told = {who for i, event in replay.each("notify_after") if last < i < until for who in event.to}
    return tuple(who for who in replay.header.affected if who not in told)


def nothing_left(replay: Replay) -> Iterator[Found]:
    """LO-36: every lock that went on comes off before the record is finished."""
    end = replay.first("close")
    if end is None:
        yield Found("LO-36", "P", "LO-36.open")
        return
    left = [(place, held) for place, locks in replay.before(end).locks.items() for held in locks]
    if left:
        persons = tuple(dict.fromkeys(held.owner for _, held in left))
        places = tuple(dict.fromkeys(place for place, _ in left))
        facts = {"locks": ", ".join(held.lock for _, held in left)}
        yield Found("LO-36", "V", "LO-36", replay.events[end], persons, places, facts)

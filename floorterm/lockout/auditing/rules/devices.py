"""LO-04 to LO-06 and LO-09 to LO-12: isolating devices, locks and tags (29 CFR 1910.147(b), (c)(2)-(5))."""

import re
from collections.abc import Iterator

from floorterm.lockout.auditing.findings import Found
from floorterm.lockout.auditing.months import months_after
from floorterm.lockout.auditing.record import BOX, Event, Lock
from floorterm.lockout.auditing.replay import Replay

# 1910.147(b): devices that physically stop energy; control-circuit devices do not count
ISOLATING = frozenset(
    {"disconnect", "breaker", "allpole_switch", "line_valve", "block", "pin", "blind", "plug"}
)
_LEGEND = re.compile(r"do not (start|open|close|energi[sz]e|operate)")


def isolating_devices(replay: Replay) -> Iterator[Found]:
    """LO-04: every required point is a device that physically stops energy."""
    unsaid = [p.id for p in replay.required if p.device is None]
    wrong = [p for p in replay.required if p.device is not None and p.device not in ISOLATING]
    for point in wrong:
        facts = {"device": point.device or "?"}
        yield Found("LO-04", "V", "LO-04", points=(point.id,), facts=facts)
    if unsaid:
        yield Found("LO-04", "A", "LO-04.unsaid", points=tuple(unsaid))


def locks_not_tags(replay: Replay) -> Iterator[Found]:
    """LO-05, LO-06: what can be locked is locked; a tag alone needs a further measure."""
    seen: set[tuple[str, str]] = set()
    for i, event in replay.each("work_start"):
        for point in replay.required:
            on = replay.before(i).on(point.id)
            if not on or not all(held.tag for held in on):
                continue
            measured = all(held.extra_measure for held in on)
            persons = tuple(held.owner for held in on)
            found = []
            if point.lockable:
                key = "LO-05.measure" if measured else "LO-05"
                found.append(
                    Found("LO-05", "W" if measured else "V", key, event, persons, (point.id,), by=persons)
                )
            if not measured:
                found.append(Found("LO-06", "V", "LO-06", event, persons, (point.id,), by=persons))
            for one in found:
                if (one.rule, point.id) not in seen:
                    seen.add((one.rule, point.id))
                    yield one


def register(replay: Replay) -> Iterator[Found]:
    """LO-09, LO-11: locks are in the register, for lockout only, at one place, and show who applied them."""
    known = replay.record.locks
    used = False
    for i, event in replay.each("lock_on"):
        used = True
        yield from _two_places(replay, i, event)
        if not event.lock and not event.tag:
            yield Found("LO-09", "V", "LO-09.unnamed", event, (event.by,), event.places)
        if known is None or not event.lock:
            continue
        lock = known.get(event.lock)
        if lock is None:
            yield _about(event, "LO-09", "LO-09.unknown")
            continue
        if lock.lockout_only is False:
            yield _about(event, "LO-09", "LO-09.other_use")
        yield from _owner(replay, i, event, lock)
    if used and known is None:
        yield Found("LO-09", "A", "LO-09.no_register")
        yield Found("LO-11", "A", "LO-11.no_register")
    elif known is not None:
        locks = {e.lock for _, e in replay.each("lock_on") if e.lock in known}
        unsaid = sorted(name for name in locks if known[name].lockout_only is None)
        if unsaid:
            yield Found("LO-09", "A", "LO-09.use_unsaid", facts={"locks": ", ".join(unsaid)})


def _about(event: Event, rule: str, key: str, **facts: str) -> Found:
    return Found(rule, "V", key, event, (event.by,), event.places, {"lock": event.lock, **facts})


def _two_places(replay: Replay, i: int, event: Event) -> Iterator[Found]:
    for place, locks in replay.before(i).locks.items():
        elsewhere = place not in event.places and any(held.lock == event.lock for held in locks)
        if event.lock and elsewhere:
            yield _about(event, "LO-09", "LO-09.two_places", other=place)
    if len(event.places) > 1:
        yield _about(event, "LO-09", "LO-09.two_places", other=event.places[1])


def _owner(replay: Replay, i: int, event: Event, lock: Lock) -> Iterator[Found]:
    match lock.kind:
        case "personal":
            if not lock.owner:
                yield Found(
                    "LO-11", "A", "LO-11.owner_unsaid", event, (event.by,), facts={"lock": event.lock}
                )
            elif lock.owner != event.by:
                yield _about(event, "LO-11", "LO-11", owner=lock.owner)
        case "job":
            crews = replay.before(i).crews or replay.end.crews
            primaries = {crew.primary for crew in crews}
            if not lock.owner:
                yield Found(
                    "LO-11", "A", "LO-11.owner_unsaid", event, (event.by,), facts={"lock": event.lock}
                )
            elif primaries and lock.owner not in primaries:
                yield _about(event, "LO-11", "LO-11.job_lock", owner=lock.owner, primary=", ".join(primaries))


def fitness(replay: Replay) -> Iterator[Found]:
    """LO-10: durable, standardised, substantial: for a person to attest; type and check are compared."""
    used = {event.lock: event for _, event in reversed(tuple(replay.each("lock_on")))}
    if not used:
        return
    site, known = replay.record.site, replay.record.locks or {}
    for name, event in used.items():
        lock = known.get(name)
        if lock is None:
            continue
        if site.lock_types is not None and lock.type and lock.type not in site.lock_types:
            yield _about(event, "LO-10", "LO-10.type", type=lock.type)
        months = site.lock_check_months
        if months and lock.checked and event.t.date() > months_after(lock.checked, months):
            yield _about(event, "LO-10", "LO-10.check", checked=lock.checked.isoformat())
    yield Found("LO-10", "A", "LO-10.attest")


def legends(replay: Replay) -> Iterator[Found]:
    """LO-12: a tag warns in one of the known ways."""
    known = replay.record.locks or {}
    unsaid: list[str] = []
    for _, event in replay.each("lock_on"):
        if not event.tag:
            continue
        legend = event.legend or (known[event.lock].legend if event.lock in known else "")
        if not legend:
            unsaid += [place for place in event.places if place != BOX]
        elif not _LEGEND.search(re.sub(r"[^a-z]+", " ", legend.casefold())):
            yield _about(event, "LO-12", "LO-12", legend=legend)
    if unsaid:
        yield Found("LO-12", "A", "LO-12.unsaid", points=tuple(dict.fromkeys(unsaid)))

"""LR-01 to LR-04: the record itself; LS-02, LS-04: site policy. None of them is part of the regulation."""

from collections.abc import Iterator

from floorterm.lockout.auditing.findings import Found
from floorterm.lockout.auditing.replay import ENERGISES, REMOVALS, Replay
from floorterm.wording import Fact


def clock(replay: Replay) -> Iterator[Found]:
    """LR-01: instants never run backwards from entry to entry; local clock changes do not matter."""
    for before, event in zip(replay.events, replay.events[1:], strict=False):
        if event.t < before.t:
            facts: dict[str, Fact] = {
                "then": before.number,
                "time": event.t.isoformat(),
                "earlier": before.t.isoformat(),
            }
            yield Found("LR-01", "V", "LR-01", event, (event.by,), facts=facts)


def signed(replay: Replay) -> Iterator[Found]:
    """LR-02: each act names a known person, who is the one that signed."""
    for event in replay.events:
        if not event.by:
            yield Found("LR-02", "V", "LR-02.nobody", event)
        elif replay.person(event.by, event) is None:
            yield Found("LR-02", "V", "LR-02.unknown", event, (event.by,))
        elif event.signer and event.signer != event.by:
            both, facts = (event.by, event.signer), {"signer": event.signer}
            yield Found("LR-02", "V", "LR-02.other", event, both, facts=facts, by=(event.signer,))


def possible(replay: Replay) -> Iterator[Found]:
    """LR-03: what cannot physically have happened in that order is shown, not smoothed."""
    for i, event in enumerate(replay.events):
        now = replay.before(i)
        if event.ev in ENERGISES:
            locked = tuple(k for k in replay.points_of(event) if now.on(k))
            if locked:
                yield Found("LR-03", "V", "LR-03.energised", event, (event.by,), locked)
        elif event.ev in REMOVALS and replay.taken(i) is None:
            facts = {"lock": event.lock or "-"}
            yield Found("LR-03", "V", "LR-03.not_on", event, (event.by,), event.places, facts)
        elif event.ev == "lock_on":
            on = tuple(
                place for place, locks in now.locks.items() if any(held.lock == event.lock for held in locks)
            )
            if event.lock and on:
                yield Found("LR-03", "V", "LR-03.already_on", event, (event.by,), on, {"lock": event.lock})
        elif event.ev == "work_end" and event.by not in now.working:
            yield Found("LR-03", "V", "LR-03.no_start", event, (event.by,))
        elif event.ev == "work_start" and event.by in now.working:
            yield Found("LR-03", "V", "LR-03.twice", event, (event.by,))
        elif event.ev == "key_in_box":
            bare = tuple(k for k in replay.points_of(event) if not now.on(k))
            if bare:
                yield Found("LR-03", "V", "LR-03.key", event, (event.by,), bare)
        elif event.ev == "restart":
            shut = tuple(k for k in replay.required_ids if now.off(k) or now.on(k))
            if shut:
                yield Found("LR-03", "V", "LR-03.restart", event, (event.by,), shut)


def unbroken(replay: Replay) -> Iterator[Found]:
    """LR-04: no number is missing or stands twice; the chain holds; late entries say so."""
    expected = replay.job.first_n
    for event in replay.events:
        if event.n != expected:
            yield Found("LR-04", "V", "LR-04", event, facts={"expected": expected})
        expected = event.n + 1
        if event.claimed is not None and not event.late:
            facts = {"claimed": event.claimed.isoformat()}
            yield Found("LR-04", "V", "LR-04.late", event, (event.by,), facts=facts)
        elif event.late and event.claimed is None:
            yield Found("LR-04", "V", "LR-04.unclaimed", event, (event.by,))
    paper = [event for event in replay.events if event.entered is not None]
    if paper:
        entries = ", ".join(dict.fromkeys(str(event.number) for event in paper))
        since, until = (f"{one.t:%Y-%m-%d %H:%M}" for one in (paper[0], paper[-1]))
        entered = f"{max(event.entered for event in paper if event.entered):%Y-%m-%d %H:%M}"
        told: dict[str, Fact] = {"entries": entries, "since": since, "until": until, "entered": entered}
        who = tuple(dict.fromkeys(event.by for event in paper))
        yield Found("LR-04", "A", "LR-04.paper", None, who, facts=told, by=who)
    if replay.record.chain_valid is False:
        yield Found("LR-04", "V", "LR-04.chain")


def overdue(replay: Replay) -> Iterator[Found]:
    """LS-02: locks on for longer than the site allows."""
    first = replay.first("lock_on")
    left = tuple(place for place, locks in replay.end.locks.items() if locks)
    if first is None or not left:
        return
    now = replay.record.as_of or replay.events[-1].t
    since, limit = replay.events[first].t, replay.record.site.job_age_limit
    if now - since > limit:
        owners = tuple(dict.fromkeys(held.owner for place in left for held in replay.end.on(place)))
        hours = {
            "hours": int((now - since).total_seconds() // 3600),
            "limit": int(limit.total_seconds() // 3600),
        }
        yield Found("LS-02", "W", "LS-02", replay.events[first], owners, left, hours, by=owners)


def arrivals(replay: Replay) -> Iterator[Found]:
    """LS-04: affected people who come while the machine is locked are told too."""
    for i, event in replay.each("on_site"):
        who = event.person or event.by
        if who not in replay.header.affected or not any(replay.before(i).locks.values()):
            continue
        told = any(j > i and who in e.to for j, e in replay.each("notify_before", "notify_after"))
        if not told:
            yield Found("LS-04", "W", "LS-04", event, (who,), by=())

"""LO-40, LO-41 and the site's part of LO-42: group lockout (29 CFR 1910.147(f)(3))."""

from collections.abc import Iterator

from floorterm.lockout.auditing.findings import Found
from floorterm.lockout.auditing.record import BOX, Event
from floorterm.lockout.auditing.replay import Replay
from floorterm.lockout.auditing.rules.sequence import late_or_open


def primary(replay: Replay) -> Iterator[Found]:
    """LO-40: an authorised employee answers for a set number of people before the first lock on the box."""
    if not replay.group:
        return
    boxed = next((i for i, event in replay.each("lock_on") if BOX in event.places), None)
    deadline = boxed if boxed is not None else replay.first("work_start")
    assigned = replay.first("assign_primary")
    late = assigned is not None and deadline is not None and assigned > deadline
    level = late_or_open(replay, deadline)
    if level and (late or assigned is None):
        event = replay.events[deadline] if deadline is not None else None
        yield Found("LO-40", level, "LO-40.late" if late else "LO-40", event)
    limit = replay.record.site.crew_limit
    for _, event in replay.each("assign_primary"):
        if not replay.authorized(event.primary, event):
            yield Found("LO-40", "V", "LO-40.not_authorised", event, (event.primary,))
        if not event.members:
            yield Found("LO-40", "V", "LO-40.no_members", event, (event.primary,))
        count = len({event.primary, *event.members})
        if limit is not None and count > limit:
            facts = {"count": count, "limit": limit}
            yield Found(
                "LO-40", "V", "LO-40.too_many", event, (event.primary,), facts=facts, site_policy=True
            )


def members(replay: Replay) -> Iterator[Found]:
    """LO-41: every worker is somebody's member; several crews have an authorised coordinator."""
    if not replay.group:
        return
    for i, event in replay.each("work_start"):
        if replay.crew_of(replay.before(i), event.by) is None:
            yield Found("LO-41", "V", "LO-41", event, (event.by,))
    header, assigned = replay.header, [event for _, event in replay.each("assign_primary")]
    if not replay.several_crews:
        return
    named: dict[str, Event | None] = {header.coordinator: None} if header.coordinator else {}
    for event in assigned:
        if event.coordinator:
            named.setdefault(event.coordinator, event)
    started = replay.first("work_start")
    level = late_or_open(replay, started)
    if not named and level:
        yield Found("LO-41", level, "LO-41.no_coordinator")
    for who, since in named.items():
        if not replay.authorized(who, since):
            yield Found("LO-41", "V", "LO-41.coordinator", None, (who,))


def box_left(replay: Replay) -> Iterator[Found]:
    """LO-42, warning: a lock stays on the box longer than the site allows after its owner's last work."""
    limit = replay.record.site.box_lock_limit
    if not replay.group or limit is None or not replay.events:
        return
    for who in replay.workers():
        ends = [i for i, event in replay.each("work_end") if event.by == who]
        if not ends or who in replay.end.working or not replay.moments[ends[-1] + 1].owns(who, BOX):
            continue
        ended = ends[-1]
        off = next(
            (i for i in range(ended + 1, len(replay.moments)) if not replay.before(i).owns(who, BOX)), None
        )
        until = replay.events[off - 1].t if off is not None else replay.record.as_of or replay.events[-1].t
        if until - replay.events[ended].t > limit:
            yield Found("LO-42", "W", "LO-42.left", replay.events[ended], (who,), (BOX,), site_policy=True)

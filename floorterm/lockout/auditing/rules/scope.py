"""LO-01 to LO-03: is the job under the rule, or is it one of the two exceptions (29 CFR 1910.147(a)(2))."""

from collections.abc import Iterator

from floorterm.lockout.auditing.findings import Found
from floorterm.lockout.auditing.replay import Replay

FIVE = ("in_production", "minor", "routine", "repetitive", "integral")
PLUG = frozenset({"electrical_cord"})
CONTROLS = frozenset({"in_hand", "reach_and_sight", "locked"})


def scope(replay: Replay) -> Iterator[Found]:
    """The exception's own test; when it fails the job needed a lockout, so LO-01 is reported with it."""
    found: tuple[Found, ...] = ()
    if replay.header.job_class == "minor_servicing":
        found = tuple(_minor(replay))
    elif replay.header.job_class == "cord_plug":
        found = tuple(_cord_plug(replay))
    yield from found
    for level in ("V", "P"):
        if any(one.level == level for one in found):
            yield Found("LO-01", level, "LO-01")
            return


def _minor(replay: Replay) -> Iterator[Found]:
    header = replay.header
    done = replay.job.closed or replay.first("work_start") is not None
    denied = [name for name in FIVE if header.answers.get(name) is False]
    silent = [name for name in FIVE if name not in header.answers]
    if denied:
        yield Found("LO-02", "V", "LO-02.answers", facts={"answers": ", ".join(denied)})
    if silent:
        yield Found("LO-02", "V" if done else "P", "LO-02.unanswered", facts={"answers": ", ".join(silent)})
    if not header.measure:
        yield Found("LO-02", "V" if done else "P", "LO-02.measure")
    if header.task in replay.record.site.never_exempt:
        yield Found("LO-02", "V", "LO-02.never_exempt", facts={"task": header.task})


def _cord_plug(replay: Replay) -> Iterator[Found]:
    yield from _only_the_plug(replay)
    unplugged, control = False, ""
    working: dict[str, int] = {}
    for i, event in enumerate(replay.events):
        match event.ev:
            case "unplug":
                unplugged = True
            case "plug_control":
                control = event.by if event.how in CONTROLS else ""
                if not control:
                    yield Found("LO-03", "V", "LO-03.control_how", event, facts={"how": event.how or "?"})
            case "plug_in":
                if working:
                    yield Found("LO-03", "V", "LO-03.plugged_in", event, tuple(working))
                unplugged, control = False, ""
            case "work_start":
                if not unplugged or not control:
                    yield Found("LO-03", "V", "LO-03.before_work", event, (event.by,))
                working[event.by] = i
            case "work_end":
                working.pop(event.by, None)
    controllers = {event.by for _, event in replay.each("plug_control")}
    others = tuple(who for who in replay.workers() if who not in controllers or len(controllers) > 1)
    if controllers and others:
        yield Found("LO-03", "V", "LO-03.others", persons=others, by=others)


def _only_the_plug(replay: Replay) -> Iterator[Found]:
    header = replay.header
    further = [energy for energy in header.energies or () if energy not in PLUG]
    further += [p.id for p in replay.procedure.points if p.needs_release or p.device not in (None, "plug")]
    if further:
        yield Found("LO-03", "V", "LO-03.energies", facts={"energies": ", ".join(further)})
    elif not header.energies:
        yield Found("LO-03", "A", "LO-03.energies_unsaid")

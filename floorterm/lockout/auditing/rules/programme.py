"""LO-07, LO-08, LO-13 to LO-16, LS-03: the written procedure and its periodic inspection ((c)(1)-(6))."""

from collections.abc import Iterator
from datetime import date, timedelta
from itertools import chain

from floorterm.lockout.auditing.findings import Found
from floorterm.lockout.auditing.months import months_after
from floorterm.lockout.auditing.reading import CONTENT, EIGHT
from floorterm.lockout.auditing.record import Certificate
from floorterm.lockout.auditing.replay import Replay

_YEAR = 12


def documented(replay: Replay) -> Iterator[Found]:
    """LO-07: a written procedure, or all eight conditions and one plain point with one worker."""
    procedure = replay.procedure
    if procedure.documented:
        return
    if procedure.id and procedure.documented is None and not procedure.flags:
        yield Found("LO-07", "A", "LO-07.unsaid", facts={"procedure": procedure.id})
        return
    lacking = [flag for flag in EIGHT if not procedure.flags.get(flag)]
    plain = len(replay.required) == 1 and not replay.required[0].needs_release
    workers = replay.workers()
    if lacking or not plain or len(workers) > 1:
        facts = {"flags": ", ".join(lacking) or "-"}
        yield Found("LO-07", "V", "LO-07", None, workers, replay.required_ids, facts)


def content(replay: Replay) -> Iterator[Found]:
    """LO-08: the nine parts of the procedure, and a stated verification method for each point."""
    procedure = replay.procedure
    if not procedure.documented and not tuple(documented(replay)):
        return  # no written procedure was needed
    if procedure.content_complete is not None:
        if not procedure.content_complete:
            yield Found("LO-08", "V", "LO-08.incomplete", facts={"procedure": procedure.id})
        return
    if procedure.content is None:
        yield Found("LO-08", "A", "LO-08.unsaid", facts={"procedure": procedure.id or "-"})
    else:
        lacking = [part for part in CONTENT if not procedure.content.get(part)]
        if lacking:
            yield Found("LO-08", "V", "LO-08", facts={"procedure": procedure.id, "parts": ", ".join(lacking)})
    bare = tuple(p.id for p in replay.required if p.verify == "")
    unsaid = tuple(p.id for p in replay.required if p.verify is None)
    if bare:
        yield Found("LO-08", "V", "LO-08.method", points=bare)
    if unsaid and procedure.content is not None:
        yield Found("LO-08", "A", "LO-08.method_unsaid", points=unsaid)


def _newest(replay: Replay, day: date) -> Certificate | None:
    dated = [one for one in replay.procedure.certificates or () if one.dated is not None and one.dated <= day]
    return max(dated, key=lambda one: (one.dated or date.min, one.entry or 0), default=None)


def due(replay: Replay, months: int, day: date) -> date | None:
    """The last day on which the newest inspection, or the newness of the procedure, still counts."""
    newest = _newest(replay, day)
    starts = [newest.dated if newest else None, replay.procedure.effective_on]
    days = [months_after(start, months) for start in starts if start is not None and start <= day]
    if (elsewhere := replay.procedure.due_elsewhere) is not None:
        days.append(elsewhere)
    return max(days, default=None)


def inspected(replay: Replay) -> Iterator[Found]:
    """LO-13, LS-03: inspected within twelve months to the day of the job; reminded before that runs out."""
    day, procedure = replay.day, replay.procedure
    if day is None or not procedure.id:
        return
    last = due(replay, _YEAR, day)
    event = replay.events[replay.first("isolate", "lock_on") or 0]
    facts = {"procedure": procedure.id, "date": day.isoformat(), "due": last.isoformat() if last else "-"}
    if last is None and procedure.certificates is None:
        yield Found("LO-13", "A", "LO-13.unsaid", facts=facts)
        return
    if last is None or day > last:
        yield Found("LO-13", "V", "LO-13", event, facts=facts)
        return
    site = replay.record.site.inspection_months
    if site < _YEAR:
        sooner = due(replay, site, day)
        if sooner is None or day > sooner:
            yield Found("LO-13", "W", "LO-13.site", event, facts={**facts, "months": site}, site_policy=True)
    today = replay.record.as_of.date() if replay.record.as_of else day
    if timedelta(0) <= last - today <= timedelta(days=30):
        yield Found("LS-03", "W", "LS-03", facts=facts)


def certificate(replay: Replay) -> Iterator[Found]:
    """LO-14 to LO-16: inspector, review and content of the certificate that counts on the day of the job."""
    day = replay.day
    if day is None:
        return
    newest = _newest(replay, day)
    if newest is None and replay.procedure.due_elsewhere is not None:
        for rule in ("LO-14", "LO-15", "LO-16"):
            yield Found(rule, "A", "LO-16.elsewhere", facts={"procedure": replay.procedure.id})
        return
    if newest is None:
        undated = [one for one in replay.procedure.certificates or () if one.dated is None]
        if undated:
            yield Found("LO-16", "V", "LO-16", facts={"fields": "date"})
        return
    yield from _inspector(replay, newest)
    yield from _reviewed(replay, newest)
    yield from _fields(replay, newest)


def _inspector(replay: Replay, one: Certificate) -> Iterator[Found]:
    who, on = one.inspector, one.dated or date.min
    facts = {"date": on.isoformat()}
    if who and who in one.users_observed:
        yield Found("LO-14", "V", "LO-14.used", None, (who,), facts=facts, by=(who,))
    person = replay.person_on(who, on, one.entry)
    trained = person is not None and (person.trained is None or person.trained_by(on) is not None)
    if person is None or person.role != "authorized" or not trained:
        yield Found("LO-14", "V", "LO-14.not_authorised", None, (who,), facts=facts, by=(who,))
    if replay.record.site.strict_inspector and who:
        since = months_after(on, -_YEAR)
        jobs = (job for job in replay.record.jobs if job.header.procedure == replay.procedure.id)
        locked = (
            e for e in chain.from_iterable(job.events for job in jobs) if e.ev == "lock_on" and e.by == who
        )
        if any(since <= event.t.date() <= on for event in locked):
            yield Found("LO-14", "V", "LO-14.strict", None, (who,), facts=facts, site_policy=True, by=(who,))


def _reviewed(replay: Replay, one: Certificate) -> Iterator[Found]:
    facts = {"date": (one.dated or date.min).isoformat()}
    inspector = (one.inspector,) if one.inspector else ()
    reviewed = set(one.reviewed or ())
    if one.authorized_then is None:
        yield Found("LO-15", "A", "LO-15.unsaid", facts=facts)
    else:
        missing = tuple(who for who in one.authorized_then if who not in reviewed)
        if missing:
            yield Found("LO-15", "V", "LO-15", None, missing, facts=facts, by=inspector)
    tagged = any(not p.lockable for p in replay.required) or any(e.tag for _, e in replay.each("lock_on"))
    if tagged and one.affected_then is not None:
        missing = tuple(who for who in one.affected_then if who not in reviewed)
        if missing:
            yield Found("LO-15", "V", "LO-15.tags", None, missing, facts=facts, by=inspector)
    elif tagged:
        yield Found("LO-15", "A", "LO-15.tags_unsaid", facts=facts)
    for deviation in one.deviations:
        if not deviation.closed:
            found = {**facts, "deviation": deviation.text or "-"}
            yield Found("LO-15", "V", "LO-15.deviation", None, deviation.persons, facts=found)


def _fields(replay: Replay, one: Certificate) -> Iterator[Found]:
    lacking = [name for name in ("machine", "employees", "inspector") if not getattr(one, name)]
    if lacking:
        yield Found("LO-16", "V", "LO-16", facts={"fields": ", ".join(lacking)})
    if one.machine and replay.procedure.machines and one.machine not in replay.procedure.machines:
        facts = {"machine": one.machine, "procedure": replay.procedure.id}
        yield Found("LO-16", "V", "LO-16.machine", facts=facts)

"""The energy-control steps that compose puts around a section which works under lockout.

The order is that of 29 CFR 1910.147(d) and (e): nobody writes these events by hand. The minutes are the
starter figures for planning (common practice, no source); the ledger's own medians replace them in time.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from decimal import Decimal
from functools import partial

from floorterm.changeover.worksheet import Section, Step, Text
from floorterm.languages import by_language, draft_of
from floorterm.library.model import IsolationPoint, LineFile, LockoutFile, LockoutPolicy
from floorterm.library.model import Text as LibraryText
from floorterm.lockout.model import BOX, Event, Job, Point, Policy
from floorterm.wording import words

_MINUTES: Mapping[Event, Decimal] = {
    Event.NOTIFY_BEFORE: Decimal(1),
    Event.REVIEW: Decimal(1),
    Event.SHUT_DOWN: Decimal(1),
    Event.ISOLATE: Decimal("0.5"),
    Event.LOCK_ON: Decimal("0.5"),
    Event.RELEASE: Decimal(1),
    Event.VERIFY: Decimal(2),
    Event.WORK_END: Decimal("0.5"),
    Event.INSPECT_AREA: Decimal(1),
    Event.ACCOUNT_PEOPLE: Decimal(1),
    Event.LOCK_OFF: Decimal("0.5"),
    Event.NOTIFY_AFTER: Decimal(1),
    Event.RE_ENERGISE: Decimal("0.5"),
    Event.RESTART: Decimal(1),
    Event.CLOSE: Decimal("0.5"),
    Event.ASSIGN_PRIMARY: Decimal(1),
    Event.KEY_IN_BOX: Decimal("0.5"),
    Event.OFFER_VERIFY: Decimal(1),
    Event.CONFIRM_EXCEPTION: Decimal(1),
    Event.UNPLUG: Decimal("0.5"),
    Event.PLUG_CONTROL: Decimal("0.5"),
    Event.PLUG_IN: Decimal("0.5"),
}


def spoken(text: LibraryText | None) -> dict[str, str]:
    """A text of the library as a mapping from language to text; drafts keep their mark."""
    return by_language(text) if text is not None else {}


def _say(languages: Sequence[str], key: str, facts: Mapping[str, Text | str] | None = None) -> dict[str, str]:
    """A wording in each of the languages, filled with the facts of that language; a draft where one of them is one."""
    given = facts or {}
    return {
        draft_of((text for text in given.values() if not isinstance(text, str)), language): words(
            key, language, **given
        )
        for language in languages
    }


def point_of(spec: IsolationPoint) -> Point:
    """An isolation point of a line as a value of a lockout job."""
    return Point(
        id=spec.id,
        name=spoken(spec.name),
        place=spoken(spec.place),
        energies=spec.energies,
        magnitude=spec.magnitude,
        device=spec.device,
        lockable=spec.lockable,
        required=spec.required,
        needs_release=spec.needs_release,
        release_how=spoken(spec.release_how),
        reaccumulates=spec.reaccumulates,
        monitor_min=spec.monitor_min,
        verify_method=spoken(spec.verify.method),
        verify_expect=spoken(spec.verify.expect),
    )


def inspection_due(lockout: LockoutFile, on: date, months: int) -> date:
    """Last day on which the newest inspection dated on or before `on` counts: the same day `months` later.

    A new procedure counts from the day it took effect (29 CFR 1910.147(c)(6)(i)); 29 February counts to the 28th.
    """
    dates = [certificate.date for certificate in lockout.certificates if certificate.date <= on]
    newest = max(dates, default=lockout.effective_on)
    year, month = divmod(newest.month - 1 + months, 12)
    try:
        return newest.replace(year=newest.year + year, month=month + 1)
    except ValueError:
        first = date(newest.year + year, month + 1, 1)
        return (first + timedelta(days=31)).replace(day=1) - timedelta(days=1)


def policy_of(site: LockoutPolicy) -> Policy:
    """The site's policy as a lockout job carries it."""
    return Policy(
        never_exempt=site.never_exempt,
        job_age_limit_h=site.job_age_limit_h,
        crew_limit=site.crew_limit,
        contractor_duties=site.contractor_duties,
        lone_min=site.lone_min,
    )


def job_of(job_id: str, lockout: LockoutFile, line: LineFile, on: date, site: LockoutPolicy) -> Job:
    """The lockout job of a section: procedure revision, points and site policy as they are on that day."""
    points = {point.id: point for point in line.points}
    return Job(
        id=job_id,
        procedure=lockout.id,
        revision=lockout.revision,
        title=spoken(lockout.title),
        machine=spoken(lockout.machine),
        points=tuple(point_of(points[name]) for name in lockout.points),
        affected_duties=line.affected_duties,
        inspection_due=inspection_due(lockout, on, site.inspection_months),
        changed_on=max(lockout.changed_on, lockout.machine_changed_on or lockout.changed_on),
        retrain=_named(lockout, on),
        job_class=lockout.exception or "lockout",
        mode=lockout.mode,
        crews=lockout.crews,
        other_removal=lockout.other_removal,
        task=lockout.task or "",
        measure=spoken(lockout.measure),
        policy=policy_of(site),
    )


def _named(lockout: LockoutFile, on: date) -> tuple[tuple[str, date], ...]:
    """Whom deviations of inspections name, each with the newest day up to `on` ((c)(7)(iii)(B))."""
    found: dict[str, date] = {}
    for certificate in lockout.certificates:
        for code in (code for one in certificate.deviations for code in one.persons):
            if certificate.date <= on:
                found[code] = max(certificate.date, found.get(code, certificate.date))
    return tuple(sorted(found.items()))


def _step(
    job: Job,
    section: str,
    name: str,
    event: Event,
    text: Text,
    after: Iterable[str],
    *,
    point: str = "",
    why: Text | None = None,
    caution: Text | None = None,
) -> Step:
    return Step(
        id=f"{section}/{name}",
        kind="lockout",
        text=text,
        why=why or {},
        caution=caution or {},
        after=tuple(after),
        critical="safety",
        standard_min=_MINUTES[event],
        event=event,
        job=job.id,
        point=point,
    )


def before(job: Job, lockout: LockoutFile, after: Iterable[str], languages: Sequence[str]) -> Section:
    """The section that stands before the work: tell, review, shut down, isolate, lock, relieve, verify.

    In a group somebody takes charge first, the keys go into the lock box, and members lock the box. An exception
    has its conditions instead.
    """
    if job.job_class != "lockout":
        return _conditions(job, after, languages)
    section, group = f"{job.id}-lock", job.mode == "group"
    say = partial(_say, languages)
    steps = [
        _step(job, section, "notify", Event.NOTIFY_BEFORE, say("lock.notify_before"), after,
              why=say("lock.notify_before_why")),
        _step(job, section, "review", Event.REVIEW,
              say("lock.review", {"procedure": job.title, "revision": str(job.revision)}),
              [f"{section}/notify"], why=say("lock.review_why")),
        _step(job, section, "shut-down", Event.SHUT_DOWN, spoken(lockout.shut_down), [f"{section}/review"]),
    ]  # fmt: skip
    if group:
        steps.insert(2, _step(job, section, "crew", Event.ASSIGN_PRIMARY, say("lock.crew"),
                              [f"{section}/review"], why=say("lock.crew_why")))  # fmt: skip
    for point in job.points:
        steps.append(
            _step(job, section, f"isolate-{point.id}", Event.ISOLATE,
                  say("lock.isolate", {"point": point.name, "place": point.place}),
                  [f"{section}/shut-down"], point=point.id,
                  why=say("lock.isolate_why", {"magnitude": point.magnitude}))
        )  # fmt: skip
    for point in job.points:
        steps.append(
            _step(job, section, f"lock-{point.id}", Event.LOCK_ON,
                  say("lock.job_lock" if group else "lock.lock_on", {"point": point.name, "place": point.place}),
                  [f"{section}/isolate-{point.id}"], point=point.id,
                  why=say("lock.job_lock_why" if group else "lock.lock_on_why"))
        )  # fmt: skip
    locks = [f"{section}/lock-{point.id}" for point in job.points]
    if group:
        steps += [
            _step(job, section, f"key-{point.id}", Event.KEY_IN_BOX, say("lock.key_in_box", {"point": point.name}),
                  [f"{section}/lock-{point.id}"], point=point.id, why=say("lock.key_in_box_why"))
            for point in job.points
        ]  # fmt: skip
        locks = [f"{section}/key-{point.id}" for point in job.points]
    relieved = []
    for point in job.points:
        if point.needs_release:
            relieved.append(f"{section}/relieve-{point.id}")
            steps.append(
                _step(job, section, f"relieve-{point.id}", Event.RELEASE,
                      say("lock.relieve", {"point": point.name, "how": point.release_how}),
                      locks, point=point.id, why=say("lock.relieve_why"))
            )  # fmt: skip
    steps.append(
        _step(job, section, "verify", Event.VERIFY, say("lock.verify"), [*locks, *relieved],
              why=say("lock.verify_why"), caution=say("lock.authority"))
    )  # fmt: skip
    if group:
        steps += [
            _step(job, section, "offer", Event.OFFER_VERIFY, say("lock.offer"), [f"{section}/verify"],
                  why=say("lock.offer_why")),
            _step(job, section, "box", Event.LOCK_ON, say("lock.box"), [f"{section}/offer"], point=BOX,
                  why=say("lock.lock_on_why")),
        ]  # fmt: skip
    return Section(id=section, title=say("lock.section_before", {"machine": job.machine}), steps=tuple(steps))


def _conditions(job: Job, after: Iterable[str], languages: Sequence[str]) -> Section:
    """What is confirmed before work that needs no lockout ((a)(2)(ii) note, (a)(2)(iii)(A))."""
    section = f"{job.id}-lock"
    say = partial(_say, languages)
    if job.job_class == "minor_servicing":
        text = say("lock.conditions", {"measure": job.measure})
        steps = [_step(job, section, "conditions", Event.CONFIRM_EXCEPTION, text, after,
                       why=say("lock.conditions_why"), caution=say("lock.conditions_caution"))]  # fmt: skip
    else:
        steps = [
            _step(job, section, "unplug", Event.UNPLUG, say("lock.unplug", {"machine": job.machine}), after,
                  why=say("lock.unplug_why")),
            _step(job, section, "control", Event.PLUG_CONTROL, say("lock.plug_control"), [f"{section}/unplug"],
                  why=say("lock.plug_control_why"), caution=say("lock.plug_caution")),
        ]  # fmt: skip
    title = say("lock.section_conditions", {"machine": job.machine})
    return Section(id=section, title=title, steps=tuple(steps))


def _afterwards(job: Job, after: Iterable[str], languages: Sequence[str]) -> Section:
    section = f"{job.id}-unlock"
    say = partial(_say, languages)
    steps = [_step(job, section, "work-end", Event.WORK_END, say("lock.work_end"), after,
                   why=say("lock.work_end_why"))]  # fmt: skip
    if job.job_class == "cord_plug":
        steps.append(_step(job, section, "plug-in", Event.PLUG_IN, say("lock.plug_in", {"machine": job.machine}),
                           [f"{section}/work-end"]))  # fmt: skip
    steps.append(_step(job, section, "close", Event.CLOSE, say("lock.close"), [steps[-1].id]))
    title = say("lock.section_afterwards", {"machine": job.machine})
    return Section(id=section, title=title, steps=tuple(steps))


def behind(job: Job, lockout: LockoutFile, after: Iterable[str], languages: Sequence[str]) -> Section:
    """The section after the work: everybody out, inspect, account, locks off, tell, re-energise, restart."""
    if job.job_class != "lockout":
        return _afterwards(job, after, languages)
    section = f"{job.id}-unlock"
    say = partial(_say, languages)
    steps = [
        _step(job, section, "work-end", Event.WORK_END, say("lock.work_end"), after, why=say("lock.work_end_why")),
    ]  # fmt: skip
    if job.mode == "group":
        steps.append(_step(job, section, "box-off", Event.LOCK_OFF, say("lock.box_off"), [f"{section}/work-end"],
                           point=BOX, why=say("lock.lock_off_why")))  # fmt: skip
    steps += [
        _step(job, section, "inspect", Event.INSPECT_AREA, say("lock.inspect"), [steps[-1].id]),
        _step(job, section, "account", Event.ACCOUNT_PEOPLE, say("lock.account"), [f"{section}/inspect"],
              why=say("lock.account_why")),
    ]  # fmt: skip
    for point in job.points:
        steps.append(
            _step(job, section, f"lock-off-{point.id}", Event.LOCK_OFF,
                  say("lock.lock_off", {"point": point.name, "place": point.place}),
                  [f"{section}/account"], point=point.id, why=say("lock.lock_off_why"))
        )  # fmt: skip
    steps.append(
        _step(job, section, "notify", Event.NOTIFY_AFTER, say("lock.notify_after"),
              [f"{section}/lock-off-{point.id}" for point in job.points], why=say("lock.notify_after_why"))
    )  # fmt: skip
    for point in reversed(job.points):
        steps.append(
            _step(job, section, f"re-energise-{point.id}", Event.RE_ENERGISE,
                  say("lock.re_energise", {"point": point.name, "place": point.place}),
                  [f"{section}/notify"], point=point.id)
        )  # fmt: skip
    steps.append(
        _step(job, section, "restart", Event.RESTART, spoken(lockout.restart),
              [f"{section}/re-energise-{point.id}" for point in job.points], caution=say("lock.restart_caution"))
    )  # fmt: skip
    steps.append(_step(job, section, "close", Event.CLOSE, say("lock.close"), [f"{section}/restart"]))
    return Section(id=section, title=say("lock.section_after", {"machine": job.machine}), steps=tuple(steps))

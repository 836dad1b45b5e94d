"""Audit of lockout records: rule by rule, with the clause behind each finding (29 CFR 1910.147).

`audit` judges what was recorded. It never says that a machine is safe: the locks, the site's own procedure,
local codes and a competent person decide. What no event can prove comes back as an attestation.
"""

from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from typing import Any

from msgspec.structs import replace

from floorterm.lockout.auditing.fields import RecordError, RecordFault
from floorterm.lockout.auditing.findings import Finding, Found, finding
from floorterm.lockout.auditing.reading import read_record
from floorterm.lockout.auditing.record import Job, Record
from floorterm.lockout.auditing.replay import Replay
from floorterm.lockout.auditing.rules import (
    devices,
    group,
    handover,
    integrity,
    jurisdictions,
    leaving,
    monitoring,
    programme,
    scope,
    sequence,
    special,
    training,
)
from floorterm.lockout.auditing.table import Level, Profile, Rule, profiles, rules

__all__ = [
    "Finding", "Level", "Profile", "Record", "RecordError", "RecordFault", "Rule", "audit", "profiles",
    "read_record", "rules",
]  # fmt: skip

_Check = Callable[[Replay], Iterator[Found]]

# Every job answers for these, whatever its class.
_ANY_JOB: tuple[_Check, ...] = (
    scope.scope, integrity.clock, integrity.signed, integrity.possible, integrity.unbroken, training.valid,
)  # fmt: skip
_LOCKOUT: tuple[_Check, ...] = (
    devices.isolating_devices, devices.locks_not_tags, devices.register, devices.fitness, devices.legends,
    programme.documented, programme.content, programme.inspected, programme.certificate,
    training.trained, training.retrained,
    sequence.who_may, sequence.told_before, sequence.reviewed, sequence.shut_down, sequence.at_work_start,
    sequence.locked_safe, sequence.own_lock, monitoring.monitored,
    leaving.restored, leaving.own_removal, leaving.removed_by_other, leaving.told_after, leaving.nothing_left,
    special.temporary, special.controlled_again, special.contractors,
    group.primary, group.members, group.box_left, handover.continuity,
    integrity.overdue, integrity.arrivals,
)  # fmt: skip
_ADDED: Mapping[str, _Check] = {
    "LP-01": jurisdictions.identified, "LP-02": jurisdictions.proved_tester,
    "LP-03": jurisdictions.staying_on, "LP-04": jurisdictions.earthed, "LP-05": jurisdictions.work_release,
    "LP-06": jurisdictions.attestation, "LP-07": jurisdictions.appointed_only,
    "LP-08": jurisdictions.plug_in_sight,
}  # fmt: skip
_ORDER = {"V": 0, "W": 1, "P": 2, "A": 3}


def audit(
    record: Record | Mapping[str, Any], *, profile: str = "", now: datetime | None = None
) -> tuple[Finding, ...]:
    """Every finding of a record: job by job, violations first, then in the order of the entries.

    `record` is a value or a document as read from YAML or JSON. `profile` overrides the record's jurisdiction;
    `now` is the moment for which open jobs are judged (default: the record's `as_of`, else each job's last
    event). Raises RecordError for a document that cannot be understood, with every fault, and KeyError for a
    jurisdiction that is not in the table.
    """
    whole = record if isinstance(record, Record) else read_record(record)
    if profile:
        whole = replace(whole, profile=profiles()[profile].id)
    if now is not None:
        whole = replace(whole, as_of=now)
    return tuple(found for job in whole.jobs for found in _audited(whole, job))


def _audited(record: Record, job: Job) -> list[Finding]:
    replay = Replay(record, job)
    law = replay.profile
    checks = (*_ANY_JOB, *(_LOCKOUT if job.header.job_class == "lockout" else ()))
    added = [check for rule, check in _ADDED.items() if rule in law.added and _asked(rule, job)]
    found = [
        finding(one, job.id, law.site_policy)
        for check in (*checks, *added)
        for one in check(replay)
        if one.rule not in law.not_asked
    ]
    return sorted(found, key=lambda one: (_ORDER[one.level], one.at_n or 0))


def _asked(rule: str, job: Job) -> bool:
    return job.header.job_class == "lockout" or rule == "LP-08"

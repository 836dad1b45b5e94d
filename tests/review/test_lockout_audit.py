"""The lockouts of a period: which belong to it, who is named, as whom people count, what a year adds up to."""

from datetime import date, timedelta
from typing import Any

import pytest
from msgspec.structs import replace

from floorterm.changeover.acts import Note
from floorterm.demo.clock import SetClock
from floorterm.inspecting import record_attestation, record_inspection
from floorterm.lockout.auditing import Finding
from floorterm.lockout.inspection import Found, Report
from floorterm.lockout.model import Event
from floorterm.people import LockoutStatus
from floorterm.plant import Plant
from floorterm.review.lockout_audit import audit_period, month_of, year_until
from tests.conftest import DAY, PIN, who
from tests.lockout.ledger_jobs import JobOnLedger, inspected, left_early, well_done

NOVEMBER = month_of(DAY)


@pytest.mark.parametrize(
    ("day", "month"),
    [
        (date(2026, 11, 24), (date(2026, 11, 1), date(2026, 12, 1))),
        (date(2026, 12, 31), (date(2026, 12, 1), date(2027, 1, 1))),
        (date(2028, 2, 29), (date(2028, 2, 1), date(2028, 3, 1))),
    ],
)
def test_a_month_runs_from_its_first_day_up_to_the_next(day: date, month: tuple[date, date]) -> None:
    assert month_of(day) == month


def test_a_year_counts_its_last_day_and_leap_days_do_not_break_it() -> None:
    assert year_until(date(2026, 11, 24)) == (date(2025, 11, 25), date(2026, 11, 25))
    assert year_until(date(2028, 2, 28)) == (date(2027, 2, 28), date(2028, 2, 29))


def test_a_whole_lockout_falls_short_of_nothing_and_leaves_what_a_person_must_attest(
    plant: Plant, clock: SetClock
) -> None:
    inspected(plant)
    job = well_done(plant, clock)
    audit = audit_period(plant, *NOVEMBER)
    assert [one.id for one in audit.jobs] == [job.id]
    assert audit.short == ()
    assert audit.jobs[0].closed
    assert audit.jobs[0].people == ("BB",)
    assert {rule.id for rule, _ in audit.waiting()} == {"LO-09", "LO-10", "LO-11", "LO-17"}


def test_what_fell_short_is_named_with_its_rule_its_person_and_its_entry(
    plant: Plant, clock: SetClock
) -> None:
    inspected(plant)
    job, off = left_early(plant, clock)
    audit = audit_period(plant, *NOVEMBER)
    (one,) = audit.short
    (short,) = one.of("V")
    assert (one.id, short.rule, short.entry, short.by) == (job.id, "LO-30", off.n, ("BB",))
    assert audit.name_of("BB") == "B. Brand"
    assert audit.name_of("nobody") == "nobody"


def test_a_job_over_midnight_of_two_months_belongs_to_both_and_is_judged_whole(
    plant: Plant, clock: SetClock
) -> None:
    inspected(plant)
    job = JobOnLedger(plant, clock)
    job.to_work()
    clock.advance(timedelta(days=10))
    job.act(Event.WORK_END)
    for month in (NOVEMBER, month_of(date(2026, 12, 4))):
        audit = audit_period(plant, *month)
        assert [one.id for one in audit.jobs] == [job.id]
        assert audit.jobs[0].events[0].t.date() == DAY
    assert audit_period(plant, *month_of(date(2026, 10, 1))).jobs == ()


def test_people_count_as_they_were_then_so_that_a_later_training_alters_no_earlier_job(
    plant: Plant, clock: SetClock
) -> None:
    inspected(plant)
    well_done(plant, clock)
    clock.advance(timedelta(days=5))
    person = replace(plant.ledger.person("BB"), trained_on=plant.today())  # type: ignore[type-var]
    plant.ledger.change_person(person, by="AD", reason="yearly course")
    assert audit_period(plant, *NOVEMBER).short == ()


def _change(plant: Plant, code: str, **fields: Any) -> int:
    """Change somebody in the record; the number of its entry."""
    return plant.ledger.change_person(replace(plant.ledger.person(code), **fields), by="AD", reason="x").n


def _short(plant: Plant) -> list[Finding]:
    return [one for job in audit_period(plant, *NOVEMBER).jobs for one in job.of("V")]


def _removed_absent(plant: Plant, clock: SetClock) -> JobOnLedger:
    """The locks of B. Brand, who has gone home, taken off by the supervisor under (e)(3); the job closed."""
    job = JobOnLedger(plant, clock)
    job.to_work()
    job.act(Event.WORK_END)
    job.act(Event.INSPECT_AREA, result="ok")
    job.act(Event.ACCOUNT_PEOPLE, result="ok", people=("BB",))
    job.code = "SS"
    job.act(Event.OWNER_ABSENT_CHECK, owner="BB", result="absent")
    job.act(Event.OWNER_CONTACT_TRY, owner="BB", result="not_reached")
    for point in job.job.required:
        job.act(Event.REMOVE_OTHER, points=(point,), owner="BB", lock=f"BB-{point}")
    job.act(Event.NOTIFY_AFTER, people=job.job.affected_duties)
    for point in job.job.required:
        job.act(Event.RE_ENERGISE, points=(point,))
    job.act(Event.RESTART)
    job.act(Event.CLOSE)
    return job


def test_an_event_entered_after_a_training_leaves_those_before_it_as_they_were(
    plant: Plant, clock: SetClock
) -> None:
    """LO-17: on or before the event's own date; what the owner is told next day is another event."""
    inspected(plant)
    job = _removed_absent(plant, clock)
    clock.advance(timedelta(days=1))
    _change(plant, "BB", trained_on=plant.today())
    job.act(Event.OWNER_INFORMED, owner="BB")
    assert not _short(plant)


def test_a_change_of_status_and_a_note_make_no_violation_of_a_job_that_was_whole(
    plant: Plant, clock: SetClock
) -> None:
    """records.md 1.2(g): the role as of the entry."""
    inspected(plant)
    job = well_done(plant, clock)
    clock.advance(timedelta(days=1))
    _change(plant, "BB", lockout=LockoutStatus.AFFECTED)
    plant.act(job.work, Note(text="anything"), who(plant, "AA"), key="note")
    assert not _short(plant)


def test_a_training_entered_afterwards_clears_nothing_and_is_noted(plant: Plant, clock: SetClock) -> None:
    inspected(plant)
    job = JobOnLedger(plant, clock)
    for event, fields in list(job.before())[:4]:
        job.act(event, **fields)
    _change(plant, "BB", trained_on=None)
    point = job.job.required[0]
    locked = job.act(Event.LOCK_ON, points=(point,), lock=f"BB-{point}")
    before = {(one.rule, one.entry) for one in _short(plant) if one.rule in ("LO-17", "LO-19")}
    assert before == {("LO-17", locked.n), ("LO-19", None)}
    entered = _change(plant, "BB", trained_on=DAY - timedelta(days=3))
    plant.act(job.work, Note(text="trained after all"), who(plant, "AA"), key="note")
    job.act(Event.LOCK_OFF, points=(point,), lock=f"BB-{point}")
    found = {one.rule: one for one in _short(plant) if one.rule in ("LO-17", "LO-19")}
    assert {(one.rule, one.entry) for one in found.values()} == before
    assert f"One of 2026-11-21 was entered afterwards, in entry {entered}." in found["LO-17"].text
    assert "entered afterwards" in found["LO-19"].text


def test_a_retraining_entered_afterwards_clears_nothing_and_is_noted(plant: Plant, clock: SetClock) -> None:
    """LO-18: the inspection of today names B. Brand, who goes on without having been trained again."""
    everybody = ("AA", "BB", "QQ", "VV")
    found = (Found(text="lock on the pipe", persons=("BB",)),)
    report = Report(procedure="lockout-stamper-1", on=DAY, observed=("AA",), reviewed=everybody, found=found)
    record_inspection(plant, who(plant, "SS"), report, key="inspected")
    job = JobOnLedger(plant, clock)
    for event, fields in list(job.before())[:-1]:
        job.act(event, **fields)
    (before,) = [one for one in _short(plant) if one.rule == "LO-18"]
    assert before.text.endswith("was trained on 2026-08-16 and not again after the change of 2026-11-24.")
    entered = _change(plant, "BB", trained_on=DAY)
    job.act(Event.RELEASE, points=job.job.required)
    (after,) = [one for one in _short(plant) if one.rule == "LO-18"]
    assert (after.entry, after.level) == (before.entry, "V")
    assert after.text.endswith(f"A training of 2026-11-24 was entered afterwards, in entry {entered}.")


def test_by_whom_is_who_acted_and_not_whom_it_befell(plant: Plant, clock: SetClock) -> None:
    """(c)(6)(i)(C) is the inspector's to do, (e)(3) that of who takes the lock off."""
    report = Report(procedure="lockout-stamper-1", on=DAY, observed=("AA",), reviewed=("AA", "BB"))
    record_inspection(plant, who(plant, "SS"), report, key="inspected")
    job = JobOnLedger(plant, clock)
    job.to_work()
    job.code = "AA"
    job.act(Event.REMOVE_OTHER, points=job.job.required, owner="BB", how="emergency")
    found = {(one.rule, one.by, one.persons) for one in _short(plant)}
    assert ("LO-15", ("SS",), ("QQ", "VV")) in found
    assert ("LO-34", ("AA",), ("AA", "BB")) in found
    assert ("LO-30", ("AA",), ("BB",)) in found


def test_a_training_that_is_still_to_come_takes_no_earlier_one_away(plant: Plant, clock: SetClock) -> None:
    inspected(plant)
    _change(plant, "BB", trained_on=DAY + timedelta(days=7))
    job = JobOnLedger(plant, clock)
    for event, fields in list(job.before())[:4]:
        job.act(event, **fields)
    point = job.job.required[0]
    job.act(Event.LOCK_ON, points=(point,), lock=f"BB-{point}")
    assert not [one for one in _short(plant) if one.rule in ("LO-17", "LO-18", "LO-19")]


def test_an_inspection_of_the_ledger_counts_like_a_certificate_of_the_checklists(
    plant: Plant, clock: SetClock
) -> None:
    """The starter set's certificate names an inspector whom this plant does not know (LO-14)."""
    well_done(plant, clock)
    before = audit_period(plant, *NOVEMBER)
    assert [one.rule for one in before.jobs[0].of("V")] == ["LO-14"]
    inspected(plant)  # on the same day, so that it is the newest that counts
    assert audit_period(plant, *NOVEMBER).short == ()


def test_an_inspector_whom_the_record_learns_of_after_the_job_does_not_make_it_whole(
    plant: Plant, clock: SetClock
) -> None:
    """LO-14: the starter set's certificate names an inspector whom this plant does not know yet."""
    well_done(plant, clock)
    (text,) = [one.text for one in _short(plant)]
    (certificate,) = plant.library.lockouts["lockout-stamper-1"].certificates
    trained = certificate.date - timedelta(days=10)
    inspector = replace(plant.ledger.person("BB"), code=certificate.inspector, badge="", trained_on=trained)
    plant.ledger.add_person(inspector, PIN, by="AD")
    assert [one.text for one in _short(plant)] == [text]
    well_done(plant, clock)
    assert [one.text for one in _short(plant)] == [text], "of a job from then on they were on record"


@pytest.mark.parametrize("gone", [False, True])
def test_a_new_revision_of_a_procedure_takes_no_inspection_of_the_ledger_away(
    plant: Plant, clock: SetClock, gone: bool
) -> None:
    """LO-15 of the newest certificate on or before the job (lockout.md 2.5.4), whatever the checklists say since."""
    name = "lockout-stamper-1"
    report = Report(procedure=name, on=plant.today(), observed=("AA",), reviewed=("AA", "BB"))
    record_inspection(plant, who(plant, "SS"), report, key="inspected")
    well_done(plant, clock)
    ((rule, text),) = [(one.rule, one.text) for one in _short(plant)]
    assert (rule, text) == ("LO-15", "Inspection of 2026-11-24: not reviewed with QQ, VV.")
    lockouts = dict(plant.library.lockouts)
    written = lockouts.pop(name)
    if not gone:
        lockouts[name] = replace(written, revision=written.revision + 1)
    plant = Plant(replace(plant.library, lockouts=lockouts), plant.ledger, "T1")
    assert [one.text for one in _short(plant)] == [text]
    attest = {one.rule for job in audit_period(plant, *NOVEMBER).jobs for one in job.of("A")}
    assert "LO-08" in attest  # what the revision of then stated, the checklists do not say any more
    assert not {"LO-13", "LO-14", "LO-15", "LO-16"} & attest


def test_a_job_of_an_earlier_revision_without_a_certificate_of_its_time_leaves_them_to_attest(
    plant: Plant, clock: SetClock
) -> None:
    well_done(plant, clock)
    clock.advance(timedelta(days=1))
    inspected(plant)
    lockouts = dict(plant.library.lockouts)
    del lockouts["lockout-stamper-1"]
    plant = Plant(replace(plant.library, lockouts=lockouts), plant.ledger, "T1")
    assert not _short(plant)
    attest = {one.rule for job in audit_period(plant, *NOVEMBER).jobs for one in job.of("A")}
    assert {"LO-14", "LO-15", "LO-16"} <= attest


def test_an_attestation_settles_what_waits_and_is_no_finding_that_went_away(
    plant: Plant, clock: SetClock
) -> None:
    inspected(plant)
    job = well_done(plant, clock)
    record_attestation(plant, who(plant, "VV"), "LO-10", [job.id], "each lock looked at", key="word")
    audit = audit_period(plant, *NOVEMBER)
    assert "LO-10" not in {rule.id for rule, _ in audit.waiting()}
    assert "LO-10" in {one.rule for one in audit.jobs[0].of("A")}
    counted = {one.rule.id: one for one in audit.by_rule()}
    assert counted["LO-10"].attested == 1
    assert counted["LO-09"].attested == 0


def test_the_sum_by_rule_counts_findings_and_the_jobs_that_fell_short(plant: Plant, clock: SetClock) -> None:
    inspected(plant)
    well_done(plant, clock)
    left_early(plant, clock)
    audit = audit_period(plant, *year_until(plant.today()))
    by = {one.rule.id: one for one in audit.by_rule()}
    assert (by["LO-30"].counts["V"], by["LO-30"].jobs_short) == (1, 1)
    assert by["LO-36"].counts["P"] == 1
    assert by["LO-10"].counts["A"] == 2
    assert sum(one.counts.get("V", 0) for one in by.values()) == audit.count("V")


def test_the_jurisdiction_is_the_plants_own_and_may_be_overruled(plant: Plant, clock: SetClock) -> None:
    well_done(plant, clock)
    assert audit_period(plant, *NOVEMBER).profile == "US"
    other = audit_period(plant, *NOVEMBER, profile="EU")
    assert other.profile == "EU"
    (short,) = other.jobs[0].of("V")
    assert (short.rule, short.site_policy) == ("LO-14", True)

"""Steps from paper: their own kind of fact, with both times; they tell the past and change no lock."""

from datetime import datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from floorterm.changeover.acts import Dispose, LateStep, Pause, Redirect, Release, act_from_value
from floorterm.changeover.compose import compose
from floorterm.changeover.entering import Given, Speaker
from floorterm.changeover.fold import fold
from floorterm.changeover.late_entry import late_act, late_given, late_spec
from floorterm.changeover.lockout_record import record_of
from floorterm.changeover.queries import needs_pin, witness_duty
from floorterm.changeover.state import Signed
from floorterm.changeover.view import checklist, view
from floorterm.changeover.worksheet import to_json
from floorterm.library.model import Library
from floorterm.lockout.auditing import audit
from floorterm.people import LockoutStatus, Person, PersonThen
from floorterm.shift.summarise import summarise
from floorterm.shift.summary import differences
from floorterm.shift.window import Window
from floorterm.wording import Refusal, Say, sentence
from tests.changeover.sheets import (
    IVER,
    LOCK_STEPS,
    ODE,
    PELL,
    PEOPLE,
    PLANT,
    START,
    TAMM,
    UNLOCK_STEPS,
    WORK_STEPS,
    Record,
    changeover,
    good_entry,
    locked,
    lockout_act,
    procedure,
    unlocked,
    without_lockout,
)

OUTAGE = "the server was down"
PREPARED = ["prep/stop", "prep/nose", "prep/label", "prep/why", "clear/old"]


def at(minutes: float) -> datetime:
    """A time of the paper, in minutes after the start of the work."""
    return (START + timedelta(minutes=minutes)).astimezone(PLANT)


def paper(record: Record, step: str, minutes: float, by: Person = ODE, **more: object) -> LateStep:
    """A good entry of a paper for a step."""
    sheet_step = record.state.worksheet.step(step)
    assert sheet_step is not None, step
    good = good_entry(record.state, sheet_step, by)
    fields = ("number", "choice", "text", "scanned", "kg", "counter", "lock", "result", "people", "how")
    values = {name: getattr(good, name) for name in fields}
    return LateStep(
        step=step,
        done_at=at(minutes),
        by=by.code,
        by_name=by.name,
        reason=OUTAGE,
        **{**values, **more},  # type: ignore[arg-type]
    )


def on_paper(record: Record, *steps: str, begin: float, by: Person = ODE, **more: object) -> Record:
    """Steps that were done one a minute on paper, entered by M. Tamm with J. Pell beside them."""
    for place, step in enumerate(steps):
        record.do(paper(record, step, begin + place, by, **more), TAMM, PELL)
    return record


def waited(minutes: float = 60) -> Record:
    return Record().wait(minutes)


def test_a_step_from_paper_stands_with_both_times_and_both_people() -> None:
    record = waited()
    record.do(paper(record, "prep/stop", 5), TAMM)
    signed = record.state.signed["prep/stop"]
    assert (signed.done_at, signed.done_by) == (at(5), "ODE")
    assert (signed.at, signed.person) == (at(61), "TAMM")
    assert signed.paper is not None
    assert signed.paper.reason == OUTAGE


def test_the_entry_is_read_back_from_its_own_value() -> None:
    act = paper(waited(), "prep/stop", 5)
    assert act_from_value(LateStep.KIND, to_json(act)) == act
    with pytest.raises(ValueError, match="timezone"):
        act_from_value(LateStep.KIND, to_json(act) | {"done_at": "2026-03-02T08:05:00"})


def _refused(act: LateStep, record: Record, *people: Person) -> list[str]:
    return record.keys(act, *(people or (TAMM, PELL)))


def begun() -> Record:
    return waited().do(paper(waited(), "prep/stop", 5), TAMM)


def stranger(**more: object) -> LateStep:
    return replace(paper(begun(), "prep/nose", 10), **more)  # type: ignore[arg-type]


ROWS = [
    ("before the work began", replace(stranger(), done_at=at(-1)), "late_time"),
    ("not yet", replace(stranger(), done_at=at(600)), "late_time"),
    ("a time without its zone", replace(stranger(), done_at=at(10).replace(tzinfo=None)), "late_time"),
    ("no reason", stranger(reason=" "), "late_reason_missing"),
    ("what comes before is missing", paper(begun(), "prep/cool", 30), "late_after"),
    ("before what comes before", replace(stranger(), done_at=at(3)), "late_before"),
    ("nobody of this plant", stranger(by="XX", by_name="X. Xu"), "late_unknown"),
    ("another name", stranger(by_name="R. Oder"), "late_unknown"),
    ("a number that is none", stranger(number="warm"), "no_number"),
    ("no such step", stranger(step="prep/nowhere"), "unknown_step"),
    ("signed already", paper(begun(), "prep/stop", 6), "signed_already"),
]


@pytest.mark.parametrize(("act", "key"), [row[1:] for row in ROWS], ids=[row[0] for row in ROWS])
def test_what_is_no_honest_paper_is_refused(act: LateStep, key: str) -> None:
    assert key in _refused(act, begun())


def test_whoever_signed_the_paper_has_the_duty_of_the_step() -> None:
    record = waited()
    assert record.keys(paper(record, "prep/stop", 5, PELL), TAMM) == ["duty"]


def test_a_second_signature_of_the_step_is_asked_of_the_paper() -> None:
    record = begun().do(paper(begun(), "clear/old", 6), TAMM)
    act = paper(record, "clear/line", 8)
    assert _refused(act, record) == ["late_paper_witness"]
    assert _refused(replace(act, seen_by="ODE", seen_by_name=ODE.name), record) == ["witness_is_signer"]
    assert _refused(replace(act, seen_by="PELL", seen_by_name=PELL.name), record) == ["witness_duty"]
    assert _refused(replace(act, seen_by="TAMM", seen_by_name=TAMM.name), record) == []


def test_critical_and_lockout_steps_need_a_supervisor_who_looks_at_the_paper() -> None:
    record = begun()
    act = paper(record, "screen-lock/notify", 10)
    assert record.keys(act, TAMM) == ["late_supervisor_missing"]
    assert record.keys(act, TAMM, ODE) == ["late_supervisor_other"], "not the one who did it"
    assert record.keys(act, PELL, PELL) == ["late_supervisor_other"]
    assert record.keys(act, TAMM, PELL) == []
    assert needs_pin(record.worksheet, act, None)
    assert witness_duty(record.worksheet, act) == "supervisor"
    assert record.keys(stranger(), TAMM) == [], "a plain reading needs none"


def test_a_dwell_counts_by_the_times_of_the_paper() -> None:
    record = begun().do(stranger(), TAMM)
    assert _refused(paper(record, "prep/cool", 19), record) == ["late_dwell"]
    assert _refused(paper(record, "prep/cool", 20), record) == []
    assert "prep/cool" not in record.state.signed
    record.sign("prep/cool")  # a live signature counts the dwell from the paper's time too
    assert "prep/cool" in record.state.signed


def test_a_flush_by_paper_is_no_faster_than_the_line(library: Library) -> None:
    """By hand: 400 kg at 1.25 times 600 kg/h take 32 minutes; a paper's minute may be any part of it."""
    note = compose(library, "L1", "palmarosa", "juniper", START.date()).flush
    assert note is not None
    note = replace(note, rate_kg_h=Decimal(600))
    record = Record(worksheet=replace(changeover(), flush=note))
    unlocked(record)
    closed = record.state.signed["screen-unlock/close"].done_at
    begun_at = (closed.replace(second=0, microsecond=0) - START) / timedelta(minutes=1)
    record.wait(60)
    assert _refused(paper(record, "flush/push", begun_at + 30, kg=Decimal(400)), record) == [
        "late_flush_time"
    ]
    assert _refused(paper(record, "flush/push", begun_at + 31, kg=Decimal(400)), record) == []
    assert _refused(paper(record, "flush/push", begun_at, kg=Decimal(13)), record) == []
    assert _refused(paper(record, "flush/push", begun_at, kg=Decimal(14)), record) == ["late_flush_time"]
    (refusal,) = record.may(paper(record, "flush/push", begun_at + 9, kg=Decimal("400")), TAMM, PELL)
    assert "pushed 400 kg in 10 minutes" in sentence(refusal.say)
    assert "it can push 125 kg in that" in sentence(refusal.say)


def test_whoever_did_it_on_paper_does_not_decide_alone_about_what_came_of_it() -> None:
    record = begun()
    record.do(paper(record, "prep/nose", 10, IVER, number="900"), TAMM, PELL)
    (deviation,) = record.state.deviations
    act = Dispose(deviation=deviation.n, decision="accept", reason="as before")
    assert record.keys(act, IVER) == ["not_alone_on_own_deviation"]
    assert record.keys(act, IVER, ODE) == []
    assert record.keys(act, PELL) == []


def test_what_was_done_before_a_pause_is_entered_during_it() -> None:
    record = begun().do(Pause(reason="break"), ODE)
    assert _refused(stranger(), record) == []
    record.wait(30)
    assert "paused" in _refused(replace(stranger(), done_at=at(80)), record)


def test_a_value_out_of_limits_raises_its_deviation_at_entering() -> None:
    record = begun().do(stranger(number="50"), TAMM)
    (deviation,) = record.state.open_deviations
    assert deviation.n == record.state.signed["prep/nose"].n


# --- lockout ------------------------------------------------------------------------------------------


def by_paper_alone() -> Record:
    """A whole lockout on paper while the record was down."""
    record = begun()
    on_paper(record, *LOCK_STEPS, begin=10)
    on_paper(record, *WORK_STEPS, begin=25)
    return on_paper(record, *UNLOCK_STEPS, begin=35)


def test_a_lockout_on_paper_never_looks_as_if_it_were_there_now() -> None:
    record = begun()
    before = record.state.locks
    on_paper(record, *LOCK_STEPS, begin=10)
    assert record.state.locks == before
    assert not record.state.locks_on()
    assert not set(LOCK_STEPS) & set(record.state.signed), "no step of it counts yet"
    assert "after" in record.keys(good_entry(record.state, record.worksheet.step("screen/pull"), ODE))  # type: ignore[arg-type]
    marks = {row.id: row.mark for row in checklist(record.state, ODE, record.now, "en")}
    assert {marks[step] for step in LOCK_STEPS} == {"paper"}


def test_a_whole_lockout_on_paper_counts_once_nothing_of_it_is_left() -> None:
    record = begun()
    on_paper(record, *LOCK_STEPS, begin=10)
    on_paper(record, *WORK_STEPS, begin=25)
    on_paper(record, *UNLOCK_STEPS, begin=35)
    assert {*LOCK_STEPS, *WORK_STEPS, *UNLOCK_STEPS} <= set(record.state.signed)
    assert not record.state.open_deviations
    assert not any(job.events for job in record.state.locks.values())
    assert "release_lockout_open" not in record.keys(Release(), PELL)


def test_somebody_who_locks_now_takes_the_paper_out_of_the_count_until_they_have_closed() -> None:
    record = by_paper_alone()
    record.force(lockout_act("lock_on", ODE, "D1"), ODE)
    assert not {*LOCK_STEPS, *UNLOCK_STEPS} & set(record.state.signed)
    assert "release_locks_on" in record.keys(Release(), PELL)


def test_the_audit_judges_paper_by_its_times_and_asks_somebody_to_compare() -> None:
    record = by_paper_alone()
    found = audit(record_of(record.state, PEOPLE.values(), as_of=record.now))
    assert not [one for one in found if one.level == "V"]
    (asked,) = [one for one in found if one.rule == "LR-04"]
    assert asked.level == "A"
    assert "from paper" in asked.text
    assert "08:10 to 2026-03-02 08:44" in asked.text
    (job,) = record_of(record.state, PEOPLE.values()).jobs
    assert all(event.late and event.claimed and event.entered for event in job.events)
    assert all(event.entered > event.claimed for event in job.events)  # type: ignore[operator]


def test_the_audit_judges_paper_by_the_people_of_its_time() -> None:
    """Somebody who is no longer authorised when the paper is entered was so when they locked (records.md 1.2(g))."""
    record = by_paper_alone()
    then = [PersonThen(n, START, one) for n, one in enumerate(PEOPLE.values(), start=1)]
    left = PersonThen(20, record.now, replace(ODE, lockout=LockoutStatus.AFFECTED))
    found = audit(record_of(record.state, (*then, left), as_of=record.now))
    assert not [one for one in found if one.level == "V"]
    before = PersonThen(20, START, replace(ODE, lockout=LockoutStatus.AFFECTED))
    found = audit(record_of(record.state, (*then, before), as_of=record.now))
    assert "LO-20" in {one.rule for one in found if one.level == "V"}


def test_work_on_paper_without_a_proved_lockout_is_taken_down_and_raises_a_deviation() -> None:
    record = locked()  # ODE's locks are on in the record; TAMM worked on paper without any
    record.wait(20)
    record.do(paper(record, "screen/pull", 25, TAMM), ODE, PELL)
    (deviation,) = record.state.open_deviations
    assert deviation.critical == "safety"
    assert deviation.key == "changeover.deviation.late_unproved"
    assert "M. Tamm" in sentence(Say(deviation.key, deviation.facts))
    assert "TAMM" not in record.state.locks["screen"].at_work
    found = audit(record_of(record.state, PEOPLE.values(), as_of=record.now))
    assert any(one.level == "V" and "TAMM" in one.persons for one in found)


def test_work_on_paper_under_locks_of_the_record_raises_none() -> None:
    record = locked()
    record.wait(5)
    record.do(paper(record, "screen/pull", 14), TAMM, PELL)
    assert not record.state.open_deviations
    found = audit(record_of(record.state, PEOPLE.values(), as_of=record.now))
    assert not [one for one in found if one.level == "V"]


def test_a_lock_on_paper_names_its_number_and_each_owner_has_their_own() -> None:
    record = begun()
    on_paper(record, *LOCK_STEPS[:5], begin=10)
    lock = paper(record, "screen-lock/lock-D1", 20)
    assert _refused(replace(lock, lock=" "), record) == ["late_lock_missing"]
    record.do(lock, TAMM, PELL)
    assert _refused(lock, record) == ["signed_already"]
    other = replace(lock, by="TAMM", by_name=TAMM.name, lock="TAMM-D1")
    assert record.keys(other, ODE, PELL) == []


def test_a_procedure_done_wholly_on_paper_can_be_ended() -> None:
    record = Record(procedure()).wait(60)
    on_paper(record, *LOCK_STEPS, begin=5)
    on_paper(record, "screen/clear", begin=20)
    on_paper(record, *UNLOCK_STEPS, begin=25)
    assert record.keys(Release()) == []


def lock_off(record: Record, by: Person, value: str) -> LateStep:
    """A lock-off from paper as a person types it, with the lock's number that stands there."""
    step = record.state.worksheet.step("screen-unlock/lock-off-D1")
    assert step is not None
    return late_act(record.state, step, Given(text=value), done_at=at(40), by=by, reason=OUTAGE)


def off_on_paper(by: Person, value: str) -> list[str]:
    """What the audit finds of LO-33 when a lock of R. Ode's lockout came off by that paper."""
    record = locked().walk(*WORK_STEPS, *UNLOCK_STEPS[:3]).wait(60)
    record.do(lock_off(record, by, value), ODE if by is TAMM else TAMM, PELL)
    found = audit(record_of(record.state, PEOPLE.values(), as_of=record.now))
    return [one.text for one in found if one.rule == "LO-33"]


def test_a_lock_taken_off_keeps_the_number_of_the_paper() -> None:
    record = locked()
    assert lock_off(record, ODE, " WRONGLOCK ").lock == "WRONGLOCK"
    assert lock_off(record, TAMM, "ODE-D1").lock == "ODE-D1"
    assert lock_off(record, ODE, "").lock == "ODE-D1", "the only one of their own"
    assert lock_off(record, TAMM, "").lock == "", "no number is invented"


def test_the_audit_sees_another_lock_on_paper_than_the_record_has() -> None:
    (other,) = off_on_paper(ODE, "WRONGLOCK")
    assert "took off lock WRONGLOCK at D1, where it was not on" in other
    assert off_on_paper(ODE, "ODE-D1") == off_on_paper(ODE, "") == []


def test_the_audit_sees_whose_lock_another_person_took_off_on_paper() -> None:
    (seen,) = off_on_paper(TAMM, "ODE-D1")
    assert "took off lock ODE-D1 of ODE at D1" in seen


def test_the_audit_sees_a_lock_that_a_paper_takes_from_where_none_is() -> None:
    record = begun()
    on_paper(record, *LOCK_STEPS, begin=10)
    on_paper(record, *WORK_STEPS, begin=25)
    on_paper(record, *UNLOCK_STEPS[:4], begin=35)
    record.force(replace(paper(record, "screen-unlock/lock-off-D1", 50, TAMM), lock="TAMM-9"), ODE, PELL)
    found = audit(record_of(record.state, PEOPLE.values(), as_of=record.now))
    assert "took off lock TAMM-9 at D1, where it was not on" in "".join(
        one.text for one in found if one.rule == "LO-33"
    )


TYPED = [
    ("screen/look", "whole,torn", None, "late_one_answer"),
    ("screen/look", "fine", None, "late_unknown_answer"),
    ("screen-lock/notify", "nobody", None, "late_unknown_answer"),
    ("clear/old", "NOT DONE, cups still dirty", None, "late_no_value"),
    ("clear/old", "", 5, "late_no_counter"),
]


@pytest.mark.parametrize(("name", "value", "counter", "key"), TYPED)
def test_nothing_that_a_paper_says_is_dropped(name: str, value: str, counter: int | None, key: str) -> None:
    state = waited().state
    step = state.worksheet.step(name)
    assert step is not None
    refusal = late_given(step, late_spec(state, step, Speaker(language="en")), value, counter)
    assert isinstance(refusal, Refusal)
    assert refusal.say.key == f"changeover.{key}"


def test_a_second_entry_is_refused_with_the_time_of_the_paper() -> None:
    record = begun()
    refusals = record.may(paper(record, "prep/stop", 6), TAMM, PELL)
    (said,) = [sentence(one.say) for one in refusals if one.say.key == "changeover.signed_already"]
    assert "R. Ode" in said
    assert "08:05" in said


def test_a_deviation_from_paper_tells_when_and_by_whom_it_was_done() -> None:
    record = begun()
    record.do(paper(record, "prep/nose", 10, number="99"), TAMM)
    (one,) = record.state.deviations
    assert (one.done_at, one.done_by_name) == (at(10), "R. Ode")
    assert (one.at, one.by_name) == (at(62), "M. Tamm")


# --- what is shown ------------------------------------------------------------------------------------


def test_list_and_heading_say_that_it_is_by_paper() -> None:
    record = begun()
    now = record.now.astimezone(PLANT)
    row = next(row for row in checklist(record.state, ODE, now, "en") if row.id == "prep/stop")
    assert row.note.endswith("08:05 R. Ode (paper; entered 09:01 M. Tamm)")
    shown = view(record.state, ODE, now, "es")
    assert "(según papel)" in shown.clock.text
    assert shown.clock.minutes == 56, "by the paper's time"
    assert shown.before is not None
    assert shown.before.name == "R. Ode (papel; anotado 09:01 M. Tamm)"


# --- properties ---------------------------------------------------------------------------------------


def _plain(signed: Signed) -> Signed:
    """A signature without the marks of paper: as if it had been signed when and by whom the paper says."""
    if signed.paper is None:
        return signed
    return replace(signed, at=signed.done_at, person=signed.paper.person, name=signed.paper.name, paper=None)


@settings(max_examples=40)
@given(late=st.sets(st.sampled_from(PREPARED)), numbers=st.sampled_from(["40", "50"]))
def test_late_entries_give_the_same_state_as_signing_at_once_except_for_their_marks(
    late: set[str], numbers: str
) -> None:
    record, live = Record(), Record()
    for place, step in enumerate(PREPARED):
        more = {"number": numbers} if step == "prep/nose" else {}
        record.now = live.now = START + timedelta(minutes=10 * place)
        live.sign(step, ODE, **more)
        if step in late:
            record.wait(5).do(paper(record, step, 10 * place + 1, **more), TAMM)
        else:
            record.sign(step, ODE, **more)
    state = record.state
    assert state.signed.keys() == live.state.signed.keys()
    for step in late:
        mine, other = _plain(state.signed[step]), live.state.signed[step]
        assert replace(mine, n=0, at=other.at) == replace(other, n=0), step
        assert mine.at == other.at.astimezone(PLANT)
    assert [one.key for one in state.deviations] == [one.key for one in live.state.deviations]
    assert state.locks == live.state.locks
    assert fold("C-0001", record.entries) == state


@settings(max_examples=25)
@given(st.lists(st.sampled_from([*LOCK_STEPS, *WORK_STEPS, *UNLOCK_STEPS]), max_size=12), st.booleans())
def test_nothing_from_paper_changes_a_lock_or_who_is_at_work(steps: list[str], live: bool) -> None:
    record = (locked() if live else begun()).wait(60)
    for place, step in enumerate(steps):  # whatever a record holds, refused or not
        before = record.state.locks
        record.force(paper(record, step, 30 + place), TAMM, PELL)
        assert record.state.locks == before
        assert record.state.locks_on() == tuple(lock for job in before.values() for lock in job.locks_on())


def test_what_a_late_entry_raised_belongs_to_the_shift_in_which_it_was_done() -> None:
    record = begun().wait(600)
    begin, turn, end = START - timedelta(hours=1), START + timedelta(hours=7), START + timedelta(hours=15)
    early = Window("early", {"en": "early"}, START.date(), begin.astimezone(PLANT), turn.astimezone(PLANT))
    late = Window("late", {"en": "late"}, START.date(), turn.astimezone(PLANT), end.astimezone(PLANT))
    before = summarise(early, [record.state], (), record.now)
    record.do(paper(record, "prep/nose", 10, number="900"), TAMM, PELL)
    (deviation,) = record.state.deviations
    assert late.holds(deviation.at)
    assert early.holds(deviation.done_at)
    told = [summarise(window, [record.state], (), record.now) for window in (early, late)]
    assert [[one.n for one in summary.deviations] for summary in told] == [[deviation.n], [deviation.n]]
    after = told[0]
    assert [say.key for say in differences(before, after)] == ["shift.diff_deviation", "shift.diff_sign_off"]
    unnamed = replace(after, deviations=())
    told_otherwise = replace(after, deviations=(replace(after.deviations[0], at="", by="M. Tamm"),))
    for signed in (unnamed, told_otherwise):  # as an earlier version signed it
        assert differences(signed, after, after_n=deviation.n) == ()


@pytest.mark.parametrize("live", [False, True], ids=["on paper alone", "half of it in the record"])
def test_a_redirect_takes_no_lockout_on_paper_out_of_the_audit(live: bool) -> None:
    record = locked().wait(60) if live else on_paper(waited(), "prep/stop", *LOCK_STEPS, begin=5)
    on_paper(record, *WORK_STEPS, begin=40)
    before = record_of(record.state, PEOPLE.values(), as_of=record.now)
    record.force(Redirect(reason="another order", worksheet=to_json(without_lockout())), PELL)
    assert record.state.worksheet.jobs == ()
    after = record_of(record.state, PEOPLE.values(), as_of=record.now)
    assert any(event.entered for job in before.jobs for event in job.events)
    assert [job.events for job in after.jobs] == [job.events for job in before.jobs]

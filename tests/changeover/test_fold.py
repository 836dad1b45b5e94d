"""The state of a piece of work is a fold over its entries: always the same, and nothing gets lost."""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from floorterm.changeover.acts import (
    Abandon,
    CorrectStep,
    Dispose,
    Note,
    Pause,
    PushFlush,
    RaiseDeviation,
    Release,
    RepeatSection,
    Resume,
    ReviseFlush,
    UnknownActError,
)
from floorterm.changeover.fold import NotStartedError, apply, fold
from floorterm.changeover.worksheet import Worksheet
from floorterm.entries import canonical
from floorterm.lockout.model import Event
from floorterm.wording import LANGUAGES, Say, sentence
from tests.changeover import sheets
from tests.changeover.sheets import (
    ODE,
    PELL,
    TAMM,
    Record,
    finished,
    locked,
    lockout_act,
    towards,
    unlocked,
)


def deviations(record: Record) -> list[str]:
    return [one.key.removeprefix("changeover.deviation.") for one in record.state.deviations]


# --- the fold itself --------------------------------------------------------------------------------


def test_a_record_that_does_not_begin_with_the_start_is_refused():
    with pytest.raises(NotStartedError):
        fold("C-0001", [])
    with pytest.raises(NotStartedError):
        fold("C-0001", Record().sign("prep/stop").entries[1:])


def test_an_entry_of_an_unknown_kind_is_an_error_and_never_skipped():
    record = Record()
    strange = replace(record.entries[0], kind="step.teleported", value={})
    with pytest.raises(UnknownActError):
        apply(record.state, strange)


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_folding_in_halves_equals_folding_at_once(data):
    record = finished().do(Release(), PELL)
    cut = data.draw(st.integers(1, len(record.entries)))
    state = fold("C-0001", record.entries[:cut])
    for entry in record.entries[cut:]:
        state = apply(state, entry)
    assert state == fold("C-0001", record.entries) == record.state


def test_every_act_survives_the_canonical_json_of_an_entry():
    record = finished()
    for entry in record.entries:
        assert canonical(entry.value)


def test_times_in_the_state_are_the_plants_wall_clock():
    record = Record().sign("prep/stop")
    assert record.state.signed["prep/stop"].at.isoformat() == "2026-03-02T08:01:00-06:00"


# --- steps ------------------------------------------------------------------------------------------


def test_a_reading_out_of_limits_is_kept_as_entered_and_raises_a_deviation():
    record = Record().sign("prep/stop").sign("prep/nose", number="46,5")
    signed = record.state.signed["prep/nose"]
    assert (signed.act.number, signed.within) == ("46,5", False)
    (deviation,) = record.state.open_deviations
    assert (deviation.key, deviation.n, deviation.step) == ("changeover.deviation.high", 3, "prep/nose")
    assert deviation.facts == {"value": "46,5", "unit": "C", "low": "38", "high": "45"}


@pytest.mark.parametrize(
    ("number", "expected"), [("38", []), ("45", []), ("37.9", ["low"]), ("45,01", ["high"])]
)
def test_the_limits_themselves_are_within(number, expected):
    assert deviations(Record().sign("prep/stop").sign("prep/nose", number=number)) == expected


def test_every_deviation_is_a_sentence_in_every_language():
    record = locked().sign("screen/pull").sign("screen/look", choice="torn")
    record.force(sheets.SignStep(step="prep/nose", number="50"), ODE, identity="unconfirmed")
    record.force(sheets.SignStep(step="prep/nose", number="5"), ODE)
    record.force(sheets.SignStep(step="flush/push", kg=Decimal(3)), ODE)
    record.do(lockout_act("verify", TAMM, result="not_zero"), TAMM)
    record.do(lockout_act("lock_off", ODE), ODE).do(RaiseDeviation(text="oil on the floor"), TAMM)
    kinds = {"choice", "high", "low", "unconfirmed", "flush", "not_zero", "lock_off_at_work", "raised"}
    assert set(deviations(record)) == kinds
    for one in record.state.deviations:
        for language in LANGUAGES:
            assert "{" not in sentence(Say(one.key, one.facts), language)


def test_a_correction_counts_from_then_on_and_names_its_entry():
    record = Record().sign("prep/stop").sign("prep/nose", number="40")
    record.do(CorrectStep(step="prep/nose", corrects=3, reason="misread", number="41"))
    signed = record.state.signed["prep/nose"]
    assert (signed.act.number, signed.n, signed.corrected_by) == ("41", 3, 4)
    assert record.state.history[-1] == signed


def test_a_correction_into_the_limits_leaves_the_deviation_open_and_one_out_of_them_raises_one():
    record = Record().sign("prep/stop").sign("prep/nose", number="50")
    record.do(CorrectStep(step="prep/nose", corrects=3, reason="misread", number="41"))
    assert record.state.signed["prep/nose"].within
    assert [one.n for one in record.state.open_deviations] == [3]
    record.do(CorrectStep(step="prep/nose", corrects=4, reason="no, it was 49", number="49"))
    assert [one.n for one in record.state.open_deviations] == [3, 5]


def test_repeating_a_section_opens_its_steps_and_keeps_the_earlier_round():
    record = finished().do(RepeatSection(section="first", reason="weight drifted"))
    assert "first/weight" not in record.state.signed
    assert record.state.rounds == {"first": 2}
    record.sign("first/weight", number="120.5")
    rounds = [one.round for one in record.state.history if one.act.step == "first/weight"]
    assert rounds == [1, 2]


def test_a_step_reopens_the_steps_that_it_names():
    record = finished().force(sheets.SignStep(step="first/weight", number="121"))
    assert "first/look" not in record.state.signed


def test_a_step_expires_by_itself_when_asked_at_a_later_time():
    record = Record().walk("prep/stop", "clear/old").sign("clear/line", ODE, TAMM).wait(240)
    assert record.state.stands("clear/line", record.now)
    record.wait(1)
    assert not record.state.stands("clear/line", record.now)
    assert record.state.stands("clear/old", record.now)


def test_an_expiry_no_longer_counts_once_what_comes_after_is_done():
    record = finished().wait(600)
    assert record.state.stands("clear/line", record.now)
    record.do(RepeatSection(section="first", reason="again"))
    assert not record.state.stands("clear/line", record.now)


def test_an_entry_under_an_unconfirmed_identity_is_a_deviation():
    record = Record().sign("prep/stop").do(Note(text="hello"), TAMM, identity="unconfirmed")
    assert deviations(record) == ["unconfirmed"]
    assert record.state.deviations[0].by == "TAMM"


# --- flushing ---------------------------------------------------------------------------------------


def test_flushing_runs_up_to_what_is_required_and_the_requirement_can_be_revised():
    record = unlocked().do(PushFlush(step="flush/push", kg=Decimal(150)))
    record.do(ReviseFlush(step="flush/push", kg=Decimal("520.5"), reason="early sample"))
    progress = record.state.flush["flush/push"]
    assert (progress.pushed_kg, progress.required_kg, progress.left_kg) == (
        150,
        Decimal("520.5"),
        Decimal("370.5"),
    )
    assert progress.revised_by == record.state.last_n
    record.sign("flush/push", kg=Decimal(521))
    assert deviations(record) == []
    assert record.state.flush["flush/push"].left_kg == 0


def test_a_flush_signed_short_of_what_is_required_is_a_deviation():
    record = unlocked().do(PushFlush(step="flush/push", kg=Decimal(399))).sign("flush/push", kg=None)
    assert deviations(record) == ["flush"]
    assert record.state.deviations[0].facts == {"kg": "399", "required": "400"}
    assert record.state.signed["flush/push"].act.kg == 399


def test_a_mistyped_total_is_corrected_by_naming_its_entry():
    record = unlocked().do(PushFlush(step="flush/push", kg=Decimal(4000)))
    wrong = record.state.last_n
    assert record.keys(PushFlush(step="flush/push", kg=Decimal(400))) == ["kg_less"]
    record.do(CorrectStep(step="flush/push", corrects=wrong, reason="one nought too many", kg=Decimal(400)))
    assert record.state.flush["flush/push"].pushed_kg == 400


# --- deviations, pauses, the end --------------------------------------------------------------------


def test_a_disposition_closes_what_its_entry_raised_but_a_hold_does_not():
    record = Record().sign("prep/stop").sign("prep/nose", number="50")
    record.do(Dispose(deviation=3, decision="hold", reason="ask quality"), PELL)
    assert [one.decision for one in record.state.open_deviations] == ["hold"]
    record.do(Dispose(deviation=3, decision="accept", reason="no effect"), PELL)
    assert record.state.open_deviations == ()
    (decided,) = record.state.deviations
    assert (decided.decided_by, decided.reason) == ("J. Pell", "no effect")
    assert "prep/nose" in record.state.signed


def test_rework_opens_the_step_again():
    record = Record().sign("prep/stop").sign("prep/nose", number="50")
    record.do(Dispose(deviation=3, decision="rework", reason="cool and read again"), PELL)
    assert "prep/nose" not in record.state.signed
    record.sign("prep/nose", number="41")
    assert record.state.open_deviations == ()


def test_pauses_are_counted_in_seconds_and_noted():
    record = Record().do(Pause(reason="fire drill")).wait(9).do(Resume())
    assert (record.state.status, record.state.paused_s, record.state.paused_since) == ("open", 600, None)
    assert [note.text for note in record.state.notes] == ["fire drill"]


def test_a_released_line_holds_the_incoming_fragrance():
    state = finished().do(Release(), PELL).state
    assert (state.status, state.holds, state.ended_by) == ("released", ("plain",), "J. Pell")


def test_an_abandoned_line_holds_what_was_said_or_all_that_it_may_hold():
    assert Record().do(Abandon(reason="no mass", holds=("clove",))).state.holds == ("clove",)
    assert Record().do(Abandon(reason="no mass")).state.holds == ("clove", "plain")
    assert Record(sheets.procedure()).do(Abandon(reason="jam gone")).state.holds == ()


def test_abandoning_leaves_the_locks_where_they_are():
    record = locked().do(Abandon(reason="power cut"))
    assert len(record.state.locks_on()) == 2


# --- lockout inside the work ------------------------------------------------------------------------


def test_the_first_step_under_a_lockout_is_the_start_of_work_with_the_same_entry():
    record = locked().sign("screen/pull")
    work = record.state.locks["screen"].at_work["ODE"]
    assert work.n == record.state.last_n == record.state.signed["screen/pull"].n


def test_a_step_that_does_not_apply_starts_no_work():
    record = locked().sign("screen/pull", outcome="not_applicable", reason="pulled last week")
    assert record.state.locks["screen"].at_work == {}


def test_a_try_out_that_is_not_zero_is_a_deviation_and_the_step_stays_open():
    record = Record().sign("prep/stop").walk(*sheets.LOCK_STEPS[:-1])
    record.sign("screen-lock/verify", result="not_zero")
    assert deviations(record) == ["not_zero"]
    assert "screen-lock/verify" not in record.state.signed
    assert "screen-lock/relieve-V1" not in record.state.signed
    assert record.state.history[-1].within is False
    record.walk("screen-lock/relieve-V1", "screen-lock/verify", "screen/pull")


def test_a_lock_taken_off_too_early_opens_the_steps_that_rest_on_it_and_is_a_deviation():
    record = locked().do(lockout_act("lock_off", ODE, "V1"))
    assert deviations(record) == ["lock_off_unchecked"]
    gone = {"screen-lock/lock-V1", "screen-lock/relieve-V1", "screen-lock/verify"}
    assert gone.isdisjoint(record.state.signed)
    assert "screen-lock/isolate-V1" in record.state.signed
    record.walk("screen-lock/lock-V1", "screen-lock/relieve-V1", "screen-lock/verify", *sheets.WORK_STEPS)


def test_taking_the_own_lock_off_while_at_work_is_recorded_and_said_at_once():
    record = locked().sign("screen/pull").do(lockout_act("lock_off", ODE, "D1"))
    assert deviations(record) == ["lock_off_at_work"]
    assert record.state.deviations[0].critical == "safety"


def test_steps_before_the_work_stand_once_nothing_under_the_lockout_is_left_to_do():
    record = unlocked()
    assert all(step in record.state.signed for step in (*sheets.LOCK_STEPS, *sheets.UNLOCK_STEPS))
    assert record.state.locks["screen"].closed


def test_repeating_the_work_under_a_lockout_opens_the_lockout_again():
    record = unlocked().do(RepeatSection(section="screen", reason="torn after all"))
    assert not any(step in record.state.signed for step in sheets.LOCK_STEPS)
    record.walk(*sheets.LOCK_STEPS)
    assert not any(step in record.state.signed for step in sheets.UNLOCK_STEPS[1:3])
    record.walk(*sheets.WORK_STEPS)
    record.walk(*[step for step in sheets.UNLOCK_STEPS if step not in record.state.signed])
    assert record.state.locks["screen"].closed
    assert record.state.locks["screen"].run == 2


def test_each_owner_takes_off_their_own_lock_and_the_last_one_completes_the_step():
    record = locked().join(TAMM).walk(*sheets.WORK_STEPS).walk(*sheets.UNLOCK_STEPS[:3])
    record.sign("screen-unlock/lock-off-D1", ODE)
    assert "screen-unlock/lock-off-D1" not in record.state.signed
    assert [lock.owner for lock in record.state.locks_on()] == ["ODE", "TAMM", "TAMM"]
    record.sign("screen-unlock/lock-off-D1", TAMM)
    assert "screen-unlock/lock-off-D1" in record.state.signed
    record.sign("screen-unlock/lock-off-V1", TAMM).sign("screen-unlock/lock-off-V1", ODE)
    record.walk(*sheets.UNLOCK_STEPS[5:])


def test_a_lock_off_step_is_confirmed_when_the_locks_came_off_elsewhere():
    record = locked().walk(*sheets.WORK_STEPS, *sheets.UNLOCK_STEPS[:3]).lockout("lock_off", ODE)
    assert record.state.locks_on() == ()
    before = len(record.state.locks["screen"].events)
    record.sign("screen-unlock/lock-off-D1")
    assert len(record.state.locks["screen"].events) == before
    assert "screen-unlock/lock-off-D1" in record.state.signed


def test_confirming_an_isolation_made_elsewhere_does_not_make_the_try_out_stale():
    record = Record().sign("prep/stop").walk(*sheets.LOCK_STEPS[:3])
    record.lockout("isolate", TAMM, "D1", "V1")
    isolated = [event for event in record.state.locks["screen"].events if event.event is Event.ISOLATE]
    record.walk(*sheets.LOCK_STEPS[3:])
    assert record.state.locks["screen"].proof_gaps("ODE") == []
    again = [event for event in record.state.locks["screen"].events if event.event is Event.ISOLATE]
    assert again == isolated


def test_everybody_ends_their_own_work_and_the_last_one_completes_the_step():
    record = locked().join(TAMM).sign("screen/pull", TAMM).walk("screen/look", "screen/fit")
    record.sign("screen-unlock/work-end", ODE)
    assert "screen-unlock/work-end" not in record.state.signed
    record.sign("screen-unlock/work-end", TAMM)
    assert "screen-unlock/work-end" in record.state.signed


# --- redirecting ------------------------------------------------------------------------------------


def _redirected(record: Record, worksheet: Worksheet) -> Record:
    return record.do(towards(record.state, worksheet))


def test_redirecting_keeps_identical_steps_and_begins_the_flush_anew():
    record = _redirected(unlocked().sign("flush/push"), sheets.changeover("rose", "650"))
    state = record.state
    assert state.title == ("clove", "rose")
    assert set(sheets.LOCK_STEPS) | {"prep/stop", "screen/pull"} <= set(state.signed)
    assert "flush/push" not in state.signed
    assert (state.flush["flush/push"].required_kg, state.flush["flush/push"].pushed_kg) == (650, 0)
    assert len(state.history) == len(unlocked().state.history) + 1


def test_a_redirect_makes_no_bars_so_minutes_count_on_from_the_last_good_one():
    sheet = sheets.changeover("rose")
    prep, *rest = sheet.sections
    changed = replace(prep, steps=(replace(prep.steps[0], why={"en": "new"}), *prep.steps[1:]))
    record = unlocked()
    before = record.state.last_good
    assert before is not None
    record = _redirected(record, replace(sheet, sections=(changed, *rest)))
    assert record.state.runs_until not in record.state.signed
    assert record.state.last_good == before
    record.wait(3).sign(record.state.runs_until)
    assert record.state.last_good == record.state.signed[record.state.runs_until] != before


def test_redirecting_drops_what_comes_after_a_step_that_changed():
    sheet = sheets.changeover("rose")
    prep, *rest = sheet.sections
    changed = replace(prep, steps=(replace(prep.steps[0], why={"en": "new"}), *prep.steps[1:]))
    record = _redirected(unlocked().sign("prep/nose"), replace(sheet, sections=(changed, *rest)))
    assert set(record.state.signed) == set()


def test_redirecting_never_loses_a_lock_even_if_the_new_worksheet_has_no_such_lockout():
    sheet = sheets.changeover("rose")
    without = tuple(section for section in sheet.sections if not section.id.startswith("screen"))
    flush = replace(without[1].steps[0], after=("prep/stop",))
    without = (without[0], replace(without[1], steps=(flush, *without[1].steps[1:])), *without[2:])
    record = _redirected(locked(), replace(sheet, sections=without, jobs=()))
    (key,) = record.state.locks
    assert key.startswith("screen~")
    assert [lock.job for lock in record.state.locks_on()] == [key, key]
    assert "release_locks_on" in record.keys(Release(), PELL)
    record.do(lockout_act("inspect_area", ODE, job=key)).do(lockout_act("account_people", ODE, job=key))
    push = sheets.good_entry(record.state, record.state.worksheet.step("flush/push"), ODE)
    assert "carried_lockout" in record.keys(push), "no soap is pushed through a machine with locks on"
    assert "carried_lockout" not in record.keys(sheets.SignStep(step="clear/old")), "packing may go on"
    record.do(lockout_act("lock_off", ODE, job=key))
    assert record.state.locks_on() == ()
    assert "carried_lockout" in record.keys(push), "its points are still isolated"
    record.do(lockout_act("notify_after", ODE, job=key, people=record.state.locks[key].job.affected_duties))
    for point in ("V1", "D1"):
        record.do(lockout_act("re_energise", ODE, point, job=key))
    assert record.keys(push) == []


def test_a_lockout_with_other_points_is_carried_beside_the_new_one():
    job = sheets.jobs.JOB
    other = replace(job, points=(replace(job.points[0], id="D2"), job.points[1]))
    sheet = replace(sheets.changeover("rose"), jobs=(other,))
    record = _redirected(locked(), sheet)
    assert sorted(record.state.locks) == ["screen", f"screen~{record.state.last_n}"]
    assert len(record.state.locks_on()) == 2
    assert record.state.locks["screen"].begun is False

"""What may be recorded, and each reason against it; what screens ask.

Sources: the clauses named beside the rows; all else is the project's own order of work ("site policy").
"""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from floorterm.changeover import rules
from floorterm.changeover.acts import (
    Abandon,
    CorrectStep,
    Dispose,
    LockoutAct,
    Note,
    Pause,
    PushFlush,
    RaiseDeviation,
    Redirect,
    Release,
    RepeatSection,
    Resume,
    ReviseFlush,
    SignStep,
)
from floorterm.changeover.rules import NumberError, typed, within
from floorterm.changeover.worksheet import to_json
from floorterm.lockout.model import Event
from floorterm.lockout.state import LockOn
from floorterm.people import LockoutStatus
from floorterm.wording import LANGUAGES, sentence
from tests.changeover import sheets
from tests.changeover.sheets import (
    IVER,
    ODE,
    PELL,
    ROOK,
    TAMM,
    UNLOCK_STEPS,
    WORK_STEPS,
    Record,
    finished,
    locked,
    lockout_act,
    unlocked,
)


def started() -> Record:
    return Record().sign("prep/stop")


def stopped() -> Record:
    return locked().sign("screen/pull").sign("screen/look", choice="torn")


def abandoned() -> Record:
    return locked().sign("screen/pull").do(Abandon(reason="power cut"))


def working_pair() -> Record:
    return locked().join(TAMM).sign("screen/pull", TAMM).walk("screen/look", "screen/fit")


def out_unproved() -> Record:
    """All is ready for energy, but a lock came off by a word without a PIN."""
    record = locked().walk(
        *WORK_STEPS, "screen-unlock/work-end", "screen-unlock/inspect", "screen-unlock/account"
    )
    record.do(lockout_act("lock_off", ODE), ODE, identity="unconfirmed")
    for told in [step for step in UNLOCK_STEPS[3:6] if step not in record.state.signed]:
        record.sign(told, TAMM)
    return record


def with_deviation() -> Record:
    return started().sign("prep/nose", number="50")


def other_line() -> dict:
    sheet = sheets.changeover("rose")
    return to_json(replace(sheet, line=replace(sheet.line, id="L2")))


def sign(step: str, **entry: object) -> SignStep:
    return SignStep(step=step, **entry)


SITE = "site policy"
CFR = "29 CFR 1910.147"
# what was done before, the act, who, the key of the refusal, the rule behind it
ROWS = [
    (Record, sign("prep/nowhere"), ODE, "unknown_step", SITE),
    (started, sign("prep/stop", counter=1), TAMM, "signed_already", SITE),
    (Record, sign("prep/nose", number="40"), ODE, "after", SITE),
    (Record, sign("prep/stop"), ODE, "counter_missing", SITE),
    (Record, sign("prep/stop", counter=1), PELL, "duty", SITE),
    (started, sign("prep/nose"), ODE, "number_missing", SITE),
    (started, sign("prep/nose", number="forty"), ODE, "no_number", SITE),
    (started, sign("prep/nose", number="1.2.3"), ODE, "no_number", SITE),
    (started, sign("prep/label", scanned="PL-78"), ODE, "scan_wrong", SITE),
    (started, sign("prep/label"), ODE, "scan_missing", SITE),
    (started, sign("prep/why", text=" "), ODE, "text_missing", SITE),
    (started, sign("prep/why", text="a\u202eb"), ODE, "text_unfit", SITE),
    (lambda: started().sign("prep/nose"), sign("prep/cool"), ODE, "dwell", SITE),
    (lambda: locked().sign("screen/pull"), sign("screen/look", choice="odd"), ODE, "choose_one", SITE),
    (started, sign("prep/why", outcome="not_applicable"), ODE, "reason_missing", SITE),
    (
        lambda: locked().sign("screen/pull"),
        sign("screen/look", outcome="not_applicable", reason="seen before"),
        ODE,
        "supervisor_says_not_applicable",
        SITE,
    ),
    (
        started,
        sign("screen-lock/notify", outcome="not_applicable", reason="nobody here"),
        PELL,
        "lockout_always_applies",
        CFR + "(d)",
    ),
    (lambda: started().sign("clear/old"), sign("clear/line"), ODE, "witness_missing", SITE),
    (stopped, sign("screen/fit"), ODE, "stopped", SITE),
    (locked, sign("screen/pull"), TAMM, "own_lock_first", CFR + "(d)(4)(i), (f)(3)(i)"),
    (locked, sign("screen/pull"), TAMM, "review_first", CFR + "(d)(1)"),
    (locked, sign("screen/pull"), IVER, "not_authorised", CFR + "(c)(8)"),
    (lambda: locked().wait(25), sign("screen/pull"), ODE, "monitor_lapsed", CFR + "(d)(5)(ii)"),
    (
        lambda: locked().sign("screen/pull").sign("screen/look").wait(25),
        sign("screen/fit"),
        ODE,
        "monitor_lapsed",
        CFR + "(d)(5)(ii)",
    ),
    (
        lambda: locked().sign("screen/pull").sign("screen/look").do(lockout_act("lock_off", ODE, "V1")),
        sign("screen/fit"),
        ODE,
        "own_lock_first",
        CFR + "(d)(4)(i), (f)(3)(i)",
    ),
    (
        lambda: started().walk("screen-lock/notify"),
        sign("screen-lock/shut-down"),
        ODE,
        "not_reviewed",
        CFR + "(d)(1)",
    ),
    (lambda: locked().walk(*WORK_STEPS), sign("screen-unlock/lock-off-D1"), ODE, "after_own_lock", SITE),
    (working_pair, sign("screen-unlock/work-end"), PELL, "others_at_work", CFR + "(e)(2)(i)"),
    (
        lambda: locked().walk(*WORK_STEPS, *UNLOCK_STEPS[:3]),
        sign("screen-unlock/lock-off-D1"),
        TAMM,
        "not_your_lock",
        CFR + "(e)(3)",
    ),
    (unlocked, sign("flush/push"), ODE, "kg_missing", SITE),
    (unlocked, sign("flush/push", kg=Decimal("NaN")), ODE, "kg_impossible", SITE),
    (unlocked, sign("flush/push", kg=Decimal(-1)), ODE, "kg_impossible", SITE),
    (
        lambda: unlocked().do(PushFlush(step="flush/push", kg=Decimal(90))),
        sign("flush/push", kg=Decimal(80)),
        ODE,
        "kg_less",
        SITE,
    ),
    (
        unlocked,
        sign("flush/push", outcome="not_applicable", reason="no time"),
        ODE,
        "supervisor_says_not_applicable",
        SITE,
    ),
    (lambda: started().do(Pause(reason="meal")), sign("prep/why", text="x"), ODE, "paused", SITE),
    (lambda: finished().do(Release(), PELL), sign("prep/why", text="x"), ODE, "ended_released", SITE),
    (
        lambda: started().do(Abandon(reason="no mass")),
        sign("prep/why", text="x"),
        ODE,
        "ended_abandoned",
        SITE,
    ),
    # correcting
    (started, CorrectStep(step="prep/stop", corrects=2, reason="", counter=7), ODE, "reason_missing", SITE),
    (
        started,
        CorrectStep(step="prep/stop", corrects=1, reason="x", counter=7),
        ODE,
        "nothing_to_correct",
        SITE,
    ),
    (
        with_deviation,
        CorrectStep(step="prep/stop", corrects=3, reason="x", counter=7),
        ODE,
        "nothing_to_correct",
        SITE,
    ),
    (
        started,
        CorrectStep(step="prep/stop", corrects=2, reason="x", counter=7),
        TAMM,
        "not_yours_to_correct",
        SITE,
    ),
    (started, CorrectStep(step="prep/stop", corrects=2, reason="x"), ODE, "nothing_changed", SITE),
    (
        with_deviation,
        CorrectStep(step="prep/nose", corrects=3, reason="x", number="warm"),
        ODE,
        "no_number",
        SITE,
    ),
    (
        locked,
        CorrectStep(step="screen-lock/verify", corrects=10, reason="x"),
        ODE,
        "lockout_not_corrected",
        SITE,
    ),
    (
        finished,
        CorrectStep(step="clear/line", corrects=32, reason="x", counter=3),
        ODE,
        "witness_missing",
        SITE,
    ),
    # flushing
    (unlocked, PushFlush(step="prep/stop", kg=Decimal(3)), ODE, "unknown_step", SITE),
    (started, PushFlush(step="flush/push", kg=Decimal(3)), ODE, "after", SITE),
    (
        lambda: unlocked().sign("flush/push"),
        PushFlush(step="flush/push", kg=Decimal(900)),
        ODE,
        "flush_signed",
        SITE,
    ),
    (
        unlocked,
        ReviseFlush(step="flush/push", kg=Decimal(399), reason="x"),
        ODE,
        "supervisor_lowers_flush",
        SITE,
    ),
    (unlocked, ReviseFlush(step="flush/push", kg=Decimal(500), reason=""), ODE, "reason_missing", SITE),
    # lockout beside the steps
    (locked, lockout_act("review", TAMM, job="other"), TAMM, "no_such_lockout", CFR + "(d)"),
    (lambda: locked().do(Pause(reason="meal")), lockout_act("work_start", ODE), ODE, "paused", SITE),
    (abandoned, lockout_act("isolate", ODE, "D1"), ODE, "ended_abandoned", SITE),
    (abandoned, lockout_act("lock_on", TAMM, "D1"), TAMM, "ended_abandoned", SITE),
    (abandoned, lockout_act("inspect_area", ODE), ODE, "still_working", CFR + "(e)(2)(i)"),
    (locked, lockout_act("lock_off", TAMM, "D1"), TAMM, "not_your_lock", CFR + "(e)(3)"),
    # rounds, pauses, notes, deviations
    (started, RepeatSection(section="flush", reason="x"), ODE, "nothing_to_repeat", SITE),
    (started, RepeatSection(section="none", reason="x"), ODE, "unknown_section", SITE),
    (started, RepeatSection(section="prep", reason=" "), ODE, "reason_missing", SITE),
    (started, Pause(reason=""), ODE, "reason_missing", SITE),
    (started, Resume(), ODE, "not_paused", SITE),
    (started, Note(text=""), ODE, "text_missing", SITE),
    (started, RaiseDeviation(text=""), ODE, "text_missing", SITE),
    (abandoned, RaiseDeviation(text="late"), ODE, "ended_abandoned", SITE),
    (with_deviation, Dispose(deviation=3, decision="accept", reason="x"), TAMM, "supervisor_decides", SITE),
    (with_deviation, Dispose(deviation=2, decision="accept", reason="x"), PELL, "no_open_deviation", SITE),
    (with_deviation, Dispose(deviation=3, decision="accept", reason=""), PELL, "reason_missing", SITE),
    (
        lambda: with_deviation().do(Dispose(deviation=3, decision="accept", reason="x"), PELL),
        Dispose(deviation=3, decision="scrap", reason="x"),
        PELL,
        "decided_already",
        SITE,
    ),
    (
        lambda: started().sign("prep/nose", IVER, number="50"),
        Dispose(deviation=3, decision="accept", reason="x"),
        IVER,
        "not_alone_on_own_deviation",
        SITE,
    ),
    # the end
    (started, Abandon(reason=""), ODE, "reason_missing", SITE),
    (abandoned, Abandon(reason="again"), ODE, "ended_abandoned", SITE),
    (started, Redirect(reason="x", worksheet=other_line()), ODE, "worksheet_of_other_line", SITE),
    (started, Redirect(reason="x", worksheet={"sections": 3}), ODE, "worksheet_unreadable", SITE),
    (
        started,
        Redirect(reason="x", worksheet=to_json(sheets.changeover("rose"))),
        ODE,
        "worksheet_forgets",
        SITE,
    ),
    (started, Abandon(reason="x", holds=("clove", "rose")), PELL, "holds_other", SITE),
    (out_unproved, sign("screen-unlock/re-energise-D1"), TAMM, "unconfirmed_out", CFR + "(e)(3)"),
    (out_unproved, lockout_act("re_energise", TAMM, "D1"), TAMM, "unconfirmed_out", CFR + "(e)(3)"),
    (
        lambda: Record(sheets.procedure()),
        Redirect(reason="x", worksheet=to_json(sheets.changeover())),
        ODE,
        "procedure_has_no_direction",
        SITE,
    ),
    (finished, Release(), ODE, "release_duty", SITE),
    (unlocked, Release(), PELL, "release_open_steps", SITE),
    (lambda: finished().do(RaiseDeviation(text="oil")), Release(), PELL, "release_open_deviations", SITE),
    (locked, Release(), PELL, "release_locks_on", CFR + "(e)(3)"),
    (lambda: started().walk("screen-lock/notify"), Release(), PELL, "release_lockout_open", "LO-36"),
    (unlocked, Release(), PELL, "first_article_not_passed", SITE),
]


@pytest.mark.parametrize(
    ("before", "act", "person", "key", "rule"), ROWS, ids=[f"{i}-{r[3]}" for i, r in enumerate(ROWS)]
)
def test_each_rule_refuses_what_breaks_it_and_says_so_in_every_language(before, act, person, key, rule):
    refusals = before().may(act, person)
    found = [refusal for refusal in refusals if refusal.say.key.split(".", 1)[1] == key]
    assert found, [refusal.say.key for refusal in refusals]
    assert found[0].rule == rule
    for language in LANGUAGES:
        for refusal in refusals:
            spoken = sentence(refusal.say, language)
            assert len(spoken) > 10
            assert "{" not in spoken


def test_all_reasons_are_given_at_once():
    keys = started().keys(sign("screen/pull"), IVER)
    assert {"after", "not_authorised", "review_first", "own_lock_first", "not_verified"} <= set(keys)


def test_whoever_signed_already_is_named_with_the_time():
    (refusal,) = started().may(sign("prep/stop", counter=1), TAMM)
    assert refusal.say.facts["name"] == "R. Ode"
    assert refusal.say.facts["time"] == "08:01"


def test_a_scan_refusal_says_what_was_expected_and_what_came():
    (refusal,) = started().may(sign("prep/label", scanned="PL-78"))
    assert (refusal.say.facts["expected"], refusal.say.facts["came"]) == ("PL-77", "PL-78")


def test_a_dwell_counts_from_the_named_step_and_ends_on_the_minute():
    record = started().sign("prep/nose")
    assert record.wait(9.5).keys(sign("prep/cool")) == ["dwell"]
    assert record.wait(0.5).keys(sign("prep/cool")) == []


def test_the_witness_is_another_person_with_the_duty():
    record = started().sign("clear/old")
    assert record.keys(sign("clear/line"), ODE, TAMM) == []
    assert record.keys(sign("clear/line"), ODE, ODE) == ["witness_is_signer"]
    assert record.keys(sign("clear/line"), TAMM, TAMM) == ["witness_is_signer"]
    assert record.keys(sign("clear/line"), ODE, PELL) == ["witness_duty"]
    assert record.keys(sign("clear/line"), ODE, replace(TAMM, active=False)) == ["inactive"]


def test_a_supervisors_pin_lets_a_critical_step_not_apply():
    record = locked().sign("screen/pull")
    act = sign("screen/look", outcome="not_applicable", reason="looked at an hour ago")
    assert record.keys(act, ODE, PELL) == []
    assert record.keys(act, PELL) == []
    assert record.keys(act, ODE, TAMM) == ["supervisor_says_not_applicable"]


def test_a_first_article_step_is_not_applicable_only_by_a_supervisor_whether_critical_or_not():
    record = unlocked()
    steps = [step for section in record.worksheet.sections if section.first_article for step in section.steps]
    assert any(not step.critical for step in steps)
    for step in steps:
        act = SignStep(step=step.id, outcome="not_applicable", reason="no scale")
        assert "supervisor_says_not_applicable" in record.keys(act, ODE)
        assert "supervisor_says_not_applicable" not in record.keys(act, PELL)


def test_a_stop_is_lifted_by_a_decision_and_not_by_a_hold():
    record = stopped()
    (deviation,) = record.state.open_deviations
    assert record.keys(sign("screen/fit")) == ["stopped"]
    record.do(Dispose(deviation=deviation.n, decision="hold", reason="ask"), PELL)
    assert record.keys(sign("screen/fit")) == ["stopped"]
    record.do(Dispose(deviation=deviation.n, decision="rework", reason="new mesh"), PELL)
    assert record.keys(sign("screen/fit")) == ["after"]
    record.walk("screen/look", "screen/fit")


def test_a_stop_keeps_nobody_under_a_lock():
    record = stopped()
    assert record.keys(sign("screen-unlock/work-end"), ODE) == ["after"]
    record.do(lockout_act("work_end", ODE)).do(lockout_act("inspect_area", ODE))


def test_an_expired_step_is_signed_again_and_what_rests_on_it_waits():
    record = unlocked().walk("flush/push", "flush/good", "clear/old").sign("clear/line", ODE, TAMM).wait(241)
    assert record.keys(sign("first/weight", number="121")) == ["after_again"]
    record.sign("clear/line", ODE, TAMM).sign("first/weight")


def test_corrections_are_the_signers_or_a_supervisors_and_possible_after_the_end():
    record = with_deviation()
    act = CorrectStep(step="prep/nose", corrects=3, reason="misread", number="41")
    assert record.keys(act, ODE) == record.keys(act, PELL) == []
    assert record.do(Abandon(reason="no mass")).keys(act, ODE) == []


def test_whoever_caused_a_deviation_does_not_decide_about_it_alone():
    record = started().sign("prep/nose", IVER, number="50")
    act = Dispose(deviation=3, decision="accept", reason="no effect")
    assert record.keys(act, IVER, ODE) == []
    assert record.keys(act, PELL) == []


def test_whoever_only_reported_a_deviation_may_decide_about_it():
    record = started().do(RaiseDeviation(text="oil"), PELL)
    assert record.keys(Dispose(deviation=3, decision="accept", reason="wiped"), PELL) == []


def test_only_a_supervisor_lowers_the_flush_and_anybody_raises_it():
    record = unlocked()
    assert record.keys(ReviseFlush(step="flush/push", kg=Decimal(300), reason="measured heel"), PELL) == []
    assert record.keys(ReviseFlush(step="flush/push", kg=Decimal(500), reason="early sample"), ODE) == []


@pytest.mark.parametrize("word", ["work_end", "lock_off"])
@pytest.mark.parametrize(
    "before", [locked, abandoned, lambda: locked().do(Pause(reason="meal")), stopped, finished]
)
def test_acts_that_make_a_person_safer_are_never_refused(word, before):
    record = before()
    for person in (ODE, replace(ODE, active=False, lockout=LockoutStatus.OTHER, trained_on=None)):
        if word == "work_end" or record.state.locks["screen"].own_locks("ODE"):
            assert record.may(lockout_act(word, person), person) == ()


def test_own_locks_left_after_the_end_still_come_off():
    record = abandoned().do(lockout_act("work_end", ODE)).do(lockout_act("lock_off", ODE, "D1"))
    record.do(lockout_act("lock_off", ODE))
    assert record.state.locks_on() == ()


def test_the_lockout_ends_with_its_own_steps_after_the_work_was_abandoned():
    record = abandoned()
    for step in UNLOCK_STEPS:
        record.sign(step)
    assert record.state.locks["screen"].closed
    assert record.state.status == "abandoned"


def test_the_lockout_can_be_ended_during_a_pause():
    record = locked().walk(*WORK_STEPS).do(Pause(reason="shift change"))
    record.walk(*UNLOCK_STEPS)
    assert record.state.locks["screen"].closed


def test_notes_are_always_possible():
    for record in (
        started(),
        abandoned(),
        finished().do(Release(), PELL),
        started().do(Pause(reason="meal")),
    ):
        assert record.keys(Note(text="the drain is slow"), ROOK) == []


def test_release_is_for_the_duties_that_the_worksheet_names():
    assert finished().keys(Release(), PELL) == []
    jam = Record(sheets.procedure())
    jam.walk(*[step.id for step in jam.state.worksheet.steps()])
    assert jam.keys(Release(), ODE) == []


def test_a_first_article_out_of_limits_is_repeated_or_accepted():
    record = finished().do(RepeatSection(section="first", reason="heavy"))
    record.sign("first/weight", number="130").sign("first/look")
    deviation = record.state.open_deviations[-1].n
    assert set(record.keys(Release(), PELL)) == {"release_open_deviations", "first_article_not_passed"}
    record.do(Dispose(deviation=deviation, decision="scrap", reason="heavy bars"), PELL)
    assert record.keys(Release(), PELL) == ["first_article_not_passed"]
    record.do(RepeatSection(section="first", reason="again")).walk("first/weight", "first/look")
    assert record.keys(Release(), PELL) == []


def test_a_first_article_deviation_that_was_accepted_passes():
    record = finished().do(RepeatSection(section="first", reason="heavy"))
    record.sign("first/weight", number="130").sign("first/look")
    record.do(Dispose(deviation=record.state.open_deviations[-1].n, decision="accept", reason="ok"), PELL)
    assert record.keys(Release(), PELL) == []


def test_an_acceptance_does_not_cover_a_later_correction():
    record = finished().do(RepeatSection(section="first", reason="heavy"))
    record.sign("first/weight", number="124").sign("first/look")
    light = record.state.signed["first/weight"].n
    record.do(Dispose(deviation=light, decision="accept", reason="a gram over"), PELL)
    record.do(CorrectStep(step="first/weight", corrects=light, number="142", reason="digits swapped"))
    heavy = record.state.open_deviations[-1].n
    record.do(Dispose(deviation=heavy, decision="scrap", reason="heavy bars"), PELL)
    assert record.keys(Release(), PELL) == ["first_article_not_passed"]


def test_after_a_supervisor_asked_whoever_left_without_a_pin_energy_may_come_back():
    record = out_unproved()
    deviation = record.state.open_deviations[-1]
    assert deviation.critical == "safety"
    record.do(Dispose(deviation=deviation.n, decision="accept", reason="R. Ode stands beside me"), PELL)
    assert record.keys(sign("screen-unlock/re-energise-D1"), TAMM) == []


def test_locks_of_other_works_count_where_energy_comes_back():
    record = locked().walk(*WORK_STEPS, *UNLOCK_STEPS[:6])
    record.elsewhere = (LockOn(line="L1", point="D1", lock="77", owner="ROOK", owner_name="L. Rook"),)
    assert record.keys(sign("screen-unlock/re-energise-D1")) == ["lock_still_on"]
    assert record.keys(sign("screen-unlock/re-energise-V1")) == []


def test_local_dates_are_those_of_the_plant():
    # 2026-03-03 00:30 UTC is still the evening of 2 March on the plant's clock
    record = locked()
    record.now = record.now.replace(hour=0, minute=10) + (
        sheets.START.replace(day=3) - sheets.START.replace(day=2)
    )
    last_day = replace(ODE, valid_to=sheets.START.date())
    assert "training_over" not in record.keys(sign("screen/pull"), last_day)
    record.wait(6 * 60)
    assert "training_over" in record.keys(sign("screen/pull"), last_day)


# --- what screens ask -------------------------------------------------------------------------------


def _ids(steps) -> list[str]:
    return [step.id for step in steps]


def test_next_steps_are_those_that_could_be_signed_now():
    record = Record()
    assert _ids(rules.next_steps(record.state, ODE, record.now)) == ["prep/stop"]
    record.sign("prep/stop")
    assert _ids(rules.next_steps(record.state, ODE, record.now)) == [
        "prep/nose", "prep/label", "prep/why", "screen-lock/notify", "clear/old",
    ]  # fmt: skip
    assert "screen-lock/notify" not in _ids(rules.next_steps(record.state, ROOK, record.now))


def test_each_next_step_can_be_signed_and_no_other():
    record = finished()
    for cut in range(1, len(record.entries) + 1):
        part = Record()
        part.entries = record.entries[:cut]
        part.state, part.now = rules_state(part), record.entries[cut - 1].at
        for person in (ODE, TAMM):
            able = _ids(rules.next_steps(part.state, person, part.now))
            for step in part.state.worksheet.steps():
                act = sheets.good_entry(part.state, step, person)
                seen = {ODE: TAMM, TAMM: replace(ODE, duties=TAMM.duties)}[person]
                witness = seen if step.witness else None  # a try-out together with another is asked for apart
                assert (part.may(act, person, witness) == ()) is (step.id in able), (
                    cut,
                    step.id,
                    person.code,
                )


def rules_state(record: Record):
    return sheets.fold("C-0001", record.entries)


def test_the_current_step_is_the_first_that_can_be_signed_else_what_is_due():
    record = Record()
    assert rules.current_step(record.state, ODE, record.now).id == "prep/stop"
    assert rules.current_step(record.state, ROOK, record.now).id == "prep/stop"
    record = locked().walk("prep/nose", "prep/label", "prep/why", "clear/old").sign("clear/line", ODE, TAMM)
    assert rules.current_step(record.state, TAMM, record.now).id == "prep/cool"
    record.wait(10).sign("prep/cool")
    assert rules.current_step(record.state, TAMM, record.now).id == "screen/pull"
    done = finished()
    assert rules.current_step(done.state, ODE, done.now) is None


def test_open_steps_shrink_to_none():
    record = Record()
    assert len(rules.open_steps(record.state, record.now)) == len(list(record.state.worksheet.steps()))
    done = finished()
    assert rules.open_steps(done.state, done.now) == ()


def test_blocking_is_the_same_for_everybody():
    record = started()
    step = record.state.worksheet.step("screen/pull")
    assert [r.say.key for r in rules.blocking(record.state, step, record.now)] == ["changeover.after"]


def test_the_guidance_of_a_lockout_follows_the_work():
    record = locked().walk(*WORK_STEPS)
    moves = rules.lockout_next(record.state, "screen", ODE, record.now)
    assert [move.event for move in moves] == [Event.WORK_END]
    assert rules.lockout_next(record.state, "none", ODE, record.now) == ()
    gone = abandoned()
    assert rules.lockout_next(gone.state, "screen", TAMM, gone.now)[0].event is None


def test_a_pin_is_asked_again_where_the_worksheet_says_so():
    sheet = sheets.changeover()
    plain, critical = sheet.step("prep/why"), sheet.step("screen/look")
    lock, witnessed = sheet.step("screen-lock/verify"), sheet.step("clear/line")
    asked = [rules.needs_pin(sheet, sign(s.id), s) for s in (plain, critical, lock, witnessed)]
    assert asked == [False, True, True, True]
    assert rules.needs_pin(sheet, LockoutAct(job="screen", event=Event.WORK_END), None)
    assert rules.needs_pin(sheet, Release(), None)
    assert rules.needs_pin(sheet, Dispose(deviation=1, decision="hold", reason="x"), None)
    assert not rules.needs_pin(sheet, Note(text="x"), None)
    assert rules.needs_pin(replace(sheet, pin_again=("every",)), Note(text="x"), None)
    assert not rules.needs_pin(replace(sheet, pin_again=()), Release(), None)


def test_the_witness_of_an_act_is_that_of_its_step():
    sheet = sheets.changeover()
    assert rules.witness_duty(sheet, sign("clear/line")) == "quality"
    assert rules.witness_duty(sheet, sign("clear/line", outcome="not_applicable")) == ""
    assert rules.witness_duty(sheet, CorrectStep(step="clear/line", corrects=1, reason="x")) == "quality"
    assert rules.witness_duty(sheet, Release()) == ""


# --- numbers ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("41", "41"),
        (" 41,5 ", "41.5"),
        ("41.50", "41.50"),
        ("-3", "-3"),
        ("\u22123,2", "-3.2"),
        ("+7", "7"),
        ("1,234", "1.234"),
    ],
)
def test_numbers_are_typed_with_comma_or_point(text, number):
    assert str(typed(text)) == number


@pytest.mark.parametrize(
    "text",
    ["", "x", "1 000", "1,000.5", "1.2.3", ".5", "5.", "1e3", "NaN", "Infinity", "٤١", "--1", "1" * 10],
)
def test_what_is_no_number_is_refused(text):
    with pytest.raises(NumberError):
        typed(text)


@given(st.decimals(min_value=-99999, max_value=99999, places=3))
def test_every_number_is_read_back_with_either_mark(number):
    assert typed(f"{number:f}") == number
    assert typed(f"{number:f}".replace(".", ",")) == number


def test_within_knows_the_limits_of_each_kind():
    sheet = sheets.changeover()
    assert within(sheet.step("prep/nose"), sign("prep/nose", number="38"))
    assert not within(sheet.step("prep/nose"), sign("prep/nose", number="37.99"))
    assert not within(sheet.step("screen/look"), sign("screen/look", choice="dull"))
    assert not within(sheet.step("flush/push"), sign("flush/push", kg=Decimal(399)))
    assert within(sheet.step("flush/push"), sign("flush/push", kg=Decimal(399)), Decimal(390))
    assert not within(sheet.step("screen-lock/verify"), sign("screen-lock/verify", result="not_zero"))

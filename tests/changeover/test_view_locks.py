"""The isolation points of a line as values: locks, owners, what comes next, what the person can do."""

from datetime import timedelta
from typing import Any

from msgspec.structs import replace

from floorterm.changeover.acts import Abandon, LockoutAct, SignStep
from floorterm.changeover.lock_offers import coordinated, filled
from floorterm.changeover.view import view
from floorterm.changeover.view_locks import LocksView, locks_view
from floorterm.changeover.view_words import rule_text
from floorterm.lockout.model import Event, Policy
from floorterm.people import Person
from floorterm.terminal.views.lines import against_standard
from floorterm.wording import Refusal, Say
from tests.changeover import sheets
from tests.changeover.sheets import LOCK_STEPS, ODE, PELL, ROOK, TAMM, WORK_STEPS, Record, locked


def shown(record: Record, person: Person | None = ODE, language: str = "en") -> LocksView:
    return locks_view([record.state], person, record.now, language, line="Line 1")


def offers(record: Record, person: Person | None = ODE) -> dict[str, bool]:
    return {offer.id.rsplit("/", 1)[1]: offer.safer for offer in shown(record, person).offers}


def test_the_lock_at_the_machine_is_the_authority() -> None:
    assert "authority, not this screen" in shown(Record()).authority


def test_every_point_says_position_lock_owner_and_time() -> None:
    (job,) = shown(locked()).jobs
    main, air = job.points
    assert (main.name, main.position, main.isolated) == ("Main disconnect", "isolated", True)
    assert main.locks == ("R. Ode ODE-D1 08:07",)
    assert main.own
    assert not shown(locked(), TAMM).jobs[0].points[1].own
    assert air.place == "behind the plodder"


def test_what_was_verified_is_said_as_recorded_and_by_whom() -> None:
    (job,) = shown(locked()).jobs
    assert job.proved == "Recorded as verified at 08:10 by R. Ode"
    (stale,) = shown(locked().lockout("lock_off", ODE, "D1")).jobs
    assert stale.proved == "No try-out is on record that still counts"


def test_a_point_that_needs_somebody_says_so_before_its_locks() -> None:
    record = Record().sign("prep/stop").walk(*LOCK_STEPS[:5])
    assert [point.note for point in shown(record).jobs[0].points] == ["isolated, but NO LOCK"] * 2
    record.walk(*LOCK_STEPS[5:7])
    notes = [(point.note, point.note_level) for point in shown(record).jobs[0].points]
    assert notes == [("", ""), ("stored energy not relieved", "caution")]


def test_the_next_reading_is_announced_while_somebody_works() -> None:
    record = locked().sign("screen/pull")
    assert shown(record).jobs[0].points[1].note == "read by 08:30"
    late = shown(record.wait(30)).jobs[0].points[1]
    assert (late.note, late.note_level) == ("reading due by 08:30 is missing", "danger")


def test_getting_out_and_the_own_lock_come_first_and_are_always_offered() -> None:
    record = locked().sign("screen/pull")
    found = shown(record).offers
    assert [offer.safer for offer in found][:2] == [True, True]
    assert [offer.acts[0].event for offer in found[:2]] == [Event.WORK_END, Event.LOCK_OFF]
    assert found[1].acts[0].points == ("D1", "V1")
    assert all(offer.asks is None for offer in found[:2])


def test_somebody_who_is_not_signed_in_is_offered_the_way_out_and_nothing_else() -> None:
    record = locked().sign("screen/pull")
    assert offers(record, None) == {"work_end": True, "lock_off": True}
    assert all(not act.points for offer in shown(record, None).offers for act in offer.acts)


def test_a_further_person_is_led_through_review_locks_and_their_own_try_out() -> None:
    record = locked().sign("screen/pull")
    assert "review" in offers(record, TAMM)
    record.lockout("review", TAMM)
    lock_on = next(offer for offer in shown(record, TAMM).offers if offer.id.endswith("lock_on"))
    assert [act.points for act in lock_on.acts] == [("D1",), ("V1",)]
    assert lock_on.asks is not None
    assert lock_on.asks.mode == "code"
    record.lockout("lock_on", TAMM, "D1").lockout("lock_on", TAMM, "V1")
    verify = next(offer for offer in shown(record, TAMM).offers if offer.id.endswith("verify"))
    assert verify.asks is not None
    assert not verify.asks.chosen, "what was found is said by whoever tried it out"
    record.lockout("verify", TAMM, result="zero")
    assert "work_start" in offers(record, TAMM)


def test_a_move_that_a_step_of_the_worksheet_records_leads_to_that_step() -> None:
    (offer,) = shown(Record().sign("prep/stop")).offers
    assert offer.goes_to == "screen-lock/notify"
    assert not offer.acts


def test_after_an_abandoned_work_the_lockout_is_ended_from_here() -> None:
    record = locked().sign("screen/pull").do(Abandon(reason="evacuated"), PELL)
    record.lockout("work_end", ODE)
    found = [offer for offer in shown(record).offers if not offer.safer]
    assert found
    assert all(not offer.goes_to for offer in found)
    assert found[0].acts[0].event is Event.INSPECT_AREA


def test_why_somebody_may_not_reach_in_stands_there_with_its_clause() -> None:
    refusals = shown(locked(), TAMM).jobs[0].refusals
    assert any("1910.147(d)(4)(i)" in refusal.rule for refusal in refusals)
    assert not shown(locked(), ODE).jobs[0].refusals


def test_an_affected_person_is_offered_no_lock() -> None:
    record = locked()
    assert "lock_on" not in offers(record, ROOK)
    assert shown(record, ROOK).jobs[0].refusals


def test_locks_of_another_work_stand_at_the_same_point() -> None:
    record = locked()
    other = Record(sheets.procedure())
    other.state = replace(other.state, work="P-0001")
    found = locks_view([record.state, other.state], TAMM, record.now, "en")
    jam = next(job for job in found.jobs if job.work == "P-0001")
    assert jam.points[0].locks == ("other work: R. Ode ODE-D1 08:07",)


def test_after_a_redirect_the_lockout_with_locks_comes_first_and_the_new_one_calls_no_point_energised() -> (
    None
):
    """The new worksheet brings a lockout of its own; the one that holds the machine is carried beside it."""
    job = sheets.jobs.JOB
    other = replace(job, points=(job.points[0], replace(job.points[1], id="V2")))
    record = locked()
    record.do(sheets.towards(record.state, replace(sheets.changeover("rose"), jobs=(other,))))
    carried, fresh = shown(record).jobs
    assert (carried.job.startswith("screen~"), carried.status) == (True, "every point isolated and locked")
    assert (fresh.job, fresh.status) == ("screen", "not begun")
    assert [point.position for point in fresh.points] == ["isolated, other lockout", "energised"]
    assert fresh.points[0].locks == ("other work: R. Ode ODE-D1 08:07",)


def test_a_line_is_not_said_to_run_while_locks_are_on() -> None:
    """Somebody locked before the last good bar was signed: minutes do not count yet, and the machine stands."""
    state = locked().state
    unsigned = replace(
        state, signed={name: one for name, one in state.signed.items() if name != state.runs_until}
    )
    assert unsigned.last_good is None
    assert against_standard(unsigned, unsigned.last_at, "en").text == "time counts from the last good bar"
    seen = view(unsigned, ODE, unsigned.last_at, "en").clock.text
    assert "runs" not in seen
    assert "counts from the last good bar" in seen
    free = replace(Record().state, signed={})
    assert against_standard(free, free.last_at, "en").text == "line still runs"


def test_an_ended_work_with_nothing_left_on_the_machine_is_not_shown() -> None:
    record = Record().do(Abandon(reason="no noodles"), PELL)
    seen = shown(record)
    assert not seen.jobs
    assert seen.empty


def test_what_was_entered_goes_into_the_act() -> None:
    lock = LockoutAct(job="j", event=Event.LOCK_ON, points=("D1",))
    assert filled(lock, " 17 ", ()).lock == "17"
    verify = LockoutAct(job="j", event=Event.VERIFY, points=("D1",))
    assert filled(verify, "", ("not_zero",)).result == "not_zero"
    count = LockoutAct(job="j", event=Event.ACCOUNT_PEOPLE)
    assert filled(count, "", ("A", "B")) == LockoutAct(
        job="j", event=Event.ACCOUNT_PEOPLE, people=("A", "B"), result="ok"
    )
    told = LockoutAct(job="j", event=Event.NOTIFY_AFTER)
    assert filled(told, "", ("packer",)).people == ("packer",)
    out = LockoutAct(job="j", event=Event.WORK_END)
    assert filled(out, "", ()) == out


def test_the_same_points_are_told_in_spanish() -> None:
    (job,) = shown(locked(), language="es").jobs
    assert job.points[0].name == "Seccionador principal"
    assert job.points[0].position == "aislado"


def test_work_done_leads_to_the_inspection_step() -> None:
    record = locked().walk(*WORK_STEPS).sign("screen-unlock/work-end")
    found = [offer for offer in shown(record).offers if not offer.safer and offer.goes_to]
    assert [offer.goes_to for offer in found] == ["screen-unlock/inspect"]


# --- the special situations ---------------------------------------------------------------------------

POLICY = Policy(contractor_duties=("fitters",), lone_min=30)
FITTER = replace(TAMM, duties=frozenset({"fitters"}))


def special(**more: Any) -> Record:
    """A record whose job allows a group, with the site policy of these tests."""
    sheet = sheets.changeover()
    job = replace(sheet.jobs[0], policy=POLICY, other_removal=True, **more)
    return Record(replace(sheet, jobs=(job,)))


def seen(record: Record, person: Person | None = ODE, **more: Any) -> LocksView:
    known = tuple(sheets.PEOPLE.values())
    return locks_view([record.state], person, record.now, "en", line="Line 1", people=known, **more)


def more_of(record: Record, person: Person = ODE) -> list[str]:
    return [offer.id.split("/", 2)[2] for offer in seen(record, person).more]


def test_whoever_would_work_alone_names_a_contact_and_the_screen_counts_the_minutes() -> None:
    """Site policy, marked so."""
    record = locked(special())
    assert [no.say.key for no in record.may(SignStep(step="screen/pull"))] == ["lockout.name_contact"]
    (offer,) = [one for one in seen(record).offers if one.id.endswith("/lone_check")]
    assert offer.asks is not None
    assert {option.text for option in offer.asks.options} == {"M. Tamm", "J. Pell", "C. Iversen", "L. Rook"}
    record.do(filled(offer.acts[0], "", ("ROOK",)))
    record.sign("screen/pull")
    (said,) = seen(record).jobs[0].said
    assert "R. Ode works alone" in said.text
    assert said.rule == "site policy"
    late = seen(record.wait(40)).jobs[0].said[0]
    assert "nobody asked after them" in late.text
    assert late.level == "danger"
    (ask,) = [one for one in seen(record, ROOK).more if one.id.endswith("/lone_check")]
    record.do(filled(ask.acts[0], "", ("ODE",)), ROOK)
    assert seen(record).jobs[0].said[0].level == ""


def test_an_outside_fitter_is_told_to_exchange_procedures_first() -> None:
    """29 CFR 1910.147(f)(2)(i): both ways, then the fitter acts; own people are told."""
    record = special().sign("prep/stop").walk(*LOCK_STEPS[:2])
    assert "exchange/fitters" in more_of(record)
    (offer,) = [one for one in seen(record, FITTER).offers if one.id.endswith("/contractor_exchange")]
    record.do(filled(offer.acts[0], "", ("both",)), FITTER)
    assert record.state.locks["screen"].exchanged["fitters"] == {"given", "received"}
    assert "exchange/fitters" not in more_of(record)
    assert "own_staff_told" in more_of(record)


def test_several_crews_ask_for_their_coordinator_and_a_group_shows_its_box() -> None:
    record = special(mode="group", crews=2)
    (offer,) = [one for one in seen(record).more if one.id.endswith("/assign_primary")] or [None]
    assert offer is None, "nothing is begun"
    record.sign("prep/stop").walk(*LOCK_STEPS[:2])
    (offer,) = [one for one in seen(record).more if one.id.endswith("/assign_primary")]
    assert offer.then is not None
    act = coordinated(filled(offer.acts[0], "", ("TAMM",)), "PELL")
    assert (act.primary, act.crews, act.coordinator) == ("ODE", 2, "PELL")
    record.do(act)
    (job,) = seen(record).jobs
    assert job.crew == ("Crew of R. Ode: M. Tamm", "Crews coordinated by J. Pell")
    assert (job.points[-1].name, job.points[-1].position) == ("Lock box", "keys 0 of 2")


def test_who_came_with_a_new_shift_is_told_too() -> None:
    record = locked(special())
    assert not seen(record, shift_since=record.now - timedelta(hours=1)).jobs[0].said
    (said,) = seen(record, shift_since=record.now + timedelta(seconds=1)).jobs[0].said
    assert "new shift" in said.text
    assert said.rule == "site policy"


def test_nobody_signed_in_can_still_see_what_an_emergency_may_enter() -> None:
    assert [one.id.split("/")[2] for one in seen(locked(special()), None).more] == ["cut"]


def test_a_clause_whose_wording_rests_on_memory_says_so_until_somebody_confirms_it() -> None:
    """Status marks of the rule table: (c)(8) was never read, (d)(3) was."""
    said = {
        rule_text(Refusal(Say("x"), f"29 CFR 1910.147{clause}"), "en")
        for clause in ("(c)(8)", "(d)(3)", "(c)(7)(i)")
    }
    assert said == {
        "29 CFR 1910.147(c)(8), from memory",
        "29 CFR 1910.147(d)(3)",
        "29 CFR 1910.147(c)(7)(i), from memory",
    }
    assert rule_text(Refusal(Say("x"), "site policy"), "es") == "norma de la planta"


def test_an_emergency_stop_and_a_cut_lock_are_entered_afterwards_and_wait_for_a_decision() -> None:
    """Nothing of it is refused, whoever enters it; the cut lock is a deviation that a supervisor decides about."""
    record = special().sign("prep/stop").walk(*LOCK_STEPS[:1])
    (stop,) = [one for one in seen(record, ROOK).more if one.id.endswith("/emergency_stop")]
    record.do(stop.acts[0], ROOK)
    assert record.state.locks["screen"].is_shut_down
    working = locked(special())
    (cut,) = [one for one in seen(working, ROOK).more if one.id.endswith("/cut/ODE")]
    working.do(cut.acts[0], ROOK)
    assert not working.state.locks_on()
    assert [one.key for one in working.state.open_deviations] == ["changeover.deviation.lock_cut"]
    assert working.state.locks["screen"].removed.keys() == {"ODE"}

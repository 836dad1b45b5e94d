"""The isolation points of a line as values: locks, owners, what comes next, what the person can do."""

from dataclasses import replace

from floorterm.changeover.acts import Abandon, LockoutAct
from floorterm.changeover.lock_offers import filled
from floorterm.changeover.view_locks import LocksView, locks_view
from floorterm.lockout.model import Event
from floorterm.people import Person
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

"""Work under a group lockout, and work under the two exceptions, as worksheets: composed, walked, audited.

29 CFR 1910.147(f)(3) and (a)(2); the procedures are the starter plant's own, one of them turned into a group's.
"""

from datetime import UTC, date, datetime
from typing import Any

import pytest
from msgspec.structs import replace

from floorterm.changeover.acts import LockoutAct, SignStep
from floorterm.changeover.compose import compose_procedure
from floorterm.changeover.lockout_record import record_of
from floorterm.changeover.worksheet import Worksheet
from floorterm.library import load, starter_folder
from floorterm.lockout import audit
from floorterm.lockout.model import BOX, Event
from tests.changeover import sheets, walkers
from tests.changeover.sheets import Record

NOW = datetime(2026, 11, 24, 14, 0, tzinfo=UTC)
LIBRARY = load(starter_folder())
STAMPER = replace(LIBRARY.lockouts["lockout-stamper-1"], mode="group")
GROUPED = replace(LIBRARY, lockouts={**LIBRARY.lockouts, STAMPER.id: STAMPER})
OWN = {duty.id for duty in LIBRARY.plant.duties} - set(LIBRARY.plant.lockout.contractor_duties)
ODE, TAMM, PELL = CREW = tuple(
    replace(person, trained_on=date(2026, 11, 1), duties=frozenset(OWN))
    for person in (sheets.ODE, sheets.TAMM, sheets.PELL)
)
INSPECTOR = replace(sheets.ODE, code="CI", trained_on=date(2026, 1, 20))  # of the procedure's certificate
JOB = "stamper-1"


def group() -> Worksheet:
    return compose_procedure(GROUPED, "L1", "jam-stamper", NOW.date())


def judged(record: Record, levels: str = "VWP") -> set[str]:
    found = audit(record_of(record.state, (*CREW, INSPECTOR), lockouts=GROUPED.lockouts, as_of=record.now))
    return {one.rule for one in found if one.level in levels}


def test_a_group_has_its_steps_in_the_order_of_a_group_job() -> None:
    """OSHA's letter of October 2000: the primary verifies before members put their locks on the box."""
    events = [step.event for step in group().sections[0].steps if step.event]
    words = [event.value for event in dict.fromkeys(events)]
    assert words == [
        "notify_before", "review", "assign_primary", "shut_down", "isolate", "lock_on", "key_in_box", "release",
        "verify", "offer_verify",
    ]  # fmt: skip
    assert group().sections[0].steps[-1].point == BOX
    assert [step.point for step in group().sections[2].steps[:2]] == ["", BOX]


@pytest.mark.parametrize(
    "sheet",
    [
        group(),
        *(compose_procedure(LIBRARY, "L1", name, NOW.date()) for name in ("sensor-lens", "belt-cleaner")),
    ],
)
def test_it_is_walked_to_its_release_and_judged_complete(sheet: Worksheet) -> None:
    record = Record(sheet, now=NOW)
    walkers.release(record, CREW)
    assert record.state.status == "released"
    assert not record.state.locks_on()
    assert judged(record) == set()


def test_a_member_works_under_a_lock_on_the_box_and_the_primarys_verification() -> None:
    record = Record(group(), now=NOW)
    for step in record.state.worksheet.sections[0].steps:
        record.sign(step.id, ODE)
    work = record.state.worksheet.sections[1].steps[0].id
    assert record.state.locks[JOB].keys == set(STAMPER.points)
    assert "own_lock_first" in [
        no.say.key.removeprefix("lockout.") for no in record.may(SignStep(step=work), TAMM)
    ]
    record.do(LockoutAct(job=JOB, event=Event.REVIEW), TAMM)
    record.do(LockoutAct(job=JOB, event=Event.LOCK_ON, points=(BOX,), lock="TAMM-9"), TAMM)
    record.sign(work, TAMM)
    assert set(record.state.locks[JOB].at_work) == {"TAMM"}
    assert judged(record, "VW") == set()


def test_a_crew_step_is_signed_by_whoever_takes_charge_and_names_the_others() -> None:
    record = Record(group(), now=NOW)
    for step in record.state.worksheet.sections[0].steps[:2]:
        record.sign(step.id, ODE)
    crew = record.state.worksheet.sections[0].steps[2]
    assert "name_members" in [
        no.say.key.removeprefix("lockout.") for no in record.may(SignStep(step=crew.id), ODE)
    ]
    record.do(SignStep(step=crew.id, people=("TAMM",)), ODE)
    (made,) = record.state.locks[JOB].crews
    assert (made.primary, made.members) == ("ODE", frozenset({"TAMM"}))


def test_an_exception_states_its_conditions_and_what_protects_instead() -> None:
    sheet = compose_procedure(LIBRARY, "L1", "sensor-lens", NOW.date())
    step = sheet.sections[0].steps[0]
    for text in (step.text["en"], step.text["es"]):
        assert "{" not in text
    assert all(
        word in step.text["en"] for word in ("in production", "minor", "routine", "repeated", "part of the")
    )
    assert "brush with a long handle" in step.text["en"]
    record = Record(sheet, now=NOW)
    refused = record.may(SignStep(step=step.id, result="not_ok"), ODE)
    assert [no.say.key for no in refused] == ["lockout.lock_out_instead"]


def test_of_two_kinds_of_lockout_the_guide_knows_the_site_policy() -> None:
    """Policies of plant.yaml travel with the job, so that the record says what the site asked for then."""
    (job,) = group().jobs
    assert job.policy.crew_limit == LIBRARY.plant.lockout.crew_limit
    assert job.policy.contractor_duties == ("outside_fitter",)
    assert job.policy.lone_min is None


def test_after_a_test_run_the_steps_of_the_lockout_are_open_again_and_the_work_goes_on() -> None:
    """29 CFR 1910.147(f)(1)(v): put under control again by the whole of (d), then on with the work."""
    record = Record(compose_procedure(LIBRARY, "L1", "jam-stamper", NOW.date()), now=NOW)
    lock, work = record.state.worksheet.sections[:2]
    for step in lock.steps:
        record.sign(step.id, ODE)
    record.sign(work.steps[0].id, ODE)
    isolated = [step.id for step in lock.steps if step.event is Event.ISOLATE]
    points = STAMPER.points

    def act(event: Event, **more: Any) -> None:
        record.do(LockoutAct(job=JOB, event=event, **more), ODE)

    act(Event.WORK_END)
    act(Event.INSPECT_AREA, result="ok")
    act(Event.ACCOUNT_PEOPLE, people=("ODE",), result="ok")
    act(Event.LOCK_OFF)
    act(Event.NOTIFY_AFTER, people=record.state.locks[JOB].job.affected_duties)
    act(Event.TEMP_ENERGISE, points=points)
    assert not set(isolated) & set(record.state.signed)
    act(Event.TEMP_END)
    walkers.release(record, CREW)
    assert record.state.status == "released"
    assert judged(record) == set()

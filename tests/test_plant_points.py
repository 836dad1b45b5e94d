"""Two works on one line share the machine: what one has isolated, the other does not energise.

29 CFR 1910.147(d)(3): the machine is isolated from its energy source for as long as the procedure needs it.
"""

from datetime import timedelta

import pytest

from floorterm.changeover.acts import LockoutAct
from floorterm.changeover.fold_lockout import UNCONFIRMED
from floorterm.demo.clock import SetClock
from floorterm.ledger import RefusedError
from floorterm.lockout.model import EMERGENCY, Event
from floorterm.plant import Plant, Who
from tests.conftest import who

POINTS = ("L1-S1", "L1-A1", "L1-P1")


def _jam(plant: Plant) -> str:
    return plant.start_procedure(who(plant, "SS"), "L1", "jam-stamper", plant.ledger.new_id()).work


def _do(plant: Plant, clock: SetClock, work: str, event: Event, *points: str, **more: object) -> None:
    clock.advance(timedelta(minutes=1))
    act = LockoutAct(job="stamper-1", event=event, points=points, **more)  # type: ignore[arg-type]
    plant.act(work, act, who(plant, "AA"), key=plant.ledger.new_id())


def _isolated(plant: Plant, clock: SetClock, work: str) -> None:
    told = plant.state(work).locks["stamper-1"].job.affected_duties
    _do(plant, clock, work, Event.NOTIFY_BEFORE, people=told)
    _do(plant, clock, work, Event.REVIEW)
    _do(plant, clock, work, Event.SHUT_DOWN, how="normal")
    for point in POINTS:
        _do(plant, clock, work, Event.ISOLATE, point)


def _ready_to_energise(plant: Plant, clock: SetClock, work: str, name: str) -> None:
    """Locks on, tried out, nothing done, looked over, counted, locks off, told."""
    for point in POINTS:
        _do(plant, clock, work, Event.LOCK_ON, point, lock=f"{name}-{point}")
    relieve = [p.id for p in plant.state(work).locks["stamper-1"].job.points if p.needs_release]
    for point in relieve:
        _do(plant, clock, work, Event.RELEASE, point)
    _do(plant, clock, work, Event.VERIFY, result="zero")
    _do(plant, clock, work, Event.INSPECT_AREA, result="ok")
    _do(plant, clock, work, Event.ACCOUNT_PEOPLE, result="ok")
    _do(plant, clock, work, Event.LOCK_OFF)
    told = plant.state(work).locks["stamper-1"].job.affected_duties
    _do(plant, clock, work, Event.NOTIFY_AFTER, people=told)


def test_a_point_that_another_work_isolated_and_is_about_to_lock_is_not_energised(
    plant: Plant, clock: SetClock
) -> None:
    one, other = _jam(plant), _jam(plant)
    _isolated(plant, clock, one)
    _ready_to_energise(plant, clock, one, "AA")
    _isolated(plant, clock, other)
    with pytest.raises(RefusedError) as caught:
        _do(plant, clock, one, Event.RE_ENERGISE, POINTS[0])
    assert [refusal.say.key for refusal in caught.value.refusals] == ["lockout.isolated_for_another"]
    assert caught.value.refusals[0].rule == "29 CFR 1910.147(d)(3)"


def test_once_it_is_locked_its_lock_is_what_speaks_and_once_that_is_off_the_way_is_free(
    plant: Plant, clock: SetClock
) -> None:
    one, other = _jam(plant), _jam(plant)
    _isolated(plant, clock, one)
    _ready_to_energise(plant, clock, one, "AA")
    _isolated(plant, clock, other)
    _do(plant, clock, other, Event.LOCK_ON, POINTS[0], lock="AA-again")
    with pytest.raises(RefusedError) as caught:
        _do(plant, clock, one, Event.RE_ENERGISE, POINTS[0])
    assert [refusal.say.key for refusal in caught.value.refusals] == ["lockout.lock_still_on"]
    _do(plant, clock, other, Event.LOCK_OFF)
    _do(plant, clock, one, Event.RE_ENERGISE, POINTS[0])


def test_two_works_that_both_took_their_locks_off_do_not_wait_for_each_other(
    plant: Plant, clock: SetClock
) -> None:
    one, other = _jam(plant), _jam(plant)
    for work, name in ((one, "AA"), (other, "BB")):
        _isolated(plant, clock, work)
        _ready_to_energise(plant, clock, work, name)
    _do(plant, clock, one, Event.RE_ENERGISE, POINTS[0])
    _do(plant, clock, other, Event.RE_ENERGISE, POINTS[0])


def test_what_an_emergency_did_is_recorded_without_a_pin_and_energy_waits_for_a_supervisor(
    plant: Plant, clock: SetClock
) -> None:
    """A PIN that was mistyped in haste keeps nobody from the record; a supervisor asks them afterwards."""
    work = _jam(plant)
    _isolated(plant, clock, work)
    _ready_to_energise(plant, clock, work, "AA")
    stopped = LockoutAct(job="stamper-1", event=Event.SHUT_DOWN, how=EMERGENCY)
    named = Who(plant.ledger.person("BB"), "unconfirmed")
    plant.act(work, stopped, named, key=plant.ledger.new_id())
    assert [one.key for one in plant.state(work).open_deviations] == [UNCONFIRMED]
    with pytest.raises(RefusedError) as caught:
        _do(plant, clock, work, Event.RE_ENERGISE, POINTS[0])
    assert "changeover.unconfirmed_out" in [refusal.say.key for refusal in caught.value.refusals]

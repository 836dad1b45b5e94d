"""The state of a lockout job: order decides, not time; what breaks a proof; who is told; what is left."""

from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from floorterm.lockout.effects import apply_event, replay
from floorterm.lockout.state import LockoutState
from tests.lockout import jobs, oracle
from tests.lockout.jobs import JOB, JOINED, ODE, TAMM, ev, log
from tests.lockout.test_guard import histories


def _codes(state: LockoutState, person: str) -> list[str]:
    return [gap.code for gap in state.proof_gaps(person)]


def test_the_gaps_of_a_proof_close_one_after_the_other():
    assert _codes(log().state, "ODE") == ["not_isolated", "no_own_lock", "not_relieved", "not_verified"]
    assert _codes(log(*jobs.ISOLATED).state, "ODE") == ["no_own_lock", "not_relieved", "not_verified"]
    assert _codes(log(*jobs.LOCKED).state, "ODE") == ["not_relieved", "not_verified"]
    assert _codes(log(*jobs.RELIEVED).state, "ODE") == ["not_verified"]
    assert log(*jobs.PROVED).state.proof_gaps("ODE") == []
    assert _codes(log(*jobs.PROVED).state, "TAMM") == ["no_own_lock", "not_verified"]


def test_a_gap_names_its_points():
    gap = log(*jobs.ISOLATED, ev("lock_on", ODE, "D1")).state.proof_gaps("ODE")[0]
    assert (gap.code, gap.points) == ("no_own_lock", ("V1",))


@pytest.mark.parametrize(
    ("event", "still_proved"),
    [
        (ev("isolate", ODE, "D1"), False),
        (ev("re_energise", ODE, "D1"), False),
        (ev("lock_off", ODE, "D1"), False),
        (ev("monitor", ODE, "V1", result="not_zero"), False),
        (ev("verify", ODE, result="not_zero"), False),
        (ev("monitor", ODE, "V1", result="zero"), True),
        (ev("lock_on", TAMM, "D1"), True),
        (ev("release", ODE, "V1"), True),
        (ev("work_start", ODE), True),
        (ev("work_end", ODE), True),
    ],
)
def test_what_breaks_a_proof(event, still_proved):
    # 29 CFR 1910.147(d)(6): stale after a point moved, a lock came off, energy was found
    assert (log(*jobs.PROVED, event).state.proof_gaps("ODE") == []) is still_proved


def test_one_person_leaving_keeps_the_proof_of_the_other():
    state = log(*jobs.PROVED, *JOINED, ev("lock_off", ODE)).state
    assert state.proof_gaps("TAMM") == []
    assert _codes(state, "ODE") == ["no_own_lock", "not_verified"]


def test_a_lock_put_on_an_energised_point_belongs_to_no_cycle():
    # (d)(4)(ii): the lock holds the device in its safe position; relief counts from a lock of this isolation
    early = [*jobs.STOPPED, ev("lock_on", ODE, "V1"), ev("isolate", ODE, "V1"), ev("release", ODE, "V1")]
    assert log(*early).state.points["V1"].relieved_n is None


def test_order_decides_and_never_the_time():
    events = [replace(event, n=n) for n, event in enumerate(jobs.PROVED, 1)]
    backwards = [replace(e, at=jobs.START - timedelta(minutes=e.n)) for e in events]
    state = replay(JOB, backwards)
    assert state.proof_gaps("ODE") == []
    late_lock = [*jobs.RELIEVED[:-2], ev("verify", result="zero"), *jobs.RELIEVED[-2:]]
    assert "not_verified" in _codes(replay(JOB, late_lock), "ODE")


def test_locks_are_listed_with_owner_point_and_entry():
    state = log(*jobs.LOCKED, ev("lock_on", TAMM, "V1")).state
    assert [(lock.point, lock.lock, lock.owner, lock.n) for lock in state.locks_on()] == [
        ("D1", "ODE-D1", "ODE", 6),
        ("V1", "ODE-V1", "ODE", 7),
        ("V1", "TAMM-V1", "TAMM", 8),
    ]
    assert [lock.owner for lock in state.locks_on("V1")] == ["ODE", "TAMM"]
    assert state.locks_on("nowhere") == ()


def test_nobody_takes_off_somebody_elses_lock_in_the_record():
    assert len(log(*jobs.LOCKED, ev("lock_off", TAMM, "D1")).state.locks_on()) == 2


def test_people_told_are_a_set_of_duties_and_a_person_may_stand_for_a_duty():
    partly = log(ev("notify_before", people=("packer:ROOK",))).state
    assert partly.untold() == ("operator",)
    assert log(*jobs.TOLD).state.untold() == ()


def test_work_ended_twice_changes_nothing():
    state = log(*jobs.ACCOUNTED).state
    again = apply_event(state, ev("work_end", TAMM))
    assert (again.inspected, again.accounted) == (True, True)


def test_idle_begun_and_closed():
    assert log().state.is_idle
    assert not log().state.begun
    assert log(*jobs.TOLD).state.begun
    assert not log(*jobs.ISOLATED).state.is_idle
    assert log(*jobs.CLOSED).state.is_idle
    assert log(*jobs.CLOSED).state.closed


@settings(max_examples=150, deadline=None)
@given(histories(), st.integers(0, 40))
def test_replaying_in_two_halves_equals_replaying_at_once(events, cut):
    whole = replay(JOB, events)
    state = replay(JOB, events[:cut])
    for event in events[cut:]:
        state = apply_event(state, event)
    assert state == whole


@settings(max_examples=300, deadline=None)
@given(histories())
def test_locks_positions_and_proofs_agree_with_a_plain_replay(events):
    # independent replay written from 29 CFR 1910.147(d)(4)-(6), (f)(3)(i); the state may only be stricter
    state = replay(JOB, events)
    for point in JOB.required:
        assert [(lock.lock, lock.owner) for lock in state.locks_on(point)] == oracle.locks(events, point)
        assert state.points[point].isolated is not oracle.is_on(events, point)
    assert state.full is oracle.full(JOB, events)
    for person in ("ODE", "TAMM", "ROOK"):
        assert (not state.without_own_lock(person)) is oracle.under_own_locks(JOB, events, person)
        if person in state.proofs:
            assert oracle.proved(JOB, events, person)

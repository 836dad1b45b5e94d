"""The plant: library and ledger together, on a real SQLite file."""

from datetime import timedelta

import pytest

from floorterm.changeover.acts import Abandon, LockoutAct, Note, Redirect, SignStep
from floorterm.demo.clock import SetClock
from floorterm.ledger import RefusedError
from floorterm.lockout.model import Event
from floorterm.plant import Plant, Who
from tests.conftest import who


def _keys(error: pytest.ExceptionInfo[RefusedError]) -> set[str]:
    return {refusal.say.key for refusal in error.value.refusals}


def test_a_changeover_starts_from_what_the_record_says_the_line_holds(plant: Plant) -> None:
    state = plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "k1")
    assert state.title == ("plain", "clove-leaf")
    assert plant.line_now("L1").changeover == state
    entry = plant.ledger.entries(changeover=state.work)[0]
    assert entry.value["worksheet_digest"] == state.worksheet.digest
    assert entry.value["library_digest"] == plant.library.digest
    assert entry.value["library_approved"] is False


def test_pressing_start_twice_starts_one_changeover(plant: Plant) -> None:
    first = plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "same key")
    again = plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "same key")
    assert again.work == first.work
    assert len(plant.works("L1")) == 1


def test_a_line_has_one_changeover_at_a_time_but_procedures_beside_it(plant: Plant) -> None:
    plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "k1")
    with pytest.raises(RefusedError) as refused:
        plant.start_changeover(who(plant, "SS"), "L1", "juniper", "k2")
    assert _keys(refused) == {"plant.line_busy"}
    procedure = plant.start_procedure(who(plant, "AA"), "L1", "jam-or-torn-screen", "k3")
    assert procedure.work.startswith("P")
    assert plant.line_now("L1").procedures == (procedure,)
    assert plant.start_changeover(who(plant, "SS"), "L2", "juniper", "k4").work == "C-0002"


def test_an_abandoned_changeover_says_what_the_line_now_holds(plant: Plant) -> None:
    state = plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "k1")
    plant.act(
        state.work, Abandon(reason="no film", holds=("plain", "clove-leaf")), who(plant, "AA"), key="k2"
    )
    assert plant.holds("L1").fragrances == ("plain", "clove-leaf")
    sheet = plant.worksheet("L1", "petitgrain")
    assert sheet.outgoing is not None
    assert sheet.outgoing.id == "plain"
    assert [trace.id for trace in sheet.traces] == ["clove-leaf"]


def test_a_redirected_changeover_keeps_its_signatures_and_flushes_the_wrong_fragrance_too(
    plant: Plant,
) -> None:
    state = plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "k1")
    plant.act(state.work, SignStep(step="prep/read-worksheet"), who(plant, "AA"), key="k2")
    entry = plant.redirect(
        state.work, "petitgrain", "clove oil is held by quality", who(plant, "SS"), key="k3"
    )
    assert entry.kind == Redirect.KIND
    now = plant.state(state.work)
    assert now.title == ("plain", "petitgrain")
    assert [trace.id for trace in now.worksheet.traces] == ["clove-leaf"]
    assert now.worksheet.flush is not None
    assert now.worksheet.flush.required_kg > 0


def test_the_state_is_the_same_whether_folded_on_or_from_the_start(plant: Plant) -> None:
    state = plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "k1")
    for index in range(5):
        plant.act(state.work, Note(text=f"note {index}"), who(plant, "AA"), key=f"n{index}")
        plant.state(state.work)
    fresh = Plant(plant.library, plant.ledger, "T2")
    assert fresh.state(state.work) == plant.state(state.work)


def test_two_terminals_sign_side_by_side_and_the_same_step_once(plant: Plant) -> None:
    other = Plant(plant.library, plant.ledger, "T2")
    work = plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "k1").work
    other.state(work)
    plant.act(work, SignStep(step="prep/read-worksheet"), who(plant, "AA"), key="a")
    with pytest.raises(RefusedError) as refused:
        other.act(work, SignStep(step="prep/read-worksheet"), who(plant, "AA"), key="b")
    facts = refused.value.refusals[0].say.facts
    assert "A. Abel" in facts.values(), "the second is told who just did"
    scan = SignStep(step="prep/noodle-bag", scanned="NM-NOODLE")
    entry = other.act(work, scan, who(plant, "BB"), key="c")
    assert (entry.terminal, entry.pos) == ("T2", 3)


def test_locks_left_on_by_an_abandoned_changeover_keep_the_line_from_a_new_one(
    plant: Plant, clock: SetClock
) -> None:
    work = _locked(plant, clock)
    plant.act(work, Abandon(reason="motor fault", holds=("clove-leaf",)), who(plant, "AA"), key="abandon")
    now = plant.line_now("L1")
    assert now.changeover is None
    assert [state.work for state in now.leftover] == [work]
    assert plant.lines()[0].line == "L1", "locks on: this line needs a person first"
    with pytest.raises(RefusedError) as refused:
        plant.start_changeover(who(plant, "SS"), "L1", "petitgrain", "k9")
    assert _keys(refused) == {"plant.locks_left"}
    job = plant.state(work).worksheet.jobs[0].id
    plant.act(work, LockoutAct(job=job, event=Event.LOCK_OFF), who(plant, "AA"), key="off")


def test_nobody_energises_a_point_under_another_works_lock(plant: Plant, clock: SetClock) -> None:
    work = _locked(plant, clock)
    jam = plant.start_procedure(who(plant, "AA"), "L1", "jam-or-torn-screen", "jam")
    locks = plant.elsewhere(jam.work)
    assert locks
    assert {lock.owner for lock in locks} == {"AA"}
    assert plant.elsewhere(work) == ()


def test_only_a_supervisor_states_what_a_line_holds_and_says_why(plant: Plant) -> None:
    with pytest.raises(RefusedError) as refused:
        plant.state_holds(who(plant, "AA"), "L1", ("juniper",), " ", key="k")
    assert _keys(refused) == {"plant.supervisor_only", "plant.reason_missing"}
    plant.state_holds(who(plant, "SS"), "L1", ("juniper",), "found on the floor", key="k2")
    assert plant.holds("L1").fragrances == ("juniper",)


def test_only_the_safety_officer_approves_the_checklists(plant: Plant) -> None:
    with pytest.raises(RefusedError) as refused:
        plant.approve_library(who(plant, "SS"), key="k")
    assert _keys(refused) == {"plant.safety_officer_only"}
    assert plant.approval() is None
    entry = plant.approve_library(who(plant, "VV"), key="k2")
    assert plant.approval() == entry


def _locked(plant: Plant, clock: SetClock) -> str:
    """A changeover on L1 with A. Abel's locks on every point."""
    supervisor, operator = who(plant, "SS"), who(plant, "AA")
    plant.state_holds(supervisor, "L1", ("clove-leaf",), "to begin with", key="holds")
    work = plant.start_changeover(supervisor, "L1", "plain", "start").work
    job = plant.state(work).worksheet.jobs[0]
    count = 0

    def event(what: Event, person: Who, **more: object) -> None:
        nonlocal count
        count += 1
        clock.advance(timedelta(seconds=5))
        act = LockoutAct(job=job.id, event=what, **more)  # type: ignore[arg-type]
        plant.act(work, act, person, key=f"event {count}")

    event(Event.NOTIFY_BEFORE, operator, people=job.affected_duties)
    event(Event.REVIEW, operator)
    event(Event.SHUT_DOWN, operator, how="normal")
    for point in job.required:
        event(Event.ISOLATE, operator, points=(point,))
    for point in job.required:
        event(Event.LOCK_ON, operator, points=(point,), lock=f"AA-{point}")
    return work


def test_without_a_pin_only_the_way_out_is_recorded(plant: Plant, clock: SetClock) -> None:
    """A blocked PIN keeps nobody at work or under a lock (deviation and all), and signs nothing else."""
    work = _locked(plant, clock)
    job = plant.state(work).worksheet.jobs[0].id
    unproved = Who(plant.ledger.person("AA"), "unconfirmed")
    with pytest.raises(RefusedError) as refused:
        plant.act(work, SignStep(step="prep/read-worksheet"), unproved, key="sign")
    assert _keys(refused) == {"plant.unconfirmed"}
    entry = plant.act(work, LockoutAct(job=job, event=Event.LOCK_OFF), unproved, key="off")
    assert entry.identity == "unconfirmed"
    deviations = plant.state(work).open_deviations
    assert "changeover.deviation.unconfirmed" in {deviation.key for deviation in deviations}


def test_a_point_left_isolated_by_an_abandoned_changeover_is_not_forgotten(
    plant: Plant, clock: SetClock
) -> None:
    work = _locked(plant, clock)
    plant.act(work, Abandon(reason="motor fault", holds=("clove-leaf",)), who(plant, "AA"), key="abandon")
    job = plant.state(work).worksheet.jobs[0].id
    plant.act(work, LockoutAct(job=job, event=Event.LOCK_OFF), who(plant, "AA"), key="off")
    assert [state.work for state in plant.line_now("L1").leftover] == [work], "no lock, but still isolated"

"""The plant: library and ledger together, on a real SQLite file."""

from datetime import UTC, datetime, timedelta

import pytest
from msgspec.structs import replace

from floorterm.changeover.acts import Abandon, LockoutAct, Note, Redirect, SignStep
from floorterm.demo.clock import SetClock
from floorterm.ledger import InactivePersonError, KeyReusedError, LedgerError, RefusedError
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
    plant.act(work, Abandon(reason="motor fault"), who(plant, "AA"), key="abandon")
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


def test_checklists_are_no_longer_the_approved_ones_once_others_are(plant: Plant) -> None:
    """A terminal stays open for weeks: its work must not be said to rest on approved checklists for ever."""
    plant.approve_library(who(plant, "VV"), key="k1")
    newer = Plant(replace(plant.library, digest="1" * 64), plant.ledger, "T2")
    assert (newer.approval(), newer.others_approved()) == (None, None), (
        "changed, and nobody has approved it yet"
    )
    entry = newer.approve_library(who(newer, "VV"), key="k2")
    assert (newer.approval(), newer.others_approved()) == (entry, None)
    assert (plant.approval(), plant.others_approved()) == (None, entry)
    state = plant.start_procedure(who(plant, "AA"), "L1", "jam-or-torn-screen", key="s")
    begun = plant.ledger.entries(changeover=state.work)[0]
    assert begun.value["library_approved"] is False
    back = plant.approve_library(who(plant, "VV"), key="k3")
    assert (plant.approval(), plant.others_approved()) == (back, None)
    assert (newer.approval(), newer.others_approved()) == (None, back)


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
    plant.act(work, Abandon(reason="motor fault"), who(plant, "AA"), key="abandon")
    job = plant.state(work).worksheet.jobs[0].id
    plant.act(work, LockoutAct(job=job, event=Event.LOCK_OFF), who(plant, "AA"), key="off")
    assert [state.work for state in plant.line_now("L1").leftover] == [work], "no lock, but still isolated"


@pytest.mark.parametrize("identity", ["pin", "unconfirmed"])
def test_somebody_disabled_under_their_own_lock_gets_out(
    plant: Plant, clock: SetClock, identity: str
) -> None:
    """Whoever disables a code does not know who stands in the machine; 1910.147(e)(3) leaves the lock to its owner."""
    work = _locked(plant, clock)
    job = plant.state(work).worksheet.jobs[0].id
    plant.ledger.disable_person("AA", by="AD")
    gone = Who(plant.ledger.person("AA"), identity)
    with pytest.raises(InactivePersonError):
        plant.act(work, Note(text="still here"), gone, key="note")
    plant.act(work, LockoutAct(job=job, event=Event.WORK_END), gone, key="end")
    plant.act(work, LockoutAct(job=job, event=Event.LOCK_OFF), gone, key="off")
    assert plant.state(work).locks_on() == ()


def test_without_a_pin_a_step_that_takes_ones_own_lock_off_is_recorded_too(
    plant: Plant, clock: SetClock
) -> None:
    """The program may word its order, never the missing PIN, as the reason."""
    work = _locked(plant, clock)
    off = next(step for step in plant.state(work).worksheet.steps() if step.event is Event.LOCK_OFF)
    with pytest.raises(RefusedError) as refused:
        plant.act(work, SignStep(step=off.id), Who(plant.ledger.person("AA"), "unconfirmed"), key="off")
    assert _keys(refused) == {"changeover.after_own_lock"}


@pytest.mark.parametrize("identity", ["unconfirmed", "", "PIN"])
def test_nothing_begins_and_nothing_is_stated_without_a_pin(plant: Plant, identity: str) -> None:
    def only_named(code: str) -> Who:
        return Who(plant.ledger.person(code), identity)

    work = plant.start_changeover(who(plant, "SS"), "L2", "juniper", "k").work
    before = plant.ledger.head()
    for refused in (
        lambda: plant.start_changeover(only_named("SS"), "L1", "clove-leaf", "a"),
        lambda: plant.start_procedure(only_named("AA"), "L1", "jam-or-torn-screen", "b"),
        lambda: plant.state_holds(only_named("SS"), "L1", ("clove-leaf",), "seen", key="c"),
        lambda: plant.approve_library(only_named("VV"), key="d"),
        lambda: plant.act(work, Note(text="slow"), only_named("AA"), key="e"),
    ):
        with pytest.raises(RefusedError) as error:
            refused()
        assert _keys(error) == {"plant.unconfirmed"}
    assert plant.ledger.head() == before


def test_an_open_session_is_not_enough_where_the_plant_asks_the_pin_again(
    plant: Plant, clock: SetClock
) -> None:
    work = _locked(plant, clock)
    job = plant.state(work).worksheet.jobs[0].id
    session = Who(plant.ledger.person("AA"), "session")
    plant.act(work, Note(text="warm"), session, key="note")
    with pytest.raises(RefusedError) as refused:
        plant.act(work, LockoutAct(job=job, event=Event.REVIEW), session, key="review")
    assert _keys(refused) == {"plant.pin_again"}
    plant.act(work, LockoutAct(job=job, event=Event.LOCK_OFF), session, key="off")
    assert plant.state(work).locks_on() == (), "the way out is open all the same"


def test_one_key_cannot_answer_for_two_pieces_of_work(plant: Plant) -> None:
    first = plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "k1").work
    second = plant.start_changeover(who(plant, "SS"), "L2", "juniper", "k2").work
    plant.act(first, Note(text="slow"), who(plant, "AA"), key="same")
    with pytest.raises(KeyReusedError):
        plant.act(second, Note(text="slow"), who(plant, "AA"), key="same")


@pytest.mark.parametrize("fragrances", [(), ("no-such",), ("plain", "no-such")])
def test_a_line_is_never_said_to_hold_what_it_cannot_run(plant: Plant, fragrances: tuple[str, ...]) -> None:
    with pytest.raises(RefusedError) as refused:
        plant.state_holds(who(plant, "SS"), "L1", fragrances, "seen", key="k")
    assert _keys(refused) == {"plant.holds_no_such"}


def test_a_disabled_witness_witnesses_nothing(plant: Plant, clock: SetClock) -> None:
    work = _locked(plant, clock)
    job = plant.state(work).worksheet.jobs[0].id
    witness = plant.ledger.person("BB")
    plant.ledger.disable_person("BB", by="AD")
    with pytest.raises(LedgerError):
        plant.act(
            work, LockoutAct(job=job, event=Event.VERIFY, result="zero"), who(plant, "AA"),
            key="v", witness=witness,
        )  # fmt: skip


def test_a_lock_on_a_line_that_the_checklists_no_longer_name_still_counts(
    plant: Plant, clock: SetClock
) -> None:
    _locked(plant, clock)
    fewer = {name: line for name, line in plant.library.lines.items() if name != "L1"}
    later = Plant(replace(plant.library, lines=fewer), plant.ledger, "T2")
    other = later.start_changeover(who(plant, "SS"), "L2", "juniper", "k2").work
    assert {lock.line for lock in later.elsewhere(other)} == {"L1"}


def test_the_plants_clock_reads_its_own_wall_clock_on_both_sides_of_the_change_to_standard_time(
    plant: Plant, clock: SetClock
) -> None:
    """In America/Denver 2027-11-07 02:00 daylight time is 01:00 standard time (IANA tz database)."""
    assert plant.zone.key == "America/Denver"
    clock.move_to(datetime(2027, 11, 7, 5, 30, tzinfo=UTC))
    assert (plant.today().isoformat(), f"{plant.now():%H:%M}") == ("2027-11-06", "23:30")
    earlier = plant.now()
    clock.advance(timedelta(hours=25))
    assert (plant.today().isoformat(), f"{plant.now():%H:%M}") == ("2027-11-07", "23:30")
    assert plant.now() - earlier == timedelta(hours=25)
    assert earlier + timedelta(hours=25) == plant.now(), "minutes added are real minutes"


def test_the_last_day_of_a_training_is_that_of_the_wall_clock_now_not_of_the_last_entry(
    plant: Plant, clock: SetClock
) -> None:
    """The lockout is made in standard time (-07:00); at 00:15 daylight time that still says yesterday."""
    work = _locked(plant, clock)
    job = plant.state(work).worksheet.jobs[0].id
    clock.move_to(datetime(2027, 3, 15, 6, 15, tzinfo=UTC))
    assert f"{plant.now():%Y-%m-%d %H:%M %z}" == "2027-03-15 00:15 -0600"
    yesterday = plant.today() - timedelta(days=1)
    plant.ledger.change_person(replace(plant.ledger.person("AA"), valid_to=yesterday), by="AD")
    with pytest.raises(RefusedError) as refused:
        plant.act(work, LockoutAct(job=job, event=Event.WORK_START), who(plant, "AA"), key="work start")
    assert "lockout.training_over" in _keys(refused)

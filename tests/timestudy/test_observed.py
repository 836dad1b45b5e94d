"""Durations of steps, and which of them are marked and not learned from."""

from datetime import timedelta
from decimal import Decimal

from msgspec.structs import replace

from floorterm.changeover.state import FlushProgress, MinutesTold, Paper, State, Stop
from floorterm.changeover.worksheet import FlushNote
from floorterm.timestudy.observed import Observation, observed
from tests.timestudy.made import BEGIN, released, sheet, step, usual

NO_FAMILY: dict[str, str] = {}


def _by_step(state: State, clock_set: frozenset[int] = frozenset()) -> dict[str, Observation]:
    return {one.step.removeprefix("s/"): one for one in observed(state, NO_FAMILY, clock_set)}


def test_a_step_lasts_from_the_last_thing_it_waited_for() -> None:
    found = _by_step(usual(12))
    assert {name: one.seconds for name, one in found.items()} == {
        "fetch": 240, "last": 60, "clean": 720, "fit": 300, "first": 240,
    }  # fmt: skip
    assert all(one.doubt == "" for one in found.values())
    assert (found["fetch"].external, found["fetch"].stopped, found["clean"].stopped) == (True, False, True)
    assert found["clean"].families == ("a", "b")
    assert found["clean"].crew == 1


def test_a_pause_and_explained_minutes_are_taken_out() -> None:
    pause = Stop(since=BEGIN + timedelta(minutes=6), until=BEGIN + timedelta(minutes=16), reason="drill")
    told = MinutesTold(n=9, step="s/fit", cause="searching", minutes=2, reason="key", by_name="A")
    found = _by_step(replace(usual(30), stops=(pause,), told=(told,)))
    assert found["clean"].seconds == 20 * 60
    assert found["fit"].seconds == 3 * 60


def test_several_steps_in_two_seconds_by_one_person_are_marked_and_by_two_people_are_not() -> None:
    ticked = [("last", 5, "AA"), ("clean", 15, "AA"), ("fit", 15 + 2 / 60, "AA"), ("first", 25, "AA")]
    found = _by_step(released(ticked))
    assert (found["clean"].doubt, found["fit"].doubt, found["first"].doubt) == ("batch", "batch", "")
    slower = [("last", 5, "AA"), ("clean", 15, "AA"), ("fit", 15 + 3 / 60, "AA")]
    assert not [one for one in _by_step(released(slower)).values() if one.doubt]
    two = [("last", 5, "AA"), ("clean", 15, "AA"), ("fetch", 15 + 1 / 60, "BB")]
    assert not [one for one in _by_step(released(two)).values() if one.doubt]


def test_what_came_from_paper_is_marked_and_so_is_what_followed_it() -> None:
    state = usual(10)
    paper = Paper(at=BEGIN + timedelta(minutes=15), person="AA", name="A", reason="no terminal")
    history = tuple(replace(one, paper=paper) if one.act.step == "s/clean" else one for one in state.history)
    found = _by_step(replace(state, history=history))
    assert (found["clean"].doubt, found["fit"].doubt, found["first"].doubt) == ("paper", "paper", "")


def test_a_clock_that_ran_back_or_was_set_marks_what_it_touches() -> None:
    back = [("last", 5, "AA"), ("clean", 20, "AA"), ("fit", 12, "BB"), ("first", 25, "AA")]
    found = _by_step(released(back))
    assert (found["clean"].doubt, found["fit"].doubt, found["first"].doubt) == ("clock", "clock", "")
    state = usual(10)  # entries 2 fetch, 3 last, 4 clean, 5 fit, 6 first
    gapped = tuple(replace(one, n=one.n + 1) if one.n > 4 else one for one in state.history)
    found = _by_step(replace(state, history=gapped), frozenset({5}))
    assert [name for name, one in found.items() if one.doubt == "clock"] == ["fit"]


def test_a_dwell_counts_from_its_own_step_and_under_its_minutes_it_is_marked() -> None:
    worksheet = sheet(
        step("heat", 1, mark="last_good_outgoing"),
        step("warm", 6, "heat", kind="wait", since="s/heat", dwell_min=Decimal(6)),
        step("label", 1),
    )
    done = released([("heat", 2, "AA"), ("label", 7, "AA"), ("warm", 9, "AA")], worksheet=worksheet)
    assert _by_step(done)["warm"].seconds == 7 * 60
    early = released([("heat", 2, "AA"), ("warm", 6, "AA")], worksheet=worksheet)
    assert _by_step(early)["warm"].doubt == "minimum"


def test_a_flush_faster_than_the_line_can_push_is_marked() -> None:
    """400 kg at 1,728 kg/h is 13.889 min (reference check F of the flush step); at 1.25 times the rate 11.11 min."""
    note = FlushNote(
        status="ok", required_kg=Decimal(400), bars=3333, diverted_kg=Decimal(400), minutes=14,
        limit=Decimal("0.01"), evidence="guessed", line_model={}, rate_kg_h=Decimal(1728), slug_g=Decimal(120),
    )  # fmt: skip
    flush = step("flush", 14, "last", kind="flush", required_kg=Decimal(400))
    worksheet = replace(sheet(step("last", 1, mark="last_good_outgoing"), flush), flush=note)
    pushed = {"s/flush": FlushProgress(required_kg=Decimal(400), pushed_kg=Decimal(400))}
    for minutes, doubt in ((11.0, "minimum"), (11.2, ""), (13.889, "")):
        state = released([("last", 1, "AA"), ("flush", 1 + minutes, "AA")], worksheet=worksheet, flush=pushed)
        assert _by_step(state)["flush"].doubt == doubt


def test_work_about_locks_and_safety_is_known_as_such() -> None:
    worksheet = sheet(
        step("last", 1, mark="last_good_outgoing"),
        step("open", 1, needs_lockout="nose"),
        step("goggles", 1, kind="protect"),
        step("guard", 1, critical="safety", external=True),
    )
    times = [("last", 1.0, "AA"), ("open", 3.0, "AA"), ("goggles", 4.0, "AA"), ("guard", 5.0, "AA")]
    found = _by_step(released(times, worksheet=worksheet))
    assert [one.locked for one in found.values()] == [False, True, True, True]
    assert found["last"].step == "s/last"

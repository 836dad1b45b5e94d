"""Where the minutes went: the parts add up, whatever was recorded, and each is what its name says."""

from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from floorterm.changeover.acts import ExplainMinutes, SignStep
from floorterm.changeover.minutes import Minutes, last_good_bar, minutes_spent, over_standard
from floorterm.changeover.rules import may
from floorterm.changeover.state import Deviation, MinutesTold, Signed, State, Stop
from floorterm.changeover.worksheet import Named, Section, Step, Worksheet
from tests.changeover.sheets import ODE

BEGIN = datetime(2026, 3, 2, 14, 0, tzinfo=UTC)


def _step(name: str, minutes: int, *after: str, **more: object) -> Step:
    return Step(
        id=f"s/{name}",
        kind="confirm",
        text={"en": name},
        standard_min=Decimal(minutes),
        after=tuple(f"s/{one}" for one in after),
        duty="operator",
        **more,  # type: ignore[arg-type]
    )


def _sheet(*steps: Step) -> Worksheet:
    return Worksheet(
        line=Named(id="L1", name={"en": "Line 1"}),
        outgoing=Named(id="a", name={"en": "A"}),
        incoming=Named(id="b", name={"en": "B"}),
        on=date(2026, 3, 2),
        sections=(Section(id="s", title={"en": "S"}, steps=steps),),
    )


LAST = _step("last", 1, mark="last_good_outgoing")
SHEET = _sheet(LAST, _step("clean", 10, "last"), _step("fit", 5, "clean"), _step("start", 4, "fit"))


def _signed(sheet: Worksheet, n: int, name: str, minute: float, by: str = "ODE") -> Signed:
    assert sheet.step(f"s/{name}") is not None
    return Signed(
        act=SignStep(step=f"s/{name}"), n=n, at=BEGIN + timedelta(minutes=minute), person=by, name=by
    )


def _state(sheet: Worksheet, signatures: list[tuple[str, float, str]], **more: object) -> State:
    """The state after those signatures (step, minute, person), in their order."""
    history = tuple(_signed(sheet, n, name, minute, by) for n, (name, minute, by) in enumerate(signatures, 2))
    state = State(
        work="C-0001",
        worksheet=sheet,
        started_at=BEGIN,
        started_by="J. Pell",
        last_at=history[-1].at,
        last_n=history[-1].n,
        history=history,
        signed={one.act.step: one for one in history},
    )
    return replace(state, **more)  # type: ignore[arg-type]


def _released(
    sheet: Worksheet, signatures: list[tuple[str, float, str]], minute: float, **more: object
) -> State:
    return _state(sheet, signatures, status="released", ended_at=BEGIN + timedelta(minutes=minute), **more)


def _parts(state: State) -> Mapping[tuple[str, str], float]:
    found = minutes_spent(state, BEGIN + timedelta(days=1))
    assert found is not None
    _adds_up(found)
    return {(part.cause, part.step.removeprefix("s/")): part.seconds / 60 for part in found.parts}


def _adds_up(found: Minutes) -> None:
    assert sum(part.seconds for part in found.parts) == found.actual_s - found.planned_s


# --- by example -----------------------------------------------------------------------------------------------------


def test_by_the_book_there_is_nothing_to_explain() -> None:
    state = _released(
        SHEET, [("last", 0, "ODE"), ("clean", 10, "ODE"), ("fit", 15, "ODE"), ("start", 19, "ODE")], 19
    )
    assert _parts(state) == {}


def test_each_step_shows_what_it_took_over_its_standard_and_the_release_what_it_kept_waiting() -> None:
    state = _released(
        SHEET, [("last", 0, "ODE"), ("clean", 13, "ODE"), ("fit", 17, "ODE"), ("start", 21, "ODE")], 24
    )
    assert _parts(state) == {("over", "clean"): 3, ("over", "fit"): -1, ("waiting", ""): 3}


def test_a_pause_is_a_stop_with_its_reason_and_not_slow_work() -> None:
    stop = Stop(since=BEGIN + timedelta(minutes=4), until=BEGIN + timedelta(minutes=11), reason="no forklift")
    state = _released(
        SHEET,
        [("last", 0, "ODE"), ("clean", 17, "ODE"), ("fit", 22, "ODE"), ("start", 26, "ODE")],
        26,
        stops=(stop,),
    )
    assert _parts(state) == {("stop", "clean"): 7}
    found = minutes_spent(state, BEGIN)
    assert found is not None
    assert found.parts[0].reasons == ("no forklift",)


def test_a_decision_that_the_next_step_needs_is_waiting_once_even_under_a_pause() -> None:
    deviation = Deviation(
        n=3, at=BEGIN + timedelta(minutes=10), step="s/clean", by="ODE", by_name="R. Ode", key="x", facts={},
        stops=True, decision="accept", decided_at=BEGIN + timedelta(minutes=16),
    )  # fmt: skip
    stop = Stop(since=BEGIN + timedelta(minutes=14), until=BEGIN + timedelta(minutes=18), reason="break")
    state = _released(
        SHEET, [("last", 0, "ODE"), ("clean", 10, "ODE"), ("fit", 23, "ODE"), ("start", 27, "ODE")], 27,
        stops=(stop,), deviations=(deviation,),
    )  # fmt: skip
    assert _parts(state) == {("waiting", "fit"): 4, ("stop", "fit"): 4}


def test_a_step_done_again_and_one_that_the_line_need_not_have_stood_for() -> None:
    sheet = _sheet(*SHEET.steps(), _step("label", 3, external=True))
    signatures = [
        ("last", 0.0, "ODE"), ("label", 3.0, "ODE"), ("clean", 13.0, "ODE"), ("fit", 18.0, "ODE"),
        ("fit", 24.0, "ODE"), ("start", 28.0, "ODE"),
    ]  # fmt: skip
    assert _parts(_released(sheet, signatures, 28)) == {
        ("external", "label"): 3,
        ("again", "fit"): 5,
        ("over", "fit"): 1,
    }


def test_what_a_second_pair_of_hands_does_beside_the_chain_costs_nothing() -> None:
    sheet = _sheet(
        LAST, _step("clean", 10, "last"), _step("pack", 4, "last"), _step("start", 4, "clean", "pack")
    )
    both = [("last", 0.0, "ODE"), ("pack", 9.0, "TAMM"), ("clean", 10.0, "ODE"), ("start", 14.0, "ODE")]
    # the standard has one person for the duty: 10 + 4 + 4; the chain that decided is 10 + 4
    assert _parts(_released(sheet, both, 14)) == {("order", ""): -4}


def test_minutes_that_somebody_explained_are_no_longer_over_and_never_more_than_that() -> None:
    slow = [("last", 0.0, "ODE"), ("clean", 16.0, "ODE"), ("fit", 21.0, "ODE"), ("start", 25.0, "ODE")]
    told = (
        MinutesTold(n=9, step="s/clean", cause="searching", minutes=4, reason="scraper", by_name="R. Ode"),
        MinutesTold(n=10, step="s/clean", cause="waiting", minutes=9, reason="crane", by_name="R. Ode"),
    )
    assert _parts(_released(SHEET, slow, 25, told=told[:1])) == {
        ("searching", "clean"): 4,
        ("over", "clean"): 2,
    }
    assert _parts(_released(SHEET, slow, 25, told=told)) == {
        ("searching", "clean"): 4,
        ("waiting", "clean"): 2,
    }


def test_only_what_went_over_is_explained_with_a_reason_by_whoever_knows() -> None:
    state = _state(SHEET, [("last", 0, "ODE"), ("clean", 16, "ODE")])
    now = BEGIN + timedelta(minutes=16)
    assert over_standard(state, "s/clean", now) == 6
    act = ExplainMinutes(step="s/clean", cause="searching", minutes=6, reason="scraper was at line 2")
    assert may(state, act, ODE, now) == ()
    for wrong, key in (
        (replace(act, minutes=7), "minutes_not_lost"),
        (replace(act, minutes=0), "minutes_not_lost"),
        (replace(act, step="s/fit"), "minutes_not_lost"),
        (replace(act, step="s/none"), "unknown_step"),
        (replace(act, reason=" "), "reason_missing"),
    ):
        assert [refusal.say.key for refusal in may(state, wrong, ODE, now)] == [f"changeover.{key}"]


def test_before_the_last_good_bar_there_are_no_minutes_and_a_work_that_goes_on_says_what_is_left() -> None:
    assert minutes_spent(_state(SHEET, [("clean", 3, "ODE")]), BEGIN) is None
    state = _state(SHEET, [("last", 0, "ODE"), ("clean", 12, "ODE")])
    found = minutes_spent(state, BEGIN + timedelta(minutes=15))
    assert found is not None
    _adds_up(found)
    assert {part.cause: part.seconds // 60 for part in found.parts} == {"left": -9, "running": 3, "over": 2}


def test_the_plan_is_the_worksheet_that_the_work_began_with() -> None:
    shorter = _sheet(LAST, _step("clean", 6, "last"))
    state = _released(
        SHEET, [("last", 0, "ODE"), ("clean", 10, "ODE"), ("fit", 15, "ODE"), ("start", 19, "ODE")], 19
    )
    found = minutes_spent(replace(state, planned=shorter), BEGIN)
    assert found is not None
    assert (found.planned_s, found.standard_s, found.actual_s) == (360, 1140, 1140)
    assert [(part.cause, part.seconds) for part in found.parts] == [("plan", 780)]


def test_minutes_across_the_end_of_summer_time_are_those_that_passed() -> None:
    """Denver, 1 November 2026: 01:50 at -06:00 is followed ten minutes later by 01:00 at -07:00."""
    zone = ZoneInfo("America/Denver")
    before = datetime(2026, 11, 1, 1, 50, tzinfo=zone)
    after = datetime(2026, 11, 1, 1, 9, tzinfo=zone, fold=1)
    fixed = [at.astimezone(UTC) for at in (before, after)]
    state = _released(
        SHEET, [("last", 0, "ODE"), ("clean", 10, "ODE"), ("fit", 15, "ODE"), ("start", 19, "ODE")], 19
    )
    moved = replace(
        state,
        history=tuple(
            replace(one, at=at) for one, at in zip(state.history, (fixed[0], *[fixed[1]] * 3), strict=True)
        ),
        signed={**state.signed, "s/last": replace(state.history[0], at=fixed[0])},
        ended_at=after,
    )
    found = minutes_spent(moved, after)
    assert found is not None
    assert found.actual_s == 19 * 60


# --- by property ----------------------------------------------------------------------------------------------------

_NAMES = tuple(f"n{index}" for index in range(7))
_minutes = st.integers(0, 40 * 60).map(lambda seconds: BEGIN + timedelta(seconds=seconds))


@st.composite
def states(draw: st.DrawFn) -> State:
    """Any steps in any order by anybody, done again, with pauses and decisions that may overlap, ended or not."""
    steps = [LAST]
    for index, name in enumerate(_NAMES):
        after = draw(st.lists(st.sampled_from(("last", *_NAMES[:index])), unique=True, max_size=3))
        steps.append(_step(name, draw(st.integers(0, 12)), *after, external=draw(st.booleans())))
    sheet = _sheet(*steps)
    signatures = draw(
        st.lists(
            st.tuples(
                st.sampled_from(_NAMES), st.integers(-60, 2400).map(lambda s: s / 60), st.sampled_from("ABC")
            ),
            max_size=12,
        )
    )
    state = _state(sheet, [("last", draw(st.integers(0, 5)), "A"), *signatures])
    stops = tuple(
        Stop(since=min(two), until=max(two), reason="r")
        for two in draw(st.lists(st.tuples(_minutes, _minutes), max_size=3))
    )
    deviations = tuple(
        Deviation(
            n=n, at=at, step="s/n0", by="A", by_name="A", key="k", facts={}, stops=draw(st.booleans()),
            decision=draw(st.sampled_from((None, "hold", "accept"))), decided_at=draw(st.none() | _minutes),
        )
        for n, at in enumerate(draw(st.lists(_minutes, max_size=2)))
    )  # fmt: skip
    told = tuple(
        MinutesTold(n=n, step=f"s/{name}", cause="searching", minutes=many, reason="r", by_name="A")
        for n, (name, many) in enumerate(
            draw(st.lists(st.tuples(st.sampled_from(_NAMES), st.integers(1, 9)), max_size=3))
        )
    )
    status = draw(st.sampled_from(("open", "paused", "released", "abandoned")))
    return replace(
        state,
        status=status,
        stops=stops,
        deviations=deviations,
        told=told,
        planned=draw(st.none() | st.just(SHEET)),
        paused_since=draw(_minutes) if status == "paused" else None,
        ended_at=draw(_minutes) if status in ("released", "abandoned") else None,
    )


@given(states(), _minutes)
def test_the_parts_add_up_to_the_difference_whatever_was_recorded(state: State, now: datetime) -> None:
    found = minutes_spent(state, now)
    assert found is not None
    _adds_up(found)
    assert found.actual_s >= 0
    assert found.gap_s == found.actual_s - found.planned_s
    assert len({(part.cause, part.step) for part in found.parts}) == len(found.parts)
    times = [
        part.seconds
        for part in found.parts
        if part.cause in ("stop", "waiting", "searching", "again", "external", "running")
    ]
    assert all(seconds > 0 for seconds in times)
    assert sum(times) <= found.actual_s


@given(states(), _minutes, st.integers(1, 3600))
def test_the_same_record_an_hour_later_on_the_clock_gives_the_same_parts(
    state: State, now: datetime, seconds: int
) -> None:
    """Nothing hangs on the hour of the day: everything moved by the same time gives the same minutes."""

    def later(at: datetime | None) -> datetime | None:
        return None if at is None else at + timedelta(seconds=seconds)

    moved = replace(
        state,
        history=tuple(replace(one, at=one.at + timedelta(seconds=seconds)) for one in state.history),
        signed={
            name: replace(one, at=one.at + timedelta(seconds=seconds)) for name, one in state.signed.items()
        },
        stops=tuple(replace(one, since=later(one.since), until=later(one.until)) for one in state.stops),
        deviations=tuple(
            replace(one, at=later(one.at), decided_at=later(one.decided_at)) for one in state.deviations
        ),
        paused_since=later(state.paused_since),
        ended_at=later(state.ended_at),
    )
    first, second = minutes_spent(state, now), minutes_spent(moved, now + timedelta(seconds=seconds))
    assert first is not None
    assert second is not None
    assert first.parts == second.parts


def test_a_procedure_counts_from_its_start() -> None:
    alone = replace(_sheet(_step("look", 5)), outgoing=None, incoming=None)
    state = _state(alone, [("look", 6, "ODE")])
    assert last_good_bar(state) == BEGIN
    assert _parts(replace(state, status="released", ended_at=BEGIN + timedelta(minutes=7))) == {
        ("over", "look"): 1,
        ("waiting", ""): 1,
    }


@pytest.mark.parametrize("count", [0, 1])
def test_a_work_without_any_sign_off_after_the_bar_is_all_standing_still(count: int) -> None:
    state = _released(SHEET, [("last", 0, "ODE")], 8 * count)
    assert _parts(state).get(("waiting", ""), 0) == 8 * count

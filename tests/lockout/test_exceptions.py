"""Minor servicing and cord-and-plug work: the conditions of 29 CFR 1910.147(a)(2), stated, confirmed and audited.

The clauses are (a)(2)(ii) note and (a)(2)(iii)(A), with OSHA's reading of a plug under exclusive control; that some
tasks are never exempt is site policy.
"""

import pytest

from floorterm.lockout.guide import next_moves
from floorterm.lockout.model import Event, LockEvent
from tests.lockout.floor import PEOPLE, Floor, ev

MEASURE = {"en": "brush with a long handle, guard stays closed"}


def minor(**more: object) -> Floor:
    return Floor.of(
        **{"points": (), "job_class": "minor_servicing", "task": "lens_wipe", "measure": MEASURE, **more}
    )


def plug() -> Floor:
    return Floor.of(points=(), job_class="cord_plug", task="belt_cleaning")


WIPED = [
    ev("exception_confirmed", "F1", result="ok"),
    ev("work_start", "F1"),
    ev("work_end", "F1"),
    ev("close", "F1"),
]
UNPLUGGED = [
    ev("unplug", "A1"),
    ev("plug_control", "A1", how="in_hand"),
    ev("work_start", "A1"),
    ev("work_end", "A1"),
    ev("plug_in", "A1"),
    ev("close", "A1"),
]


@pytest.mark.parametrize(("floor", "events"), [(minor(), WIPED), (plug(), UNPLUGGED)])
def test_the_whole_way_goes_through_and_is_judged_complete(floor: Floor, events: list[LockEvent]) -> None:
    done = Floor(floor.state, floor.now).accept(*events)
    assert done.rules("VWP") == set()
    assert done.short == []
    assert done.state.is_idle


@pytest.mark.parametrize(
    ("floor", "history", "proposed", "key", "rule"),
    [
        (minor(), [], ev("work_start", "F1"), "confirm_first", "29 CFR 1910.147(a)(2)(ii)"),
        (
            minor(),
            [],
            ev("exception_confirmed", "F1", result="not_ok"),
            "lock_out_instead",
            "29 CFR 1910.147(a)(2)(ii)",
        ),
        (minor(measure={}), [], WIPED[0], "no_measure", "29 CFR 1910.147(a)(2)(ii)"),
        (minor(task="die_change"), [], WIPED[0], "never_exempt", "site policy"),
        (minor(), WIPED[:2], WIPED[1], "already_working", "LR-03"),
        (minor(), WIPED[:2], WIPED[3], "still_working", "29 CFR 1910.147(a)(2)(iii)(A)"),
        (minor(), WIPED, WIPED[1], "closed", "LR-03"),
        (minor(), [], ev("lock_on", "A1", lock="x"), "no_lockout_job", "LR-03"),
        (minor(), WIPED[:1], ev("work_start", "X1"), "training_over", "site policy"),
        (plug(), [], UNPLUGGED[1], "unplug_first", "29 CFR 1910.147(a)(2)(iii)(A)"),
        (
            plug(),
            UNPLUGGED[:1],
            ev("plug_control", "A1", how="nearby"),
            "plug_how",
            "29 CFR 1910.147(a)(2)(iii)(A)",
        ),
        (plug(), UNPLUGGED[:1], UNPLUGGED[2], "hold_the_plug", "29 CFR 1910.147(a)(2)(iii)(A)"),
        (plug(), [], UNPLUGGED[2], "unplug_first", "29 CFR 1910.147(a)(2)(iii)(A)"),
        (plug(), UNPLUGGED[:2], ev("work_start", "A2"), "plug_of_another", "29 CFR 1910.147(a)(2)(iii)(A)"),
        (
            plug(),
            UNPLUGGED[:2],
            ev("plug_control", "A2", how="locked"),
            "plug_of_another",
            "29 CFR 1910.147(a)(2)(iii)(A)",
        ),
        (plug(), UNPLUGGED[:3], UNPLUGGED[4], "still_working", "29 CFR 1910.147(a)(2)(iii)(A)"),
        (plug(), UNPLUGGED[:4], ev("plug_in", "A2"), "plug_of_another", "29 CFR 1910.147(a)(2)(iii)(A)"),
        (plug(), [], UNPLUGGED[5], "nothing_begun", "LR-03"),
    ],
)
def test_without_a_condition_there_is_no_work(
    floor: Floor, history: list[LockEvent], proposed: LockEvent, key: str, rule: str
) -> None:
    asked = Floor(floor.state, floor.now).accept(*history)
    assert (key, rule) in {(no.say.key.removeprefix("lockout."), no.rule) for no in asked.ask(proposed)}


@pytest.mark.parametrize("floor", [minor(), plug()])
def test_ending_work_is_never_refused(floor: Floor) -> None:
    assert floor.ask(ev("work_end", "S1")) == ()


@pytest.mark.parametrize(("floor", "events"), [(minor(), WIPED), (plug(), UNPLUGGED)])
def test_the_guidance_leads_through_it(floor: Floor, events: list[LockEvent]) -> None:
    walked, person = Floor(floor.state, floor.now), PEOPLE[events[0].by]
    for event in events:
        left = event.event in (Event.CONFIRM_EXCEPTION, Event.UNPLUG, Event.PLUG_CONTROL, Event.WORK_START)
        moves = next_moves(walked.state, person, walked.now, work_left=left)
        assert event.event in [move.event for move in moves]
        walked.accept(event)
    assert next_moves(walked.state, person, walked.now, work_left=False) == ()


def test_an_exception_without_its_confirmation_is_judged_a_missing_lockout() -> None:
    """What the guard refuses the audit finds, were it recorded all the same: LO-02 and with it LO-01."""
    assert minor().record(*WIPED[1:]).rules() == {"LO-01", "LO-02"}
    assert plug().record(*UNPLUGGED[2:]).rules() >= {"LO-01", "LO-03"}

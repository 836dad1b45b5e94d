"""The ledger's lockouts as records, and the live guard against the audit.

What the guard lets through and the audit judges must agree (29 CFR 1910.147(d), (e)): a history that was accepted
act by act falls short only through acts that are never refused, or through time that went by.
"""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from floorterm.changeover.lockout_record import record_of_lockouts
from floorterm.lockout import audit
from floorterm.lockout.auditing import Finding
from floorterm.lockout.model import LockEvent
from floorterm.lockout.state import LockoutState
from tests.lockout.jobs import (
    ACCOUNTED,
    CLOSED,
    ENDED,
    JOINED,
    ODE,
    PEOPLE,
    PROVED,
    RESTARTED,
    TAMM,
    WORKING,
    Log,
    ev,
    log,
)


def findings(state: LockoutState) -> tuple[Finding, ...]:
    return audit(record_of_lockouts("W-1", {"screen": state}, PEOPLE.values()))


def rules_at(state: LockoutState, level: str) -> set[str]:
    return {finding.rule for finding in findings(state) if finding.level == level}


def test_a_complete_lockout_of_the_terminal_audits_without_a_violation() -> None:
    done = Log().accept(*CLOSED).state
    assert not rules_at(done, "V") | rules_at(done, "W") | rules_at(done, "P")
    assert {"LO-08", "LO-09", "LO-10", "LO-17"} <= rules_at(done, "A")  # what a ledger cannot show


def test_an_open_lockout_is_pending() -> None:
    assert rules_at(Log().accept(*WORKING).state, "P") == {"LO-36"}


def test_findings_carry_the_numbers_of_the_ledger() -> None:
    state = log(*[event for event in CLOSED if event.event != "inspect_area"]).state
    (short,) = [finding for finding in findings(state) if finding.level == "V"]
    assert short.rule == "LO-31"
    energised = next(event for event in state.events if event.event == "re_energise")
    assert short.entry == energised.n
    assert f"Entry {energised.n}" in short.text
    assert short.job == "W-1/screen"


def test_taking_all_own_locks_off_at_once_is_one_removal_a_lock() -> None:
    both_off = [*ACCOUNTED, ev("lock_off"), *RESTARTED[len(ACCOUNTED) + 2 :], ev("close")]
    state = Log().accept(*both_off).state
    assert not rules_at(state, "V")


def test_a_record_begun_again_after_its_close_is_a_job_of_its_own() -> None:
    state = Log().accept(*CLOSED, *CLOSED).state
    jobs = {finding.job for finding in findings(state)}
    assert jobs == {"W-1/screen", "W-1/screen (2)"}
    assert not rules_at(state, "V")


def test_own_lock_off_while_at_work_is_never_refused_and_is_judged() -> None:
    state = Log().accept(*WORKING, ev("lock_off")).state
    assert "LO-30" in rules_at(state, "V")


def test_a_repeat_verification_that_lapsed_is_judged() -> None:
    """29 CFR 1910.147(d)(5)(ii), the site's interval of 20 minutes."""
    late = Log().accept(*WORKING).wait(25).accept(ev("work_end")).state
    assert rules_at(late, "V") == {"LO-28"}


# Acts as people try them; the guard decides. `lock_off` and `work_end` are never refused.
TRIES = [
    *dict.fromkeys((*CLOSED, *JOINED)),
    ev("release", ODE, "D1"),
    ev("isolate", TAMM, "V1"),
    ev("work_start", TAMM),
    ev("work_end", TAMM),
    ev("lock_off", TAMM, "D1"),
    ev("lock_off", TAMM, "V1"),
    ev("monitor", ODE, "V1", result="zero"),
    ev("monitor", TAMM, "V1", result="not_zero"),
    ev("verify", ODE, result="not_zero"),
    ev("verify", ODE, people=("TAMM",), result="zero"),
    ev("account_people", people=("ODE", "TAMM"), result="ok"),
    ev("inspect_area", TAMM, result="ok"),
    ev("inspect_area", result="not_ok"),
]


def _premature(state: LockoutState, event: LockEvent) -> bool:
    """A lock off while its owner works, or the last one before area and people were looked over: never refused."""
    if event.event == "work_end":
        return event.by not in state.at_work
    if event.event != "lock_off":
        return False
    return event.by in state.at_work or not (state.inspected and state.accounted) or bool(state.at_work)


def _walk(seed: int, steps: int) -> LockoutState:
    """A walk of likely and unlikely acts, of which only those happen that the guard lets through."""
    chance = random.Random(seed)
    walked = Log()
    script = iter([*PROVED, *WORKING[len(PROVED) :], *ENDED[len(WORKING) :], *CLOSED[len(ENDED) :]])
    for _ in range(steps):
        event = next(script, chance.choice(TRIES)) if chance.random() < 0.5 else chance.choice(TRIES)
        if walked.state.alarm and event.event != "work_end":
            event = ev("work_end", PEOPLE[next(iter(walked.state.at_work))])
        due = [at for at in walked.state.monitor_due().values() if at is not None]
        if walked.state.at_work and due and (min(due) - walked.now).total_seconds() <= 120:
            watched = ev("monitor", ODE, "V1", result="zero")
            if not walked.ask(watched):
                walked.record(watched)
        if not walked.ask(event) and not _premature(walked.state, event):
            walked.record(event)
    return walked.state


@settings(max_examples=150, deadline=None)
@given(seed=st.integers(0, 10**9), steps=st.integers(5, 70))
def test_what_the_guard_accepts_falls_short_only_through_acts_that_are_never_refused(
    seed: int, steps: int
) -> None:
    state = _walk(seed, steps)
    short = [finding for finding in findings(state) if finding.level == "V"] if state.events else []
    assert not short, [finding.text for finding in short]


@pytest.mark.parametrize("seed", range(3))
def test_the_walks_get_somewhere(seed: int) -> None:
    """Among a few walks somebody works and a record is closed, else the agreement above would mean nothing."""
    states = [_walk(seed * 100 + i, 70) for i in range(60)]
    assert sum(bool(state.workers) for state in states) > 20
    assert any(state.closed for state in states)

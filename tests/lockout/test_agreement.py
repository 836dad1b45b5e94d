"""The live guard and the audit agree, whatever people do (29 CFR 1910.147(d), (e), (f), as both read it).

A history that the guard let through falls short only through acts that are never refused or through time going by,
and then the screen has said so at once, with the rule. Nothing compliant is refused: see `test_documents_live.py`
and the histories made at random below.
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.lockout.agreement import unexplained, walk


@settings(max_examples=250, deadline=None)
@given(seed=st.integers(0, 10**9), steps=st.integers(10, 120))
def test_every_violation_of_an_accepted_history_was_said_on_the_screen(seed: int, steps: int) -> None:
    floor = walk(seed, steps)
    if floor.state.events:
        assert unexplained(floor) == []


@settings(max_examples=120, deadline=None)
@given(seed=st.integers(0, 10**9))
def test_whoever_leaves_in_order_and_reads_in_time_is_never_judged_short(seed: int) -> None:
    floor = walk(seed, 100, careful=True)
    assert floor.said == []
    if floor.state.events:
        assert unexplained(floor) == []


@pytest.mark.parametrize("seed", range(1))
def test_the_walks_get_somewhere(seed: int) -> None:
    """Among a few walks people work, tests run, locks change hands, records are closed: else agreement is empty."""
    floors = [walk(seed * 1000 + i, 140) for i in range(120)]
    words = {event.event.value for floor in floors for event in floor.state.events}
    assert sum(bool(floor.state.workers) for floor in floors) > 40
    assert any(floor.state.closed for floor in floors)
    assert {"temp_energise", "assign_primary", "hand_over", "remove_other", "owner_absent_check"} <= words

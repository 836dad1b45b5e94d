"""Histories that 29 CFR 1910.147 finds complete, walked through the guard as the terminal would record them.

The same documents are judged by the audit elsewhere; here nothing of them may be refused, and the record that the
terminal makes of them is judged complete as well. What is altered in them and still judged complete may be refused
only where the live order is stricter for a stated reason.
"""

from collections.abc import Iterator
from datetime import datetime

import pytest

from floorterm.lockout.state import LockoutState
from tests.lockout.agreement import unexplained
from tests.lockout.audit.histories import COMPLIANT, Document
from tests.lockout.audit.test_mutations import events, renumbered, reported
from tests.lockout.floor import Floor, from_document, job

# Where the live order is stricter than the audit of what was recorded, and why.
STRICTER = {
    ("restart", "closed"): "own: a record that is finished takes nothing more",
    ("temp_end", "no_test"): "own, LR-03: the end of a test that nobody began",
    (
        "hand_over",
        "overlap_first",
    ): "(f)(4): handed over is what both hold; said too early it promises a lock",
    ("hand_over", "hand_over_what_you_hold"): "(f)(4): said after the lock is off it hands over nothing",
}


def floor_of(record: Document) -> Floor:
    header = record["jobs"][0]["job"]
    made = job(mode=header["mode"], crews=header.get("crews") or 1)
    return Floor(LockoutState.initial(made, "L1"))


def replayed(record: Document) -> Floor:
    floor = floor_of(record)
    for event in record["jobs"][0]["events"]:
        floor.now = datetime.fromisoformat(event["t"])
        refusals = floor.ask(from_document(event))
        assert not refusals, (event, [refusal.say for refusal in refusals])
        floor.wait(-1).record(from_document(event))
    return floor


@pytest.mark.parametrize("name", COMPLIANT)
def test_no_complete_history_is_refused_and_its_record_is_judged_complete(name: str) -> None:
    floor = replayed(COMPLIANT[name])
    assert floor.state.closed
    assert floor.short == []
    assert floor.rules("VWP") == set()


def altered(record: Document) -> Iterator[Document]:
    """One event left out, exchanged with its neighbour, or entered two or four places later."""
    listed = events(record)
    for i in range(len(listed)):
        yield renumbered(record, [*listed[:i], *listed[i + 1 :]])
        for j in (i + 1, i + 2, i + 4):
            if j < len(listed):
                yield renumbered(record, [*listed[:i], *listed[i + 1 : j + 1], listed[i], *listed[j + 1 :]])


@pytest.mark.parametrize("name", COMPLIANT)
def test_of_an_altered_history_either_the_guard_refuses_or_the_screen_says_what_the_audit_finds(
    name: str,
) -> None:
    """What the guard refuses is not recorded; the rest is judged: no violation that was not said at once.

    And what is still complete although it was altered is refused only where the live order is stricter.
    """
    for record in altered(COMPLIANT[name]):
        floor, refused = floor_of(record), set()
        for event in events(record):
            floor.now = datetime.fromisoformat(event["t"])
            refusals = floor.ask(from_document(event))
            refused |= {(event["ev"], no.say.key.removeprefix("lockout.")) for no in refusals}
            if not refusals:
                floor.wait(-1).record(from_document(event))
        if floor.state.events:
            assert unexplained(floor) == []
        if refused and not reported(record):
            assert refused & set(STRICTER), (record["jobs"][0]["events"], refused)

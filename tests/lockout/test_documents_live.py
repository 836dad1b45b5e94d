"""Histories that 29 CFR 1910.147 finds complete, walked through the guard as the terminal would record them.

The same documents are judged by the audit elsewhere; here nothing of them may be refused, and the record that the
terminal makes of them is judged complete as well. What is altered in them and still judged complete may be refused
only where the live order is stricter for a stated reason.
"""

from datetime import datetime

import pytest

from floorterm.lockout.state import LockoutState
from tests.lockout.audit.histories import COMPLIANT, Document
from tests.lockout.floor import Floor, from_document, job


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

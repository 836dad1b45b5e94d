"""One event of a complete history is altered; the audit reports what the regulation's text says, and nothing else.

Which rules must and which may answer stands in `expected.py`, written from the clauses. A rule may speak only when
an event that its clause speaks of was altered, or moved past.
"""

from collections.abc import Iterable, Iterator
from copy import deepcopy
from datetime import datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from floorterm.lockout import audit
from tests.lockout.audit.expected import BY_AFFECTED, CONCERNS, DROPPED, ELSEWHERE, REPLACED, SWAPPED, Groups
from tests.lockout.audit.histories import COMPLIANT, POINTS, Document, Event

NEVER_TOLD = {
    "hand_over",
    "temp_energise",
    "restart",
    "on_site",
}  # without it nothing that is asked for is missing


def events(record: Document) -> list[Event]:
    found = record["jobs"][0]["events"]
    assert isinstance(found, list)
    return found


def reported(record: Document) -> set[str]:
    return {finding.rule for finding in audit(record) if finding.level != "A"}


def renumbered(record: Document, changed: list[Event]) -> Document:
    """The record with these events, entered in this order at the times of entry that they, or their places, had."""
    times = [event["t"] for event in (events(record) if len(changed) == len(events(record)) else changed)]
    made = deepcopy(record)
    made["jobs"][0]["events"] = [
        {**event, "n": n, "t": t} for n, (event, t) in enumerate(zip(changed, times, strict=True), start=1)
    ]
    return made


def concerned(words: Iterable[str]) -> set[str]:
    """Every rule whose clause speaks of one of these events."""
    altered = set(words)
    return {rule for rule, (_, speaks_of) in CONCERNS.items() if speaks_of & altered}


def check(found: set[str], must: Groups, may: set[str], what: object) -> None:
    for group in must:
        assert found & group, (what, "must report one of", group, "reported", found)
    assert found <= may | {rule for group in must for rule in group}, (what, "reported too much", found - may)


def each(*words: str) -> Iterator[tuple[str, int]]:
    for name, record in COMPLIANT.items():
        for i, event in enumerate(events(record)):
            if not words or event["ev"] in words:
                yield name, i


@pytest.mark.parametrize("name", COMPLIANT)
def test_a_complete_history_reports_nothing_but_attestations(name: str) -> None:
    assert reported(COMPLIANT[name]) == set()


@pytest.mark.parametrize("name", COMPLIANT)
def test_an_event_that_was_never_recorded_is_missed(name: str) -> None:
    record = COMPLIANT[name]
    for i, event in enumerate(events(record)):
        word = event["ev"]
        found = reported(renumbered(record, events(record)[:i] + events(record)[i + 1 :]))
        must = DROPPED.get(word, ())
        if word == "monitor" and event["result"] == "not_zero":
            must = ()  # energy that nobody recorded: no record can show it
        if word not in NEVER_TOLD:
            assert must or word == "monitor", word
        check(found, must, concerned([word]), (name, event))


@pytest.mark.parametrize("name", COMPLIANT)
def test_an_event_cut_out_of_the_record_leaves_a_gap_in_its_numbers(name: str) -> None:
    record = COMPLIANT[name]
    for i in range(len(events(record)) - 1):
        cut = deepcopy(record)
        del events(cut)[i]
        assert "LR-04" in reported(cut)


@pytest.mark.parametrize("name", COMPLIANT)
def test_neighbours_in_the_wrong_order_are_found_where_the_order_is_law(name: str) -> None:
    record = COMPLIANT[name]
    for i in range(len(events(record)) - 1):
        a, b = events(record)[i : i + 2]
        swapped = [*events(record)[:i], b, a, *events(record)[i + 2 :]]
        must = SWAPPED.get((a["ev"], b["ev"]), ())
        if b["ev"] == "work_end" and a["by"] != b["by"]:
            must = ()  # two people's work: no order between them is asked for
        check(reported(renumbered(record, swapped)), must, concerned([a["ev"], b["ev"]]), (name, a, b))


@pytest.mark.parametrize("name", COMPLIANT)
def test_a_lock_before_its_isolation_and_a_relief_before_its_lock_do_not_count(name: str) -> None:
    """(d)(4)(ii) and (d)(5)(i): the event is entered right before the one that it must follow."""
    record = COMPLIANT[name]
    listed = events(record)
    for i, event in enumerate(listed):
        if event["ev"] == "lock_on" and event["at"] in POINTS:
            isolated = max(
                j for j, e in enumerate(listed[:i]) if e["ev"] == "isolate" and e["point"] == event["at"]
            )
            first = not any(e["ev"] == "lock_on" and e["at"] == event["at"] for e in listed[isolated:i])
            if first:
                assert "LO-26" in reported(renumbered(record, _back(listed, i, isolated))), (name, event)
        if event["ev"] == "release" and "energy found" not in name and "from scratch" not in name:
            isolated = max(j for j in range(i) if listed[j]["ev"] == "isolate")
            assert {"LO-27", "LO-29"} <= reported(renumbered(record, _back(listed, i, isolated + 1))), (
                name,
                event,
            )


def _back(listed: list[Event], i: int, to: int) -> list[Event]:
    """The events with one entered earlier."""
    return [*listed[:to], listed[i], *listed[to:i], *listed[i + 1 :]]


@st.composite
def places(draw: st.DrawFn) -> tuple[str, int]:
    name = draw(st.sampled_from(sorted(COMPLIANT)))
    return name, draw(st.integers(0, len(events(COMPLIANT[name])) - 1))


@settings(max_examples=300, deadline=None)
@given(where=places(), by=st.sampled_from(["A1", "A2", "A3", "A4", "F1", "S1", "Q7", None]))
def test_an_act_of_another_person_is_found_where_the_person_matters(
    where: tuple[str, int], by: str | None
) -> None:
    name, i = where
    record = deepcopy(COMPLIANT[name])
    event = events(record)[i]
    if event["by"] == by:
        return
    event["by"] = by
    word = event["ev"]
    must: Groups = ()
    if by in (None, "Q7"):
        must = (frozenset({"LR-02"}),)
    elif by == "F1":
        must = BY_AFFECTED.get(word, ())
    elif by == "A4" and "absent" not in name:  # takes part in no history but as coordinator
        must = REPLACED.get(word, ())
    if event.get("witness"):  # whoever witnessed the verification and works has verified, whoever led it
        must = tuple(group for group in must if "LO-29" not in group)
    may = concerned([word])
    if word == "monitor":
        may |= {"LO-28"}
    if by in ("A2", "A3"):  # any act of theirs shows the absent owner as back: (e)(3)(iii)
        may |= {"LO-34"}
    check(reported(record), must, may, (name, event))


@settings(max_examples=200, deadline=None)
@given(where=places())
def test_an_act_at_another_point_is_found(where: tuple[str, int]) -> None:
    name, i = where
    record = deepcopy(COMPLIANT[name])
    event = events(record)[i]
    key = next((key for key in ("point", "at") if event.get(key) in POINTS), "")
    if not key:
        return
    event[key] = next(point for point in POINTS if point != event[key])
    check(reported(record), ELSEWHERE.get(event["ev"], ()), concerned([event["ev"]]), (name, event))


@settings(max_examples=200, deadline=None)
@given(where=places(), hours=st.integers(1, 6))
def test_time_that_goes_by_lets_only_a_repeat_verification_lapse(where: tuple[str, int], hours: int) -> None:
    """(d)(5)(ii): from this event on everything happens hours later; the order of entry stays."""
    name, i = where
    record = deepcopy(COMPLIANT[name])
    for event in events(record)[i:]:
        event["t"] = (datetime.fromisoformat(event["t"]) + timedelta(hours=hours)).isoformat()
    working: set[str] = set()
    for event in events(record)[:i]:
        working = working | {event["by"]} if event["ev"] == "work_start" else working
        working = working - {event["by"]} if event["ev"] == "work_end" else working
    starts = events(record)[i]["ev"] == "work_start"
    must: Groups = (frozenset({"LO-28"}),) if working or starts else ()
    check(reported(record), must, {"LO-28"}, (name, events(record)[i]))


@settings(max_examples=300, deadline=None)
@given(where=places(), by=st.integers(1, 8))
def test_an_event_entered_late_counts_where_it_was_entered(where: tuple[str, int], by: int) -> None:
    """The order of entry decides: a time typed in from before does not put the event back where it belonged."""
    name, i = where
    record = deepcopy(COMPLIANT[name])
    listed = events(record)
    j = min(i + by, len(listed) - 1)
    if i == j:
        return
    late = listed[i]
    passed = listed[i + 1 : j + 1]
    listed[i : j + 1] = [*passed, late]
    for n, event in enumerate(listed, start=1):
        event["n"] = n
    must: list[frozenset[str]] = [frozenset({"LR-01"})]
    starts = any(event["ev"] == "work_start" for event in passed)
    if (
        late["ev"] == "verify" and starts and "two crews" not in name
    ):  # there another primary may have verified
        must.append(frozenset({"LO-29"}))
    may = concerned([late["ev"], *(event["ev"] for event in passed)]) | {"LR-01"}
    if any(event.get("result") == "not_zero" for event in [late, *passed]):
        may |= {"LO-28"}
    check(reported(record), tuple(must), may, (name, late, by))


def test_every_event_of_the_histories_is_spoken_of_by_some_rule() -> None:
    for name, i in each():
        word = events(COMPLIANT[name])[i]["ev"]
        assert concerned([word]) or word in NEVER_TOLD, word

"""Record documents: what is read, and how exactly a fault is told."""

import json
from pathlib import Path

import pytest

from floorterm.lockout import RecordError, audit
from floorterm.lockout.auditing.documents import load_record
from tests.lockout.audit.histories import COMPLIANT, ONE, Document, history

# An invented sheet as somebody would type it; times with their offset, `n` the order of entry.
SHEET = """\
format: 1
people:
  R1: {role: authorized, trained: 2026-02-10, valid_to: 2028-02-09}
  R3: {role: affected, trained: "2026-02-11"}
procedures:
  WRAP:
    machine: WR-2
    revision: 3
    effective_on: 2026-01-15
    changed_on: 2026-01-15
    documented: true
    content_complete: true
    points:
      - {id: D1, device: disconnect, lockable: true, required: true, needs_release: false, reaccumulates: false}
    certificates: []
jobs:
  - id: J-1
    job: {class: lockout, mode: individual, procedure: WRAP, revision: 3, affected: [R3]}
    events:
      - {n: 1, t: "2026-06-02T13:02:00-07:00", ev: notify_before, by: R1, to: [R3]}
      - {n: 2, t: "2026-06-02T13:03:00-07:00", ev: review, by: R1, rev: 3}
      - {n: 3, t: "2026-06-02T13:04:00-07:00", ev: shut_down, by: R1, how: normal}
      - {n: 4, t: "2026-06-02T13:05:00-07:00", ev: isolate, by: R1, point: D1}
      - {n: 5, t: "2026-06-02T13:06:00-07:00", ev: lock_on, by: R1, at: D1, lock: R1-a}
      - {n: 6, t: "2026-06-02T13:15:00-07:00", ev: verify, by: R1, points: [D1], result: zero}
      - {n: 7, t: "2026-06-02T13:16:00-07:00", ev: work_start, by: R1}
      - {n: 8, t: "2026-06-02T13:41:00-07:00", ev: work_end, by: R1}
  - id: J-2
    job: {class: cord_plug, procedure: null, energies: [electrical_cord]}
    events: []
"""


def faults(text: str) -> list[str]:
    with pytest.raises(RecordError) as caught:
        load_record(text.encode())
    return [str(fault) for fault in caught.value.faults]


def test_yaml_with_plain_dates_and_null_is_read() -> None:
    record = load_record(SHEET.encode())
    assert [job.id for job in record.jobs] == ["J-1", "J-2"]
    assert {finding.level for finding in audit(record)} <= {"P", "A"}


@pytest.mark.parametrize("name", COMPLIANT)
def test_json_and_a_parsed_document_are_judged_alike(name: str) -> None:
    as_json = json.dumps(COMPLIANT[name], indent="\t").encode()
    assert audit(load_record(as_json)) == audit(COMPLIANT[name])


def test_the_order_of_the_list_does_not_matter_as_the_numbers_decide() -> None:
    record = history("notify_before A1 to=F1\nreview A1 rev=3\nshut_down A1 how=normal")
    mixed = history("notify_before A1 to=F1\nreview A1 rev=3\nshut_down A1 how=normal")
    mixed["jobs"][0]["events"].reverse()
    assert audit(mixed) == audit(record)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('13:03:00-07:00"', '13:03:00"', "21:19: jobs[1].events[2].t: expected a time with its UTC offset"),
        ("ev: isolate", "ev: isolte", 'found "isolte"; did you mean "isolate"?'),
        ("reaccumulates: false", "reacumulates: false", 'did you mean "reaccumulates"?'),
        ("procedure: WRAP,", "procedure: WARP,", 'jobs[1].job.procedure: expected WRAP, found "WARP"'),
        ("role: affected", "role: afected", 'found "afected"; did you mean "affected"?'),
        ("mode: individual", "mode: alone", "expected one of group, individual"),
        ("documented: true", "documented: yes", 'documented: expected true or false, found "yes"'),
        ("n: 5,", "n: five,", 'events[5].n: expected a whole number, found "five"'),
        ("format: 1", "format: 7", "this program knows format 1 only"),
        ("trained: 2026-02-10", "trained: 10.02.2026", "expected a date such as 2026-04-20"),
        ("id: D1, device", "device", "points[1].id: expected the id of a point, found nothing."),
        ("certificates: []", "certificates: none", 'certificates: expected a list, found "none"'),
        ("  R3: {", "  R3: &x {", "4:7: the document: expected plain values, found the anchor &x"),
        ("jobs:", "jobs: []\njobs:", 'found the key "jobs" a second time'),
        ("format: 1", "format: [", "text in YAML or JSON"),
    ],
)
def test_a_fault_says_where_it_is_and_what_was_expected(old: str, new: str, told: str) -> None:
    assert old in SHEET
    assert any(told in fault for fault in faults(SHEET.replace(old, new, 1))), faults(
        SHEET.replace(old, new, 1)
    )


def test_every_fault_is_told_at_once() -> None:
    broken = (
        SHEET.replace("ev: review", "ev: revue")
        .replace("role: affected", "role: x")
        .replace("t: ", "tt: ", 1)
    )
    assert len(faults(broken)) >= 3


@pytest.mark.parametrize("content", [b"", b"[1, 2]", b"\xff\xfe", b"a: [", b'{"jobs": 1, "jobs": 2}', b"{}"])
def test_what_is_no_record_is_a_fault_and_never_a_traceback(content: bytes) -> None:
    with pytest.raises(RecordError):
        load_record(content)


def test_deep_nesting_and_large_files_are_refused() -> None:
    with pytest.raises(RecordError, match="levels"):
        load_record(("a: " + "[" * 60 + "]" * 60).encode())
    with pytest.raises(RecordError, match="MiB"):
        load_record(b"#" * (5 * 1024 * 1024))


def test_keys_that_mean_nothing_to_the_audit_are_listed() -> None:
    record: Document = history("review A1 rev=3")
    record["weather"] = "fine"
    record["jobs"][0]["events"][0]["humidity"] = 40
    assert set(load_record(json.dumps(record).encode()).unread) == {"weather", "jobs[1].events[1].humidity"}


def test_a_register_may_be_a_list_of_locks() -> None:
    record = history(ONE)
    listed = {**record, "locks": [{"id": name, **lock} for name, lock in record["locks"].items()]}
    assert audit(listed) == audit(record)


def test_the_example_of_the_layout_holds_three_jobs_that_fall_short_of_nothing() -> None:
    """A lockout, a minor servicing and a cord-and-plug job, each complete; without a register of locks."""
    example = Path(__file__).parents[2] / "data" / "lockout_record_example.yaml"
    record = load_record(example.read_bytes())
    assert [job.header.job_class for job in record.jobs] == ["lockout", "minor_servicing", "cord_plug"]
    assert not record.unread
    assert {(found.job, found.level, found.rule) for found in audit(record)} == {
        ("J-0412", "A", "LO-09"),
        ("J-0412", "A", "LO-10"),
        ("J-0412", "A", "LO-11"),
    }

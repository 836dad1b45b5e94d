"""Each rule on complete and on faulty histories, the exact rules written down beside each.

What each history must report is read from 29 CFR 1910.147 as summarised in our own words in the rule table (its
status marks say which clauses were read and which are from memory), and for LR and LS from the project's own
rules. `v`, `w`, `p` are the rules reported at those levels: no more and no fewer.
"""

from datetime import datetime, timedelta
from typing import Any

import pytest

from floorterm.lockout import audit
from floorterm.lockout.auditing import rules
from tests.lockout.audit.cases import Case, rules_at, without
from tests.lockout.audit.cases_order import LEAVING, SEQUENCE
from tests.lockout.audit.cases_programme import PROGRAMME
from tests.lockout.audit.cases_scope import DEVICES, SCOPE
from tests.lockout.audit.cases_special import RECORD, SPECIAL
from tests.lockout.audit.histories import (
    COMPLIANT,
    GROUP,
    GROUP_MODE,
    ONE,
    START,
    TEST_RUN,
    TWO,
    document,
    script,
)

COMPLETE = [Case(name, record) for name, record in COMPLIANT.items()]
CASES = [*COMPLETE, *SCOPE, *DEVICES, *PROGRAMME, *SEQUENCE, *LEAVING, *SPECIAL, *RECORD]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_history_reports_exactly_the_rules_that_it_breaks(case: Case) -> None:
    found = {level: rules_at(case.record, level) for level in "VWP"}
    assert found == {"V": set(case.v.split()), "W": set(case.w.split()), "P": set(case.p.split())}
    assert set(case.a.split()) <= rules_at(case.record, "A")


def test_there_are_many_histories_and_each_rule_is_broken_and_kept() -> None:
    assert len(CASES) >= 60
    broken = {rule for case in CASES for rule in (*case.v.split(), *case.w.split(), *case.p.split())}
    american = {name for name in rules() if not name.startswith("LP")}
    assert len(american) == 43 + 4 + 4
    assert broken == american
    for name in american:
        assert any(name not in f"{case.v} {case.w} {case.p}" for case in CASES)


def test_every_finding_has_its_clause_and_a_sentence_in_both_languages() -> None:
    for case in CASES:
        for finding in audit(case.record):
            english, spanish = finding.text, finding.text_in("es")
            assert english
            assert spanish
            assert english != spanish, finding
            assert finding.clause
            assert finding.about.requirement("es") != finding.about.requirement()


def test_site_policy_is_always_marked_as_not_being_part_of_the_regulation() -> None:
    for case in CASES:
        for finding in audit(case.record):
            assert finding.site_policy or not finding.rule.startswith("LS")
            if finding.rule.startswith(("LS", "LR")):
                assert "not in 29 CFR 1910.147" in finding.clause


@pytest.mark.parametrize(
    ("text", "rule", "by", "about"),
    [
        (ONE.replace("notify_before A1 to=F1", ""), "LO-21", ("A1",), ("F1",)),
        (
            TWO.replace("account_people A1 clear=A1,A2", "account_people A1 clear=A1"),
            "LO-32",
            ("A1",),
            ("A2",),
        ),
        (TWO.replace("+5 work_end A2", ""), "LO-32", ("A1",), ("A2",)),
        (ONE.replace("notify_after A1 to=F1", ""), "LO-35", ("A1",), ("F1",)),
    ],
)
def test_by_whom_is_not_whom_it_befell(
    text: str, rule: str, by: tuple[str, ...], about: tuple[str, ...]
) -> None:
    """Who should have told, counted or waited is one thing, who was not told, counted or out another."""
    found = [one for one in audit(document(script(text))) if one.rule == rule]
    assert {(one.by, one.persons) for one in found} == {(by, about)}


def _gaps(text: str, as_of: datetime) -> list[str]:
    found = audit(document(script(text)), now=as_of)
    return [one.text for one in found if one.say.key == "audit.LO-28"]


def test_a_closed_job_is_watched_to_its_end_and_no_longer_whenever_it_is_judged() -> None:
    """LO-28: to the point's return to energy, else to the close; the present counts for open jobs alone."""
    day, week = START + timedelta(days=1), START + timedelta(days=7)
    unended = ONE.replace("+15 work_end A1", "").replace(
        "re_energise A1 point=V1", "+30 re_energise A1 point=V1"
    )
    (text,) = _gaps(unended, day)
    assert "36 min without a reading of V1" in text
    assert _gaps(unended, week) == [text]
    (closed,) = _gaps(unended.replace("+30 re_energise A1 point=V1", "+30 re_energise A1 point=D1"), week)
    assert "38 min" in closed
    (running,) = _gaps(unended.replace("close A1", "").replace("+30 re_energise A1 point=V1", ""), day)
    assert "1415 min" in running


def test_a_point_that_is_isolated_again_is_watched_from_then_on() -> None:
    again = ONE.replace(
        "+15 work_end A1", "re_energise A1 point=V1\n+40 isolate A1 point=V1\n+25 work_end A1"
    )
    (text,) = _gaps(again, START + timedelta(days=1))
    assert "25 min without a reading of V1" in text


def _texts(text: str, **job: Any) -> list[str]:
    return [one.text for one in audit(document(script(text), **job)) if one.level == "V"]


def test_a_test_without_a_head_count_names_who_had_worked() -> None:
    (text,) = _texts(without(TEST_RUN, "account_people A1 clear=A1 result=ok"))
    assert text.endswith("without a head count that clears everybody (missing: A1).")
    unworked = without(without(TEST_RUN, "work_start A1"), "+5 work_end A1")
    (text,) = _texts(without(unworked, "account_people A1 clear=A1 result=ok"))
    assert text.endswith("energised for a test without a head count.")


def test_a_gap_is_never_said_to_be_as_short_as_what_is_asked_for() -> None:
    record = document(script(ONE.replace("+15 monitor", "+20 monitor")))
    events = record["jobs"][0]["events"]
    for event in events[events.index(next(one for one in events if one["ev"] == "monitor")) :]:
        event["t"] = (datetime.fromisoformat(event["t"]) + timedelta(seconds=1)).isoformat()
    verified = next(one for one in events if one["ev"] == "verify")
    verified["t"] = next(one for one in events if one["ev"] == "work_start")["t"]
    (text,) = [one.text for one in audit(record) if one.level == "V"]
    assert "20.1 min without a reading of V1; every 20 min is asked for" in text


def test_a_key_that_is_not_in_the_box_is_said_to_be_that() -> None:
    texts = _texts(without(GROUP, "key_in_box A1 point=V1"), **GROUP_MODE)
    assert texts
    assert all("before every key was in the box" in text for text in texts)


def test_an_area_that_nobody_looked_over_names_every_point_that_was_energised() -> None:
    (found,) = [
        one for one in audit(document(script(without(ONE, "inspect_area A1 result=ok")))) if one.level == "V"
    ]
    assert (found.rule, found.points) == ("LO-31", ("D1", "V1"))
    assert "D1, V1 energised" in found.text

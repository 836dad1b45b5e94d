"""The rule table and the jurisdictions as data: what rests on memory stays listed until somebody confirms it."""

import re
from copy import deepcopy

import pytest

from floorterm.lockout import audit
from floorterm.lockout.auditing import profiles, rules
from floorterm.wording import LANGUAGES
from tests.lockout.audit.cases import moved, one, point, put, turned, without
from tests.lockout.audit.histories import COMPLIANT, GROUP, GROUP_MODE, ONE, TWO, Document, history

# A person must compare these with the current text of 29 CFR 1910.147 (M from memory, P part of it read) and put
# their name into `confirmed_by` of the table.
FROM_MEMORY = {
    "LO-05": "(c)(2)(i)-(iii)",
    "LO-06": "(c)(3)",
    "LO-17": "(c)(7)(i)(A)-(C)",
    "LO-20": "(c)(8)",
    "LO-21": "(c)(9), first half",
    "LO-29": "(d)(6)",
    "LO-30": "(d)(4)(i), (f)(3)(i)",
    "LO-35": "(c)(9) second half; (e)(2)(ii) was read",
}
# the same for other jurisdictions
FROM_MEMORY_ELSEWHERE = {
    "LP-03": "Directive 2006/42/EC Annex I 1.6.3",
    "LP-04": "EN 50110-1, five rules",
    "LP-05": "TRBS 1112, summary",
    "LP-08": "Directive 2006/42/EC Annex I 1.6.3",
}


def test_the_rules_whose_wording_rests_on_memory_are_these() -> None:
    marked = {name for name, rule in rules().items() if rule.from_memory}
    assert marked == FROM_MEMORY.keys() | FROM_MEMORY_ELSEWHERE.keys()
    assert {name for name in marked if rules()[name].source == "M"} >= {"LO-06", "LO-20", "LO-21"}


def test_the_table_holds_every_rule_once_with_its_clause() -> None:
    expected = (
        [f"LO-{n:02}" for n in range(1, 44)]
        + [f"LR-{n:02}" for n in range(1, 5)]
        + [f"LS-{n:02}" for n in range(1, 5)]
    )
    assert [name for name in rules() if not name.startswith("LP")] == expected
    for name, rule in rules().items():
        assert rule.clause
        assert rule.requirement()
        assert rule.site_policy == name.startswith("LS")
        if name.startswith("LO"):
            assert "29 CFR 1910.147(" in rule.clause


@pytest.mark.parametrize("language", [language for language in LANGUAGES if language != "en"])
def test_clauses_and_laws_are_said_in_each_language(language: str) -> None:
    """What is more than a citation or the name of an act; numbers of clauses stand as they are."""
    english = re.compile(
        r"\b(policy|own|rules?|record|not in|from|note|regulations?|directive|annex|plans|to)\b",
        re.IGNORECASE,
    )
    assert all(rule.clause_in("en") == rule.clause for rule in rules().values())
    said = [(rule.clause, rule.clause_in(language)) for rule in rules().values()]
    said += [(law.source_in("en"), law.source_in(language)) for law in profiles().values()]
    for first, other in said:
        assert not english.search(other.replace("Electricity at Work Regulations", "")), other
        assert re.findall(r"\d+", other) == re.findall(r"\d+", first)


def found(record: Document, profile: str) -> set[tuple[str, str]]:
    return {(finding.rule, finding.level) for finding in audit(record, profile=profile)}


def violations(record: Document, profile: str) -> set[str]:
    return {rule for rule, level in found(record, profile) if level == "V"}


@pytest.mark.parametrize("profile", ["EU", "DE"])
def test_where_no_personal_lock_is_law_it_stays_as_site_policy(profile: str) -> None:
    """Directive 2009/104/EC Annex I 2.14: no personal lock per worker, no fixed yearly inspection."""
    bare = one(text=without(TWO, "lock_on A2 at=V1 lock=A2-b", "lock_off A2 at=V1 lock=A2-b"))
    own = {
        finding.rule: finding.site_policy for finding in audit(bare, profile=profile) if finding.level == "V"
    }
    assert own["LO-30"]
    american = {finding.rule: finding.site_policy for finding in audit(bare) if finding.level == "V"}
    assert not american["LO-30"]


def test_in_the_united_kingdom_points_are_attested_and_the_tester_is_checked() -> None:
    """PUWER 1998 regulation 19; Electricity at Work Regulations 1989 regulations 12 and 13."""
    electrical = one(point("D1", energies=["electrical"]))
    assert violations(electrical, "UK") == {"LP-02"}
    assert ("LP-01", "A") in found(electrical, "UK")
    tested = turned(ONE, "result=zero", "result=zero tester_before=true tester_after=true")
    assert not violations(one(point("D1", energies=["electrical"]), text=tested), "UK")
    silent = one(text=without(ONE, "notify_before A1 to=F1"), permit="PTW 12")
    assert not violations(silent, "UK")  # a permit to work may stand for the notice
    assert violations(silent, "US") == {"LO-21"}


def test_in_the_european_union_a_point_may_stay_on_when_the_review_names_it() -> None:
    """Directive 2006/42/EC Annex I 1.6.3: some circuits stay connected, with special measures."""
    text = without(
        turned(turned(ONE, "points=D1,V1", "points=V1"), "points=D1,V1", "points=V1"),
        "isolate A1 point=D1",
        "lock_on A1 at=D1 lock=A1-a",
        "lock_off A1 at=D1 lock=A1-a",
        "re_energise A1 point=D1",
    )
    light = point("D1", stays_on="light of the pit, 24 V")
    assert violations(one(light, text=text), "EU") == {"LP-03"}
    named = turned(text, "review A1 rev=3", "review A1 rev=3 points=D1")
    assert not violations(one(light, text=named), "EU")
    assert {"LO-24", "LO-25"} <= violations(one(light, text=named), "US")


def test_in_germany_earth_comes_before_cover() -> None:
    """EN 50110-1 (VDE 0105-100): prove dead, earth and short-circuit, cover."""
    right = put(
        put(ONE, "cover A1 point=D1", before="work_start A1"), "earth A1 point=D1", before="cover A1 point=D1"
    )
    assert not violations(one(text=right), "DE")
    wrong = moved(right, "cover A1 point=D1", before="earth A1 point=D1")
    assert violations(one(text=wrong), "DE") == {"LP-04"}
    at_low_voltage = one(lambda record: record.update(site={"low_voltage_earthing": True}), text=wrong)
    assert not violations(at_low_voltage, "DE")
    assert ("LP-05", "A") in found(one(text=right), "DE")


def test_in_france_one_appointed_person_locks_for_those_who_hold_the_attestation() -> None:
    """INRS ED 6109: attestation given and returned per worker; only the appointed person de-isolates."""
    text = turned(
        turned(turned(ONE, "work_start A1", "attestation_given A1 to=A2\nreview A2 rev=3\nwork_start A2"),
               "work_end A1", "work_end A2\nattestation_returned A2"),
        "clear=A1", "clear=A2",
    )  # fmt: skip
    good = history(text, appointed="A1")
    assert not violations(good, "FR")
    assert {"LO-29", "LO-30"} <= violations(good, "US")
    assert violations(history(without(text, "attestation_given A1 to=A2"), appointed="A1"), "FR") == {"LP-06"}
    assert violations(history(without(text, "attestation_returned A2"), appointed="A1"), "FR") == {"LP-06"}
    other = text.replace("re_energise A1 point=V1", "re_energise A2 point=V1")
    assert violations(history(other, appointed="A1"), "FR") == {"LP-07"}


def test_a_plug_is_watched_from_every_access_point_in_the_european_union() -> None:
    plug = history(
        "unplug A2\nplug_control A2 how=in_hand\nwork_start A2\nwork_end A2\nplug_in A2\nclose A2",
        **{"class": "cord_plug", "procedure": None, "energies": ["electrical_cord"]},
    )
    assert ("LP-08", "A") in found(plug, "EU")
    assert ("LP-08", "A") not in found(plug, "US")


@pytest.mark.parametrize("profile", profiles())
def test_every_profile_names_its_texts_and_known_rules_only(profile: str) -> None:
    row = profiles()[profile]
    assert row.source_in("en")
    assert row.status
    assert (row.site_policy | row.not_asked | row.added) <= rules().keys()


def test_a_record_says_its_own_profile_and_an_unknown_one_is_a_fault() -> None:
    record = deepcopy(COMPLIANT["one person"])
    record["profile"] = "UK"
    assert ("LP-01", "A") in {(finding.rule, finding.level) for finding in audit(record)}
    with pytest.raises(KeyError):
        audit(record, profile="XX")


def test_a_group_in_one_language_and_the_other() -> None:
    bare = history(without(GROUP, "offer_verify A1 to=A3"), **GROUP_MODE)
    (short,) = [finding for finding in audit(bare) if finding.level == "V"]
    assert short.text == f"Entry {short.at_n}: A3 started work without being offered to verify."
    assert short.text_in("es") == f"Entrada {short.at_n}: A3 empezó sin que se le ofreciera verificar."
    assert short.persons == ("A3",)
    assert short.about.requirement().startswith("Before work starts")

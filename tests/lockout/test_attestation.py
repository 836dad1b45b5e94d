"""Attestations: a person's word, with a name, for what no event can prove; never a finding that turned out well."""

from datetime import UTC, datetime
from typing import Any

import pytest

from floorterm.entries import Entry
from floorterm.lockout.attestation import ATTESTED, attestation_refusals, fold_attestations, value_of
from floorterm.people import Permission, Person

OFFICER = Person(code="AV", name="A. Vale", permission=Permission.SAFETY_OFFICER)


def _entry(n: int, rule: str, jobs: list[str], text: str) -> Entry:
    at = datetime(2026, 11, 24, tzinfo=UTC)
    value: dict[str, Any] = value_of(rule, jobs, text)
    return Entry(
        n=n, hash="", prev="", at=at, offset="-07:00", kind=ATTESTED, person="AV", name="A. Vale", value=value
    )


@pytest.mark.parametrize("permission", [Permission.OPERATOR, Permission.ADMINISTRATOR])
def test_only_supervisors_and_the_safety_officer_attest(permission: Permission) -> None:
    by = Person(code="RO", name="R. Ode", permission=permission)
    (refusal,) = attestation_refusals("LO-10", ["P-1/x"], "looked at each", by)
    assert refusal.say.key == "attest.who"
    assert attestation_refusals("LO-10", ["P-1/x"], "looked at each", OFFICER) == []


@pytest.mark.parametrize(
    ("rule", "jobs", "text", "key"),
    [
        ("LO-99", ["P-1/x"], "looked", "attest.nothing"),
        ("LO-10", [], "looked", "attest.nothing"),
        ("LO-10", ["P-1/x"], "", "attest.text"),
    ],
)
def test_a_word_needs_its_rule_its_jobs_and_what_was_looked_at(
    rule: str, jobs: list[str], text: str, key: str
) -> None:
    assert [one.say.key for one in attestation_refusals(rule, jobs, text, OFFICER)] == [key]


def test_one_word_counts_for_every_job_it_names_and_the_newest_stands() -> None:
    first = _entry(7, "LO-10", ["P-1/x", "P-2/x"], "looked in October")
    second = _entry(9, "LO-10", ["P-2/x"], "looked in November")
    found = fold_attestations([first, second])
    assert found["P-1/x", "LO-10"].text == "looked in October"
    assert (found["P-2/x", "LO-10"].n, found["P-2/x", "LO-10"].by_name) == (9, "A. Vale")
    assert ("P-1/x", "LO-09") not in found

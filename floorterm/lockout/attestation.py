"""Attestations: what no event can prove about a lockout, said by a named person instead.

An attestation is a statement with a name and a date, never a finding that turned out well.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from msgspec import Struct

from floorterm.access import Right, has_right
from floorterm.entries import Entry
from floorterm.lockout.auditing.table import rules
from floorterm.people import Person
from floorterm.wording import Refusal, Say

ATTESTED = "lockout.attested"


class Attestation(Struct, frozen=True, kw_only=True):
    """Somebody's word for a rule in a job: what they looked at, who they are, when; `n` is the entry."""

    rule: str
    job: str
    text: str
    by: str
    by_name: str
    at: datetime
    n: int


def value_of(rule: str, jobs: Sequence[str], text: str) -> dict[str, Any]:
    """The value of the entry."""
    return {"rule": rule, "jobs": list(jobs), "text": text}


def fold_attestations(entries: Iterable[Entry]) -> Mapping[tuple[str, str], Attestation]:
    """By (job, rule), the newest word on it."""
    found: dict[tuple[str, str], Attestation] = {}
    for entry in entries:
        if entry.kind == ATTESTED:
            rule = entry.value["rule"]
            for job in entry.value["jobs"]:
                found[job, rule] = Attestation(
                    rule=rule,
                    job=job,
                    text=entry.value["text"],
                    by=entry.person,
                    by_name=entry.name,
                    at=entry.at,
                    n=entry.n,
                )
    return found


def attestation_refusals(rule: str, jobs: Sequence[str], text: str, by: Person | None) -> list[Refusal]:
    """Why it cannot be recorded: a supervisor or the safety officer attests, and says what they looked at."""
    found: list[Refusal] = []
    if not has_right(by, Right.ATTEST):
        found.append(Refusal(Say("attest.who"), "site policy"))
    if rule not in rules() or not jobs:
        found.append(Refusal(Say("attest.nothing"), "site policy"))
    if not text:
        found.append(Refusal(Say("attest.text"), "site policy"))
    return found

"""Who signs a shift, and what keeps a signature from being recorded: entries folded, rules as refusals. Pure.

The supervisor signs exactly what was shown: the entry carries the summary, the text for the next shift and the digest
of both. The lead of the next shift countersigns that very entry. A later signature of the same shift stands beside
the earlier one, never in its place; only the newest can be countersigned.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from floorterm.access import Right, has_right
from floorterm.entries import Entry
from floorterm.people import Person
from floorterm.shift.summary import (
    Summary,
    differences,
    digest_of,
    shown_digest,
    summary_from_json,
    summary_json,
)
from floorterm.shift.window import Window
from floorterm.wording import Fact, Refusal, Say

SIGNED = "shift.signed"
COUNTERSIGNED = "shift.countersigned"
KINDS = (SIGNED, COUNTERSIGNED)
EARLIEST = timedelta(minutes=30)  # before the end of the shift; common practice, no source
_SITE = "site policy"


class TakenOver(Struct, frozen=True, kw_only=True):
    """The countersignature of the next shift's lead."""

    n: int
    at: datetime
    person: str
    name: str


class ShiftSignature(Struct, frozen=True, kw_only=True):
    """One signature of a shift: entry `n`, what was signed, and who took the shift over, if anybody has.

    `holds`: the digest is that of the summary and the text as they stand in the entry.
    """

    n: int
    at: datetime
    person: str
    name: str
    digest: str
    handover: str
    summary: Summary
    holds: bool = True
    taken_over: TakenOver | None = None


def signatures_of(shift: str, entries: Iterable[Entry]) -> tuple[ShiftSignature, ...]:
    """The signatures of a shift in order of their entries. Raises msgspec.ValidationError for what is none."""
    found: dict[int, ShiftSignature] = {}
    for entry in entries:
        if entry.value.get("shift") != shift:
            continue
        if entry.kind == SIGNED:
            found[entry.n] = ShiftSignature(
                n=entry.n,
                at=entry.local,
                person=entry.person,
                name=entry.name,
                digest=entry.value["digest"],
                handover=entry.value["handover"],
                summary=summary_from_json(entry.value["summary"]),
                holds=digest_of(entry.value["summary"], entry.value["handover"]) == entry.value["digest"],
            )
        elif entry.kind == COUNTERSIGNED and entry.value["signed"] in found:
            number = entry.value["signed"]
            taken = TakenOver(n=entry.n, at=entry.local, person=entry.person, name=entry.name)
            found[number] = replace(found[number], taken_over=found[number].taken_over or taken)
    return tuple(found.values())


# --- what is recorded -----------------------------------------------------------------------------------------------


def signed_value(summary: Summary, handover: str) -> dict[str, Any]:
    """The value of a signature's entry."""
    return {
        "shift": summary.shift,
        "digest": shown_digest(summary, handover),
        "handover": handover,
        "summary": summary_json(summary),
    }


def countersigned_value(signature: ShiftSignature, shift: str) -> dict[str, Any]:
    """The value of a countersignature's entry: which entry is taken over, and the digest that stands in it."""
    return {"shift": shift, "signed": signature.n, "digest": signature.digest}


# --- what may be recorded -------------------------------------------------------------------------------------------


def may_lead(person: Person | None) -> bool:
    """Whether a person may sign or take over a shift: supervisors and safety officers, as for dispositions."""
    return has_right(person, Right.LEAD_SHIFT)


def opens_at(window: Window) -> datetime:
    """From when on a shift may be signed."""
    return window.until - EARLIEST


class Signing(Struct, frozen=True, kw_only=True):
    """A signature that is asked for: what was shown, what the record says now, and the signatures there are.

    `known` is the number of the newest signature that was shown, 0 where there was none.
    """

    window: Window
    shown: Summary
    fresh: Summary
    handover: str
    known: int
    signatures: Sequence[ShiftSignature] = ()


def sign_refusals(asked: Signing, person: Person | None, now: datetime) -> tuple[Refusal, ...]:
    """Why a shift cannot be signed as it was shown; empty when it can."""
    return tuple(_against_signing(asked, person, now))


def _against_signing(asked: Signing, person: Person | None, now: datetime) -> Iterator[Refusal]:
    if not may_lead(person):
        yield _no("sign_lead")
    opens = opens_at(asked.window)
    if now < opens:
        yield _no("sign_early", at=f"{opens:%H:%M}", until=f"{asked.window.until:%H:%M}")
    newest = asked.signatures[-1] if asked.signatures else None
    if newest is not None and newest.n != asked.known:
        yield _no("sign_meanwhile", name=newest.name, at=f"{newest.at:%H:%M}", entry=newest.n)
    changed = differences(asked.shown, asked.fresh)
    if changed:
        yield _no("sign_changed", n=len(changed))
        yield from (Refusal(say, _SITE) for say in changed)
    if asked.fresh.undecided:
        yield _no("sign_undecided", n=len(asked.fresh.undecided))
    if not asked.handover:
        yield _no("sign_no_text")
    if (
        newest is not None
        and newest.handover == asked.handover
        and not differences(newest.summary, asked.fresh, after_n=newest.n)
    ):
        yield _no("sign_same", name=newest.name, entry=newest.n)


def countersign_refusals(
    signatures: Sequence[ShiftSignature], number: int, person: Person | None
) -> tuple[Refusal, ...]:
    """Why the signature of entry `number` cannot be countersigned; empty when it can."""
    return tuple(_against_countersigning(signatures, number, person))


def _against_countersigning(
    signatures: Sequence[ShiftSignature], number: int, person: Person | None
) -> Iterator[Refusal]:
    if not may_lead(person):
        yield _no("countersign_lead")
    newest = signatures[-1] if signatures else None
    if newest is None:
        yield _no("countersign_nothing")
        return
    if newest.n != number:
        yield _no("sign_meanwhile", name=newest.name, at=f"{newest.at:%H:%M}", entry=newest.n)
        return
    if person is not None and person.code == newest.person:
        yield _no("countersign_self", name=newest.name)
    if newest.taken_over is not None:
        yield _no("countersign_done", name=newest.taken_over.name, entry=newest.taken_over.n)


def _no(key: str, **facts: Fact) -> Refusal:
    found: Mapping[str, Fact] = facts
    return Refusal(Say(f"shift.{key}", found), _SITE)

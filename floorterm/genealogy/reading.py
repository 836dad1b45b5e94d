"""Lots as entries tell them: those recorded by themselves, and those that the steps of a work name (`tells`)."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from floorterm.changeover.acts import CorrectStep, LateStep, SignStep
from floorterm.entries import Entry
from floorterm.genealogy.model import Judged, Lot, Made, Past, Taken, Turned

TAKEN, MADE, JUDGED = "lot.taken", "lot.made", "lot.judged"
KINDS = (TAKEN, MADE, JUDGED)
_SIGNED = (SignStep.KIND, LateStep.KIND, CorrectStep.KIND)
_CHANGEOVER = "C"


def past_of(entries: Sequence[Entry], works: Sequence[Sequence[Entry]]) -> Past:
    """Everything, from the entries of `KINDS` and from all entries of each work."""
    taken = [taken_of(one) for one in entries if one.kind == TAKEN]
    made = [made_of(one) for one in entries if one.kind == MADE]
    turned = []
    for work in works:
        if not work:
            continue
        began = _began(work)
        if began is not None and work[0].changeover.startswith(_CHANGEOVER):
            turned.append(Turned(work[0].line, began))
        for one in _told(work, began):
            if isinstance(one, Taken):
                taken.append(one)
            else:
                made.append(one)
    return Past(
        taken=tuple(sorted(taken, key=lambda one: one.n)),
        made=tuple(sorted(made, key=lambda one: one.n)),
        judged=tuple(judged_of(one) for one in entries if one.kind == JUDGED),
        turned=tuple(turned),
    )


def taken_of(entry: Entry) -> Taken:
    """A lot taken into use, as its entry says."""
    value = entry.value
    facts = tuple((str(name), str(said)) for name, said in value.get("facts", {}).items())
    return Taken(
        n=entry.n,
        at=entry.at,
        line=entry.line,
        lot=Lot(value["sort"], value["lot"]),
        share_pct=_number(value.get("share_pct")),
        facts=facts,
    )


def made_of(entry: Entry) -> Made:
    """A pallet or bin, as its entry says."""
    value = entry.value
    return Made(
        n=entry.n,
        begun=datetime.fromisoformat(value["begun"]),
        at=entry.at,
        line=entry.line,
        lot=Lot(value["sort"], value["lot"]),
        kg=_number(value.get("kg")),
        fragrances=tuple(value.get("fragrances", ())),
    )


def judged_of(entry: Entry) -> Judged:
    """A decision about a bin, as its entry says."""
    value = entry.value
    return Judged(
        n=entry.n,
        at=entry.at,
        lot=Lot("bin", value["lot"]),
        verdict=value["verdict"],
        into=tuple(value.get("into", ())),
        max_share_pct=_number(value.get("max_share_pct")),
    )


def _number(text: str | None) -> Decimal | None:
    return None if text is None else Decimal(text)


def _steps(work: Sequence[Entry]) -> Mapping[str, Mapping[str, Any]]:
    """Every step of the worksheets that the work had, by id, as written there."""
    sheets = [entry.value["worksheet"] for entry in work if "worksheet" in entry.value]
    return {
        step["id"]: step for sheet in sheets for section in sheet["sections"] for step in section["steps"]
    }


def _began(work: Sequence[Entry]) -> datetime | None:
    """When the first step was signed for which the line stands; what was made ready before is not in use yet."""
    steps = _steps(work)
    signed = (entry for entry in work if entry.kind in _SIGNED)
    return next((one.at for one in signed if not steps.get(one.step, {}).get("external")), None)


def _told(work: Sequence[Entry], began: datetime | None) -> Iterator[Taken | Made]:
    """The lots that the work's steps name, each as last said; nothing before the line stood for it."""
    if began is None:
        return
    said: dict[str, Entry] = {}
    steps = _steps(work)
    for entry in work:
        if entry.kind in _SIGNED and steps.get(entry.step, {}).get("tells"):
            said[entry.step] = entry
    facts: dict[str, dict[str, str]] = {}
    for step, entry in said.items():
        of, _, fact = str(steps[step]["tells"]).partition(".")
        if fact and "number" in entry.value:
            facts.setdefault(of, {})[fact] = str(entry.value["number"])
    for step, entry in said.items():
        tells = steps[step]["tells"]
        name = str(entry.value.get("text") or entry.value.get("scanned") or "")
        if "." in tells or not name:
            continue
        lot = Lot(tells, name)
        if lot.sort == "pallet":
            yield Made(n=entry.n, begun=began, at=max(entry.at, began), line=entry.line, lot=lot)
        else:
            at = max(entry.at, began)
            yield Taken(n=entry.n, at=at, line=entry.line, lot=lot, facts=tuple(facts.get(tells, {}).items()))

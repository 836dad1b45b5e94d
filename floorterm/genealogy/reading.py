"""Lots as entries tell them: those recorded by themselves, and those that the steps of a work name (`tells`)."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any, NamedTuple

from floorterm.changeover.acts import CorrectStep, LateStep, SignStep
from floorterm.entries import Entry
from floorterm.genealogy.model import Judged, Lot, Made, Past, Renamed, Taken, Turned

TAKEN, MADE, JUDGED = "lot.taken", "lot.made", "lot.judged"
KINDS = (TAKEN, MADE, JUDGED)
_SIGNED = (SignStep.KIND, LateStep.KIND)
_CHANGEOVER = "C"


def past_of(entries: Sequence[Entry], works: Sequence[Sequence[Entry]]) -> Past:
    """Everything, from the entries of `KINDS` and from all entries of each work."""
    taken = [taken_of(one) for one in entries if one.kind == TAKEN]
    made = [made_of(one) for one in entries if one.kind == MADE]
    turned: list[Turned] = []
    renamed: list[Renamed] = []
    for work in works:
        if not work:
            continue
        renamed += _renamed(work)
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
        renamed=tuple(renamed),
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


class _Said(NamedTuple):
    """What a signature of a step says by now, done at `at`. `n`: the entry that says it, the last correction if any."""

    n: int
    at: datetime
    step: str
    line: str
    value: Mapping[str, Any]


def _said(work: Sequence[Entry]) -> tuple[_Said, ...]:
    """Every signature of the work's steps, in order: done when it was signed, or when its paper says.

    A correction says what was signed then, not what is taken into use when it is made.
    """
    found: dict[int, _Said] = {}
    first: dict[int, int] = {}  # a correction may name the signature, or the correction before it
    for entry in work:
        if entry.kind in _SIGNED:
            found[entry.n] = _Said(entry.n, _done_at(entry), entry.step, entry.line, entry.value)
        elif entry.kind == CorrectStep.KIND:
            was = first.get(entry.value["corrects"], entry.value["corrects"])
            if was in found:
                first[entry.n] = was
                value = {**found[was].value, **{name: said for name, said in entry.value.items() if said}}
                found[was] = found[was]._replace(n=entry.n, value=value)
    return tuple(found.values())


def _renamed(work: Sequence[Entry]) -> Iterator[Renamed]:
    """Corrections by which a step names another lot."""
    steps = _steps(work)
    for n, entry in enumerate(work):
        sort: Any = steps.get(entry.step, {}).get("tells") or ""
        if entry.kind != CorrectStep.KIND or not sort or "." in sort:
            continue
        named = [
            {_name(one.value) for one in _said(part) if one.step == entry.step}
            for part in (work[:n], work[: n + 1])
        ]
        for was, now in zip(named[0] - named[1], named[1] - named[0], strict=False):
            yield Renamed(entry.n, Lot(sort, was), Lot(sort, now))


def _name(value: Mapping[str, Any]) -> str:
    return str(value.get("text") or value.get("scanned") or "")


def _done_at(entry: Entry) -> datetime:
    return datetime.fromisoformat(entry.value["done_at"]) if entry.kind == LateStep.KIND else entry.at


def _began(work: Sequence[Entry]) -> datetime | None:
    """When the first step was done for which the line stands; what was made ready before is not in use yet."""
    steps = _steps(work)
    return min((one.at for one in _said(work) if not steps.get(one.step, {}).get("external")), default=None)


def _told(work: Sequence[Entry], began: datetime | None) -> Iterator[Taken | Made]:
    """The lots that the work's steps name; nothing before the line stood for it.

    Of a step that was done again before that only the last word counts. Afterwards what it named first was fed as well.
    """
    if began is None:
        return
    steps = _steps(work)
    said: dict[tuple[str, str], _Said] = {}
    facts: dict[str, dict[str, str]] = {}
    for one in _said(work):
        of, _, fact = str(steps.get(one.step, {}).get("tells") or "").partition(".")
        if fact and "number" in one.value:
            facts.setdefault(of, {})[fact] = str(one.value["number"])
        name = _name(one.value)
        if not of or fact or not name:
            continue
        for other in [key for key, before in said.items() if key[0] == one.step and one.at < began]:
            del said[other]
        said.setdefault((one.step, name), one)
    for (step, name), one in said.items():
        lot = Lot(steps[step]["tells"], name)
        at = max(one.at, began)
        if lot.sort == "pallet":
            yield Made(n=one.n, begun=began, at=at, line=one.line, lot=lot)
        else:
            told = tuple(facts.get(lot.sort, {}).items())
            yield Taken(n=one.n, at=at, line=one.line, lot=lot, facts=told)

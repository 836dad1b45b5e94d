"""The residual limit: how much of the outgoing fragrance may still be in the worst accepted bar.

The rule: an item must be named on the label when its content exceeds the threshold (Reg. (EC) 1223/2009,
Art. 19(1)(g) with Annex III: 0.01 % rinse-off, 0.001 % leave-on; equality is still free). r is the part of
the full outgoing dose.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import fsum
from typing import Literal, NamedTuple

from floorterm.flush.bars import Bar, Part, Rules, contents_of
from floorterm.library.tables import (
    Confidence,
    LabelItem,
    must_be_named,
    prohibited_items,
    worst_confidence,
)
from floorterm.wording import Say

CRITERIA = ("allergen_label", "colour", "odour", "claim", "health", "safety_max")  # in the order of ties
_SLACK = 1e-9  # relative, so that equality stays free in floating-point numbers

Reason = Literal["limits", "free", "formula", "at_threshold", "prohibited"]


class Governing(NamedTuple):
    """What decides: the criterion and its item."""

    criterion: str
    item: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One limit of one rule, before the safety factor, with all that it rests on.

    `limit` 1 means that the rule does not limit, 0 that flushing cannot help. `reason`: "limits"; "free"
    (can never reach the threshold); "formula" (the incoming bar exceeds it by itself); "at_threshold" (the
    incoming bar leaves no room); "prohibited". Contents and threshold in kg/kg of bar; `outgoing` names the
    bar whose residue it is.
    """

    criterion: str
    item: str
    limit: float
    reason: Reason
    outgoing: str
    entry: str
    threshold: float | None
    outgoing_content: float
    background: float
    parts: tuple[Part, ...]
    source: str
    confidence: Confidence


@dataclass(frozen=True, slots=True)
class Gate:
    """A claim of the incoming bar that flushing alone may not reach: yes or no comes before any number."""

    claim: str
    say: Say


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """The residual limit of an ordered pair. `status` "deviation": some rule gives 0, so flushing cannot
    help.

    `value` is in 0..1 with the safety factor taken off; `governing` is None where no rule limits (value 1).
    """

    value: float
    status: Literal["ok", "deviation"]
    governing: Governing | None
    candidates: tuple[Candidate, ...]
    gates: tuple[Gate, ...]
    rules: Rules

    @property
    def decisive(self) -> Candidate | None:
        """The candidate that governs, with its data and sources."""
        for candidate in self.candidates:
            if self.governing == (candidate.criterion, candidate.item):
                return candidate
        return None


def residual_limit(outgoing: Bar, incoming: Bar, rules: Rules) -> Limit:
    """The residual limit for going from one bar to another: min(1, all candidates) / safety factor.

    Candidates are all items of the list in force that the outgoing bar holds, or that the incoming bar
    exceeds by itself, and that the incoming label does not name; prohibited substances in either bar count
    whatever the label says. Ties (within 1e-9) go by criterion, then by item name.
    """
    held, own = contents_of(outgoing), contents_of(incoming)
    named = incoming.labelled

    def seen(items: tuple[LabelItem, ...]) -> Iterator[_Seen]:
        for item in items:
            if item.entry in held or item.entry in own:
                outside, inside = held.get(item.entry, ()), own.get(item.entry, ())
                yield _Seen(item, rules, outgoing.name, outside, inside)

    found = [
        _candidate(one, None, 0.0, "prohibited")
        for one in seen(prohibited_items(rules.jurisdiction, rules.on))
    ]
    for one in seen(must_be_named(rules.jurisdiction, rules.on)):
        if one.item.entry not in named:
            found.extend(_labelled(one, leave_on=incoming.leave_on))
    found.sort(key=lambda candidate: (CRITERIA.index(candidate.criterion), candidate.item))
    smallest = min((candidate.limit for candidate in found), default=1.0)
    governing = None
    if smallest < 1.0 - _SLACK:
        first = next(candidate for candidate in found if candidate.limit <= smallest * (1.0 + _SLACK))
        governing = Governing(first.criterion, first.item)
    return Limit(
        value=smallest / rules.safety_factor if governing else 1.0,
        status="deviation" if smallest == 0.0 else "ok",
        governing=governing,
        candidates=tuple(found),
        gates=_gates(outgoing, incoming),
        rules=rules,
    )


@dataclass(frozen=True, slots=True)
class _Seen:
    """An item with what the outgoing bar holds of it and what the incoming bar has by itself."""

    item: LabelItem
    rules: Rules
    outgoing: str
    held: tuple[Part, ...]
    own: tuple[Part, ...]

    @property
    def content(self) -> float:
        return fsum(part.content for part in self.held)

    @property
    def background(self) -> float:
        return fsum(part.content for part in self.own)


def _labelled(seen: _Seen, *, leave_on: bool) -> tuple[Candidate, ...]:
    rules = seen.rules
    threshold = seen.item.threshold(leave_on=leave_on) if rules.threshold is None else rules.threshold
    if threshold is None or (not seen.held and seen.background <= threshold * (1.0 + _SLACK)):
        return ()
    limit, reason = _label_limit(threshold, seen.content, seen.background, exact=rules.mixing == "exact")
    return (_candidate(seen, threshold, limit, reason),)


def _label_limit(threshold: float, content: float, background: float, *, exact: bool) -> tuple[float, Reason]:
    """The largest residue r with background + r content <= threshold, or exactly mixed
    (1 - r) background + r content <= threshold.
    """
    most, least = threshold * (1.0 + _SLACK), threshold * (1.0 - _SLACK)
    if background > most:
        return 0.0, "formula"
    if content <= most and exact:
        return 1.0, "free"
    if background >= least:
        return 0.0, "at_threshold"
    if content + background <= most:
        return 1.0, "free"
    room = threshold - background
    limit = room / (content - background) if exact else room / content
    return (limit, "limits") if limit < 1.0 else (1.0, "free")


def _candidate(seen: _Seen, threshold: float | None, limit: float, reason: Reason) -> Candidate:
    item, parts = seen.item, (*seen.held, *seen.own)
    duty = item.duty(seen.rules.jurisdiction, seen.rules.on)
    sources = dict.fromkeys(part.source for part in parts if part.source)
    return Candidate(
        criterion="allergen_label",
        item=item.name,
        limit=limit,
        reason=reason,
        outgoing=seen.outgoing,
        entry=item.entry,
        threshold=threshold,
        outgoing_content=seen.content,
        background=seen.background,
        parts=parts,
        source="; ".join((item.source, *sources)),
        confidence=worst_confidence(
            *(part.confidence for part in parts), duty.confidence if duty else item.confidence
        ),
    )


def _gates(outgoing: Bar, incoming: Bar) -> tuple[Gate, ...]:
    """The claims that this sequence may not reach by flushing alone."""
    found = []
    for claim in incoming.claims:
        closed = "organic" not in outgoing.claims if claim == "organic" else outgoing.fragranced
        if closed:
            found.append(Gate(claim, Say(f"flush.gate.{claim}")))
    return tuple(found)

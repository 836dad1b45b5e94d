"""The label rule: an item must be named when its content exceeds the threshold, and prohibited substances.

Reg. (EC) 1223/2009, Art. 19(1)(g) with Annex III: 0.01 % rinse-off, 0.001 % leave-on; equality is still free.
"""

from collections.abc import Iterator
from math import fsum

from msgspec import Struct

from floorterm.flush.bars import Bar, Part, Rules, contents_of
from floorterm.flush.candidate import SLACK, Candidate, Reason, joined
from floorterm.library.tables import LabelItem, must_be_named, prohibited_items, worst_confidence


def label_candidates(outgoing: Bar, incoming: Bar, rules: Rules) -> tuple[Candidate, ...]:
    """All items of the list in force that the outgoing bar holds, or that the incoming bar exceeds by itself,
    and that the incoming label does not name; prohibited substances in either bar whatever the label says.
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
    return tuple(found)


class _Seen(Struct, frozen=True):
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
    if threshold is None or (not seen.held and seen.background <= threshold * (1.0 + SLACK)):
        return ()
    limit, reason = _label_limit(threshold, seen.content, seen.background, exact=rules.mixing == "exact")
    return (_candidate(seen, threshold, limit, reason),)


def _label_limit(threshold: float, content: float, background: float, *, exact: bool) -> tuple[float, Reason]:
    """The largest residue r with background + r content <= threshold, or exactly mixed
    (1 - r) background + r content <= threshold.
    """
    most, least = threshold * (1.0 + SLACK), threshold * (1.0 - SLACK)
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
        source=joined(item.source, *(part.source for part in parts)),
        confidence=worst_confidence(
            *(part.confidence for part in parts), duty.confidence if duty else item.confidence
        ),
    )

"""Safety maxima: a lower maximum of the incoming product for an item that the outgoing one may hold more of.

Between two bars under the same maximum nothing follows: the mix lies between two contents that both respect
it. A limit appears only where the incoming product has a lower one (leave-on, for babies).
"""

from math import fsum

from floorterm.flush.bars import Bar, contents_of
from floorterm.flush.candidate import SLACK, Candidate, Reason, joined
from floorterm.library.tables import item_named, worst_confidence

RULE = "mass balance of two contents; the maximum from the supplier's certificate"


def maximum_limit(incoming: float, outgoing: float, maximum: float) -> tuple[float, Reason]:
    """The largest residue r with (1 - r) incoming + r outgoing <= maximum, and why. Contents in kg/kg."""
    if incoming > maximum * (1.0 + SLACK):
        return 0.0, "formula"
    if outgoing <= maximum * (1.0 + SLACK):
        return 1.0, "free"
    if incoming >= maximum * (1.0 - SLACK):
        return 0.0, "at_threshold"
    return (maximum - incoming) / (outgoing - incoming), "limits"


def maximum_candidates(outgoing: Bar, incoming: Bar) -> tuple[Candidate, ...]:
    """One candidate for each maximum of the incoming bar whose item stands in either bar."""
    held, own = contents_of(outgoing), contents_of(incoming)
    found = []
    for maximum in incoming.maxima:
        item = item_named(maximum.item)
        parts = (*held.get(item.entry, ()), *own.get(item.entry, ()))
        if not parts:
            continue
        content = fsum(part.content for part in held.get(item.entry, ()))
        background = fsum(part.content for part in own.get(item.entry, ()))
        limit, reason = maximum_limit(background, content, maximum.content)
        found.append(
            Candidate(
                criterion="safety_max",
                item=item.name,
                limit=limit,
                reason=reason,
                outgoing=outgoing.name,
                entry=item.entry,
                threshold=maximum.content,
                outgoing_content=content,
                background=background,
                parts=parts,
                source=joined(RULE, maximum.source, *(part.source for part in parts)),
                confidence=worst_confidence(maximum.confidence, *(part.confidence for part in parts)),
            )
        )
    return tuple(found)

"""Claims of the incoming bar: an index that a residue would lower, and gates that no number opens."""

from floorterm.flush.bars import Bar
from floorterm.flush.candidate import SLACK, Candidate, Datum, Reason, joined
from floorterm.flush.grounds import Index
from floorterm.library.tables import worst_confidence
from floorterm.wording import Say

RULE = "mass-weighted mean of the index, as in ISO 16128-1 and -2 for natural origin (from memory)"


def index_limit(incoming: float, outgoing: float, claim: float) -> tuple[float, Reason]:
    """The largest residue r with (1 - r) incoming + r outgoing >= claim, and why. Indices in 0..1.

    The incoming bar comes first: where it misses its own claim the limit is 0, whatever was made before.
    """
    if incoming < claim * (1.0 - SLACK):
        return 0.0, "formula"
    if outgoing >= claim * (1.0 - SLACK):
        return 1.0, "free"
    if incoming <= claim * (1.0 + SLACK):
        return 0.0, "at_threshold"
    return min(1.0, (incoming - claim) / (incoming - outgoing)), "limits"


def claim_candidates(outgoing: Bar, incoming: Bar) -> tuple[Candidate, ...]:
    """One candidate for every index that the incoming bar claims; an outgoing bar that does not state it
    counts with 0, the worst.
    """
    stated = {index.name: index for index in outgoing.indices}
    return tuple(
        _candidate(outgoing.name, index, stated.get(index.name), index.claim)
        for index in incoming.indices
        if index.claim is not None
    )


def claim_notes(outgoing: Bar, incoming: Bar) -> tuple[Say, ...]:
    """Which index of the outgoing bar is unknown and was taken as 0."""
    stated = {index.name for index in outgoing.indices}
    return tuple(
        Say("limits.note.index_unknown", {"outgoing": outgoing.name, "item": index.name})
        for index in incoming.indices
        if index.claim is not None and index.name not in stated
    )


def _candidate(outgoing: str, own: Index, old: Index | None, claim: float) -> Candidate:
    other = old.value if old is not None else 0.0
    limit, reason = index_limit(own.value, other, claim)
    known = (own,) if old is None else (own, old)
    return Candidate(
        criterion="claim",
        item=own.name,
        limit=limit,
        reason=reason,
        outgoing=outgoing,
        threshold=claim,
        data=(
            Datum("incoming_index", own.value),
            Datum("outgoing_index", other),
            Datum("claimed_index", claim),
        ),
        source=joined(RULE, *(one.source for one in known)),
        confidence=worst_confidence("from-memory", *(one.confidence for one in known)),
    )

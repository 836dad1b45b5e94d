"""The residual limit: how much of the outgoing fragrance may still be in the worst accepted bar.

Each rule gives candidates; the smallest decides. r is the part of the full outgoing dose.
"""

from collections.abc import Sequence
from typing import Literal

from msgspec import Struct

from floorterm.flush.allergens import label_candidates
from floorterm.flush.bars import Bar, Rules
from floorterm.flush.candidate import CRITERIA, SLACK, Candidate, Governing, Reason
from floorterm.flush.claims import claim_candidates, claim_notes
from floorterm.flush.colour import colour_candidates, colour_notes
from floorterm.flush.errors import LimitInputError
from floorterm.flush.health import health_candidates
from floorterm.flush.maxima import maximum_candidates
from floorterm.flush.odour import odour_candidates, odour_notes
from floorterm.wording import Say

__all__ = [
    "CRITERIA",
    "Candidate",
    "Gate",
    "Governing",
    "Limit",
    "Reason",
    "residual_limit",
    "residual_limit_of_several",
]


class Gate(Struct, frozen=True):
    """A claim of the incoming bar that flushing alone may not reach: yes or no comes before any number."""

    claim: str
    say: Say


class Limit(Struct, frozen=True, kw_only=True):
    """The residual limit of an ordered pair. `status` "deviation": some rule gives 0, so flushing cannot
    help.

    `value` is in 0..1 with the safety factor taken off; `governing` is None where no rule limits (value 1).
    `notes`: what was not judged or was judged on thin data.
    """

    value: float
    status: Literal["ok", "deviation"]
    governing: Governing | None
    candidates: tuple[Candidate, ...]
    gates: tuple[Gate, ...]
    rules: Rules
    notes: tuple[Say, ...] = ()

    @property
    def decisive(self) -> Candidate | None:
        """The candidate that governs, with its data and sources."""
        if self.governing is None:
            return None
        same = [one for one in self.candidates if self.governing == (one.criterion, one.item)]
        return min(same, key=lambda one: one.limit)


def residual_limit(outgoing: Bar, incoming: Bar, rules: Rules) -> Limit:
    """The residual limit for going from one bar to another: min(1, all candidates) / safety factor.

    Candidates come from the label rule, colour, odour, claims, health and safety maxima, each where the bars
    state what it needs. Ties (within 1e-9) go by criterion, then by item name. Raises LimitInputError.
    """
    return residual_limit_of_several((outgoing,), incoming, rules)


def residual_limit_of_several(outgoing: Sequence[Bar], incoming: Bar, rules: Rules) -> Limit:
    """The residual limit where a line may hold several outgoing bars: for every rule and item the worst single
    bar counts.

    All of them share the line's soap: a parcel was dosed with one of them or with none, so the fractions x_i of
    their doses at the nose sum to at most W. Whatever adds by mass (contents, odour, indices, actives) is then
    bounded: sum of x_i C_i <= W max C_i, so that the smallest of the single limits keeps the rule for any mix.
    Colour does not add in that way (CIEDE2000 of a mix may lie beyond those of its parts): there the worst bar
    is the usual practice, no bound. Raises LimitInputError, also where no bar is named.
    """
    if not outgoing:
        raise LimitInputError("outgoing", "no_bars")
    worst: dict[tuple[str, str], Candidate] = {}
    notes: list[Say] = []
    for old in outgoing:
        for one in _candidates(old, incoming, rules):
            known = worst.setdefault((one.criterion, one.item), one)
            if one.limit < known.limit:
                worst[one.criterion, one.item] = one
        notes += [*colour_notes(old, incoming, rules), *odour_notes(old, incoming, rules)]
        notes += claim_notes(old, incoming)
    found = list(worst.values())
    found.sort(key=lambda one: (CRITERIA.index(one.criterion), one.item))
    smallest = min((candidate.limit for candidate in found), default=1.0)
    governing = None
    if smallest < 1.0 - SLACK:
        first = next(candidate for candidate in found if candidate.limit <= smallest * (1.0 + SLACK))
        governing = Governing(first.criterion, first.item)
    return Limit(
        value=smallest / rules.safety_factor if governing else 1.0,
        status="deviation" if smallest == 0.0 else "ok",
        governing=governing,
        candidates=tuple(found),
        gates=_gates(outgoing, incoming),
        rules=rules,
        notes=tuple(one for place, one in enumerate(notes) if one not in notes[:place]),
    )


def _candidates(old: Bar, incoming: Bar, rules: Rules) -> list[Candidate]:
    """What every rule says of one outgoing bar."""
    return [
        *label_candidates(old, incoming, rules),
        *maximum_candidates(old, incoming),
        *odour_candidates(old, incoming, rules),
        *colour_candidates(old, incoming, rules),
        *claim_candidates(old, incoming),
        *health_candidates(old, incoming, rules),
    ]


def _gates(outgoing: Sequence[Bar], incoming: Bar) -> tuple[Gate, ...]:
    """The claims that this sequence may not reach by flushing alone."""
    found = []
    for claim in incoming.claims:
        if claim == "organic":
            closed = any("organic" not in bar.claims for bar in outgoing)
        else:
            closed = any(bar.fragranced for bar in outgoing)
        if closed:
            found.append(Gate(claim, Say(f"flush.gate.{claim}")))
    return tuple(found)

"""The odour rule: how much of the outgoing smell the next bar may still carry.

Odour activity value: concentration over threshold, smelt above 1 (usual definition). A linear partition
between bar and headspace is assumed. The rule is the hardest one where the next bar is unscented.
"""

from math import log10

from floorterm.flush.bars import Bar, Rules
from floorterm.flush.candidate import Candidate, Datum, joined
from floorterm.flush.errors import LimitInputError, as_number
from floorterm.library.tables import worst_confidence
from floorterm.wording import Say

RULE = "odour activity value, usual definition; smelt above 1; difference threshold from memory, set by the plant"


def odour_activity(concentration: float, threshold: float) -> float:
    """Odour activity value, no unit: both in the same unit (mg/m3 of air over the bar)."""
    amount = as_number(LimitInputError, "concentration", concentration)
    return amount / as_number(LimitInputError, "threshold", threshold, low_open=True)


def odour_limit(outgoing: float, incoming: float = 0.0, difference: float = 0.25) -> float:
    """The residue from which the outgoing smell is noticed: min(1, L / outgoing activity).

    L is 1 where the next bar is unscented (`incoming` 0) and max(1, difference x incoming activity)
    otherwise: a faint smell of its own must not be judged more strictly than none.
    """
    old = as_number(LimitInputError, "outgoing", outgoing)
    new = as_number(LimitInputError, "incoming", incoming)
    part = as_number(LimitInputError, "difference", difference, high=1.0, low_open=True)
    allowed = max(1.0, part * new)
    return 1.0 if old <= allowed else allowed / old


def stevens_intensity(ratio: float, exponent: float = 0.35) -> float:
    """Perceived intensity left when the concentration falls to `ratio` of itself: ratio ** n (informative).

    Source: power law after Stevens, n about 0.2 to 0.7 for odours, from memory.
    """
    return float(
        as_number(LimitInputError, "ratio", ratio)
        ** as_number(LimitInputError, "exponent", exponent, low_open=True)
    )


def stevens_ratio(intensity: float, exponent: float = 0.35) -> float:
    """The concentration ratio at which that part of the perceived intensity is left (informative)."""
    part = as_number(LimitInputError, "intensity", intensity)
    return float(part ** (1.0 / as_number(LimitInputError, "exponent", exponent, low_open=True)))


def weber_fechner(activity: float, slope: float) -> float:
    """Intensity on a logarithmic scale: slope x log10(activity) + 0.5 (informative; second-hand; the 0.5 is
    a convention for the threshold).
    """
    value = as_number(LimitInputError, "activity", activity, low_open=True)
    return as_number(LimitInputError, "slope", slope) * log10(value) + 0.5


def unscented(bar: Bar) -> bool:
    """Whether a bar must smell of nothing: it says so, or nothing in it smells."""
    if set(bar.claims) & {"fragrance_free", "unscented"}:
        return True
    return not bar.fragranced and (bar.odour is None or bar.odour.activity == 0.0)


def odour_candidates(outgoing: Bar, incoming: Bar, rules: Rules) -> tuple[Candidate, ...]:
    """The limit of the odour where the activities are known; empty otherwise."""
    rule, old, new = rules.odour, outgoing.odour, incoming.odour
    if rule is None or old is None or old.activity == 0.0:
        return ()
    plain = unscented(incoming)
    if not plain and new is None:
        return ()
    own = 0.0 if plain or new is None else new.activity
    used = (old,) if plain or new is None else (old, new)
    limit = odour_limit(old.activity, own, rule.difference)
    known = () if plain else (Datum("incoming_activity", own), Datum("difference", rule.difference))
    return (
        Candidate(
            criterion="odour",
            item="odour_activity",
            limit=limit,
            reason="limits" if limit < 1.0 else "free",
            outgoing=outgoing.name,
            threshold=max(1.0, rule.difference * own),
            data=(Datum("outgoing_activity", old.activity), *known),
            source=joined(RULE, *(one.source for one in used)),
            confidence=worst_confidence(*(one.confidence for one in used)),
        ),
    )


def odour_notes(outgoing: Bar, incoming: Bar, rules: Rules) -> tuple[Say, ...]:
    """That the odour was not judged, where one bar's activity is known and the other's is missing."""
    if rules.odour is None or (outgoing.odour is None and incoming.odour is None):
        return ()
    missing = []
    if outgoing.odour is None and outgoing.fragranced:
        missing.append(outgoing.name)
    if incoming.odour is None and not unscented(incoming):
        missing.append(incoming.name)
    return tuple(Say("limits.note.odour_not_judged", {"bar": name}) for name in missing)

"""One limit of one rule, with all that it rests on: the common shape of every rule's answer."""

from typing import Literal, NamedTuple

from msgspec import Struct

from floorterm.flush.bars import Part
from floorterm.library.tables import Confidence

CRITERIA = ("allergen_label", "colour", "odour", "claim", "health", "safety_max")  # in the order of ties
SLACK = 1e-9  # relative, so that equality stays free in floating-point numbers

Reason = Literal["limits", "free", "formula", "at_threshold", "prohibited"]


class Governing(NamedTuple):
    """What decides: the criterion and its item."""

    criterion: str
    item: str


class Datum(Struct, frozen=True):
    """A figure that a limit was derived from, with its unit ("" for a plain number or a word)."""

    name: str
    value: float | str
    unit: str = ""


class Candidate(Struct, frozen=True, kw_only=True):
    """One limit of one rule, before the safety factor, with all that it rests on.

    `limit` 1 means that the rule does not limit, 0 that flushing cannot help. `reason`: "limits"; "free"
    (can never reach the threshold); "formula" (the incoming bar exceeds it by itself); "at_threshold" (the
    incoming bar leaves no room); "prohibited". `outgoing` names the bar whose residue it is. `threshold` is
    what the rule compares with, in its own measure. Contents (kg/kg of bar), `entry` and `parts` belong to
    the rules about label items; `data` holds the figures of the other rules.
    """

    criterion: str
    item: str
    limit: float
    reason: Reason
    outgoing: str
    entry: str = ""
    threshold: float | None = None
    outgoing_content: float = 0.0
    background: float = 0.0
    parts: tuple[Part, ...] = ()
    data: tuple[Datum, ...] = ()
    source: str
    confidence: Confidence


def joined(*sources: str) -> str:
    """Sources as one text, each once, in order."""
    return "; ".join(dict.fromkeys(source for source in sources if source))

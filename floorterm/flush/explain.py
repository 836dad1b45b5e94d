"""What governs and why, in one sentence for people."""

from decimal import ROUND_FLOOR, Decimal
from typing import Protocol

from floorterm.flush.limits import Limit, Reason
from floorterm.wording import Say


class Governs(Protocol):
    """What the sentence needs of the candidate that governs."""

    @property
    def criterion(self) -> str:
        """The criterion, as "allergen_label"."""
        ...

    @property
    def item(self) -> str:
        """The item, as a label name."""
        ...


def percent(fraction: float | Decimal) -> str:
    """A fraction as percent with two significant digits, rounded down so that it never promises more than
    allowed.
    """
    value = Decimal(str(fraction)) * 100
    if value == 0:
        return "0"
    digits = Decimal(1).scaleb(value.adjusted() - 1)
    return f"{value.quantize(min(digits, Decimal(1)), rounding=ROUND_FLOOR).normalize():f}"


def governing_sentence(
    status: str,
    governing: Governs | None,
    limit: float | Decimal,
    outgoing: str,
    reason: Reason | None = None,
) -> Say:
    """The sentence for a status ("ok", "none", "deviation", "unreachable"), the candidate that governs and
    the limit.

    `outgoing` is the name of the outgoing fragrance; `reason` says more about a deviation where it is known.
    """
    if governing is None:
        return Say("flush.governs.nothing", {"outgoing": outgoing})
    facts = {"item": governing.item, "percent": percent(limit), "outgoing": outgoing}
    if status == "deviation":
        return Say(f"flush.deviation.{reason or 'any'}", facts)
    kind = governing.criterion if governing.criterion == "allergen_label" else "other"
    return Say(f"flush.{'unreachable' if status == 'unreachable' else 'governs'}.{kind}", facts)


def explain(limit: Limit, outgoing: str = "") -> Say:
    """What governs a residual limit and why; `outgoing` is a name for people (default: that of the bar)."""
    decisive = limit.decisive
    if decisive is None:
        return governing_sentence("none", None, limit.value, outgoing)
    name = outgoing or decisive.outgoing
    return governing_sentence(limit.status, decisive, limit.value, name, decisive.reason)

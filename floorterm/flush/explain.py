"""What governs and why, in one sentence for people."""

from collections.abc import Mapping
from decimal import ROUND_FLOOR, Decimal
from typing import Protocol

from floorterm.flush.candidate import Candidate, Reason
from floorterm.flush.limits import Limit
from floorterm.wording import Fact, Say


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
    if governing.criterion != "allergen_label":
        return _other_sentence(status, governing, facts, reason)
    if status == "deviation":
        return Say(f"flush.deviation.{reason or 'any'}", facts)
    return Say(f"flush.{'unreachable' if status == 'unreachable' else 'governs'}.allergen_label", facts)


def _other_sentence(status: str, governing: Governs, facts: Mapping[str, Fact], reason: Reason | None) -> Say:
    if status == "deviation":
        # only a claim or a maximum can leave no room at all
        return Say(f"limits.deviation.{governing.criterion}.{reason or 'any'}", facts)
    start = "unreachable" if status == "unreachable" else "governs"
    return Say(f"limits.{start}.{_kind(governing.criterion, governing.item)}", facts)


def _kind(criterion: str, item: str) -> str:
    return item if criterion == "health" else criterion


def item_words(criterion: str, item: str) -> Say:
    """What a candidate is about in words for a table: the label name itself, or "Colour", "Odour"…"""
    return Say(f"limits.item.{_kind(criterion, item)}", {"item": item})


def reasoning(limit: Limit) -> tuple[Say, ...]:
    """The whole chain behind a residual limit, each step a sentence: every candidate from the strictest on
    with its figures, source and confidence; the safety factor; what was not judged; gates.
    """
    ordered = sorted(limit.candidates, key=lambda one: one.limit)
    found = [_step(one) for one in ordered]
    if limit.governing is not None and limit.rules.safety_factor > 1.0:
        facts = {"factor": f"{limit.rules.safety_factor:g}", "percent": percent(limit.value)}
        found.append(Say("limits.step.safety_factor", facts))
    return (*found, *limit.notes, *(gate.say for gate in limit.gates), explain(limit))


def _step(one: Candidate) -> Say:
    """One candidate as a sentence."""
    facts: dict[str, Fact] = {
        "item": one.item,
        "outgoing": one.outgoing,
        "percent": percent(one.limit),
        "source": one.source,
        "confidence": one.confidence,
        "threshold": f"{one.threshold:.4g}" if one.threshold is not None else "0",
        "content": f"{one.outgoing_content:.4g}",
        "background": f"{one.background:.4g}",
    }
    facts |= {datum.name: _datum(datum.value) for datum in one.data}
    if one.reason == "prohibited":
        return Say("limits.step.prohibited", facts)
    if one.criterion == "odour":
        return Say(f"limits.step.{'odour' if 'incoming_activity' in facts else 'odour_unscented'}", facts)
    return Say(f"limits.step.{_kind(one.criterion, one.item)}", facts)


def _datum(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:.4g}"


def explain(limit: Limit, outgoing: str = "") -> Say:
    """What governs a residual limit and why; `outgoing` is a name for people (default: that of the bar)."""
    decisive = limit.decisive
    if decisive is None:
        return governing_sentence("none", None, limit.value, outgoing)
    name = outgoing or decisive.outgoing
    return governing_sentence(limit.status, decisive, limit.value, name, decisive.reason)

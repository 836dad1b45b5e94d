"""What was entered at a step: numbers as people type them, whether limits were kept, and what deviates.

Shared by the fold (which raises deviations) and the rules (which refuse what makes no sense at all).
"""

from collections.abc import Mapping
from decimal import Decimal
from typing import Final

from msgspec.structs import replace

from floorterm.changeover.acts import CorrectStep, SignStep
from floorterm.changeover.figures import number_of
from floorterm.changeover.worksheet import Choice, Step
from floorterm.wording import in_each_language

# Fields of a signature that a correction may change. Locks are events: they are never corrected.
CORRECTED: Final = ("number", "choice", "text", "scanned", "kg", "counter")


def choice_of(step: Step, act: SignStep) -> Choice | None:
    """The answer that was chosen at a choice step, if the step knows it."""
    return next((choice for choice in step.choices if choice.id == act.choice), None)


def limits(step: Step) -> tuple[str, str]:
    """Lower and upper limit of a reading as texts; empty where there is none."""
    return ("" if step.low is None else str(step.low)), ("" if step.high is None else str(step.high))


def deviating(
    step: Step, act: SignStep, required_kg: Decimal | None = None
) -> tuple[str, Mapping[str, str]] | None:
    """Key and facts of the deviation that an entry means, or None when it keeps its limits.

    `required_kg` is what a flush step asks for now (kg of line mass). Not applicable is no deviation.
    """
    if act.outcome != "done":
        return None
    match step.kind:
        case "reading":
            return _reading(step, act)
        case "choice":
            chosen = choice_of(step, act)
            if chosen is not None and (chosen.deviation or chosen.stops):
                facts = in_each_language("choice", chosen.text, chosen.id)
                return "changeover.deviation.choice", {key: str(value) for key, value in facts.items()}
        case "flush":
            required = step.required_kg if required_kg is None else required_kg
            if required is not None and (act.kg or Decimal(0)) < required:
                return "changeover.deviation.flush", {"kg": str(act.kg or 0), "required": str(required)}
        case "lockout" if act.result == "not_zero":
            return "changeover.deviation.not_zero", {}
    return None


def _reading(step: Step, act: SignStep) -> tuple[str, Mapping[str, str]] | None:
    if act.result == "not_ok" and step.worked_out:
        from floorterm.changeover.bench import worked  # noqa: PLC0415  a first screen folds without it

        found = worked(step, act.text)
    else:
        found = None
    if found is not None:
        say = found.says[0]
        return say.key, {name: str(fact) for name, fact in say.facts.items()}
    value = number_of(act.number)
    low, high = limits(step)
    facts = {"value": act.number, "unit": step.unit, "low": low, "high": high}
    if value is not None and step.low is not None and value < step.low:
        return "changeover.deviation.low", facts
    if value is not None and step.high is not None and value > step.high:
        return "changeover.deviation.high", facts
    return None


def within(step: Step, act: SignStep, required_kg: Decimal | None = None) -> bool:
    """Whether an entry keeps the step's limits (a step without limits keeps them always)."""
    return deviating(step, act, required_kg) is None and act.result != "not_ok"


def corrected(act: SignStep, correction: CorrectStep) -> SignStep:
    """The signature as it counts after a correction: only the fields that the correction gives change."""
    changed = {
        name: getattr(correction, name) for name in CORRECTED if getattr(correction, name) not in ("", None)
    }
    return replace(act, **changed)

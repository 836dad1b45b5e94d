"""What was entered at a step: numbers as people type them, whether limits were kept, and what deviates.

Shared by the fold (which raises deviations) and the rules (which refuse what makes no sense at all).
"""

import re
from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Final

from floorterm.changeover.acts import CorrectStep, SignStep
from floorterm.changeover.worksheet import Choice, Step
from floorterm.lye.errors import LyeError
from floorterm.lye.titration import free_alkali
from floorterm.wording import in_each_language

_NUMBER: Final = re.compile(r"[+\-\u2212]?[0-9]{1,9}(?:[.,][0-9]{1,6})?")
_BURETTE: Final = 3  # titre, blank, sample
# Fields of a signature that a correction may change. Locks are events: they are never corrected.
CORRECTED: Final = ("number", "choice", "text", "scanned", "kg", "counter")


class NumberError(ValueError):
    """A typed text is no number."""


def typed(text: str) -> Decimal:
    """The number that somebody typed: decimal comma or point, at most nine digits before and six after it.

    There is no grouping: `1,234` and `1.234` are both one and a bit. Raises NumberError for anything else.
    """
    tidy = text.strip()
    if not _NUMBER.fullmatch(tidy):
        raise NumberError(f"{tidy!r} is not a number; type digits with at most one comma or point.")
    return Decimal(tidy.replace(",", ".").replace("\u2212", "-"))


def number_of(text: str) -> Decimal | None:
    """Like `typed`, but None for what is no number."""
    try:
        return typed(text)
    except NumberError:
        return None


def titrated(step: Step, text: str) -> str | None:
    """% NaOH of a titration as typed (titre ml, blank ml, sample g), four decimals; None if it gives none.

    (V - V_blank) c M / (10 m) with the step's acid; a titre below the blank is 0. Form of ISO 456, from memory.
    """
    numbers = [number_of(part) for part in text.split()]
    if step.acid_mol_l is None or len(numbers) != _BURETTE or None in numbers:
        return None
    titre, blank, mass = (float(one) for one in numbers if one is not None)
    try:
        found = free_alkali(titre, float(step.acid_mol_l), mass, blank_ml=blank)
    except LyeError:
        return None
    return f"{found.pct:.4f}"


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

"""A proposal of new figures as one JSON document. The keys are described in README."""

import math
from collections.abc import Mapping
from typing import Any

from floorterm.flush.calibrate import Fit, FlushChange, Proposal, interval, whole_tanks
from floorterm.flush.quantity import round_up
from floorterm.library.calibrated import Calibration
from floorterm.wording import Say, sentence

Pair = tuple[str, str]


def proposal_json(
    line: str,
    found: Proposal,
    alone: Any,
    changes: Mapping[Pair, FlushChange],
    without: list[Pair],
    entry: int | None,
    before: Calibration | None,
    language: str,
) -> dict[str, Any]:
    """The proposal, the readings by themselves, the change of every pair, and whether somebody accepted it."""
    return {
        "line": line,
        "unit": found.unit,
        "confidence": found.confidence,
        "factor": found.factor,
        "factor_low": found.factor_low,
        "factor_high": found.factor_high,
        "scatter": [one.rms for one in found.fits],
        "values": [
            {
                "unit": one.unit,
                "field": one.field,
                "old": one.old,
                "new": one.new,
                "low": one.low,
                "high": one.high,
            }
            for one in found.values
        ],
        "readings_alone": _fit_as_json(alone, found.confidence) if isinstance(alone, Fit) else None,
        "pairs": [
            {
                "outgoing": old,
                "incoming": new,
                "residual_limit": change.limit,
                "old_kg": whole_kg(change.old_kg),
                "proposed_kg": whole_kg(change.proposed_kg),
                "upper_kg": whole_kg(change.upper_kg),
                "change_kg": change.change_kg,
            }
            for (old, new), change in changes.items()
        ],
        "pairs_without_figure": [{"outgoing": old, "incoming": new} for old, new in without],
        "notes": [
            sentence(say, language)
            for say in notes_of(found, alone)
            if entry is None or say.key != "calibrate.accept"
        ],
        "accepted": entry is not None,
        "entry": entry,
        "before_entry": before.n if before else None,
    }


def _fit_as_json(alone: Fit, confidence: float) -> dict[str, Any]:

    whole = whole_tanks(alone) if alone.tanks >= 1 else None
    return {
        "holdup_kg": alone.holdup_kg,
        "tanks": alone.tanks,
        "plug_kg": alone.plug_kg,
        "fitted": list(alone.fitted),
        "intervals": {name: list(interval(alone, name, confidence=confidence)) for name in alone.fitted},
        "covariance": [list(row) for row in alone.covariance],
        "scatter": alone.rms,
        "whole_tanks": whole and int(whole.tanks),
        "whole_tanks_holdup_kg": whole and whole.holdup_kg,
        "readings": [
            {
                "m_kg": one.m_kg,
                "residual": one.residual,
                "fitted": one.fitted,
                "standardised": one.standardised,
                "outlier": one.outlier,
            }
            for one in alone.readings
        ],
    }


def whole_kg(value: float) -> int | None:
    """Whole kg, rounded up; None for never."""
    return None if math.isinf(value) else round_up(value)


def notes_of(found: Proposal, alone: Any) -> list[Say]:
    """Every sentence once: those of the readings by themselves first, the one about accepting last."""
    says = [*(alone.says if isinstance(alone, Fit) else ()), *found.says]
    return [say for place, say in enumerate(says) if say not in says[:place]]

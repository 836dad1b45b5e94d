"""A flush as one JSON document. The keys are described in README."""

from datetime import date
from typing import TYPE_CHECKING, Any

from floorterm.changeover.checked import Checked
from floorterm.changeover.flush_case import Case
from floorterm.changeover.view_words import tell
from floorterm.changeover.worksheet import FlushNote, RinseNote, StrategyNote
from floorterm.wording import FALLBACK, sentence

if TYPE_CHECKING:
    from collections.abc import Sequence


def note_json(
    note: FlushNote, line: str, outgoing: str, incoming: str, on: date, language: str = FALLBACK
) -> dict[str, Any]:
    """The flush of a pair as the worksheet keeps it."""
    governing = note.governing
    return {
        "line": line,
        "outgoing": outgoing,
        "incoming": incoming,
        "on": on.isoformat(),
        "status": note.status,
        "required_kg": int(note.required_kg),
        "bars": note.bars,
        "diverted_kg": int(note.diverted_kg),
        "minutes": note.minutes,
        "residual_limit": float(note.limit),
        "governing": governing and {"criterion": governing.criterion, "item": governing.item},
        "claim_gates": note.gate.split(",") if note.gate else [],
        "evidence": note.evidence,
        "measured": list(note.measured),
        "assumed": list(note.assumed),
        "warnings": [tell(text, language) for text in note.warnings],
        "rinse": note.rinse and _rinse(note.rinse),
        "confidence": float(note.confidence or 0),
        "spread": float(note.spread or 0),
        "sure_kg": int(note.sure_kg or 0),
        "calibration_entry": note.calibration_n,
        "candidates": [
            {
                "criterion": one.criterion,
                "item": one.item,
                "limit": float(one.limit),
                "source": one.source,
                "confidence": one.confidence,
            }
            for one in note.candidates
        ],
    }


def case_json(
    case: Case,
    note: FlushNote,
    rows: "Sequence[StrategyNote]",
    *,
    chain: "Sequence[str]",
    samples: Checked | None,
    language: str,
) -> dict[str, Any]:
    """What else was asked for: limit overruled, another start, ways, check samples, the chain of reasoning."""
    peak_kg, peak = case.curve.peak if case.start is not None else (0.0, 1.0)
    return {
        "limit_overruled": case.overruled,
        "calculated_limit": case.calculated,
        "state": None
        if case.start is None
        else {
            "first_residual": case.curve.residual(0.0),
            "peak_kg": peak_kg,
            "peak_residual": peak,
            "notes": [sentence(say, language) for say in case.start_says],
        },
        "currency": note.currency,
        "proposed": note.proposed,
        "next_best": note.next_best,
        "strategies": [strategy_json(row, language) for row in rows],
        "samples": samples and _checked(samples, language),
        "reasoning": list(chain),
    }


def strategy_json(row: StrategyNote, language: str) -> dict[str, Any]:
    """One way to flush; figures are null where it never gets there."""
    return {
        "strategy": row.key,
        "allowed": row.allowed,
        "kg": None if row.kg is None else int(row.kg),
        "total_diverted_kg": None if row.diverted_kg is None else int(row.diverted_kg),
        "bars": row.bars,
        "minutes": row.minutes,
        "lockout": row.lockout,
        "crew": row.crew,
        "cost": None if row.cost is None else float(row.cost),
        "tied": row.tied,
        "reasons": [text[language] for text in row.reasons],
        "notes": [text[language] for text in row.notes],
    }


def _rinse(rinse: RinseNote) -> dict[str, Any]:
    return {
        "tank": rinse.tank,
        "rinses": rinse.rinses,
        "rinse_kg": float(rinse.rinse_kg),
        "floor": float(rinse.floor),
        "held": rinse.held,
        "held_assumed": rinse.assumed,
        "enough": rinse.enough,
    }


def _checked(found: Checked, language: str) -> dict[str, Any]:
    spread = found.learnt.spread
    return {
        "readings": len(found.samples.readings),
        "below_detection": found.samples.below_detection,
        "last_kg": found.last_kg,
        "holdup_factor": spread.median,
        "holdup_sd": spread.sd_log,
        "surprise": found.learnt.surprise,
        "planning_kg": found.planning_kg,
        "promise_kg": found.promise_kg,
        "to_go_kg": found.to_go_kg,
        "to_go_sure_kg": found.to_go_sure_kg,
        "notes": [sentence(say, language) for say in found.says],
    }

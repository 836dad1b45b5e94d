"""A flush under way, from the record alone: the curve it follows, what is left now, what check samples change."""

import re
from collections.abc import Mapping
from decimal import Decimal

from msgspec import Struct

from floorterm.changeover.checked import SAMPLE_ERROR, Checked, checked_by
from floorterm.changeover.flushing import line_from_json
from floorterm.changeover.state import FlushProgress
from floorterm.changeover.worksheet import FlushNote, StrategyNote
from floorterm.flush import Washout, washout
from floorterm.flush.pool import PRIOR_SD
from floorterm.flush.progress import LiveResidual, Pushed, Spread, live_residual
from floorterm.flush.quantity import round_up
from floorterm.flush.samples import Sample, Samples
from floorterm.wording import Say

_DIVERTED = ("divert_flash", "noodles_first")
_SAMPLE = re.compile(r"([0-9.]+):(0\.[0-9]*[1-9][0-9]*)(?:;|$)")
_ANY_TIME = ("push_through", "divert_flash", "return_at_once", "run_out", "strip")
BASE = "push_through"


class Alternative(Struct, frozen=True, kw_only=True):
    """The cheapest allowed way besides the one in hand, and what it saves (below zero: what it costs more).

    `minutes` are those on the critical path; `cost` is in the plant's currency, or kg of soap without prices.
    """

    row: StrategyNote
    kg: Decimal
    minutes: int
    cost: Decimal


def way_in_hand(progress: FlushProgress | None) -> str:
    """The way that was chosen last while flushing; pushing through where nobody chose."""
    return progress.inputs.get("strategy", BASE) if progress is not None else BASE


def alternative(note: FlushNote, in_hand: str = BASE) -> Alternative | None:
    """The next best way to the one in hand; None where no other is allowed or nothing was compared."""
    base = note.strategy(in_hand)
    rows = [
        row
        for row in note.strategies
        if row.key != in_hand and row.allowed and row.cost is not None and row.diverted_kg is not None
    ]
    if base is None or base.cost is None or base.diverted_kg is None or base.minutes is None or not rows:
        return None
    best = min(rows, key=lambda row: (row.cost or Decimal(0), row.minutes or 0))
    return Alternative(
        row=best,
        kg=base.diverted_kg - (best.diverted_kg or Decimal(0)),
        minutes=base.minutes - (best.minutes or 0),
        cost=base.cost - (best.cost or Decimal(0)),
    )


def curve_of(note: FlushNote, progress: FlushProgress | None = None) -> Washout | None:
    """The washout that this flush follows; None for ways that do not start from a line full of the old fragrance
    at the dose switch.

    Raises TypeError, KeyError or LineModelError for a note whose line is none.
    """
    in_hand = way_in_hand(progress)
    later = progress is not None and progress.inputs.get("from_kg", "0") != "0"
    if in_hand not in (BASE, *_DIVERTED) or (later and in_hand != BASE):
        return None
    line = line_from_json(dict(note.line_model))
    divert = in_hand in _DIVERTED and line.returned_fraction > 0
    floor = min(float(note.rinse.floor), 1.0 - 1e-12) if note.rinse is not None else 0.0
    return washout(line, divert_flash=divert, floor=floor)


def spread_of(note: FlushNote, inputs: Mapping[str, str] | None = None) -> Spread:
    """How well the holdup is known: as check samples taught (in the inputs of a revision), else as the note says.

    Inputs of a revision that are no figures teach nothing.
    """
    try:
        taught = (float((inputs or {})["holdup_factor"]), float((inputs or {})["holdup_sd"]))
        return Spread(median=taught[0], sd_log=taught[1], measured=True)
    except (KeyError, ValueError):
        pass
    sd = float(note.spread) if note.spread is not None else PRIOR_SD
    return Spread(sd_log=sd, measured=note.calibration_n is not None)


def confidence_of(note: FlushNote) -> float:
    """The plant's one-sided confidence as the note keeps it."""
    return float(note.confidence) if note.confidence is not None else 0.95


def live(note: FlushNote, progress: FlushProgress) -> LiveResidual | None:
    """What is left in the bars that leave now, with its band; None before anything was pushed, or without a curve."""
    if not progress.pushed_kg:
        return None
    curve = curve_of(note, progress)
    if curve is None:
        return None
    kg = float(progress.pushed_kg)
    pushed = Pushed(kg=kg, low_kg=kg, high_kg=kg, say=Say("calibrate.pushed_point", {"kg": f"{kg:.0f}"}))
    return live_residual(curve, pushed, spread_of(note, progress.inputs), confidence=confidence_of(note))


def checks_of(progress: FlushProgress) -> tuple[Sample, ...]:
    """The check samples of this flush that a revision rests on."""
    written = progress.inputs.get("samples", "")
    found = _SAMPLE.findall(written)
    return tuple(Sample(float(kg), float(residual)) for kg, residual in found)


def after_check(
    note: FlushNote, progress: FlushProgress, sample: Sample, *, relative_error: float = SAMPLE_ERROR
) -> Checked | None:
    """What one more check sample makes of the requirement, together with the earlier ones of this flush.

    None where the way in hand has no curve. Raises CalibrationError naming the field, NotFallingError for
    samples that do not fall.
    """
    curve = curve_of(note, progress)
    if curve is None:
        return None
    samples = Samples((*checks_of(progress), sample))
    return checked_by(
        curve,
        float(note.limit),
        float(progress.required_kg),
        spread_of(note),
        samples,
        confidence=confidence_of(note),
        relative_error=relative_error,
    )


def check_inputs(progress: FlushProgress, found: Checked) -> dict[str, str]:
    """The inputs of a revision after check samples."""
    spread = found.learnt.spread
    return {
        **progress.inputs,
        "old_kg": f"{progress.required_kg:f}",
        "new_kg": f"{found.promise_kg}",
        "samples": ";".join(f"{one.m_kg:.6g}:{one.residual:.8f}" for one in found.samples.readings),
        "sample_error": f"{SAMPLE_ERROR:g}",
        "holdup_factor": f"{spread.median:.6g}",
        "holdup_sd": f"{spread.sd_log:.6g}",
    }


def still_possible(progress: FlushProgress, row: StrategyNote) -> bool:
    """Whether a way can still be taken: some must be begun at the dose switch or before it."""
    return row.allowed and row.kg is not None and (row.key in _ANY_TIME or not progress.pushed_kg)


def strategy_kg(note: FlushNote, progress: FlushProgress, row: StrategyNote) -> Decimal:
    """What a way requires in all, in kg of line mass since the dose switch.

    Its own figure, by as much more or less as check samples taught; after what has been pushed already, except
    for pushing through. That is enough: from the steady state every part of the line only falls, so it is no
    fuller now than at the switch, and never needs more than from there.
    """
    assert row.kg is not None  # a way without a figure is never offered
    own = float(row.kg)
    if checks_of(progress):
        own *= spread_of(note, progress.inputs).upper(confidence_of(note))
    begun = Decimal(0) if row.key == BASE else progress.pushed_kg
    return begun + round_up(own)


def strategy_inputs(note: FlushNote, progress: FlushProgress, row: StrategyNote) -> dict[str, str]:
    """The inputs of a revision to another way; what check samples taught goes with it."""
    return {
        **progress.inputs,
        "strategy": row.key,
        "old_strategy": way_in_hand(progress),
        "old_kg": f"{progress.required_kg:f}",
        "new_kg": f"{strategy_kg(note, progress, row):f}",
        "from_kg": "0" if row.key == BASE else f"{progress.pushed_kg:f}",
        "limit": f"{note.limit:f}",
        "lockout": "yes" if row.lockout else "no",
    }

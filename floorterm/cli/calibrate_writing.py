"""A proposal of new figures as text for people at a command line."""

from collections.abc import Mapping
from typing import Any

from floorterm.changeover.lockout_steps import spoken
from floorterm.cli.calibrate_json import Pair, notes_of, whole_kg
from floorterm.cli.common import print_table, put
from floorterm.flush.calibrate import Fit, FlushChange, Proposal, interval, whole_tanks
from floorterm.flush.explain import percent
from floorterm.languages import in_
from floorterm.library.model import Library
from floorterm.wording import sentence, words


def print_proposal(
    library: Library,
    line: str,
    found: Proposal,
    alone: Any,
    changes: Mapping[Pair, FlushChange],
    without: list[Pair],
    language: str,
) -> None:
    """The readings beside their curve, the proposed figures, the change of every pair, and what to know."""
    put(words("calibrate.print_heading", language, line=in_(spoken(library.lines[line].name), language)))
    _print_alone(alone, found.confidence, language)
    put(
        words(
            "calibrate.print_factor_unit" if found.unit else "calibrate.print_factor",
            language,
            factor=f"{found.factor:.3f}",
            low=f"{found.factor_low:.3f}",
            high=f"{found.factor_high:.3f}",
            sure=f"{found.confidence * 100:g}",
            **({"unit": found.unit} if found.unit else {}),
        )
    )
    heads = ("unit", "figure", "now", "proposed", "from", "to")
    print_table(
        [words(f"calibrate.print_{name}", language) for name in heads],
        [
            (one.unit, one.field, *(f"{value:.3g}" for value in (one.old, one.new, one.low, one.high)))
            for one in found.values
        ],
        numbers=(2, 3, 4, 5),
    )
    put("\n" + words("calibrate.print_flush", language))
    _print_pairs(changes, language)
    if without:
        pairs = ", ".join(f"{old} > {new}" for old, new in without)
        put(words("calibrate.print_skipped", language, pairs=pairs))
    for say in notes_of(found, alone):
        put(f"! {sentence(say, language)}")


def _print_pairs(changes: Mapping[Pair, FlushChange], language: str) -> None:

    never = words("calibrate.print_never", language)

    def kg(value: float) -> str:
        whole = whole_kg(value)
        return never if whole is None else str(whole)

    heads = ("pair", "limit", "now", "proposed", "sure", "change")
    print_table(
        [words(f"calibrate.print_{name}", language) for name in heads],
        [
            (
                f"{old} > {new}",
                percent(one.limit),
                kg(one.old_kg),
                kg(one.proposed_kg),
                kg(one.upper_kg),
                "" if one.change_kg is None else f"{one.change_kg:+d}",
            )
            for (old, new), one in changes.items()
        ],
        numbers=range(1, len(heads)),
    )


def _print_alone(alone: Any, confidence: float, language: str) -> None:

    if not isinstance(alone, Fit):
        put(words("calibrate.print_no_curve", language, reason=sentence(alone, language)))
        return
    heads = ("kg", "read", "fitted", "off")
    print_table(
        [*(words(f"calibrate.print_{name}", language) for name in heads), ""],
        [
            (
                f"{one.m_kg:g}",
                f"{one.residual * 100:.3g}",
                f"{one.fitted * 100:.3g}",
                f"{one.standardised:+.2f}",
                words("calibrate.print_outlier", language) if one.outlier else "",
            )
            for one in alone.readings
        ],
        numbers=range(4),
    )
    ranges = {}
    for short, name, digits in (("plug", "plug_kg", 1), ("holdup", "holdup_kg", 1), ("tanks", "tanks", 2)):
        ranges[f"{short}_range"] = words("calibrate.print_set", language)
        if name in alone.fitted:
            low, high = interval(alone, name, confidence=confidence)
            ranges[f"{short}_range"] = f"{low:.{digits}f} - {high:.{digits}f}"
    put(
        words(
            "calibrate.print_curve",
            language,
            plug=f"{alone.plug_kg:.1f}",
            holdup=f"{alone.holdup_kg:.1f}",
            tanks=f"{alone.tanks:.2f}",
            scatter=f"{alone.rms * 100:.1f}",
            sure=f"{confidence * 100:g}",
            **ranges,
        )
    )
    if alone.tanks < 1:
        return  # no whole number of tanks describes it; a note says why
    whole = whole_tanks(alone)
    put(words("calibrate.print_whole", language, tanks=f"{whole.tanks:g}", holdup=f"{whole.holdup_kg:.1f}"))

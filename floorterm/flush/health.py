"""Limits for a carried-over drug active (informative): how much of it the whole next batch may hold.

Formulas of the active-ingredient industry's cleaning guidance (second-hand): exposure limit (set after
EMA/CHMP/CVMP/SWP/169430/2012), 1/1000 of the lowest daily dose, 10 mg/kg, visibly clean. Good practice for
cosmetics asks for none of them; the safety assessor decides.
"""

from typing import NamedTuple

from floorterm.flush.bars import Bar, Rules
from floorterm.flush.candidate import Candidate, Datum, joined
from floorterm.flush.errors import LimitInputError, as_number
from floorterm.flush.grounds import Active, HealthRule, NextUse
from floorterm.library.tables import worst_confidence

RULE = "formulas of the active-ingredient industry's cleaning guidance (second-hand); the safety assessor decides"


class Allowance(NamedTuple):
    """The mass of the active, in g, that one criterion allows in the whole next batch."""

    criterion: str
    mass_g: float


def allowances(active: Active, use: NextUse, rule: HealthRule) -> tuple[Allowance, ...]:
    """What each criterion whose data are given allows, g in the batch (mg/d x kg / (g/d) = g)."""
    found = []
    if active.exposure_limit_mg_d is not None:
        found.append(Allowance("hbel", active.exposure_limit_mg_d * use.batch_kg / use.largest_daily_g))
    if active.lowest_dose_mg_d is not None:
        dose = active.lowest_dose_mg_d / rule.dose_divisor
        found.append(Allowance("dose_1_1000", dose * use.batch_kg / use.largest_daily_g))
    found.append(Allowance("ppm_10", rule.general_mg_kg * use.batch_kg / 1000.0))
    if rule.shared_area_m2 is not None:
        found.append(Allowance("visibly_clean", rule.visible_ug_cm2 * rule.shared_area_m2 * 1e4 / 1e6))
    return tuple(found)


def per_area_ug_cm2(mass_g: float, area_m2: float) -> float:
    """A mass spread evenly over the shared equipment, micrograms on a square centimetre."""
    mass = as_number(LimitInputError, "mass_g", mass_g)
    return mass * 100.0 / as_number(LimitInputError, "area_m2", area_m2, low_open=True)


def per_swab_ug(mass_g: float, area_m2: float, swab_cm2: float, recovery: float) -> float:
    """What one swab of a surface at that level should find, micrograms; `recovery` in (0, 1]."""
    swab = as_number(LimitInputError, "swab_cm2", swab_cm2, low_open=True)
    found = as_number(LimitInputError, "recovery", recovery, high=1.0, low_open=True)
    return per_area_ug_cm2(mass_g, area_m2) * swab * found


def residue_of(mass_g: float, batch_kg: float, share: float) -> float:
    """The residue of the outgoing bar that brings that mass of the active into the batch, at most 1."""
    batch = as_number(LimitInputError, "batch_kg", batch_kg, low_open=True)
    part = as_number(LimitInputError, "share", share, high=1.0, low_open=True)
    return min(1.0, as_number(LimitInputError, "mass_g", mass_g) / 1000.0 / (batch * part))


def health_candidates(outgoing: Bar, incoming: Bar, rules: Rules) -> tuple[Candidate, ...]:
    """One candidate a criterion where the outgoing bar holds a drug active.

    Raises LimitInputError naming `next_use` where the incoming bar does not say how it is used.
    """
    active, use, rule = outgoing.active, incoming.next_use, rules.health
    if active is None or rule is None:
        return ()
    if use is None:
        raise LimitInputError("next_use", "no_next_use", active=active.name)
    found = []
    for criterion, mass_g in allowances(active, use, rule):
        limit = residue_of(mass_g, use.batch_kg, active.share)
        area = rule.shared_area_m2
        found.append(
            Candidate(
                criterion="health",
                item=criterion,
                limit=limit,
                reason="limits" if limit < 1.0 else "free",
                outgoing=outgoing.name,
                threshold=mass_g,
                data=(
                    Datum("active", active.name),
                    Datum("allowed_in_batch", mass_g, "g"),
                    *(
                        ()
                        if area is None
                        else (Datum("allowed_on_area", per_area_ug_cm2(mass_g, area), "ug/cm2"),)
                    ),
                    Datum("batch", use.batch_kg, "kg"),
                    Datum("active_share", active.share, "kg/kg"),
                ),
                source=joined(RULE, active.source),
                confidence=worst_confidence("second-hand", active.confidence),
            )
        )
    return tuple(found)

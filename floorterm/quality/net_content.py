"""Net content by the two regimes that a plant may stand under, in grams and in Decimal.

`average`: Directive 76/211/EEC Annex I and II, UK SI 2006/659 Schedule 2, judged at packing. `individual`: the form
of NIST Handbook 133, category A, whose plan and allowances are from memory: check them against the edition in force.
No result is a legal decision; the authority's own test is.
"""

from collections.abc import Sequence
from decimal import Decimal
from math import sqrt
from statistics import fmean, stdev
from typing import Literal

from msgspec import Struct

from floorterm.quality.errors import QualityError
from floorterm.quality.rounding import rounded_up
from floorterm.quality.sampling import DoublePlan, Plan
from floorterm.quality.tables import table

Regime = Literal["average", "individual"]
Verdict = Literal["accept", "reject", "second_sample", "grey"]
_STEP_G = Decimal("0.1")
# t(0.975, n - 1) for n = 2 to 11 as published tables of Student's t print it.
_T = (12.7062, 4.30265, 3.18245, 2.77645, 2.57058, 2.44691, 2.36462, 2.30600, 2.26216, 2.22814)


class AveragePlan(Struct, frozen=True):
    """The test of one batch: counts below T1, and the mean of the first `mean_n` packs."""

    counts: Plan | DoublePlan
    mean_n: int
    mean_factor: float


class NetContent(Struct, frozen=True):
    """What was found. `least_mean_g` is the mean that was asked, `beyond` counts packs below T1 or over the MAV.

    `reasons` are `mean`, `beyond` (too many), `far_below` (below T2), in that order; empty where accepted.
    """

    verdict: Verdict
    mean_g: float
    s_g: float
    least_mean_g: float
    beyond: int
    allowed: int
    reasons: tuple[str, ...]


def tolerable_error(nominal_g: Decimal) -> Decimal:
    """TNE in g: percentages rounded up to 0.1 g (76/211/EEC Annex I 2.4; above 1 kg the UK table)."""
    for row in table("net_average"):
        if Decimal(row["above_g"]) <= nominal_g <= Decimal(row["to_g"]):
            return _value(row, nominal_g, round_up=True)
    raise QualityError(f"No tolerable error is known for {nominal_g} g.")


def allowed_variation(labelled_g: Decimal) -> Decimal:
    """MAV in g by labelled mass, from memory."""
    for row in table("net_individual"):
        if Decimal(row["from_g"]) <= labelled_g < Decimal(row["below_g"]):
            return _value(row, labelled_g, round_up=False)
    raise QualityError(f"No allowed variation is known for {labelled_g} g.")


def _value(row: dict[str, str], mass_g: Decimal, *, round_up: bool) -> Decimal:
    value = Decimal(row["value"])
    if row["sort"] == "gram":
        return value
    share = mass_g * value / 100
    return rounded_up(share, _STEP_G) if round_up else share


def average_plan(
    batch: int, kind: Literal["double", "single", "destructive"] = "double"
) -> AveragePlan | None:
    """The plan for a batch; None under 100 packs, where all are weighed."""
    for row in table("net_plans"):
        if row["plan"] == f"average_{kind}" and _in_lot(row, batch):
            first = int(row["n1"]), int(row["accept1"])
            counts: Plan | DoublePlan = Plan(*first)
            if row["n2"]:
                counts = DoublePlan(
                    *first, int(row["reject1"]), int(row["n2"]) - first[0], int(row["accept2"])
                )
            return AveragePlan(counts, int(row["mean_n"]), float(row["mean_factor"]))
    return None


def _in_lot(row: dict[str, str], lot: int) -> bool:
    return int(row["from_lot"]) <= lot and (not row["to_lot"] or lot <= int(row["to_lot"]))


def judge_average(
    nominal_g: Decimal, masses_g: Sequence[Decimal], batch: int, *,
    kind: Literal["double", "single", "destructive"] = "double",
) -> NetContent:  # fmt: skip
    """The three packers' rules on a sample of the plan's size; T1 and T2 strictly below.

    Raises QualityError when the sample has another size than the plan's first, or its first and second together.
    """
    error = tolerable_error(nominal_g)
    below = sum(mass < nominal_g - error for mass in masses_g)
    far = any(mass < nominal_g - 2 * error for mass in masses_g)
    plan = average_plan(batch, kind)
    if plan is None:
        return _all_weighed(nominal_g, masses_g, batch, below, far=far)
    sizes = (plan.counts.n1, plan.counts.n1 + plan.counts.n2) if isinstance(plan.counts, DoublePlan) else (
        plan.counts.n,
    )  # fmt: skip
    if len(masses_g) not in sizes:
        raise QualityError(f"This batch is judged on {' or '.join(map(str, sizes))} packs.")
    allowed, counted = _counted(plan.counts, below, len(masses_g))
    weighed = [float(mass) for mass in masses_g[: plan.mean_n]]
    mean, s = fmean(weighed), stdev(weighed)
    least = float(nominal_g) - plan.mean_factor * s
    reasons = _reasons(mean=mean < least, beyond=counted == "reject", far=far)
    return NetContent("reject" if reasons else counted, mean, s, least, below, allowed, reasons)


def _counted(counts: Plan | DoublePlan, below: int, weighed: int) -> tuple[int, Verdict]:
    if isinstance(counts, Plan):
        return counts.accept, "accept" if below <= counts.accept else "reject"
    if weighed > counts.n1:
        return counts.accept2, "accept" if below <= counts.accept2 else "reject"
    if below <= counts.accept1:
        return counts.accept1, "accept"
    return counts.accept1, "reject" if below >= counts.reject1 else "second_sample"


def _all_weighed(
    nominal_g: Decimal, masses_g: Sequence[Decimal], batch: int, below: int, *, far: bool
) -> NetContent:
    if len(masses_g) != batch or batch < 2:
        raise QualityError("Of fewer than 100 packs all are weighed, and there are at least two.")
    mean = sum(masses_g, Decimal(0)) / batch
    allowed = batch * 5 // 100
    reasons = _reasons(mean=mean < nominal_g, beyond=below > allowed, far=far)
    values = [float(mass) for mass in masses_g]
    verdict: Verdict = "reject" if reasons else "accept"
    return NetContent(verdict, float(mean), stdev(values), float(nominal_g), below, allowed, reasons)


def _reasons(*, mean: bool, beyond: bool, far: bool) -> tuple[str, ...]:
    found = (("mean", mean), ("beyond", beyond), ("far_below", far))
    return tuple(name for name, failed in found if failed)


def packs_to_weigh(
    regime: Regime, lot: int, kind: Literal["double", "single", "destructive"] = "double"
) -> tuple[int, ...]:
    """How many packs a lot is judged on: the first sample, and first and second together where a plan has two."""
    if regime == "individual":
        sizes = (
            row["n1"]
            for row in table("net_plans")
            if row["plan"] == "individual" and _in_lot(row, lot) and row["n1"].isdigit()
        )
        return (int(next(sizes, lot)),)
    plan = average_plan(lot, kind)
    if plan is None:
        return (lot,)
    counts = plan.counts
    return (counts.n1, counts.n1 + counts.n2) if isinstance(counts, DoublePlan) else (counts.n,)


def correction_factor(lot: int, n: int) -> float:
    """SCF: as printed for the plan's own n, otherwise t(0.975, n - 1) / sqrt(n) for 2 to 11 packs."""
    for row in table("net_plans"):
        if row["plan"] == "individual" and _in_lot(row, lot) and int(row["n1"]) == n:
            return float(row["mean_factor"])
    if lot < 12 and n == lot and n >= 2:
        return _T[n - 2] / sqrt(n)
    raise QualityError(f"A lot of {lot} is not judged on {n} packs.")


def judge_individual(
    labelled_g: Decimal, masses_g: Sequence[Decimal], lot: int, *, moisture_g: Decimal = Decimal(0)
) -> NetContent:
    """Mean error against the error limit, each pack against MAV; both widened by a moisture allowance in g.

    Between the error limit and the widened one a failing mean is `grey`: no decision without more facts.
    """
    factor = correction_factor(lot, len(masses_g))
    errors = [mass - labelled_g for mass in masses_g]
    widest = allowed_variation(labelled_g) + moisture_g
    beyond = sum(-error > widest for error in errors)
    allowed = next(
        (
            int(row["accept1"])
            for row in table("net_plans")
            if row["plan"] == "individual" and _in_lot(row, lot)
        ),
        0,
    )
    values = [float(error) for error in errors]
    mean, s = fmean(values), stdev(values)
    limit = factor * s
    reasons = _reasons(mean=-mean > limit + float(moisture_g), beyond=beyond > allowed, far=False)
    verdict: Verdict = "reject" if reasons else "grey" if -mean > limit else "accept"
    return NetContent(
        verdict, float(labelled_g) + mean, s, float(labelled_g) - limit, beyond, allowed, reasons
    )


def dried(mass_g: Decimal, moisture_pct: Decimal, later_pct: Decimal) -> Decimal:
    """Mass of a bar in g when its moisture has gone to another value: dry mass stays."""
    if not (0 <= moisture_pct < 100 and 0 <= later_pct < 100):
        raise QualityError("Moisture lies between 0 and under 100 %.")
    return mass_g * (100 - moisture_pct) / (100 - later_pct)

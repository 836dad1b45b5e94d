"""Readings that are worked out: what somebody typed at the bench, and the figure and verdict that follow from it.

The record keeps what was typed; figure and verdict are computed from it again wherever they are asked for.
"""

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from types import MappingProxyType
from typing import Final

from msgspec import Struct

from floorterm.changeover.figures import number_of
from floorterm.changeover.worksheet import MethodNote, Step
from floorterm.flush.colour import ciede2000, lab_of
from floorterm.flush.grounds import Lab
from floorterm.lye.errors import LyeError
from floorterm.lye.titration import free_alkali
from floorterm.quality import (
    NetContent,
    Plan,
    QualityError,
    chance_by_guessing,
    dried,
    judge_average,
    judge_individual,
    least_right,
    share_at,
    single_normal,
)
from floorterm.quality.net_content import packs_to_weigh
from floorterm.wording import LANGUAGES, Fact, Say, in_each_language, words

_HUNDRED: Final = Decimal(100)
_ACCEPTED_WITH: Final = (("p95", 0.95), ("p50", 0.5), ("p10", 0.1))  # points of an operating characteristic


class Worked(Struct, frozen=True):
    """A figure as it is recorded, whether the method itself accepts it, and what to say about it.

    Limits of the step come besides: a figure outside them deviates as any reading does.
    """

    number: str
    says: tuple[Say, ...] = ()
    ok: bool = True


def worked(step: Step, text: str) -> Worked | None:
    """What follows from a text as typed; None where it gives nothing, or the step is no such reading."""
    numbers = [number_of(part) for part in text.replace(";", " ").split()]
    entered = [one for one in numbers if one is not None]
    if not entered or len(entered) != len(numbers):
        return None
    try:
        if step.acid_mol_l is not None:
            return _titrated(step.acid_mol_l, entered)
        if step.method is not None:
            return _METHODS[step.method.name](step.method, entered)
    except (QualityError, LyeError):
        return None
    return None


def asked_for(step: Step) -> Say:
    """What is to be typed at such a step."""
    method = step.method
    if method is None:
        return Say("bench.ask_titration", {"acid": f"{step.acid_mol_l}"})
    facts: dict[str, str] = {}
    if method.name == "masses":
        facts = {"bars": " / ".join(map(str, sizes(method))), "cavities": str(method.cavities)}
    if method.name == "defects":
        facts = {"sample": str(_plan(method).n)}
    if method.name == "triangle":
        facts = {"risk": f"{method.risk * 100:f}"}
    return Say(f"bench.ask_{method.name}{'_bands' if method.reads == 'bands' else ''}", facts)


def usual_entry(step: Step) -> str:
    """An entry that keeps everything: what a bench with nothing to find would type."""
    method = step.method
    low = step.low or Decimal(0)
    high = low if step.high is None else step.high
    middle = (low + high) / 2
    if method is None:
        return "0 0 10"
    match method.name:
        case "masses":
            mass = method.nominal_g * (1 + max(middle, Decimal(0)) / _HUNDRED)
            return " ".join([f"{mass:.2f}"] * sizes(method)[0])
        case "colour":
            shown = [one * _HUNDRED if method.reads == "bands" else one for one in method.standard]
            return " ".join(f"{one:f}" for one in shown)
        case "triangle":
            return "12 4"
        case "oven":
            return f"25 30 {30 - middle / 20:f}"
        case "dose":
            used = method.dose * (1 + middle / _HUNDRED) * 1000
            return f"100 {100 - used:.3f} 0 1000"
    return "0"


# --- the methods --------------------------------------------------------------------------------------


def _wanted(entered: Sequence[Decimal], count: int) -> None:
    if len(entered) != count:
        raise QualityError(f"{count} numbers are asked for.")


def _titrated(acid_mol_l: Decimal, entered: Sequence[Decimal]) -> Worked:
    """% NaOH of titre ml, blank ml, sample g: (V - V_blank) c M / (10 m), form of ISO 456, from memory."""
    _wanted(entered, 3)
    titre, blank, mass = map(float, entered)
    return Worked(f"{free_alkali(titre, float(acid_mol_l), mass, blank_ml=blank).pct:.4f}")


def sizes(method: MethodNote) -> tuple[int, ...]:
    """How many bars are weighed: the plan's first sample, and with its second where it has one."""
    return packs_to_weigh(method.regime, method.lot, method.plan)


def _masses(method: MethodNote, entered: Sequence[Decimal]) -> Worked:
    if min(entered) <= 0:
        raise QualityError("A bar weighs more than 0 g.")
    found = [("", _judged(method, entered))]
    if method.packed_pct is not None and method.shop_pct is not None:
        later = [dried(mass, method.packed_pct, method.shop_pct) for mass in entered]
        found.append(("_dried", _judged(method, later)))
    mean = sum(entered, Decimal(0)) / len(entered)
    above_pct = (mean / method.nominal_g - 1) * _HUNDRED
    says = [_net_said(kind, one, method) for kind, one in found]
    if method.cavities > 1:
        by_cavity = [entered[at :: method.cavities] for at in range(method.cavities)]
        means = [sum(masses, Decimal(0)) / len(masses) for masses in by_cavity if masses]
        lightest = min(range(len(means)), key=means.__getitem__)
        each = "; ".join(f"{place}: {mean:.2f}" for place, mean in enumerate(means, 1))
        facts = {"cavity": str(lightest + 1), "mean": f"{means[lightest]:.2f}", "each": each}
        says.append(Say("bench.cavity", facts))
    return Worked(f"{above_pct:.2f}", tuple(says), all(one.verdict == "accept" for _, one in found))


def _judged(method: MethodNote, masses: Sequence[Decimal]) -> NetContent:
    if method.regime == "individual":
        return judge_individual(method.nominal_g, masses, method.lot)
    return judge_average(method.nominal_g, masses, method.lot, kind=method.plan)


def _net_said(kind: str, one: NetContent, method: MethodNote) -> Say:
    reasons = in_each_language("reasons", _reasons(one))
    facts: dict[str, Fact] = {
        **reasons,
        "mean": f"{one.mean_g:.2f}",
        "s": f"{one.s_g:.2f}",
        "least": f"{one.least_mean_g:.2f}",
        "beyond": str(one.beyond),
        "allowed": str(one.allowed),
        "shop": f"{method.shop_pct}",
    }
    return Say(f"bench.net_{one.verdict}{kind}", facts)


def _reasons(one: NetContent) -> dict[str, str]:
    return {
        language: ", ".join(words(f"bench.reason_{reason}", language) for reason in one.reasons)
        for language in LANGUAGES
    }


def _colour(method: MethodNote, entered: Sequence[Decimal]) -> Worked:
    """The largest CIEDE2000 from the incoming standard, of all bars that were read."""
    if len(entered) % 3:
        raise QualityError("Three figures a bar are asked for.")
    triples = [entered[at : at + 3] for at in range(0, len(entered), 3)]
    standard = _lab(method, method.standard)
    shown = [[one / _HUNDRED for one in bar] if method.reads == "bands" else bar for bar in triples]
    if method.reads == "bands" and any(not 0 <= one <= 1 for bar in shown for one in bar):
        raise QualityError("A reflectance lies between 0 and 100 %.")
    if method.reads == "lab" and any(not 0 <= bar[0] <= 100 for bar in shown):
        raise QualityError("L* lies between 0 and 100.")
    worst = max(ciede2000(standard, _lab(method, bar)) for bar in shown)
    return Worked(f"{worst:.2f}", (Say("bench.bars_read", {"n": len(triples)}),))


def _lab(method: MethodNote, figures: Sequence[Decimal]) -> Lab:
    first, second, third = map(float, figures)
    return lab_of((first, second, third)) if method.reads == "bands" else (first, second, third)


def _triangle(method: MethodNote, entered: Sequence[Decimal]) -> Worked:
    """Right answers against the binomial limit at p = 1/3. That no difference was found is no proof of none."""
    _wanted(entered, 2)
    answers, right = map(_count, entered)
    least = least_right(answers, float(method.risk))
    if least is None:
        raise QualityError("So few answers cannot show a difference at that risk.")
    chance = chance_by_guessing(answers, right)
    facts = {"answers": str(answers), "least": str(least), "chance": f"{chance * 100:.1f}"}
    return Worked(str(right), (Say("bench.triangle", facts),), right < least)


def _count(one: Decimal) -> int:
    if one != int(one) or one < 0:
        raise QualityError("A count is a whole number.")
    return int(one)


def _oven(_method: MethodNote, entered: Sequence[Decimal]) -> Worked:
    """Moisture in % by mass lost in the oven (103 C to constant mass, ISO 672, second hand)."""
    _wanted(entered, 3)
    dish, wet, dry = entered
    if not 0 <= dish < dry <= wet:
        raise QualityError("Dish, dish with soap and dish with dried soap do not fit together.")
    return Worked(f"{(wet - dry) / (wet - dish) * _HUNDRED:.2f}")


def _dose(method: MethodNote, entered: Sequence[Decimal]) -> Worked:
    """How far the dose by consumption, (start - end + added) / soap, lies from what was set, in %."""
    _wanted(entered, 4)
    start, end, added, soap = entered
    used = start - end + added
    if min(entered) < 0 or used < 0 or soap <= 0 or method.dose <= 0:
        raise QualityError("The figures of the tank give no dose.")
    dose = used / soap
    facts = {"dose": f"{dose * _HUNDRED:.4f}", "set": f"{method.dose * _HUNDRED:f}"}
    return Worked(f"{(dose / method.dose - 1) * _HUNDRED:.2f}", (Say("bench.dose", facts),))


def _plan(method: MethodNote) -> Plan:
    return single_normal(method.lot, method.aql, method.level)


def _defects(method: MethodNote, entered: Sequence[Decimal]) -> Worked:
    """Bad ones of the sample against the plan of the lot, with what the plan would let through."""
    _wanted(entered, 1)
    bad, plan = _count(entered[0]), _plan(method)
    if bad > plan.n:
        raise QualityError("No more can be bad than were looked at.")
    facts = {"sample": str(plan.n), "accept": str(plan.accept)}
    for name, chance in _ACCEPTED_WITH:
        facts[name] = f"{share_at(plan.chance, chance) * 100:.1f}"
    return Worked(str(bad), (Say("bench.defects", facts),), bad <= plan.accept)


_METHODS: Final[Mapping[str, Callable[[MethodNote, Sequence[Decimal]], Worked]]] = MappingProxyType(
    {
        "masses": _masses,
        "colour": _colour,
        "triangle": _triangle,
        "oven": _oven,
        "dose": _dose,
        "defects": _defects,
    }
)

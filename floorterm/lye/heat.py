"""How hot a batch gets: the mean by an enthalpy balance without losses, at the end and along the path.

An estimate of the mean; it says nothing of the spot where lye enters. Never a permission.
"""

from itertools import chain
from math import floor
from typing import Literal

from msgspec import Struct

from floorterm.lye.dilution import Dilution
from floorterm.lye.errors import DilutionError, LyeError, SolidError, number
from floorterm.lye.properties import (
    enthalpy,
    enthalpy_origins,
    freezes_below,
    heat_capacity,
    strength,
    temperature,
    temperature_of,
)
from floorterm.lye.tables import Origin, figure, figure_origin, merged, table
from floorterm.wording import Say

Verdict = Literal["stop", "warning", "below_limit"]


class Heat(Struct, frozen=True):
    """Estimated mean temperatures in C. `peak_c` is the largest along the path, at `peak_pct`."""

    end_c: float
    peak_c: float
    peak_pct: float
    path: tuple[tuple[float, float], ...]  # (mass %, C), water first
    origins: tuple[Origin, ...]


class Judgement(Struct, frozen=True):
    """What the site's limit makes of an estimate: stop or warning with reasons; never a permission."""

    verdict: Verdict
    limit_c: float
    hottest_c: float
    reasons: tuple[Say, ...]
    advice: tuple[Say, ...]
    origins: tuple[Origin, ...]


def _steps(target: float) -> tuple[float, ...]:
    """From water to the target in steps of 1 %, both ends included."""
    whole = (float(w) for w in range(floor(target) + 1))
    return tuple(dict.fromkeys(chain(whole, (target,))))


def mix(stock_pct: float, stock_kg: float, stock_c: float, water_kg: float, water_c: float) -> float:
    """Mean temperature in C after mixing a solution with water, without losses, vessel ignored.

    (m1 h(w1, T1) + mw h(0, Tw)) / (m1 + mw) = h(w2, T). Raises OutsideTableError, LyeError.
    """
    m1 = number(LyeError, "stock_kg", stock_kg, low=0.0)
    mw = number(LyeError, "water_kg", water_kg, low=0.0)
    total = number(LyeError, "total_kg", m1 + mw, low=0.0, low_open=True)
    h = (m1 * enthalpy(stock_pct, stock_c) + mw * enthalpy(0.0, water_c)) / total
    return temperature_of(stock_pct * m1 / total, h)


def lye_into_water(stock_pct: float, target_pct: float, stock_c: float, water_c: float) -> Heat:
    """Temperatures while a solution runs into water, up to the target; maximum over steps of 1 %.

    Raises OutsideTableError, also where the path leaves the tables, and DilutionError if the target is not weaker.
    """
    w1, w2 = strength(stock_pct, "stock"), strength(target_pct, "target")
    _weaker(w2, w1)
    temperature(stock_c, "stock_c")
    temperature(water_c, "water_c")
    path = tuple((w, mix(w1, w / w1, stock_c, 1 - w / w1, water_c)) for w in _steps(w2))
    origins = [*enthalpy_origins(w1, stock_c), *enthalpy_origins(0.0, water_c)]
    for w, t in path:
        origins += enthalpy_origins(w, t)
    return _heat(path, merged(origins))


def solid_into_water(target_pct: float, water_c: float) -> Heat:
    """Simple upper estimate for solid NaOH into water: T = Tw + Q / (m cp(w2)), Q by the heat of solution.

    Raises SolidError above the tabled strength or temperature for one stage, and OutsideTableError.
    """
    w2 = strength(target_pct, "target")
    start = temperature(water_c, "water_c")
    _weaker(w2, 100.0)
    most_pct, most_c = figure("solid_max_pct"), figure("solid_max_c")
    if w2 > most_pct:
        raise SolidError("target", "solid_strong", found=f"{w2:g}", high=f"{most_pct:g}")
    kj_kg = 1000 * figure("heat_of_solution") / figure("molar_mass")
    path = tuple((w, start + w / 100 * kj_kg / heat_capacity(w)) for w in _steps(w2))
    heat = _heat(
        path,
        merged(
            (
                figure_origin("heat_of_solution"),
                figure_origin("molar_mass"),
                *(row.origin for row in table("heat_capacity")),
            )
        ),
    )
    if heat.peak_c > most_c:
        raise SolidError("target", "solid_hot", found=f"{heat.peak_c:.0f}", high=f"{most_c:g}")
    return heat


def _weaker(target: float, stock: float) -> None:
    if not 0 < target < stock:
        raise DilutionError("target", "not_weaker", found=f"{target:g}", stock=f"{stock:g}")


def _heat(path: tuple[tuple[float, float], ...], origins: tuple[Origin, ...]) -> Heat:
    peak_pct, peak_c = max(path, key=lambda point: point[1])
    return Heat(path[-1][1], peak_c, peak_pct, path, origins)


def estimate(dilution: Dilution) -> Heat:
    """The temperatures of a dilution made in the right order. Raises OutsideTableError, SolidError."""
    if dilution.solid:
        return solid_into_water(dilution.target_pct, dilution.water_c)
    return lye_into_water(dilution.stock_pct, dilution.target_pct, dilution.stock_c, dilution.water_c)


def judge(
    dilution: Dilution, heat: Heat, *, limit_c: float | None = None, water_max_c: float | None = None
) -> Judgement:
    """Hold an estimate against the site's limit (default: plastic vessels and hoses).

    The hottest of the path, the stock and the water counts. Raises LyeError for a limit that is no number.
    """
    limit = figure("site_limit_c") if limit_c is None else number(LyeError, "limit_c", limit_c)
    water_max = figure("water_max_c") if water_max_c is None else number(LyeError, "water_max_c", water_max_c)
    hottest = max(heat.peak_c, dilution.water_c, dilution.water_c if dilution.solid else dilution.stock_c)
    stops, warnings = [], []
    facts = {"hottest": _told(hottest, limit), "limit": f"{limit:g}"}
    if hottest > limit:
        stops.append(Say("lye.judge.above_limit", facts))
    elif hottest >= limit - figure("warn_within_c"):
        warnings.append(Say("lye.judge.near_limit", facts))
    if dilution.water_c > water_max:
        water = {"found": f"{dilution.water_c:g}", "limit": f"{water_max:g}"}
        stops.append(Say("lye.judge.water_hot", water))
    freezes = None if dilution.solid else freezes_below(dilution.stock_pct)
    if freezes is not None and dilution.stock_c <= freezes:
        warnings.append(Say("lye.judge.may_freeze", {"freezes": f"{freezes:.0f}"}))
    verdict: Verdict = "stop" if stops else "warning" if warnings else "below_limit"
    return Judgement(
        verdict,
        limit,
        hottest,
        (*stops, *warnings) or (Say("lye.judge.below_limit", facts),),
        tuple(Say(f"lye.advice.{one}") for one in ("stage", "cool", "smaller", "colder")) if stops else (),
        _policy(limit_c, water_max_c, freezes),
    )


def _told(hottest_c: float, limit_c: float) -> str:
    """Whole degrees, or a tenth where rounding would hide on which side of the limit the estimate lies."""
    whole = f"{hottest_c:.0f}"
    return whole if (float(whole) > limit_c) == (hottest_c > limit_c) else f"{hottest_c:.1f}"


def _policy(limit_c: float | None, water_max_c: float | None, freezes_c: float | None) -> tuple[Origin, ...]:
    """Origins of the defaults that a judgement took because the site gave none."""
    names = ["warn_within_c"]
    if limit_c is None:
        names.insert(0, "site_limit_c")
    if water_max_c is None:
        names.append("water_max_c")
    freezing = () if freezes_c is None else (row.origin for row in table("freezing"))
    return merged((*(figure_origin(name) for name in names), *freezing))

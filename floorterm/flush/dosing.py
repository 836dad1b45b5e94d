"""Fragrance dosing: pump check by drawdown, consumption check, dose bases, and when to stop dose and filling.

Arithmetic of masses only. Tolerances are defaults that the site confirms (common practice, no source).
"""

from collections.abc import Sequence
from math import hypot, sqrt
from statistics import fmean, stdev
from typing import Literal

from msgspec import Struct

from floorterm.flush.errors import DosingInputError, as_number

_SETUP, _ALARM, _STEADY = 0.02, 0.05, 0.01  # common practice, no source


class Drawdown(Struct, frozen=True, kw_only=True):
    """A pump checked by drawdown: kg/h of each run and their mean, how far they scatter, how far the mean is
    from what is wanted, and the setting that would mend it.

    `scatter`: coefficient of variation with n - 1, None for a single run. `verdict`: "unsteady" (runs
    scatter more than allowed: find out why before anything is set), "alarm", "adjust" or "within".
    `new_setting` is in the unit of the setting that was given, None without one.
    """

    runs_kg_h: tuple[float, ...]
    mean_kg_h: float
    wanted_kg_h: float
    deviation: float
    scatter: float | None
    new_setting: float | None
    verdict: Literal["within", "adjust", "alarm", "unsteady"]


def drawdown(
    volume_l: float,
    density_kg_l: float,
    seconds: Sequence[float],
    wanted_kg_h: float,
    setting: float | None = None,
    *,
    setup: float = _SETUP,
    alarm: float = _ALARM,
    steady: float = _STEADY,
) -> Drawdown:
    """The pump's rate from the time it takes to empty a graduated tube; `seconds` has one time a run.

    kg/h = volume x density / time. Density at the oil's temperature, from the lot's certificate. Raises
    DosingInputError naming the field.
    """
    mass_kg = as_number(DosingInputError, "volume_l", volume_l, low_open=True)
    mass_kg *= as_number(DosingInputError, "density_kg_l", density_kg_l, low_open=True)
    wanted = as_number(DosingInputError, "wanted_kg_h", wanted_kg_h, low_open=True)
    high = as_number(DosingInputError, "alarm", alarm, low_open=True)
    low = as_number(DosingInputError, "setup", setup, low_open=True, high=high)
    if not seconds:
        raise DosingInputError("seconds", "no_runs")
    runs = tuple(
        mass_kg * 3600.0 / as_number(DosingInputError, f"seconds[{number}]", time, low_open=True)
        for number, time in enumerate(seconds)
    )
    mean = fmean(runs)
    off = mean / wanted - 1.0
    scatter = stdev(runs) / mean if len(runs) > 1 else None
    verdict: Literal["within", "adjust", "alarm", "unsteady"]
    if scatter is not None and scatter > as_number(DosingInputError, "steady", steady, low_open=True):
        verdict = "unsteady"
    elif abs(off) > high:
        verdict = "alarm"
    else:
        verdict = "adjust" if abs(off) > low else "within"
    return Drawdown(
        runs_kg_h=runs,
        mean_kg_h=mean,
        wanted_kg_h=wanted,
        deviation=off,
        scatter=scatter,
        new_setting=None if setting is None else corrected_setting(setting, mean, wanted),
        verdict=verdict,
    )


def corrected_setting(setting: float, found_kg_h: float, wanted_kg_h: float) -> float:
    """The setting that gives the wanted rate, for a pump whose rate is in proportion to its setting."""
    now = as_number(DosingInputError, "setting", setting, low_open=True)
    found = as_number(DosingInputError, "found_kg_h", found_kg_h, low_open=True)
    return now * as_number(DosingInputError, "wanted_kg_h", wanted_kg_h, low_open=True) / found


def density_error(set_for_kg_l: float, pumped_kg_l: float) -> float:
    """How far a volumetric pump is off in mass where the oil's density is another than it was set for."""
    before = as_number(DosingInputError, "set_for_kg_l", set_for_kg_l, low_open=True)
    return as_number(DosingInputError, "pumped_kg_l", pumped_kg_l, low_open=True) / before - 1.0


def warmer_density(density_kg_l: float, per_kelvin: float, kelvin: float) -> float:
    """Density after a change of temperature, `per_kelvin` in kg/l lost a kelvin of warming."""
    before = as_number(DosingInputError, "density_kg_l", density_kg_l, low_open=True)
    slope = as_number(DosingInputError, "per_kelvin", per_kelvin)
    change = as_number(DosingInputError, "kelvin", kelvin, low=-273.15)
    return as_number(DosingInputError, "density_kg_l", before - slope * change, low_open=True)


class Consumption(Struct, frozen=True, kw_only=True):
    """What the tank says was dosed: kg used, dose found (kg/kg of soap), its deviation from the wanted dose and
    the uncertainty of that deviation (both relative). `proven`: whether the deviation is more than the readings
    can hide.
    """

    used_kg: float
    dose: float
    deviation: float
    uncertainty: float
    proven: bool


def consumption(
    start_kg: float,
    end_kg: float,
    soap_kg: float,
    wanted_dose: float,
    *,
    added_kg: float = 0.0,
    reading_kg: float = 0.2,
    soap_uncertainty: float = 0.005,
) -> Consumption:
    """The dose of a shift out of tank readings: (start - end + added) / soap made.

    `reading_kg`: uncertainty of each reading of the tank; an addition counts as a third reading.
    `soap_uncertainty`: relative. They add as squares. Raises DosingInputError naming the field.
    """
    start = as_number(DosingInputError, "start_kg", start_kg)
    added = as_number(DosingInputError, "added_kg", added_kg)
    end = as_number(DosingInputError, "end_kg", end_kg)
    soap = as_number(DosingInputError, "soap_kg", soap_kg, low_open=True)
    wanted = as_number(DosingInputError, "wanted_dose", wanted_dose, low_open=True, high=1.0)
    each = as_number(DosingInputError, "reading_kg", reading_kg)
    doubt = as_number(DosingInputError, "soap_uncertainty", soap_uncertainty, high=1.0)
    used = start - end + added
    if used <= 0.0:
        raise DosingInputError("end_kg", "nothing_used", found=f"{used:g}")
    readings = 3.0 if added > 0.0 else 2.0
    off = used / soap / wanted - 1.0
    uncertainty = hypot(sqrt(readings) * each / used, doubt)
    return Consumption(
        used_kg=used,
        dose=used / soap,
        deviation=off,
        uncertainty=uncertainty,
        proven=abs(off) > uncertainty,
    )


def dose_on_base(dose: float) -> float:
    """A dose on finished bar mass as kg of fragrance a kg of base (noodles): dose / (1 - dose)."""
    share = as_number(DosingInputError, "dose", dose, high=1.0, high_open=True)
    return share / (1.0 - share)


def wrong_mass_error(dosed_on_kg_h: float, fresh_kg_h: float) -> float:
    """The relative overdose where the dose follows a mass flow that is not the fresh one (returning flash
    already carries its fragrance).
    """
    fresh = as_number(DosingInputError, "fresh_kg_h", fresh_kg_h, low_open=True)
    return as_number(DosingInputError, "dosed_on_kg_h", dosed_on_kg_h, low_open=True) / fresh - 1.0


# --- one run -------------------------------------------------------------------------------------------


class RunNeed(Struct, frozen=True, kw_only=True):
    """How much fragrance a run needs and where its dose stops.

    `returned_fraction`: share of the line mass that comes back (flash and rejects). `stop_dosing_kg`: line
    mass at which the dose stops: what is in the train then is still good. `fresh_kg`: fresh feed to be
    dosed. `still_to_fill_l` of fragrance; `left_over_l` where the tank holds more than the run needs.
    """

    returned_fraction: float
    stop_dosing_kg: float
    fresh_kg: float
    fragrance_kg: float
    fragrance_l: float
    still_to_fill_l: float
    left_over_l: float


def returned_fraction(flash_fraction: float, rejects: float) -> float:
    """Share of the line mass that comes back as flash and rejected bars: 1 - (1 - flash)(1 - rejects)."""
    flash = as_number(DosingInputError, "flash_fraction", flash_fraction, high=1.0, high_open=True)
    bad = as_number(DosingInputError, "rejects", rejects, high=1.0, high_open=True)
    return 1.0 - (1.0 - flash) * (1.0 - bad)


def run_need(
    good_bars_kg: float,
    flash_fraction: float,
    rejects: float,
    dose_on_fresh: float,
    density_kg_l: float,
    *,
    m_first_kg: float,
    m_last_kg: float,
    tank_l: float = 0.0,
    heel_l: float = 0.0,
) -> RunNeed:
    """The fragrance of a run of `good_bars_kg`, from the start of its dose.

    `m_first_kg`: line mass of this flush, with the flash diverted until then and returned after it.
    `m_last_kg`: last good bar of the *next* changeover: so much of the train is still good after the dose
    stops. `dose_on_fresh`: kg of fragrance a kg of fresh feed. Raises DosingInputError naming the field,
    also where the run would be shorter than its own flush.
    """
    need = as_number(DosingInputError, "good_bars_kg", good_bars_kg, low_open=True)
    back = returned_fraction(flash_fraction, rejects)
    dose = as_number(DosingInputError, "dose_on_fresh", dose_on_fresh, low_open=True)
    density = as_number(DosingInputError, "density_kg_l", density_kg_l, low_open=True)
    first = as_number(DosingInputError, "m_first_kg", m_first_kg)
    last = as_number(DosingInputError, "m_last_kg", m_last_kg)
    held = as_number(DosingInputError, "tank_l", tank_l)
    heel = as_number(DosingInputError, "heel_l", heel_l)
    if heel > held > 0.0:
        raise DosingInputError("heel_l", "heel_above_content", found=f"{heel:g}", content=f"{held:g}")
    stop = first + need / (1.0 - back) - last
    if stop <= first:
        raise DosingInputError("good_bars_kg", "run_too_short", found=f"{stop:.1f}", first=f"{first:.1f}")
    fresh = first + (stop - first) * (1.0 - back)
    mass = fresh * dose
    missing = mass / density - max(0.0, held - heel)
    return RunNeed(
        returned_fraction=back,
        stop_dosing_kg=stop,
        fresh_kg=fresh,
        fragrance_kg=mass,
        fragrance_l=mass / density,
        still_to_fill_l=max(0.0, missing),
        left_over_l=max(0.0, -missing),
    )

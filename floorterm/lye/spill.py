"""What lies on the floor and what a kit can do about it: contain, keep away, absorb and collect first.

Only the thin residue is ever neutralised, by trained people, with a weak acid, slowly, with pH paper. Never
on skin or eyes, never a strong acid. Figures are estimates, never a permission.
"""

from functools import cache
from typing import Literal

from msgspec import Struct

from floorterm.lye.errors import SpillError, number
from floorterm.lye.properties import density, density_origins, strength, temperature
from floorterm.lye.tables import Origin, Row, figure, figure_origin, merged, table
from floorterm.wording import Say

Advice = Literal["leave_and_call", "absorb_only", "absorb_then_residue"]
DEFAULT_NEUTRALISER = "citric_anhydrous"


class Kit(Struct, frozen=True, kw_only=True):
    """A spill kit: kg of a neutraliser at a strength in mass %, and litres its absorbent takes up (if stated)."""

    neutraliser: str = DEFAULT_NEUTRALISER
    kg: float = 0.0
    pct: float = 100.0
    absorbs_l: float | None = None


class Spill(Struct, frozen=True, kw_only=True):
    """A spill in kg and litres, what would neutralise it, and what the kit reaches.

    `neutraliser_kg` is what the whole spill would take, `kit_naoh_kg` and `kit_l` what the kit's neutraliser
    equals. `reportable` and `tell_safety_officer` compare with the release quantity (US, from memory).
    """

    litres: float
    kg: float
    mass_pct: float
    temperature_c: float
    naoh_kg: float
    naoh_mol: float
    neutraliser: str
    neutraliser_kg: float
    kit_naoh_kg: float
    kit_l: float
    advice: Advice
    tell_safety_officer: bool
    reportable: bool
    warnings: tuple[Say, ...]
    origins: tuple[Origin, ...]


@cache
def _neutralisers() -> dict[str, Row]:
    return {row["neutraliser"]: row for row in table("neutralisers")}


def neutralisers() -> tuple[str, ...]:
    """The neutralisers that may be reckoned with: a strong acid is not among them."""
    return tuple(name for name, row in _neutralisers().items() if row["use"] != "never")


def _neutraliser(name: str) -> Row:
    row = _neutralisers().get(name)
    if row is None:
        raise SpillError("neutraliser", "unknown", found=name, known=", ".join(neutralisers()))
    if row["use"] == "never":
        raise SpillError("neutraliser", "strong_acid", found=name)
    return row


def spill(
    mass_pct: float,
    *,
    litres: float | None = None,
    kg: float | None = None,
    temperature_c: float = 20.0,
    kit: Kit | None = None,
) -> Spill:
    """Reckon a spill: NaOH (kg) = V density w; kg of neutraliser by stoichiometry; what the kit reaches.

    Above the kit's neutralising capacity the advice is to absorb and not to try to neutralise; above the
    litres its absorbent takes up it is to leave and call. Raises OutsideTableError, SpillError.
    """
    kit = kit or Kit()
    w, t = strength(mass_pct), temperature(temperature_c)
    number(SpillError, "mass_pct", w, low=0.0, low_open=True)
    rho = density(w, t)
    if (litres is None) == (kg is None):
        raise SpillError("spill", "one_amount")
    if kg is None:
        volume = number(SpillError, "litres", litres, low=0.0, low_open=True)
        mass = volume * rho
    else:
        mass = number(SpillError, "kg", kg, low=0.0, low_open=True)
        volume = mass / rho
    row = _neutraliser(kit.neutraliser)
    share = number(SpillError, "kit_pct", kit.pct, low=0.0, low_open=True)
    if share > 100:
        raise SpillError("kit_pct", "above", found=f"{share:g}", high="100")
    per_kg = row.number("kg_per_kg_naoh") / (share / 100)
    naoh = mass * w / 100
    reach = number(SpillError, "kit_kg", kit.kg, low=0.0) / per_kg
    absorbs = None if kit.absorbs_l is None else number(SpillError, "absorbs_l", kit.absorbs_l, low=0.0)
    report = figure("release_report_kg")
    return Spill(
        litres=volume,
        kg=mass,
        mass_pct=w,
        temperature_c=t,
        naoh_kg=naoh,
        naoh_mol=1000 * naoh / figure("molar_mass"),
        neutraliser=kit.neutraliser,
        neutraliser_kg=naoh * per_kg,
        kit_naoh_kg=reach,
        kit_l=reach / (rho * w / 100),
        advice=_advice(naoh, volume, reach, absorbs),
        tell_safety_officer=naoh >= report * figure("release_prompt_share"),
        reportable=naoh >= report,
        warnings=_warnings(row, absorbs),
        origins=merged(
            (
                *density_origins(w, t),
                row.origin,
                figure_origin("molar_mass"),
                figure_origin("release_report_kg"),
                figure_origin("release_prompt_share"),
            )
        ),
    )


def _advice(naoh_kg: float, litres: float, reach_kg: float, absorbs_l: float | None) -> Advice:
    if absorbs_l is not None and litres > absorbs_l:
        return "leave_and_call"
    return "absorb_only" if naoh_kg > reach_kg else "absorb_then_residue"


def _warnings(row: Row, absorbs_l: float | None) -> tuple[Say, ...]:
    found = []
    if row["use"] in ("vapour", "not_neutral"):
        found.append(Say(f"lye.warning.{row['use']}"))
    if absorbs_l is None:
        found.append(Say("lye.warning.absorbent_unknown"))
    return tuple(found)

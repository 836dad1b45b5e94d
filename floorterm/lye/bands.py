"""Hazard bands by strength: a cross-check that warns. The class on the safety data sheet in force prevails.

Sources beside each row of `data/bands.csv`: Regulation (EC) 1272/2008 Annex VI; 29 CFR 1910.1200.
"""

from functools import cache
from typing import Literal, get_args

from msgspec import Struct

from floorterm.lye.errors import LyeError, number
from floorterm.lye.tables import Origin, table
from floorterm.wording import LANGUAGES, Say, words

Region = Literal["EU", "US"]
REGIONS: tuple[Region, ...] = get_args(Region)


class Band(Struct, frozen=True):
    """One band: its lower bound belongs to it. `name` is none, irritant, 1B, 1A or (US) corrosive."""

    region: Region
    from_mass_pct: float
    name: str
    hazard: str
    statements: tuple[str, ...]
    origin: Origin


@cache
def bands(region: Region) -> tuple[Band, ...]:
    """The bands of a region, the weakest first."""
    found = [
        Band(
            region,
            row.number("from_mass_pct"),
            row["band"],
            row["hazard"],
            tuple(filter(None, row["statements"].split("; "))),
            row.origin,
        )
        for row in table("bands")
        if row["region"] == region
    ]
    return tuple(sorted(found, key=lambda band: band.from_mass_pct))


def band(mass_pct: float, region: Region = "EU") -> Band:
    """The band of a strength in mass % (0 to 100: solid is 100). Raises LyeError."""
    w = number(LyeError, "mass_pct", mass_pct, low=0.0)
    if w > 100:
        raise LyeError("mass_pct", "above", found=f"{w:g}", high="100")
    return next(one for one in reversed(bands(region)) if w >= one.from_mass_pct)


def cross_check(mass_pct: float, label: str, region: Region = "EU") -> tuple[Say, ...]:
    """What the tables say against the class on the label (a band name); empty if both agree with it.

    The label's class is never replaced. Raises LyeError for an unknown class.
    """
    known = tuple(dict.fromkeys(one.name for of in REGIONS for one in bands(of)))
    if label not in known:
        raise LyeError("label", "unknown", found=label, known=", ".join(known))
    other = band(mass_pct, region)
    says = []
    if not _agree(other.name, label):
        says.append(
            Say(
                "lye.warning.label_differs",
                {
                    "label": _spoken(label),
                    "region": region,
                    "table": _spoken(other.name),
                    "strength": f"{mass_pct:g}",
                },
            )
        )
    says += between_regions(mass_pct)
    return tuple(says)


def between_regions(mass_pct: float) -> tuple[Say, ...]:
    """A warning where the EU table and the US rule put a strength into different classes."""
    eu, us = band(mass_pct, "EU"), band(mass_pct, "US")
    if _corrosive(eu.name) == _corrosive(us.name):
        return ()
    return (
        Say(
            "lye.warning.regions_differ",
            {"eu": _spoken(eu.name), "us": _spoken(us.name), "strength": f"{mass_pct:g}"},
        ),
    )


def _spoken(name: str) -> dict[str, str]:
    """A band name as a fact in each language."""
    return {language: words(f"lye.band.{name}", language) for language in LANGUAGES}


def _corrosive(name: str) -> bool:
    return name in {"1A", "1B", "corrosive"}


def _agree(table_name: str, label: str) -> bool:
    if "corrosive" in (table_name, label):  # the US rule knows no subcategories
        return _corrosive(table_name) == _corrosive(label)
    return table_name == label

"""Lye (sodium hydroxide): dilution, temperature, protection class, spill, free alkali. Pure arithmetic.

Every figure is an estimate, never a permission. The supplier's current safety data sheet, the site's written
hazard assessment, local law and a competent person prevail. Strengths are mass %, never g/L.
"""

from floorterm.lye.bands import Band, Region, band, bands, between_regions, cross_check
from floorterm.lye.dilution import Dilution, check_vessel, dilute
from floorterm.lye.duties import (
    Addition,
    Assessment,
    Eyewash,
    assessment_refusals,
    blocked_tools,
    data_sheet_warnings,
    eyewash_refusals,
    order_violations,
)
from floorterm.lye.errors import (
    DilutionError,
    LyeError,
    OutsideTableError,
    ProtectionError,
    SolidError,
    SpillError,
    TitrationError,
)
from floorterm.lye.exposure import ExposureLimit, exposure_limits
from floorterm.lye.heat import Heat, Judgement, estimate, judge, lye_into_water, mix, solid_into_water
from floorterm.lye.properties import (
    density,
    enthalpy,
    freezes_below,
    heat_capacity,
    mass_pct_of,
    naoh_g_per_l,
    temperature_of,
)
from floorterm.lye.protection import (
    Glove,
    Item,
    Protection,
    Standard,
    TaskClass,
    glove_shown_against_lye,
    gloves,
    protection,
    standards,
)
from floorterm.lye.spill import Kit, Spill, neutralisers, spill
from floorterm.lye.tables import Origin
from floorterm.lye.ticks import Tick, missing
from floorterm.lye.titration import FreeAlkali, free_alkali

__all__ = [
    "Addition",
    "Assessment",
    "Band",
    "Dilution",
    "DilutionError",
    "ExposureLimit",
    "Eyewash",
    "FreeAlkali",
    "Glove",
    "Heat",
    "Item",
    "Judgement",
    "Kit",
    "LyeError",
    "Origin",
    "OutsideTableError",
    "Protection",
    "ProtectionError",
    "Region",
    "SolidError",
    "Spill",
    "SpillError",
    "Standard",
    "TaskClass",
    "Tick",
    "TitrationError",
    "assessment_refusals",
    "band",
    "bands",
    "between_regions",
    "blocked_tools",
    "check_vessel",
    "cross_check",
    "data_sheet_warnings",
    "density",
    "dilute",
    "enthalpy",
    "estimate",
    "exposure_limits",
    "eyewash_refusals",
    "free_alkali",
    "freezes_below",
    "glove_shown_against_lye",
    "gloves",
    "heat_capacity",
    "judge",
    "lye_into_water",
    "mass_pct_of",
    "missing",
    "mix",
    "naoh_g_per_l",
    "neutralisers",
    "order_violations",
    "protection",
    "solid_into_water",
    "spill",
    "standards",
    "temperature_of",
]

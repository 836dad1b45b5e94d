"""How much to flush between two fragrances: washout of a line, residual limit of a pair, quantities.

Pure arithmetic, values in and values out; needs no terminal, database or files. `from_library` turns the
plant's YAML models into these values.
"""

from floorterm.flush.bars import Bar, Content, Oil, Part, Rules
from floorterm.flush.errors import (
    CapacityInputError,
    DosingInputError,
    FlushError,
    LimitInputError,
    LineModelError,
    QuantityInputError,
    TankInputError,
    WashoutInputError,
)
from floorterm.flush.explain import explain, governing_sentence, item_words, reasoning
from floorterm.flush.grounds import (
    Active,
    BarColour,
    BarOdour,
    ColourRule,
    HealthRule,
    Index,
    Maximum,
    NextUse,
    OdourRule,
)
from floorterm.flush.limits import (
    Candidate,
    Gate,
    Governing,
    Limit,
    residual_limit,
    residual_limit_of_several,
)
from floorterm.flush.model import LineModel, Unit
from floorterm.flush.quantity import FlushQuantity, Sensitivity, flush_quantity
from floorterm.flush.washout import UnitStart, Washout, curve, washout

__all__ = [
    "Active",
    "Bar",
    "BarColour",
    "BarOdour",
    "Candidate",
    "CapacityInputError",
    "ColourRule",
    "Content",
    "DosingInputError",
    "FlushError",
    "FlushQuantity",
    "Gate",
    "Governing",
    "HealthRule",
    "Index",
    "Limit",
    "LimitInputError",
    "LineModel",
    "LineModelError",
    "Maximum",
    "NextUse",
    "OdourRule",
    "Oil",
    "Part",
    "QuantityInputError",
    "Rules",
    "Sensitivity",
    "TankInputError",
    "Unit",
    "UnitStart",
    "Washout",
    "WashoutInputError",
    "curve",
    "explain",
    "flush_quantity",
    "governing_sentence",
    "item_words",
    "reasoning",
    "residual_limit",
    "residual_limit_of_several",
    "washout",
]

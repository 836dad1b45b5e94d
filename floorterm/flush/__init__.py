"""How much to flush between two fragrances: washout of a line, residual limit of a pair, quantities.

Pure arithmetic, values in and values out; needs no terminal, database or files. `from_library` turns the
plant's YAML models into these values.
"""

from floorterm.flush.bars import Bar, Content, Oil, Part, Rules
from floorterm.flush.errors import (
    FlushError,
    LimitInputError,
    LineModelError,
    QuantityInputError,
    WashoutInputError,
)
from floorterm.flush.explain import explain, governing_sentence
from floorterm.flush.limits import Candidate, Gate, Governing, Limit, residual_limit
from floorterm.flush.model import LineModel, Unit
from floorterm.flush.quantity import FlushQuantity, Sensitivity, flush_quantity
from floorterm.flush.washout import UnitStart, Washout, curve, washout

__all__ = [
    "Bar",
    "Candidate",
    "Content",
    "FlushError",
    "FlushQuantity",
    "Gate",
    "Governing",
    "Limit",
    "LimitInputError",
    "LineModel",
    "LineModelError",
    "Oil",
    "Part",
    "QuantityInputError",
    "Rules",
    "Sensitivity",
    "Unit",
    "UnitStart",
    "Washout",
    "WashoutInputError",
    "curve",
    "explain",
    "flush_quantity",
    "governing_sentence",
    "residual_limit",
    "washout",
]

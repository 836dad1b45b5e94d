"""How much to flush between two fragrances: washout of a line, residual limit of a pair, quantities.

Pure arithmetic, values in and values out; needs no terminal, database or files. `from_library` turns the
plant's YAML models into these values.
"""

from floorterm.flush.bars import Bar, Content, Oil, Part, Rules
from floorterm.flush.batch import BatchWashout, batch_washout
from floorterm.flush.clean import Cleaning, CleaningWorth, Stripped, rank_cleanings, strip
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
from floorterm.flush.flash import FlashOption, FlashPlan, flash_plan, safe_return
from floorterm.flush.following import Followed
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
from floorterm.flush.rework import (
    BuildUp,
    ReworkItem,
    ReworkShare,
    feed_residual,
    largest_foreign_share,
    limit_left,
    rework_share,
)
from floorterm.flush.runout import RunOut, run_out
from floorterm.flush.strategies import Intermediate, Pair, Prices, SiteFacts, Strategy, pair_of, propose
from floorterm.flush.strategy_rows import strategies
from floorterm.flush.succession import Succession, succession
from floorterm.flush.transition import (
    BarCount,
    Transition,
    WorstBar,
    count_bars,
    transition,
    whole_cartons,
    worst_bar,
)
from floorterm.flush.washout import UnitStart, Washout, curve, washout

__all__ = [
    "Active",
    "Bar",
    "BarColour",
    "BarCount",
    "BarOdour",
    "BatchWashout",
    "BuildUp",
    "Candidate",
    "CapacityInputError",
    "Cleaning",
    "CleaningWorth",
    "ColourRule",
    "Content",
    "DosingInputError",
    "FlashOption",
    "FlashPlan",
    "FlushError",
    "FlushQuantity",
    "Followed",
    "Gate",
    "Governing",
    "HealthRule",
    "Index",
    "Intermediate",
    "Limit",
    "LimitInputError",
    "LineModel",
    "LineModelError",
    "Maximum",
    "NextUse",
    "OdourRule",
    "Oil",
    "Pair",
    "Part",
    "Prices",
    "QuantityInputError",
    "ReworkItem",
    "ReworkShare",
    "Rules",
    "RunOut",
    "Sensitivity",
    "SiteFacts",
    "Strategy",
    "Stripped",
    "Succession",
    "TankInputError",
    "Transition",
    "Unit",
    "UnitStart",
    "Washout",
    "WashoutInputError",
    "WorstBar",
    "batch_washout",
    "count_bars",
    "curve",
    "explain",
    "feed_residual",
    "flash_plan",
    "flush_quantity",
    "governing_sentence",
    "item_words",
    "largest_foreign_share",
    "limit_left",
    "pair_of",
    "propose",
    "rank_cleanings",
    "reasoning",
    "residual_limit",
    "residual_limit_of_several",
    "rework_share",
    "run_out",
    "safe_return",
    "strategies",
    "strip",
    "succession",
    "transition",
    "washout",
    "whole_cartons",
    "worst_bar",
]

"""Quality arithmetic: net content, sampling, triangle test, control chart, OEE. Pure; every limit is data."""

from floorterm.quality.chances import at_most, at_most_of_lot
from floorterm.quality.control import Baseline, Chart, Signal, baseline, individuals, signals
from floorterm.quality.errors import QualityError
from floorterm.quality.net_content import (
    NetContent,
    allowed_variation,
    average_plan,
    correction_factor,
    dried,
    judge_average,
    judge_individual,
    tolerable_error,
)
from floorterm.quality.oee import DEFINITIONS, Oee, oee
from floorterm.quality.rounding import rounded, rounded_up
from floorterm.quality.sampling import DoublePlan, Plan, code_letter, share_at, single_normal
from floorterm.quality.triangle import chance_by_guessing, differs, least_right

__all__ = [
    "DEFINITIONS",
    "Baseline",
    "Chart",
    "DoublePlan",
    "NetContent",
    "Oee",
    "Plan",
    "QualityError",
    "Signal",
    "allowed_variation",
    "at_most",
    "at_most_of_lot",
    "average_plan",
    "baseline",
    "chance_by_guessing",
    "code_letter",
    "correction_factor",
    "differs",
    "dried",
    "individuals",
    "judge_average",
    "judge_individual",
    "least_right",
    "oee",
    "rounded",
    "rounded_up",
    "share_at",
    "signals",
    "single_normal",
    "tolerable_error",
]

"""The order of the day's fragrances: which sequence loses the least to changeovers, with a proof or a bound. Pure."""

from floorterm.planning.day import (
    Change,
    Day,
    DayInputError,
    DayPlan,
    NoPlanError,
    Price,
    Rule,
    day_of,
    plan_day,
)
from floorterm.planning.order import Answer, NoOrderError, OrderInputError, Question, best_order, cost_of

__all__ = [
    "Answer",
    "Change",
    "Day",
    "DayInputError",
    "DayPlan",
    "NoOrderError",
    "NoPlanError",
    "OrderInputError",
    "Price",
    "Question",
    "Rule",
    "best_order",
    "cost_of",
    "day_of",
    "plan_day",
]

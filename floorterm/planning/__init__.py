"""The order of the day's fragrances: which sequence loses the least to changeovers, with a proof or a bound. Pure."""

from floorterm.planning.day import (
    MOST_FRAGRANCES,
    Change,
    Changes,
    Day,
    DayInputError,
    DayPlan,
    NoPlanError,
    Price,
    Rule,
    changes_on,
    comes_from,
    day_of,
    plan_day,
)
from floorterm.planning.order import Answer, NoOrderError, OrderInputError, Question, best_order, cost_of

__all__ = [
    "MOST_FRAGRANCES",
    "Answer",
    "Change",
    "Changes",
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
    "changes_on",
    "comes_from",
    "cost_of",
    "day_of",
    "plan_day",
]

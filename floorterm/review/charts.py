"""Charts as values in one language: what a drawing on paper and one made of letters both show. Pure.

Texts in them are spoken already; minutes are floats, positions along an axis are minutes or kg.
"""

from typing import Literal

from msgspec import Struct

Sort = Literal["internal", "external", "doubtful"]


class Span(Struct, frozen=True, kw_only=True):
    """One stretch of somebody's time, in minutes from the chart's begin."""

    since: float
    until: float
    sort: Sort
    name: str


class Timeline(Struct, frozen=True, kw_only=True):
    """Who did what when. `rows`: (name, spans); `marks`: (minute, word); `begin`: clock time of minute 0.

    `legend`: a word for each sort that occurs.
    """

    title: str
    begin: str
    minutes: float
    rows: tuple[tuple[str, tuple[Span, ...]], ...]
    marks: tuple[tuple[float, str], ...]
    legend: tuple[tuple[Sort, str], ...]
    axis: str


class ParetoBar(Struct, frozen=True, kw_only=True):
    """One loss: minutes, how often, the share of it and the larger ones, whether it is among the few that matter."""

    name: str
    minutes: float
    count: int
    share: float
    few: bool


class Pareto(Struct, frozen=True, kw_only=True):
    """Losses, the largest first. `note` says what is not drawn, or that there are too few."""

    title: str
    bars: tuple[ParetoBar, ...]
    note: str


class Level(Struct, frozen=True, kw_only=True):
    """A horizontal line at minutes from one point to another (from 0)."""

    value: float
    first: int
    last: int
    name: str
    sort: Literal["centre", "limit", "later"]


class Control(Struct, frozen=True, kw_only=True):
    """Durations in order of time on a logarithmic axis; `signalled`: points (from 0) that a rule names."""

    title: str
    values: tuple[float, ...]
    levels: tuple[Level, ...]
    signalled: frozenset[int]
    note: str
    axis: str


class Washed(Struct, frozen=True, kw_only=True):
    """A washout: points (kg, residual), its limit, and check samples, on a logarithmic axis; residuals as fractions."""

    title: str
    points: tuple[tuple[float, float], ...]
    limit: float
    samples: tuple[tuple[float, float], ...]
    note: str


Chart = Timeline | Pareto | Control | Washed

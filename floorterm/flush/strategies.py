"""Strategies for one pair on one line, side by side: what each costs, needs, and whether it is allowed.

All rows are shown; the cheapest allowed one is proposed, never imposed. The minutes of a lockout are a fixed
block of the site: no figure here shortens them.
"""

from collections.abc import Mapping, Sequence
from math import inf, isinf
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from floorterm.flush.bars import Bar
from floorterm.flush.clean import Cleaning
from floorterm.flush.errors import QuantityInputError, as_number
from floorterm.flush.limits import Gate, Limit
from floorterm.flush.quantity import round_up
from floorterm.wording import Say

StrategyKey = Literal[
    "push_through",
    "divert_flash",
    "return_at_once",
    "run_out",
    "strip",
    "noodles_first",
    "stop_early",
    "intermediate",
]


class Prices(Struct, frozen=True, kw_only=True):
    """The plant's prices, all in one currency: per kg of soap, per minute.

    `soap_value`: of a kg that could have been sold. `rework_value`: of a diverted kg where rework takes it.
    `noodles`: of a kg of plain noodles. `contribution_per_min`: what a line minute earns. `labour_per_min`:
    of one person. Raises QuantityInputError naming the field for a negative or endless figure.
    """

    soap_value: float
    rework_value: float = 0.0
    noodles: float = 0.0
    contribution_per_min: float = 0.0
    labour_per_min: float = 0.0

    def __post_init__(self) -> None:
        for field in ("soap_value", "rework_value", "noodles", "contribution_per_min", "labour_per_min"):
            as_number(QuantityInputError, f"prices.{field}", getattr(self, field))


class Pair(Struct, frozen=True, kw_only=True):
    """What the pair demands: residual limit, claims that flushing alone may not reach, what is incoming."""

    limit: float
    gates: tuple[Gate, ...] = ()
    deviation: bool = False
    incoming_plain: bool = False
    floor: float = 0.0


class Intermediate(Struct, frozen=True, kw_only=True):
    """A fragrance run between the two. `limit_before`: of the outgoing fragrance in it; `run_kg`: line mass
    of good bars it makes; `limit_after`: of it in the incoming fragrance (0: flushing cannot get there). `gates`:
    claims of its bars that flushing alone may not reach.
    """

    name: str | Mapping[str, str]
    limit_before: float
    run_kg: float
    limit_after: float
    gates: tuple[Gate, ...] = ()


class SiteFacts(Struct, frozen=True, kw_only=True):
    """What the site states. Masses in kg, minutes as the site's standards; None: not stated.

    `rate_kg_h`: line mass per hour. `slug_g`: mass a bar is pressed from. `flush_crew`: people while flushing.
    `bin_labour_min`: labour for bins and labels of diverted flash. `conveyor_emptied`: the return conveyor is
    emptied before flash returns. `lockout_min`: the fixed block, lock on to restart. `clean_crew`: people at
    a lockout. `cleanings`: what would be stripped. `restart_scrap_kg`: after a stop. `heels`: by unit, where
    the line may be run out. `run_out_min`: vacuum loss and start-up. `run_out_good_share`: of the soap run
    out, packed as good bars. `noodles_ready`: plain noodles at hand. `incoming_in_outgoing`: share of the
    incoming fragrance an outgoing bar may hold. `min_strength`: least share of the full dose an incoming bar
    must have. `rework_room_kg`: what later runs can take up. `uncertainty_kg`: of the flush, for ties.
    """

    rate_kg_h: float
    slug_g: float
    flush_crew: int = 1
    bin_labour_min: float = 0.0
    conveyor_emptied: bool = False
    lockout_min: float = 0.0
    clean_crew: int = 2
    cleanings: tuple[Cleaning, ...] = ()
    restart_scrap_kg: float = 0.0
    heels: Mapping[str, float] | None = None
    run_out_min: float = 0.0
    run_out_good_share: float = 0.0
    noodles_ready: bool = False
    incoming_in_outgoing: float | None = None
    min_strength: float | None = None
    intermediate: Intermediate | None = None
    rework_allowed: bool = True
    rework_room_kg: float = inf
    uncertainty_kg: float = 0.0

    def __post_init__(self) -> None:
        for field in ("rate_kg_h", "slug_g"):
            as_number(QuantityInputError, field, getattr(self, field), low_open=True)
        for field in ("bin_labour_min", "lockout_min", "restart_scrap_kg", "run_out_min", "uncertainty_kg"):
            as_number(QuantityInputError, field, getattr(self, field))
        as_number(QuantityInputError, "run_out_good_share", self.run_out_good_share, high=1.0)
        if self.rework_room_kg != inf:
            as_number(QuantityInputError, "rework_room_kg", self.rework_room_kg)
        for field in ("flush_crew", "clean_crew"):
            crew = getattr(self, field)
            if isinstance(crew, bool) or not isinstance(crew, int) or crew < 1:
                raise QuantityInputError(field, "tanks", found=repr(crew))


class Strategy(Struct, frozen=True, kw_only=True):
    """One row. Masses in kg, times in minutes, unrounded; all inf where the limit is never kept.

    `m_star_kg`: line mass until bars are good (of the part that is diverted, for two-sided strategies the
    whole from the dose switch). `bars_kg`, `flash_kg`: diverted; `removed_kg`: taken out of units or lost at
    a restart; `diverted_kg`: their sum; `bars`: number lost. `line_min`: the line runs and makes nothing to
    sell; `stop_min`: it stands; both are on the critical path. `plain_kg`: diverted feed that was plain
    noodles. `reasons`: why it is not allowed (empty: allowed). `tied`: within the uncertainty of the cheapest
    allowed row.
    """

    key: StrategyKey
    m_star_kg: float = inf
    bars_kg: float = inf
    flash_kg: float = 0.0
    removed_kg: float = 0.0
    plain_kg: float = 0.0
    bars: int | None = None
    line_min: float = inf
    stop_min: float = 0.0
    labour_min: float = inf
    lockout: bool = False
    crew: int = 1
    cost: float = inf
    reasons: tuple[Say, ...] = ()
    notes: tuple[Say, ...] = ()
    tied: bool = False

    @property
    def diverted_kg(self) -> float:
        """Bars, flash and soap taken out that are not sold, kg."""
        return self.bars_kg + self.flash_kg + self.removed_kg

    @property
    def critical_min(self) -> float:
        """Minutes on the critical path."""
        return self.line_min + self.stop_min

    @property
    def allowed(self) -> bool:
        """Whether nothing speaks against it."""
        return not self.reasons

    @property
    def say(self) -> Say:
        """The name for people."""
        return Say(f"strategies.name.{self.key}")


def pair_of(limit: Limit, incoming: Bar, *, floor: float = 0.0) -> Pair:
    """What a pair demands, from its residual limit and the incoming bar."""
    return Pair(
        limit=limit.value,
        gates=limit.gates,
        deviation=limit.status == "deviation",
        incoming_plain=not incoming.fragranced,
        floor=floor,
    )


def priced(row: Strategy, prices: Prices, site: SiteFacts) -> Strategy:
    """The row with its cost: soap not sold less what rework takes up, line minutes, labour.

    Cost = diverted x soap value - (what rework can take) x rework value - plain feed x (soap value - noodles)
    + (line + stop) minutes x contribution + labour minutes x rate. Soap for which later runs have no room is
    scrap. The stop holds the lockout's fixed block.
    """
    if isinf(row.diverted_kg) or isinf(row.critical_min):
        return replace(row, cost=inf)
    room = site.rework_room_kg if site.rework_allowed else 0.0
    cost = row.diverted_kg * prices.soap_value - min(row.diverted_kg, room) * prices.rework_value
    cost -= row.plain_kg * max(0.0, prices.soap_value - prices.noodles)
    cost += row.critical_min * prices.contribution_per_min + row.labour_min * prices.labour_per_min
    return replace(row, cost=cost, bars=round_up(row.m_star_kg / (site.slug_g / 1000.0)))


def propose(rows: Sequence[Strategy]) -> Strategy | None:
    """The cheapest allowed row, of equals the quicker one; None where none is allowed. A proposal only."""
    return min(
        (row for row in rows if row.allowed and not isinf(row.cost)),
        key=lambda row: (row.cost, row.critical_min),
        default=None,
    )


def ties_marked(rows: Sequence[Strategy], prices: Prices, site: SiteFacts) -> tuple[Strategy, ...]:
    """The rows with those marked that cost as much as the proposed one within the uncertainty of the flush."""
    best = propose(rows)
    if best is None:
        return tuple(rows)
    rework = prices.rework_value if site.rework_allowed else 0.0
    a_kg = prices.soap_value - rework + prices.contribution_per_min * 60.0 / site.rate_kg_h
    within = site.uncertainty_kg * abs(a_kg)
    return tuple(
        replace(row, tied=row.allowed and row is not best and within > 0 and row.cost - best.cost <= within)
        for row in rows
    )

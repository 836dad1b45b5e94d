"""What diverted soap can be worked into, up to which share, and how it builds up over repeated rework.

Contents are kg/kg of bar (any other unit will do, the same for all of one item). The share of rework counts
on the mass of the batch.
"""

from collections.abc import Sequence
from math import inf

from msgspec import Struct

from floorterm.flush.errors import QuantityInputError, as_number
from floorterm.wording import Say

_SLACK = 1e-9


class ReworkItem(Struct, frozen=True, kw_only=True):
    """One item in the rework and in the bar that takes it up, same unit each.

    `limit`: label threshold, or, where the label names the item anyway, only its hard cap. `rework`: content
    of the diverted soap. `own`: content of the bar without rework.
    """

    name: str
    limit: float
    rework: float
    own: float = 0.0

    def __post_init__(self) -> None:
        for field in ("limit", "rework", "own"):
            as_number(QuantityInputError, f"{self.name}.{field}", getattr(self, field))

    @property
    def largest_share(self) -> float:
        """The largest share with own + share (rework - own) <= limit; 0 where the bar exceeds it by itself."""
        if self.own > self.limit * (1.0 + _SLACK):
            return 0.0
        if self.rework <= self.limit:
            return 1.0
        return max(0.0, (self.limit - self.own) / (self.rework - self.own))


class ReworkShare(Struct, frozen=True, kw_only=True):
    """The largest share of rework in a batch, 0..1. `governs`: the item that decides, "strength", "site" or
    "" (nothing limits). `deviation`: items that the bar exceeds without any rework.
    """

    share: float
    governs: str
    deviation: tuple[str, ...]
    say: Say


def rework_share(
    items: Sequence[ReworkItem],
    *,
    min_strength: float = 0.0,
    topped_up: bool = False,
    site_share: float = 1.0,
) -> ReworkShare:
    """Up to which share diverted soap may be worked into a later fragrance.

    `min_strength`: least share of the full dose a bar must have; reworked soap brings none of the strength,
    so the share is at most 1 - min_strength, unless the fresh dose is `topped_up`. `site_share`: the site's
    own maximum. A second pass of rework through the line needs leave of its own. Raises QuantityInputError.
    """
    strength = as_number(QuantityInputError, "min_strength", min_strength, high=1.0)
    site = as_number(QuantityInputError, "site_share", site_share, high=1.0)
    found = [(item.largest_share, item.name) for item in items]
    found += [] if topped_up else [(1.0 - strength, "strength")]
    found += [(site, "site")]
    share, governs = min(found, key=lambda one: one[0])
    broken = tuple(item.name for item in items if item.own > item.limit * (1.0 + _SLACK))
    governs = governs if share < 1.0 else ""
    kind = (
        "deviation"
        if broken
        else ("strength" if governs == "strength" else "site" if governs == "site" else "item")
    )
    facts = {"item": ", ".join(broken) or governs, "percent": f"{int(share * 1e4) / 100:g}"}
    say = Say("strategies.rework.free") if not governs else Say(f"strategies.rework.{kind}", facts)
    return ReworkShare(share=share, governs=governs, deviation=broken, say=say)


def feed_residual(share: float, mean_outgoing: float) -> float:
    """Residual that a feed with rework carries: share times mean outgoing fraction of the rework.

    Raises QuantityInputError naming the field for a value outside [0, 1].
    """
    return as_number(QuantityInputError, "share", share, high=1.0) * as_number(
        QuantityInputError, "mean_outgoing", mean_outgoing, high=1.0
    )


class BuildUp(Struct, frozen=True, kw_only=True):
    """Repeated rework: each batch takes `own_share` of the batch before (its own soap) and `foreign` new
    foreign content, so b_n = foreign + own_share b_(n-1). Raises QuantityInputError naming the field.
    """

    own_share: float
    foreign: float = 0.0

    def __post_init__(self) -> None:
        as_number(QuantityInputError, "own_share", self.own_share, high=1.0, high_open=True)
        as_number(QuantityInputError, "foreign", self.foreign)

    def after(self, batches: int) -> float:
        """Foreign content after a number of batches, in the unit of `foreign`."""
        if isinstance(batches, bool) or not isinstance(batches, int) or batches < 1:
            raise QuantityInputError("batches", "tanks", found=repr(batches))
        return self.foreign * (1.0 - self.own_share**batches) / (1.0 - self.own_share)

    @property
    def limit(self) -> float:
        """What the foreign content climbs to."""
        return self.foreign / (1.0 - self.own_share)

    def passed(self, times: int) -> float:
        """Share of a batch that has gone round at least so many times."""
        if isinstance(times, bool) or not isinstance(times, int) or times < 0:
            raise QuantityInputError("times", "below", found=repr(times), low="0")
        return self.own_share**times

    @property
    def mean_passes(self) -> float:
        """Mean number of rounds of the soap in a batch."""
        return self.own_share / (1.0 - self.own_share)

    def strength(self, dose: float) -> float:
        """What a dose climbs to if it is dosed on the whole mass, rework included: dose on fresh mass only."""
        return as_number(QuantityInputError, "dose", dose, high=1.0) / (1.0 - self.own_share)


def largest_foreign_share(
    threshold: float, content: float, *, own_share: float = 0.0, own: float = 0.0
) -> float:
    """Largest share of foreign flush soap in each batch that never lifts an item above its threshold, 0..1.

    `content`: of the flush soap, kg/kg. `own`: what the bar has by itself. Raises QuantityInputError.
    """
    build = BuildUp(own_share=own_share)
    room = as_number(QuantityInputError, "threshold", threshold) - as_number(QuantityInputError, "own", own)
    held = as_number(QuantityInputError, "content", content)
    if room <= 0.0:
        return 0.0
    return min(1.0, room * (1.0 - build.own_share) / held) if held > 0 else 1.0


def limit_left(threshold: float, background: float, content: float) -> float:
    """Residual limit that is left of a threshold where rework already spent part of it (the safe side).

    `content`: of the outgoing bar at full dose. 0: nothing left; 1: no limit. Raises QuantityInputError.
    """
    room = as_number(QuantityInputError, "threshold", threshold) - as_number(
        QuantityInputError, "background", background
    )
    held = as_number(QuantityInputError, "content", content)
    return max(0.0, min(1.0, room / held if held > 0 else inf))

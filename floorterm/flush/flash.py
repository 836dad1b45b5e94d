"""What to do with the flash during a flush: return it, divert it, or divert it first and return it later.

Returned flash carries outgoing fragrance back. After a flush with diverted flash the residual can rise again
when flash returns, above all where dead parts govern the tail: the first reach of the limit is then no safe
moment to return it.
"""

from math import inf, isinf
from typing import Literal

from msgspec import Struct

from floorterm.flush.errors import WashoutInputError, as_number
from floorterm.flush.following import Followed
from floorterm.flush.model import LineModel
from floorterm.flush.roots import falling_crossing
from floorterm.flush.washout import Start, washout
from floorterm.wording import Say

FlashKey = Literal["returned", "diverted", "returned_at_once"]

_AS_GOOD_AS_CLEAN = 1e-9
_EQUAL = 1e-9


class FlashOption(Struct, frozen=True, kw_only=True):
    """One way with the flash. All masses in kg; `m_star_kg`, `first_kg`, `peak_kg`, `flash_back_kg`: line mass.

    `first_kg`: first crossing of the limit, worthless where the residual rises later. `m_star_kg`: last
    crossing; bars are diverted until then. `peak`: the highest residual at or after `first_kg`, met at
    `peak_kg`. `flash_back_kg`: from here on flash returns (0: all the time; inf: never may). `bars_kg` and
    `flash_kg` go to the bin, `diverted_kg` is their sum; all inf where the limit is never kept.
    """

    key: FlashKey
    first_kg: float
    m_star_kg: float
    peak_kg: float
    peak: float
    flash_back_kg: float
    bars_kg: float
    flash_kg: float

    @property
    def diverted_kg(self) -> float:
        """Bars and flash that go to the bin, kg."""
        return self.bars_kg + self.flash_kg


class FlashPlan(Struct, frozen=True, kw_only=True):
    """The ways with the flash of one line and limit, as `options`, and what the crew has to know.

    `safe_return_kg`: earliest line mass at which diverted flash may return so that the residual never again
    exceeds the limit (never before the first reach); inf where the unemptied conveyor alone brings too much.
    `rise_kg`: how long, from the first reach on, bars are bad again if flash returns at once. `conveyor_kg`:
    soap of full outgoing dose that waits on the conveyor (0 if emptied).
    """

    limit: float
    options: tuple[FlashOption, ...]
    safe_return_kg: float
    rise_kg: float
    conveyor_kg: float
    say: tuple[Say, ...]

    def option(self, key: FlashKey) -> FlashOption | None:
        """The option of a key, or None where this line does not have it."""
        return next((one for one in self.options if one.key == key), None)


def flash_plan(
    line: LineModel,
    limit: float,
    *,
    floor: float = 0.0,
    conveyor_emptied: bool = False,
    start: Start | None = None,
) -> FlashPlan:
    """What each way with the flash costs in kg, and when diverted flash may safely return.

    `floor`: residual that the feed itself carries (exact where the dose enters at or before the flash
    return; otherwise to within floor times flash_fraction). `conveyor_emptied`: the site empties the return
    conveyor before flash returns; without that it holds soap of the moment of diversion, at full dose.
    Raises WashoutInputError naming the field.
    """
    wanted = washed_limit(limit, floor)
    whole_way = washout(line, divert_flash=True, start=start)
    diverted = Followed(line, start=start)
    conveyor_kg = 0.0 if conveyor_emptied or not line.returned_fraction else line.return_kg
    if wanted <= 0.0:
        never = _option("diverted", line, (inf, inf), (0.0, 1.0), inf)
        return FlashPlan(
            limit=limit,
            options=(never,),
            safe_return_kg=inf,
            rise_kg=inf,
            conveyor_kg=conveyor_kg,
            say=(Say("strategies.flash.unreachable"),),
        )
    reach = whole_way.kg_to_reach(wanted)
    first = diverted.first_reach(wanted)
    if not line.returned_fraction or isinf(reach):
        whole = _option("diverted", line, (first, reach), _peak(diverted, first, floor), inf)
        return FlashPlan(
            limit=limit, options=(whole,), safe_return_kg=reach, rise_kg=0.0, conveyor_kg=0.0, say=()
        )
    returned = Followed(line, resume_kg=0.0, start=start)
    crossings = returned.first_reach(wanted), washout(line, start=start).kg_to_reach(wanted)
    at_once = Followed(line, resume_kg=reach, emptied=conveyor_emptied, start=start)
    safe = safe_return(line, limit, floor=floor, conveyor_emptied=conveyor_emptied, start=start)
    bad_until = max(reach, at_once.kg_to_reach(wanted))
    rise = bad_until - reach if bad_until > reach * (1.0 + _EQUAL) else 0.0
    options = (
        _option("returned", line, crossings, None, 0.0, returned, floor),
        _option("diverted", line, (first, reach), _peak(diverted, first, floor), safe),
        _option("returned_at_once", line, (first, reach + rise), _peak(at_once, reach, floor), reach),
    )
    return FlashPlan(
        limit=limit,
        options=options,
        safe_return_kg=safe,
        rise_kg=rise,
        conveyor_kg=conveyor_kg,
        say=_told(reach, safe, rise, conveyor_kg),
    )


def safe_return(
    line: LineModel,
    limit: float,
    *,
    floor: float = 0.0,
    conveyor_emptied: bool = False,
    start: Start | None = None,
) -> float:
    """The earliest line mass in kg at which diverted flash may return without a later residual above `limit`.

    Never before bars are good. inf where no moment is safe: the conveyor was not emptied and its soap alone
    lifts the residual above the limit. Valid because every cell falls while flash is diverted, so a later
    return has a lower peak; found by bracketing the peak against the limit. Raises WashoutInputError.
    """
    wanted = washed_limit(limit, floor)
    if wanted <= 0.0:
        return inf
    diverted = washout(line, divert_flash=True, start=start)
    reach = diverted.kg_to_reach(wanted)
    if isinf(reach) or not line.returned_fraction:
        return reach
    base = Followed(line, start=start).followed_until(reach)

    def too_high(kg: float) -> float:
        return base.resumed(kg, emptied=conveyor_emptied).highest(kg)[1] - wanted

    if too_high(reach) <= _EQUAL * wanted:
        return reach
    low, high = reach, max(2.0 * reach, line.content_kg)
    while too_high(high) > 0:
        if diverted.residual(high) < _AS_GOOD_AS_CLEAN * wanted:
            return inf
        low, high = high, 2.0 * high
    return falling_crossing(too_high, low, high)


def washed_limit(limit: float, floor: float) -> float:
    """The limit for what the line itself has to lose, r = floor + (1 - floor) W; 0 or less: never reached."""
    wanted = as_number(WashoutInputError, "limit", limit, low_open=True)
    carried = as_number(WashoutInputError, "floor", floor, high=1.0, high_open=True)
    return min(1.0, (wanted - carried) / (1.0 - carried))


def _peak(of: Followed, from_kg: float, floor: float) -> tuple[float, float]:
    kg, value = of.highest(from_kg)
    return kg, floor + (1.0 - floor) * value


def _option(
    key: FlashKey,
    line: LineModel,
    crossings: tuple[float, float],
    peak: tuple[float, float] | None,
    flash_back_kg: float,
    of: Followed | None = None,
    floor: float = 0.0,
) -> FlashOption:
    first, m_star = crossings
    if peak is None:
        peak = (inf, 1.0) if of is None or isinf(first) else _peak(of, first, floor)
    p = line.flash_fraction
    until = max(m_star, flash_back_kg) if line.returned_fraction and key == "diverted" else m_star
    until = min(until, flash_back_kg)
    return FlashOption(
        key=key,
        first_kg=first,
        m_star_kg=m_star,
        peak_kg=peak[0],
        peak=peak[1],
        flash_back_kg=flash_back_kg,
        bars_kg=(1.0 - p) * m_star,
        flash_kg=p * until if p else 0.0,
    )


def _told(reach: float, safe: float, rise: float, conveyor_kg: float) -> tuple[Say, ...]:
    found = []
    if isinf(safe):
        found.append(Say("strategies.flash.never", {"kg": f"{conveyor_kg:g}"}))
    elif safe > reach * (1.0 + _EQUAL):
        facts = {"first": f"{reach:.0f}", "safe": f"{safe:.0f}", "rise": f"{rise:.0f}"}
        found.append(Say("strategies.flash.later", facts))
    if conveyor_kg:
        found.append(Say("strategies.flash.conveyor", {"kg": f"{conveyor_kg:g}"}))
    return tuple(found)

"""Both sides of a transition: the last bar good as outgoing, the first good as incoming, and what lies between.

Bars are numbered from the dose switch: bar n is pressed from the slug between (n - 1) and n slug masses of
line mass. Ends of diverting are rounded up and its starts down, from the unrounded masses.
"""

from math import ceil, floor, isinf

from msgspec import Struct

from floorterm.flush.errors import QuantityInputError, WashoutInputError, as_number
from floorterm.flush.flash import washed_limit
from floorterm.flush.following import Followed
from floorterm.flush.model import LineModel

_NOISE = 1e-9


class Transition(Struct, frozen=True, kw_only=True):
    """The soap between two fragrances, kg of line mass from the dose switch.

    `last_kg`: until here bars are good as outgoing. `first_kg`: from here on they are good as incoming.
    `between_kg`: line mass that is neither (0 where the two overlap), `bars_kg` of it bars.
    `mean_outgoing`: mean fraction of the outgoing dose in it, 0 where nothing lies between.
    """

    last_kg: float
    first_kg: float
    between_kg: float
    bars_kg: float
    mean_outgoing: float


class BarCount(Struct, frozen=True, kw_only=True):
    """Bars by number: the last good outgoing, the first accepted incoming, how many are diverted between."""

    last_outgoing: int
    first_incoming: int
    diverted: int


class WorstBar(Struct, frozen=True, kw_only=True):
    """The worst accepted bar: its number, its predicted residual, the limit and what is left to the limit."""

    number: int
    residual: float
    limit: float

    @property
    def margin(self) -> float:
        """Limit less predicted residual, as a fraction of the outgoing dose."""
        return self.limit - self.residual


def transition(
    line: LineModel,
    *,
    incoming_in_outgoing: float,
    outgoing_in_incoming: float,
    divert_flash: bool = False,
    carried: float = 0.0,
) -> Transition:
    """What lies between two fragrances, from the steady state.

    `incoming_in_outgoing`: share of the incoming fragrance that an outgoing bar may hold. `outgoing_in_incoming`:
    the residual limit. `carried`: residual that the feed carries for ever. Raises WashoutInputError for a share
    outside [0, 1) or a limit not above 0. `first_kg` is inf where the feed carries as much as the limit.
    """
    a = as_number(WashoutInputError, "incoming_in_outgoing", incoming_in_outgoing, high=1.0, high_open=True)
    wanted = washed_limit(outgoing_in_incoming, carried)
    curve = Followed(line, resume_kg=None if divert_flash else 0.0)
    still_good = 1.0 - a / (1.0 - carried)
    last = curve.kg_to_reach(still_good) if 0.0 < still_good < 1.0 else 0.0
    first = curve.kg_to_reach(wanted) if wanted > 0.0 else float("inf")
    if still_good <= 0.0:
        last = first
    between = max(0.0, first - last)
    mean = 0.0
    if 0.0 < between < float("inf"):
        mean = carried + (1.0 - carried) * curve.area(last, first) / between
    return Transition(
        last_kg=last,
        first_kg=first,
        between_kg=between,
        bars_kg=(1.0 - line.flash_fraction) * between,
        mean_outgoing=mean,
    )


def count_bars(last_kg: float, first_kg: float, slug_g: float) -> BarCount:
    """Which bars to divert between two masses of line mass. Raises QuantityInputError naming the field.

    `slug_g`: mass of the slug one bar is pressed from: bar mass / (1 - flash_fraction).
    """
    slug_kg = as_number(QuantityInputError, "slug_g", slug_g, low_open=True) / 1000.0
    last = floor(as_number(QuantityInputError, "last_kg", last_kg) / slug_kg + _NOISE)
    diverted_to = max(0, ceil(as_number(QuantityInputError, "first_kg", first_kg) / slug_kg - _NOISE))
    return BarCount(
        last_outgoing=last,
        first_incoming=max(diverted_to, last) + 1,
        diverted=max(0, diverted_to - last),
    )


def worst_bar(curve: Followed, limit: float, slug_g: float) -> WorstBar | None:
    """The worst accepted bar of a flush down to a limit: the first one after the last crossing, at its
    leading edge, from where the residual never exceeds the limit again; a later peak where that is higher.

    None where the limit is never kept. Raises WashoutInputError or QuantityInputError naming the field.
    """
    m_star = curve.kg_to_reach(limit)
    if isinf(m_star):
        return None
    slug_kg = as_number(QuantityInputError, "slug_g", slug_g, low_open=True) / 1000.0
    number = count_bars(0.0, m_star, slug_g).first_incoming
    edge = (number - 1) * slug_kg
    peak_kg, peak = curve.highest(edge)
    if peak > curve.residual(edge):
        number = floor(peak_kg / slug_kg) + 1
    return WorstBar(number=number, residual=peak, limit=limit)


def whole_cartons(bars: int, per_carton: int) -> int:
    """Cartons to divert for a number of bars: one that straddles the mark is diverted whole.

    Raises QuantityInputError naming the field.
    """
    for field, value, least in (("bars", bars, 0), ("per_carton", per_carton, 1)):
        if isinstance(value, bool) or not isinstance(value, int) or value < least:
            raise QuantityInputError(field, "below", found=repr(value), low=str(least))
    return -(-bars // per_carton)

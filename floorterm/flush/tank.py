"""The dosing tank: rinses of a shared tank, what its heel leaves in the feed, tank and train together, the pipe.

Formulas: a stirred tank keeps heel / (heel + charge) of its content at each rinse, and the fill dilutes the
rest by heel / (heel + fill). Litres or kg throughout, never mixed. A dedicated tank needs no rinse.
"""

from collections.abc import Iterator, Sequence
from math import ceil, expm1, inf, isinf, log, sqrt

from msgspec import Struct

from floorterm.flush.errors import TankInputError, as_number
from floorterm.flush.model import LineModel
from floorterm.flush.washout import Washout, washout

_GUARD = 1e-9


class Tank(Struct, frozen=True, kw_only=True):
    """A dosing tank: heel left when drained, fill of the next fragrance, largest charge of one rinse.

    All in litres, or all in kg. `dedicated`: it only ever holds this fragrance. Raises TankInputError
    naming the field.
    """

    heel: float
    fill: float
    largest_charge: float
    dedicated: bool = False

    def __post_init__(self) -> None:
        as_number(TankInputError, "heel", self.heel, low_open=not self.dedicated)
        as_number(TankInputError, "fill", self.fill, low_open=True)
        as_number(TankInputError, "largest_charge", self.largest_charge, low_open=True)


class RinseCosts(Struct, frozen=True, kw_only=True):
    """What a rinse costs: a litre or kg of it, and each rinse as such (labour, drum). In one currency."""

    per_unit: float
    per_rinse: float

    def __post_init__(self) -> None:
        as_number(TankInputError, "per_unit", self.per_unit)
        as_number(TankInputError, "per_rinse", self.per_rinse, low_open=True)


class RinsePlan(Struct, frozen=True, kw_only=True):
    """So many equal rinses of so much: in total, at what cost, and the share of the heel that is left.

    Equal charges are the best for their number (the share left is a product, and its logarithm convex).
    """

    rinses: int
    charge: float
    total: float
    cost: float
    share_left: float


class RinsePlans(Struct, frozen=True, kw_only=True):
    """The plans that reach a share of the heel: fewest rinses, cheapest, cheapest in whole marks of the
    measure. `continuous`: what rinsing without a pause would use, the least volume that can do it.

    Of a dedicated tank, and where nothing is to be rinsed, every plan has no rinse.
    """

    fewest: RinsePlan
    cheapest: RinsePlan
    in_marks: RinsePlan
    continuous: float


def share_after(heel: float, charge: float, rinses: int) -> float:
    """The share of the old fragrance in the heel after equal rinses: (heel / (heel + charge)) ** rinses."""
    left = as_number(TankInputError, "heel", heel, low_open=True)
    added = as_number(TankInputError, "charge", charge)
    return float((left / (left + added)) ** _whole("rinses", rinses, 0))


def tank_floor(tank: Tank, charge: float = 0.0, rinses: int = 0) -> float:
    """The residual that the feed carries until the tank is refilled: the rinsed heel, diluted by the fill.

    0 for a dedicated tank. Each refill dilutes it again; within one fill it is constant.
    """
    if tank.dedicated:
        return 0.0
    return share_after(tank.heel, charge, rinses) * tank.heel / (tank.heel + tank.fill)


def rinse_plans(tank: Tank, share: float, costs: RinseCosts, *, mark: float = 1.0) -> RinsePlans:
    """How to rinse until only `share` of the old fragrance is left in the heel.

    `mark`: what the measure can be read to; whole marks are rounded up and checked again. Raises
    TankInputError for a share that needs no rinse (1 or more) and for a charge that no number of rinses
    makes enough.
    """
    wanted = as_number(TankInputError, "share", share, low_open=True)
    if tank.dedicated:
        none = RinsePlan(rinses=0, charge=0.0, total=0.0, cost=0.0, share_left=0.0)
        return RinsePlans(fewest=none, cheapest=none, in_marks=none, continuous=0.0)
    if wanted >= 1.0:
        raise TankInputError("share", "rinse_not_needed", found=f"{wanted:g}")
    return RinsePlans(
        fewest=_fewest(tank, wanted, costs),
        cheapest=_cheapest(tank, wanted, costs),
        in_marks=_in_marks(tank, wanted, costs, mark),
        continuous=-tank.heel * log(wanted),
    )


def share_for_floor(tank: Tank, floor: float) -> float:
    """Which share of the heel may be left so that the filled tank carries no more than `floor` of the dose.

    1 or more where the fill alone is enough: then nothing is to be rinsed.
    """
    wanted = as_number(TankInputError, "floor", floor, low_open=True)
    return wanted * (tank.heel + tank.fill) / tank.heel


def _whole(field: str, value: object, low: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < low:
        raise TankInputError(field, "whole", found=repr(value), low=low)
    return value


def _charge(heel: float, share: float, rinses: int) -> float:
    """The charge of each of so many rinses, heel (share ** (-1 / rinses) - 1)."""
    return heel * expm1(-log(share) / rinses)


def _plan(heel: float, charge: float, rinses: int, costs: RinseCosts) -> RinsePlan:
    total = rinses * charge
    return RinsePlan(
        rinses=rinses,
        charge=charge,
        total=total,
        cost=costs.per_unit * total + costs.per_rinse * rinses,
        share_left=share_after(heel, charge, rinses),
    )


def _least_rinses(tank: Tank, share: float) -> int:
    """The smallest number of rinses whose charge the tank can hold."""
    rate = log(1.0 + tank.largest_charge / tank.heel)
    if rate == 0.0 or isinf(-log(share) / rate):
        raise TankInputError(
            "largest_charge", "charge_too_small", found=f"{tank.largest_charge:g}", heel=f"{tank.heel:g}"
        )
    return max(1, ceil(-log(share) / rate - _GUARD))


def _fewest(tank: Tank, share: float, costs: RinseCosts) -> RinsePlan:
    rinses = _least_rinses(tank, share)
    return _plan(tank.heel, min(_charge(tank.heel, share, rinses), tank.largest_charge), rinses, costs)


def _cheapest(tank: Tank, share: float, costs: RinseCosts) -> RinsePlan:
    """Cost is convex in the number of rinses (that of the volume falls and flattens), so the first number
    whose successor costs no less is the best one.
    """

    def cost(rinses: int) -> float:
        return costs.per_unit * rinses * _charge(tank.heel, share, rinses) + costs.per_rinse * rinses

    low = _least_rinses(tank, share)
    step = 1
    while cost(low + step + 1) < cost(low + step):
        step *= 2
    high = low + step
    while low < high:
        middle = (low + high) // 2
        if cost(middle + 1) < cost(middle):
            low = middle + 1
        else:
            high = middle
    return _plan(tank.heel, min(_charge(tank.heel, share, low), tank.largest_charge), low, costs)


def _in_marks(tank: Tank, share: float, costs: RinseCosts, mark: float) -> RinsePlan:
    """Every whole number of marks is tried; each plan is checked against the share that was asked for."""
    unit = as_number(TankInputError, "mark", mark, low_open=True)
    facts = {"found": f"{unit:g}", "largest": f"{tank.largest_charge:g}"}
    if unit > tank.largest_charge:
        raise TankInputError("mark", "mark_too_large", **facts)
    if unit < tank.largest_charge * 1e-6:
        raise TankInputError("mark", "mark_too_small", **facts)
    plans = [_rounded(tank, share, costs, marks * unit) for marks in _marks(tank, share, unit)]
    return min(plans, key=lambda plan: plan.cost)


def _marks(tank: Tank, share: float, unit: float) -> range:
    """Charges in marks, up to the one that a single rinse would need."""
    most = int(tank.largest_charge / unit + _GUARD)
    single = _charge(tank.heel, share, 1) / unit
    return range(1, min(most, ceil(single) + 1 if single < most else most) + 1)


def _rounded(tank: Tank, share: float, costs: RinseCosts, charge: float) -> RinsePlan:
    rinses = max(1, ceil(-log(share) / log(1.0 + charge / tank.heel) - _GUARD))
    plan = _plan(tank.heel, charge, rinses, costs)
    # the guard forgives noise; a plan must reach what was asked for all the same
    return plan if plan.share_left <= share * (1.0 + _GUARD) else _plan(tank.heel, charge, rinses + 1, costs)


# --- tank and train together ---------------------------------------------------------------------------


class TankAndTrain(Struct, frozen=True, kw_only=True):
    """One number of rinses with the flush that it leaves: the floor of the feed, the flush in kg of line
    mass (math.inf: unreachable, flushing alone never gets there), what is diverted, and the cost of both.
    """

    rinses: int
    charge: float
    floor: float
    m_star_kg: float
    diverted_kg: float
    cost: float

    @property
    def reachable(self) -> bool:
        """Whether this flush ever ends."""
        return not isinf(self.m_star_kg)


def tank_and_train(
    line: LineModel,
    tank: Tank,
    limit: float,
    charges: Sequence[float],
    costs: RinseCosts,
    soap_per_kg: float,
    *,
    divert_flash: bool = False,
    most_rinses: int = 12,
) -> tuple[TankAndTrain, ...]:
    """Rinses and flush in one sum, cheapest first: cost of the rinses + `soap_per_kg` x diverted kg.

    Every number of rinses up to `most_rinses` with each of the `charges` (those that fit) is one row;
    unreachable ones stand last with infinite cost. A line of several tanks is asked tank by tank. Raises
    TankInputError naming the field, LineModelError or WashoutInputError.
    """
    wanted = as_number(TankInputError, "limit", limit, low_open=True)
    price = as_number(TankInputError, "soap_per_kg", soap_per_kg)
    for number, charge in enumerate(charges):
        as_number(TankInputError, f"charges[{number}]", charge, low_open=True)
    fitting = sorted({charge for charge in charges if charge <= tank.largest_charge})
    if not fitting:
        raise TankInputError("charges", "no_charge_fits", largest=f"{tank.largest_charge:g}")
    curve = washout(line, divert_flash=divert_flash)
    found = [
        _together(curve, tank, rinses, charge, wanted, costs, price)
        for rinses, charge in _ways(tank, fitting, _whole("most_rinses", most_rinses, 0))
    ]
    return tuple(sorted(found, key=lambda one: (one.cost, one.rinses, one.charge)))


def _ways(tank: Tank, charges: Sequence[float], most: int) -> Iterator[tuple[int, float]]:
    yield 0, 0.0
    if not tank.dedicated:
        for rinses in range(1, most + 1):
            for charge in charges:
                yield rinses, charge


def _together(
    curve: Washout,
    tank: Tank,
    rinses: int,
    charge: float,
    limit: float,
    costs: RinseCosts,
    price: float,
) -> TankAndTrain:
    floor = tank_floor(tank, charge, rinses)
    # the system is linear: residual = floor + (1 - floor) W, so that one curve serves every floor
    m_star = (
        0.0 if limit >= 1.0 else inf if limit <= floor else curve.kg_to_reach((limit - floor) / (1.0 - floor))
    )
    gone = curve.divert_flash or curve.line.flash_to is None
    diverted = m_star if isinf(m_star) or gone else curve.bars_kg(m_star)
    rinsing = costs.per_unit * rinses * charge + costs.per_rinse * rinses
    return TankAndTrain(
        rinses=rinses,
        charge=charge,
        floor=floor,
        m_star_kg=m_star,
        diverted_kg=diverted,
        cost=inf if isinf(m_star) else rinsing + price * diverted,
    )


# --- the dosing pipe -----------------------------------------------------------------------------------


def pipe_residual(volumes: float) -> float:
    """What a dosing pipe still delivers of the old fragrance after so many of its volumes, laminar flow.

    1 / (4 volumes^2) from half a volume on, 1 before. Source: laminar pipe in Levenspiel, Chemical Reaction
    Engineering, 3rd ed., p. 344. A turbulent or pigged pipe needs about one volume (from memory).
    """
    pushed = as_number(TankInputError, "volumes", volumes)
    return 1.0 if pushed <= 0.5 else 0.25 / pushed**2


def pipe_volumes(residual: float) -> float:
    """How many pipe volumes must be pushed in laminar flow until that residual is left; 0 from 1 on."""
    wanted = as_number(TankInputError, "residual", residual, low_open=True)
    return 0.0 if wanted >= 1.0 else 0.5 / sqrt(wanted)

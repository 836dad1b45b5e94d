"""What the feed itself carries: the heel of a shared dosing tank, how often to rinse it, and the floor that stays.

In the measure of the limit: a bar of the incoming fragrance made from a tank with a share f of old oil holds
f x (incoming dose / old dose) of a full dose of that oil. Old oil and outgoing fragrance share the bar, so all
rules that add by mass are kept where residual / limit + feed / limit of the feed <= 1, that is where
floor + (1 - floor) W <= limit with floor = feed x limit / limit of the feed.
"""

from collections.abc import Sequence
from functools import lru_cache
from math import inf, isinf

from msgspec import Struct

from floorterm.changeover.lockout_steps import spoken
from floorterm.changeover.numbers import decimal
from floorterm.changeover.worksheet import RinseNote, Text
from floorterm.flush import LineModel, Rules, Washout, residual_limit, washout
from floorterm.flush.from_library import bar, dosing_tank, prices, rinse_costs
from floorterm.flush.tank import Tank, tank_floor
from floorterm.library.model import DosingTank, FragranceFile, Library, LineFile
from floorterm.wording import Fact, Say

_MOST_RINSES = 12
_NEARLY = 1.05  # without prices: rinse until the flush is at most this much longer than with a clean tank


class Feed(Struct, frozen=True, kw_only=True):
    """The floor of the flush (0: nothing) and what was counted on."""

    floor: float = 0.0
    rinse: RinseNote | None = None
    says: tuple[Say, ...] = ()


def feed_of(
    library: Library,
    line: LineFile,
    model: LineModel,
    outgoing: Sequence[FragranceFile],
    incoming: FragranceFile,
    limit: float,
    policy: Rules,
    *,
    overruled: bool = False,
    held: str = "",
) -> Feed:
    """What the incoming fragrance's tank brings along for a residual limit. Raises FlushError.

    A dedicated tank, a bar without fragrance and a tank that held the incoming fragrance last bring nothing. Where
    the outgoing fragrance has another tank, `held` is what the record says that this one held last; where it says
    nothing (""), the fragrance of this tank that leaves least room counts. A limit that somebody gave by hand
    (`overruled`) is meant for every old fragrance alike.
    """
    spec = next((tank for tank in line.tanks if tank.id == incoming.tanks.get(line.id)), None)
    if spec is None or spec.only is not None or incoming.unscented:
        return Feed()
    if spec.heel_kg == 0:
        return Feed(says=(Say("flush.tank.no_heel", {"tank": spec.id}),))
    known = [old for old in outgoing if old.tanks.get(line.id) == spec.id and old.id != incoming.id]
    if outgoing[0] not in known and held == incoming.id:
        return Feed()
    if outgoing[0] not in known and held in library.fragrances:
        known = [library.fragrances[held], *known]
        assumed = False
    else:
        assumed = not known or outgoing[0] not in known
    possible = known if not assumed else _users(library, line, spec, incoming)
    if limit <= 0.0 or not possible:
        return Feed()
    worst, times = max(
        ((old, _times(old, incoming, limit, None if overruled else policy)) for old in possible),
        key=lambda pair: pair[1],
    )
    rinses, floor = _plan(library, model, dosing_tank(spec), limit, times)
    note = RinseNote(
        tank=spec.id,
        rinses=rinses,
        rinse_kg=spec.rinse_kg or spec.fill_kg,
        floor=decimal(min(floor, 1.0)),
        held=worst.id,
        assumed=assumed,
        enough=floor < min(limit, 1.0),
    )
    return Feed(floor=floor, rinse=note, says=rinse_says(note, spoken(worst.name)))


def rinse_says(note: RinseNote, held: Text | str) -> tuple[Say, ...]:
    """What a person must know about the tank, each as a sentence."""
    facts: dict[str, Fact] = {
        "tank": note.tank,
        "held": held,
        "n": note.rinses,
        "kg": f"{note.rinse_kg:f}",
        "percent": f"{float(note.floor) * 100:.2g}",
    }
    found = [Say("flush.tank.rinses" if note.enough else "flush.tank.no_room", facts)]
    if note.assumed:
        found.append(Say("flush.tank.assumed", facts))
    return tuple(found)


def _users(
    library: Library, line: LineFile, tank: DosingTank, incoming: FragranceFile
) -> list[FragranceFile]:
    """Every other fragrance that this tank may have held."""
    return [
        one
        for one in library.fragrances.values()
        if one.id != incoming.id and line.id in one.lines and one.tanks.get(line.id) == tank.id
    ]


def _times(old: FragranceFile, incoming: FragranceFile, limit: float, policy: Rules | None) -> float:
    """What a share of old oil in the tank counts in the measure of the limit; inf where none may stay."""
    dose = float(incoming.dose / old.dose) if old.dose else 0.0
    if policy is None:
        return dose
    own = residual_limit(bar(old), bar(incoming), policy).value
    return inf if own <= 0.0 and dose else dose * min(limit, 1.0) / own if dose else 0.0


def _plan(library: Library, model: LineModel, tank: Tank, limit: float, times: float) -> tuple[int, float]:
    """How many rinses, at least one, and the floor that they leave: cheapest with the flush, or, where no prices
    are stated, the fewest that leave the flush nearly as short as a clean tank would.
    """
    curve = _curve(model)
    charge = tank.largest_charge
    rows = []
    for rinses in range(1, _MOST_RINSES + 1):
        share = tank_floor(tank, charge, rinses)
        floor = 0.0 if share == 0.0 else share * times
        rows.append((rinses, floor, _reach(curve, limit, floor)))
    reachable = [row for row in rows if not isinf(row[2])]
    if not reachable:
        rinses, floor, _ = rows[-1]
        return rinses, floor
    costs = rinse_costs(library.plant)
    if costs is None:
        clean = _reach(curve, limit, 0.0)
        near = (row for row in reachable if row[2] <= _NEARLY * clean)
        rinses, floor, _ = next(near, reachable[-1])
        return rinses, floor
    soap = prices(library.plant).soap_value

    def diverted(kg: float) -> float:
        return kg if model.flash_to is None else curve.bars_kg(kg)

    rinses, floor, _ = min(
        reachable,
        key=lambda row: row[0] * (costs.per_unit * charge + costs.per_rinse) + soap * diverted(row[2]),
    )
    return rinses, floor


def _reach(curve: Washout, limit: float, floor: float) -> float:
    """Line mass in kg until floor + (1 - floor) W stays at or below the limit; inf if it never does."""
    if floor >= min(limit, 1.0):
        return inf
    return 0.0 if limit >= 1.0 else curve.kg_to_reach((limit - floor) / (1.0 - floor))


@lru_cache(maxsize=16)
def _curve(model: LineModel) -> Washout:
    return washout(model)

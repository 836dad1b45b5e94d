"""The washout of a line: how much of the outgoing dose is still in the soap that leaves it.

kg are always kg of line mass that have left the last unit since the dose was switched.
"""

import math
from collections.abc import Mapping
from functools import cached_property
from threading import RLock

from msgspec import Struct
from msgspec.structs import replace

from floorterm.flush.errors import WashoutInputError, as_number, one_of
from floorterm.flush.layout import layout
from floorterm.flush.march import REST, Pace, pace
from floorterm.flush.model import LineModel
from floorterm.flush.passes import Contents, Response, response
from floorterm.flush.roots import falling_crossing

_FARTHEST_KG = 1e9  # a residual that needs more than a million tonnes is as good as never reached
_LOG_OF_NOTHING = -800.0
_LOOK_AROUND = 32
_NEGLIGIBLE = 1e-9
_TINY = 5e-324


class UnitStart(Struct, frozen=True, kw_only=True):
    """Outgoing fraction in a unit's active cells, dead parts and plug; None: as before the switch."""

    active: float | None = None
    dead: float | None = None
    plug: float | None = None


Start = Mapping[str, float | UnitStart]


class Washout:
    """The washout curve of one line, made by `washout`. A frozen value that computes what it is asked for."""

    def __init__(self, line: LineModel, *, divert_flash: bool, floor: float, start: Start | None) -> None:
        self.line = line
        self.divert_flash = divert_flash
        self.floor = as_number(WashoutInputError, "floor", floor, high=1.0, high_open=True)
        self._lock = RLock()  # the series behind the curve grow when asked for, also from several threads
        self._steady = start is None
        self._contents = _contents(line, start or {})
        # A feed that always carries the floor leaves less to be washed out (the system is linear).
        self._washed = {
            place: _less(content, self.floor * line.steady_fraction(place))
            for place, content in self._contents.items()
        }
        self._response = self._follow()

    def residual(self, kg: float) -> float:
        """Fraction of the outgoing dose in the soap at the outlet after `kg` of line mass.

        Raises WashoutInputError for a mass that is negative or not finite.
        """
        mass = as_number(WashoutInputError, "kg", kg)
        with self._lock:
            washed = self._at_nose() if mass == 0 else self._response.at(mass)
        return min(1.0, max(0.0, self.floor + washed))

    def kg_to_reach(self, limit: float) -> float:
        """Line mass in kg after which the residual stays at or below `limit` (the last crossing).

        0.0 if it is never above; math.inf if it never stays below (limit at or below the floor, or more
        than 1e9 kg needed, as with a dead part that hardly exchanges). Raises WashoutInputError for a
        limit that is not above 0.
        """
        wanted = as_number(WashoutInputError, "limit", limit, low_open=True)
        if wanted >= 1.0:
            return 0.0
        if wanted <= self.floor:
            return math.inf
        with self._lock:
            return self._reach_steady(wanted) if self._steady else self._reach_any(wanted)

    def bars_kg(self, kg: float) -> float:
        """Mass of bars in kg in `kg` of line mass: (1 - flash_fraction) of it, flash returned or diverted."""
        return (1.0 - self.line.flash_fraction) * as_number(WashoutInputError, "kg", kg)

    @property
    def trapped_kg(self) -> float:
        """Outgoing soap in sealed dead parts, kg: it stays until a stop or a screen change may release it."""
        return sum(unit.sealed_kg * self._contents[place].dead for place, unit in enumerate(self.line.units))

    @cached_property
    def peak(self) -> tuple[float, float]:
        """(kg, residual) of the highest value of the curve; (0.0, the start value) where it only falls.

        (math.inf, floor) where it climbs towards the floor and nothing before stands higher.
        """
        if self._steady:
            return 0.0, self.residual(0.0)
        return self._highest()

    # --- how -------------------------------------------------------------------------------------

    def _follow(self) -> Response:
        line = self.line
        last = min(line.dose_index, line.flash_index) if self._returned else line.dose_index
        first = next((place for place, c in self._washed.items() if c.active or c.dead or c.plug), last)
        first = min(first, line.flash_index) if self._returned else first
        plan = layout(line, diverted=self.divert_flash, from_unit=first)
        return response(
            plan,
            dose_unit=line.dose_index,
            steady=self._steady,
            contents=self._washed,
            # soap on the conveyor left the nose before the switch, at full dose
            conveyor=1.0 - self.floor,
            scale=1.0 - self.floor,
        )

    @property
    def _returned(self) -> bool:
        return self.line.returned_fraction > 0 and not self.divert_flash

    def _at_nose(self) -> float:
        """What the last unit with content shows at the very start."""
        for place in reversed(range(len(self.line.units))):
            unit, washed = self.line.units[place], self._washed[place]
            if unit.mixed_kg > 0:
                return washed.active
            if unit.plug_kg > 0:
                return washed.plug
        return 1.0 - self.floor if self._steady else 0.0

    def _reach_steady(self, limit: float) -> float:
        """The curve only falls (every cell falls from the steady start): one bracket, one root."""
        full = 1.0 - self.floor
        target = math.log((limit - self.floor) / full)

        def above(kg: float) -> float:
            left = self._response.at(kg)
            distance = (math.log(left / full) if left > 0 else _LOG_OF_NOTHING) - target
            # the sign is that of the plain comparison, so that rounding in the logarithm decides nothing
            return max(distance, _TINY) if self.floor + left > limit else min(distance, 0.0)

        low, high = 0.0, max(self.line.content_kg, 1e-6)
        while above(high) > 0:
            low, high = high, high * 2.0
            if high > _FARTHEST_KG:
                return math.inf
        if low == 0.0:
            low = high
            while above(low) <= 0:
                low /= 2.0
                if low < 1e-12 * high:
                    return 0.0
        return falling_crossing(above, low, high)

    @cached_property
    def _bound(self) -> "Washout":
        """Full dose everywhere on the line: times the largest start fraction it is never below this curve."""
        return Washout(
            replace(self.line, dose_at=self.line.units[0].name),
            divert_flash=self.divert_flash,
            floor=0.0,
            start=None,
        )

    @property
    def _largest(self) -> float:
        """The largest fraction to be washed out anywhere on the line, the return conveyor included."""
        found = [0.0]
        for place, unit in enumerate(self.line.units):
            washed = self._washed[place]
            found += [washed.active] if unit.mixed_kg > 0 else []
            found += [washed.dead] if unit.mixed_kg * unit.dead_fraction > unit.sealed_kg else []
            found += [washed.plug] if unit.plug_kg > 0 else []
        if self._returned and self.line.return_kg > 0:
            found.append(1.0 - self.floor)
        return max(found)

    @cached_property
    def _pace(self) -> Pace:
        return pace(layout(self.line, diverted=self.divert_flash), self.line.content_kg)

    def _quiet_kg(self, limit: float) -> float:
        """From where on what lay behind the slowest cell at the start makes up next to nothing of a limit."""
        behind = tuple(unit for unit in self.line.units[self._pace.slow_unit + 1 :] if unit.content_kg > 0)
        if self._pace.slow_unit < 0 or not behind:
            return 0.0
        return washout(LineModel(units=behind)).kg_to_reach(min(1.0, REST * limit))

    def _reach_any(self, limit: float) -> float:
        """March back from where the bound is under the limit: the first value above it ends the search."""
        largest = self._largest
        if largest <= limit - self.floor:
            return 0.0
        end = self._bound.kg_to_reach((limit - self.floor) / largest)
        if math.isinf(end):
            return end

        def above(kg: float) -> float:
            return self.residual(kg) - limit

        quiet = self._quiet_kg(limit)
        right = end * (1.0 + 1e-9)  # the bound itself may be this very curve
        found = self.residual(right)
        while right > 0:
            left = self._pace.back(right, found, limit, quiet)
            found = self.residual(left)
            if found > limit:
                return falling_crossing(above, left, right)
            right = left
        return 0.0

    def _highest(self) -> tuple[float, float]:
        """Look around, then march back from where the bound is under the best found; narrow the best step down
        (golden section).
        """
        sparse = [self.line.content_kg * part / _LOOK_AROUND for part in range(1, 2 * _LOOK_AROUND)]
        best, nearest = max((self.residual(kg), -kg) for kg in (*self._pace.arrivals, *sparse))
        best_kg = -nearest
        largest = self._largest
        if largest <= 0.0:
            return (math.inf, self.floor) if best < self.floor else (best_kg, best)
        share = max(best - self.floor, _NEGLIGIBLE) / largest
        right = min(_FARTHEST_KG, 0.0 if share >= 1.0 else self._bound.kg_to_reach(share))
        quiet = self._quiet_kg(max(best, _NEGLIGIBLE))
        found = self.residual(right)
        while right > 0:
            left = self._pace.back(right, found, best, quiet)
            found = self.residual(left)
            if found >= best:
                best_kg, best = left, found
            right = left
        if best < self.floor:
            return math.inf, self.floor
        return self._refined(best_kg, best)

    def _refined(self, kg: float, found: float) -> tuple[float, float]:
        """The highest point within a step of a mass."""
        if kg == 0.0:
            return kg, found
        step = self._pace.step(kg)
        low, high = max(0.0, kg - step), kg + step
        golden = (math.sqrt(5.0) - 1.0) / 2.0
        while high - low > 1e-9 * high:
            left, right = high - golden * (high - low), low + golden * (high - low)
            if self.residual(left) > self.residual(right):
                high = right
            else:
                low = left
        refined = 0.5 * (low + high)
        return max(((kg, found), (refined, self.residual(refined))), key=lambda point: point[1])


def washout(
    line: LineModel, *, divert_flash: bool = False, floor: float = 0.0, start: Start | None = None
) -> Washout:
    """The washout of a line whose dose is switched at 0 kg.

    `divert_flash`: the flash leaves the line during the whole flush. `floor`: residual that the feed itself
    carries for ever. `start`: outgoing fraction by unit name where it is not that of the steady state before
    the switch; a number stands for active cells and plug (dead parts keep their soap), `UnitStart` for each.
    The return conveyor starts with soap of the full outgoing dose. Raises WashoutInputError naming the field.
    """
    return Washout(line, divert_flash=divert_flash, floor=floor, start=start)


def curve(of: Washout, up_to_kg: float, points: int = 101) -> tuple[tuple[float, float], ...]:
    """(kg, residual) at even steps from 0 to `up_to_kg`. Raises WashoutInputError naming the field."""
    end = as_number(WashoutInputError, "up_to_kg", up_to_kg, low_open=True)
    if isinstance(points, bool) or not isinstance(points, int) or points < 2:
        raise WashoutInputError("points", "points", found=repr(points))
    masses = [end * i / (points - 1) for i in range(points)]
    return tuple((kg, of.residual(kg)) for kg in masses)


def _contents(line: LineModel, start: Start) -> dict[int, Contents]:
    names = [unit.name for unit in line.units]
    for name in start:
        one_of(WashoutInputError, "start", name, names)
    return {place: _content(line, place, start.get(name)) for place, name in enumerate(names)}


def _content(line: LineModel, place: int, given: float | UnitStart | None) -> Contents:
    steady = line.steady_fraction(place)
    if given is None:
        return Contents(steady, steady, steady)
    field = f"start.{line.units[place].name}"
    if not isinstance(given, UnitStart):
        value = as_number(WashoutInputError, field, given, high=1.0)
        return Contents(value, steady, value)

    def part(name: str, value: float | None) -> float:
        return steady if value is None else as_number(WashoutInputError, f"{field}.{name}", value, high=1.0)

    return Contents(part("active", given.active), part("dead", given.dead), part("plug", given.plug))


def _less(content: Contents, floor: float) -> Contents:
    return Contents(content.active - floor, content.dead - floor, content.plug - floor)

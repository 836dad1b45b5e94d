"""The line as the washout sees it: units in process order, where the flash returns, where the dose enters.

Definitions: a unit is `plug_kg` of plug flow, then `tanks` equal stirred cells that share `mixed_kg`; of each
cell the share `dead_fraction` is stagnant and exchanges `exchange_ratio` times the unit's flow with the rest.
"""

from msgspec import Struct
from msgspec.structs import force_setattr

from floorterm.flush.errors import LineModelError, as_number, one_of
from floorterm.wording import Say

_FLASH_HIGH = 0.35
_TANKS_MANY = 60
_DEAD_LARGE = 0.3
_SMALL_CELL_KG, _LARGE_LINE_KG = 1.0, 1000.0


class Unit(Struct, frozen=True, kw_only=True):
    """One unit of the line: contents in kg, `dead_fraction` and `exchange_ratio` without unit.

    `dead_fraction` lies inside `mixed_kg`; with `exchange_ratio` 0 it is sealed. A unit without content is
    allowed and ignored. Raises LineModelError naming the field for a number that is negative or not finite,
    `tanks` that is no integer >= 1, or `dead_fraction` outside [0, 1).
    """

    name: str
    mixed_kg: float = 0.0
    tanks: int = 1
    plug_kg: float = 0.0
    dead_fraction: float = 0.0
    exchange_ratio: float = 0.0

    def __post_init__(self) -> None:
        if not isinstance(self.name, str) or not self.name:
            raise LineModelError("name", "no_name", found=repr(self.name))
        if isinstance(self.tanks, bool) or not isinstance(self.tanks, int) or self.tanks < 1:
            raise LineModelError(f"{self.name}.tanks", "tanks", found=repr(self.tanks))
        for field, high in (
            ("mixed_kg", float("inf")),
            ("plug_kg", float("inf")),
            ("dead_fraction", 1.0),
            ("exchange_ratio", float("inf")),
        ):
            value = as_number(
                LineModelError, f"{self.name}.{field}", getattr(self, field), high=high, high_open=True
            )
            force_setattr(self, field, value)

    @property
    def content_kg(self) -> float:
        """Everything the unit holds, dead parts included, kg."""
        return self.plug_kg + self.mixed_kg

    @property
    def sealed_kg(self) -> float:
        """Soap in dead parts that exchange nothing, kg."""
        return self.mixed_kg * self.dead_fraction if self.exchange_ratio == 0 else 0.0


class LineModel(Struct, frozen=True, kw_only=True):
    """A line: `units` in process order, the flash that comes back, and where the dose enters.

    `flash_fraction` of the mass leaving the last unit is flash and comes back at `flash_to`. Without
    `flash_to` the flash leaves the line for good. `return_kg` lies on the return path as plug flow.
    `dose_at` is the unit whose feed is dosed (default: the first); units upstream of `flash_to` see only
    the fresh flow, (1 - flash_fraction) per kg of line mass. Raises LineModelError naming the field.
    """

    units: tuple[Unit, ...]
    flash_fraction: float = 0.0
    flash_to: str | None = None
    return_kg: float = 0.0
    dose_at: str | None = None

    def __post_init__(self) -> None:
        force_setattr(self, "units", tuple(self.units))
        if not self.units:
            raise LineModelError("units", "no_units")
        if not all(isinstance(unit, Unit) for unit in self.units):
            raise LineModelError("units", "no_unit")
        names = [unit.name for unit in self.units]
        for name in names:
            if names.count(name) > 1:
                raise LineModelError("units", "repeated", found=name)
        fraction = as_number(LineModelError, "flash_fraction", self.flash_fraction, high=1.0, high_open=True)
        force_setattr(self, "flash_fraction", fraction)
        force_setattr(self, "return_kg", as_number(LineModelError, "return_kg", self.return_kg))
        if self.flash_to is not None:
            one_of(LineModelError, "flash_to", self.flash_to, names)
        if self.dose_at is not None:
            one_of(LineModelError, "dose_at", self.dose_at, names)
        if self.return_kg > 0 and self.returned_fraction == 0:
            raise LineModelError("return_kg", "no_return", found=f"{self.return_kg:g}")

    @property
    def returned_fraction(self) -> float:
        """Share of the mass leaving the last unit that comes back into the line."""
        return self.flash_fraction if self.flash_to is not None else 0.0

    @property
    def dose_index(self) -> int:
        """Place of the unit whose feed is dosed."""
        return 0 if self.dose_at is None else self._place(self.dose_at)

    @property
    def flash_index(self) -> int:
        """Place of the unit that the flash returns to; 0 where it does not return."""
        return 0 if self.flash_to is None else self._place(self.flash_to)

    @property
    def content_kg(self) -> float:
        """What all units hold, kg (without the return path)."""
        return sum(unit.content_kg for unit in self.units)

    @property
    def warnings(self) -> tuple[Say, ...]:
        """What makes the figures of this line doubtful or slow to compute, each as a sentence."""
        found = []
        if self.flash_fraction > _FLASH_HIGH:
            found.append(Say("flush.warn.flash_high", {"percent": f"{self.flash_fraction * 100:.3g}"}))
        for unit in self.units:
            if unit.tanks > _TANKS_MANY:
                found.append(Say("flush.warn.tanks_many", {"unit": unit.name, "tanks": unit.tanks}))
            if unit.dead_fraction > _DEAD_LARGE:
                percent = f"{unit.dead_fraction * 100:.3g}"
                found.append(Say("flush.warn.dead_large", {"unit": unit.name, "percent": percent}))
            if 0 < unit.mixed_kg < _SMALL_CELL_KG * unit.tanks and self.content_kg > _LARGE_LINE_KG:
                found.append(Say("flush.warn.stiff", {"unit": unit.name}))
        return tuple(found)

    def steady_fraction(self, place: int) -> float:
        """Outgoing fraction in the unit at a place before the switch: dosed on fresh feed, flash returned."""
        if place >= self.dose_index:
            return 1.0
        return self.returned_fraction if self.flash_to is not None and place >= self.flash_index else 0.0

    def _place(self, name: str) -> int:
        return [unit.name for unit in self.units].index(name)

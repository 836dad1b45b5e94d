"""How much stock and how much water: a mass balance. Volumes only through density, for they do not add.

Lye goes into water, never water onto lye.
"""

from msgspec import Struct

from floorterm.lye.errors import DilutionError, number
from floorterm.lye.properties import density, density_origins, strength, temperature
from floorterm.lye.tables import Origin, merged


class Dilution(Struct, frozen=True, kw_only=True):
    """Stock into water, masses in kg, volumes in litres at the stated temperatures; an estimate.

    `solid`: the stock is flakes or beads, taken as pure NaOH, and has no volume worth reckoning with.
    """

    stock_pct: float
    target_pct: float
    stock_kg: float
    water_kg: float
    total_kg: float
    naoh_kg: float
    stock_l: float | None
    water_l: float
    total_l: float
    stock_c: float
    water_c: float
    measured_at_c: float
    solid: bool
    origins: tuple[Origin, ...]

    @property
    def parts_l(self) -> float | None:
        """The litres that go in; more than come out."""
        return None if self.stock_l is None else self.stock_l + self.water_l


def dilute(
    stock_pct: float,
    target_pct: float,
    *,
    total_kg: float | None = None,
    total_l: float | None = None,
    stock_c: float = 20.0,
    water_c: float = 20.0,
    measured_at_c: float = 20.0,
) -> Dilution:
    """Stock and water for a mass, or for a volume measured at `measured_at_c`.

    m1 = m2 w2 / w1, water = m2 - m1; V = m / density. Stock of 100 % is solid. Raises OutsideTableError
    (stock between 50 and 100 %, temperatures outside 10 to 100 C) and DilutionError
    (target not weaker than the stock, nothing to make, both or neither of the amounts).
    """
    solid = stock_pct == 100
    stock = 100.0 if solid else strength(stock_pct, "stock")
    target = strength(target_pct, "target")
    if not 0 < target < stock:
        raise DilutionError("target", "not_weaker", found=f"{target:g}", stock=f"{stock:g}")
    t_stock, t_water = temperature(stock_c, "stock_c"), temperature(water_c, "water_c")
    t_out = temperature(measured_at_c, "measured_at_c")
    total = _total_kg(target, t_out, total_kg, total_l)
    stock_kg = total * target / stock
    water_kg = total - stock_kg
    return Dilution(
        stock_pct=stock,
        target_pct=target,
        stock_kg=stock_kg,
        water_kg=water_kg,
        total_kg=total,
        naoh_kg=total * target / 100,
        stock_l=None if solid else stock_kg / density(stock, t_stock),
        water_l=water_kg / density(0.0, t_water),
        total_l=total / density(target, t_out),
        stock_c=t_stock,
        water_c=t_water,
        measured_at_c=t_out,
        solid=solid,
        origins=merged(
            (
                *(() if solid else density_origins(stock, t_stock)),
                *density_origins(0.0, t_water),
                *density_origins(target, t_out),
            )
        ),
    )


def _total_kg(target: float, t_out: float, total_kg: float | None, total_l: float | None) -> float:
    if (total_kg is None) == (total_l is None):
        raise DilutionError("total", "one_amount")
    if total_kg is not None:
        return number(DilutionError, "total_kg", total_kg, low=0.0, low_open=True)
    return number(DilutionError, "total_l", total_l, low=0.0, low_open=True) * density(target, t_out)


def check_vessel(dilution: Dilution, working_l: float, hottest_c: float) -> None:
    """Refuse a vessel whose working volume the batch would exceed at its hottest estimated temperature.

    A hot batch is larger than a cold one, so this asks for at least the volume at 20 C. Raises DilutionError.
    """
    working = number(DilutionError, "vessel_l", working_l, low=0.0, low_open=True)
    needed = max(
        dilution.total_kg / density(dilution.target_pct, hottest_c),
        dilution.total_kg / density(dilution.target_pct),
        dilution.total_l,
    )
    if working < needed:
        raise DilutionError("vessel_l", "vessel_small", found=f"{working:g}", needed=f"{needed:.1f}")

"""Density, enthalpy, heat capacity and freezing of solutions, read from tables by linear interpolation.

Strengths are mass % NaOH, temperatures degrees Celsius. Outside 0 to 50 % and 10 to 100 C nothing is
extrapolated: OutsideTableError.
"""

from bisect import bisect_right
from collections.abc import Sequence
from functools import cache

from msgspec import Struct

from floorterm.lye.errors import OutsideTableError, number
from floorterm.lye.tables import Origin, Row, merged, table


class _Curve(Struct, frozen=True):
    """One column over one other, in rising order."""

    xs: tuple[float, ...]
    ys: tuple[float, ...]
    rows: tuple[Row, ...]


class _Grid(Struct, frozen=True):
    """A value over temperature and strength; `values[i][j]` stands at temperatures[i], strengths[j]."""

    temperatures: tuple[float, ...]
    strengths: tuple[float, ...]
    values: tuple[tuple[float, ...], ...]
    origins: tuple[tuple[Origin, ...], ...]


@cache
def _curve(name: str, x: str, y: str) -> _Curve:
    rows = tuple(sorted(table(name), key=lambda row: row.number(x)))
    return _Curve(tuple(row.number(x) for row in rows), tuple(row.number(y) for row in rows), rows)


@cache
def _grid(name: str, value: str) -> _Grid:
    cells = {(row.number("temperature_c"), row.number("mass_pct")): row for row in table(name)}
    temperatures = tuple(sorted({t for t, _ in cells}))
    strengths = tuple(sorted({w for _, w in cells}))
    return _Grid(
        temperatures,
        strengths,
        tuple(tuple(cells[t, w].number(value) for w in strengths) for t in temperatures),
        tuple(tuple(cells[t, w].origin for w in strengths) for t in temperatures),
    )


def _place(xs: Sequence[float], x: float) -> tuple[int, float]:
    """Index of the row at or below x, and the fraction of the way to the next one."""
    i = min(max(bisect_right(xs, x) - 1, 0), len(xs) - 2)
    return i, (x - xs[i]) / (xs[i + 1] - xs[i])


def _on_curve(curve: _Curve, x: float) -> float:
    i, part = _place(curve.xs, x)
    return curve.ys[i] + part * (curve.ys[i + 1] - curve.ys[i])


def _column(grid: _Grid, mass_pct: float) -> tuple[float, ...]:
    j, part = _place(grid.strengths, mass_pct)
    return tuple(row[j] + part * (row[j + 1] - row[j]) for row in grid.values)


def _on_grid(grid: _Grid, mass_pct: float, temperature_c: float) -> float:
    column = _column(grid, mass_pct)
    i, part = _place(grid.temperatures, temperature_c)
    return column[i] + part * (column[i + 1] - column[i])


def _touched(grid: _Grid, mass_pct: float, temperature_c: float) -> tuple[Origin, ...]:
    """Origins of the rows that an interpolated value really rests on."""
    i, up = _place(grid.temperatures, temperature_c)
    j, right = _place(grid.strengths, mass_pct)
    rows = [i + k for k, share in ((0, 1 - up), (1, up)) if share > 0]
    columns = [j + k for k, share in ((0, 1 - right), (1, right)) if share > 0]
    return merged(grid.origins[a][b] for a in rows for b in columns)


def strength(value: float, field: str = "mass_pct") -> float:
    """A strength inside the tables, mass %. Raises OutsideTableError."""
    found = number(OutsideTableError, field, value)
    low, high = _curve("density_20c", "mass_pct", "density_g_cm3").xs[0], max_strength()
    if not low <= found <= high:
        raise OutsideTableError(
            field, "strength_outside", found=f"{found:g}", low=f"{low:g}", high=f"{high:g}"
        )
    return found


def max_strength() -> float:
    """The strongest solution that the tables cover, mass %."""
    return _curve("density_20c", "mass_pct", "density_g_cm3").xs[-1]


def temperature(value: float, field: str = "temperature_c") -> float:
    """A temperature inside the tables, C. Raises OutsideTableError."""
    found = number(OutsideTableError, field, value)
    temperatures = _grid("enthalpy", "enthalpy_kj_kg").temperatures
    if not temperatures[0] <= found <= temperatures[-1]:
        raise OutsideTableError(
            field,
            "temperature_outside",
            found=f"{found:.4g}",
            low=f"{temperatures[0]:g}",
            high=f"{temperatures[-1]:g}",
        )
    return found


def density(mass_pct: float, temperature_c: float = 20.0) -> float:
    """Density in g/cm3 (kg/L): the table at 20 C times the tabled ratio. Raises OutsideTableError."""
    w, t = strength(mass_pct), temperature(temperature_c)
    at_20c = _on_curve(_curve("density_20c", "mass_pct", "density_g_cm3"), w)
    return at_20c * _on_grid(_grid("density_ratio", "ratio_to_20c"), w, t)


def naoh_g_per_l(mass_pct: float, temperature_c: float = 20.0) -> float:
    """Grams of NaOH in a litre: never the same number as mass %. Raises OutsideTableError."""
    return density(mass_pct, temperature_c) * mass_pct * 10


def mass_pct_of(naoh_g_l: float, temperature_c: float = 20.0) -> float:
    """Mass % of a solution given in grams of NaOH a litre, by bisection. Raises OutsideTableError."""
    wanted = number(OutsideTableError, "naoh_g_l", naoh_g_l, low=0.0)
    low, high = 0.0, max_strength()
    most = naoh_g_per_l(high, temperature_c)
    if wanted > most:
        raise OutsideTableError(
            "naoh_g_l", "g_per_l_outside", found=f"{wanted:g}", high=f"{most:.0f}", strongest=f"{high:g}"
        )
    for _ in range(60):
        middle = (low + high) / 2
        if naoh_g_per_l(middle, temperature_c) < wanted:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def enthalpy(mass_pct: float, temperature_c: float) -> float:
    """Enthalpy in kJ/kg, liquid water of 0 C = 0. Raises OutsideTableError."""
    return _on_grid(_grid("enthalpy", "enthalpy_kj_kg"), strength(mass_pct), temperature(temperature_c))


def temperature_of(mass_pct: float, enthalpy_kj_kg: float) -> float:
    """Temperature in C at which a solution has an enthalpy; the tables rise with temperature throughout.

    Raises OutsideTableError where that would be colder or hotter than the tables.
    """
    grid = _grid("enthalpy", "enthalpy_kj_kg")
    column = _column(grid, strength(mass_pct))
    i, part = _place(column, number(OutsideTableError, "enthalpy_kj_kg", enthalpy_kj_kg))
    t = grid.temperatures[i] + part * (grid.temperatures[i + 1] - grid.temperatures[i])
    return temperature(round(t, 9))


def heat_capacity(mass_pct: float) -> float:
    """Mean heat capacity of 25 to 60 C in kJ/(kg K). Raises OutsideTableError."""
    return _on_curve(_curve("heat_capacity", "mass_pct", "kj_kg_k"), strength(mass_pct))


def freezes_below(mass_pct: float) -> float | None:
    """Where a solution roughly starts to crystallise, C; None below the weakest row of the table.

    Coarse: there are dips between the rows. A blocked bleed on cold lye is no proof of zero pressure.
    """
    curve = _curve("freezing", "mass_pct", "freezes_c")
    w = strength(mass_pct)
    return None if w < curve.xs[0] else _on_curve(curve, w)


def density_origins(mass_pct: float, temperature_c: float) -> tuple[Origin, ...]:
    """Origins of the rows that a density rests on."""
    curve = _curve("density_20c", "mass_pct", "density_g_cm3")
    i, part = _place(curve.xs, mass_pct)
    rows = [curve.rows[i + k].origin for k, share in ((0, 1 - part), (1, part)) if share > 0]
    at_20c = temperature_c == 20.0  # the ratio is 1 there by definition
    ratios = () if at_20c else _touched(_grid("density_ratio", "ratio_to_20c"), mass_pct, temperature_c)
    return merged((*rows, *ratios))


def enthalpy_origins(mass_pct: float, temperature_c: float) -> tuple[Origin, ...]:
    """Origins of the rows that an enthalpy rests on."""
    return _touched(_grid("enthalpy", "enthalpy_kj_kg"), mass_pct, temperature_c)

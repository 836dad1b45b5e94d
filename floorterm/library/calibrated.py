"""A line with figures that somebody measured and accepted instead of those of its file. The file stays as it is."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from floorterm.library.model import LineFile, UnitSpec

CalibratedField = Literal["mixed_kg", "plug_kg", "tanks"]


class CalibrationMismatchError(ValueError):
    """An accepted figure is of a unit that the line does not have: the line was rebuilt since."""


class CalibratedValue(Struct, frozen=True, kw_only=True):
    """One accepted figure of one unit."""

    unit: str
    field: CalibratedField
    value: Decimal


class Calibration(Struct, frozen=True, kw_only=True):
    """Figures of a line accepted by entry `n`. `spread`: sd of ln holdup of the next changeover."""

    n: int
    values: tuple[CalibratedValue, ...]
    spread: Decimal


def with_calibration(line: LineFile, values: Sequence[CalibratedValue]) -> LineFile:
    """The line with the accepted figures; units that they touch count as measured.

    Raises CalibrationMismatchError for a unit that the line does not have.
    """
    names = {unit.name for unit in line.units}
    for one in values:
        if one.unit not in names:
            raise CalibrationMismatchError(f"{line.id} has no unit {one.unit!r} (any more).")
    return replace(line, units=tuple(_unit(unit, values) for unit in line.units))


def differences(
    line: LineFile, values: Sequence[CalibratedValue]
) -> tuple[tuple[CalibratedValue, Decimal], ...]:
    """The accepted figures that the file does not have, each with the file's own."""
    units = {unit.name: unit for unit in line.units}
    found = []
    for one in values:
        if one.unit in units:
            old = Decimal(getattr(units[one.unit], one.field))
            if old != one.value:
                found.append((one, old))
    return tuple(found)


def _unit(unit: UnitSpec, values: Sequence[CalibratedValue]) -> UnitSpec:
    mine: dict[str, Decimal | int] = {
        one.field: int(one.value) if one.field == "tanks" else one.value
        for one in values
        if one.unit == unit.name
    }
    return replace(unit, **mine, evidence="measured") if mine else unit

"""Check samples of a changeover: what fraction of the outgoing dose was left after so many kg.

The kg are kg of line mass since the dose was switched; fractions are stored, percent is for people.
"""

import csv
import io
import math
import re
from collections.abc import Sequence

from msgspec import Struct
from msgspec.structs import force_setattr

from floorterm.flush.calibration_errors import NotFallingError, SampleError
from floorterm.flush.errors import as_number
from floorterm.wording import Say

MASS, RESIDUAL, PERCENT = "m_kg", "residual", "residual_percent"
_NOTHING_FOUND = ("nd", "n.d.", "bdl", "lod")  # as laboratories write "below the detection limit"
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?")
_HALF = 0.5


class Sample(Struct, frozen=True):
    """One reading: `m_kg` of line mass pushed, `residual` the fraction of the outgoing dose, 0 < r < 1."""

    m_kg: float
    residual: float

    def __post_init__(self) -> None:
        force_setattr(self, MASS, as_number(SampleError, MASS, self.m_kg))
        residual = as_number(SampleError, RESIDUAL, self.residual, low=-math.inf)
        if residual <= 0.0:
            raise SampleError(RESIDUAL, "zero", found=f"{residual:g}")
        if residual >= 1.0:
            raise SampleError(RESIDUAL, "one_or_more", found=f"{residual:g}")
        force_setattr(self, RESIDUAL, residual)


class Samples(Struct, frozen=True):
    """Readings of one changeover in the order of their kg, and how many were too small to be read.

    `below_detection` readings are left out of every fit and never stand for zero.
    """

    readings: tuple[Sample, ...]
    below_detection: int = 0

    def __post_init__(self) -> None:
        force_setattr(self, "readings", tuple(sorted(self.readings, key=lambda one: one.m_kg)))

    @property
    def says(self) -> tuple[Say, ...]:
        """What a person must know about these readings."""
        if not self.below_detection:
            return ()
        return (Say("calibrate.below_detection", {"n": self.below_detection}),)

    def deep(self, residual: float) -> int:
        """How many readings lie below a residual."""
        return sum(one.residual < residual for one in self.readings)


def samples(pairs: Sequence[tuple[float, float]], *, detection_limit: float = 0.0) -> Samples:
    """Samples from (kg, residual fraction) pairs; readings below `detection_limit` are counted and left out.

    Raises SampleError naming the reading and the field.
    """
    as_number(SampleError, "detection_limit", detection_limit, high=1.0, high_open=True)
    found, below = [], 0
    for number, (m_kg, residual) in enumerate(pairs):
        try:
            if 0.0 <= residual < detection_limit:
                below += 1
                continue
            found.append(Sample(m_kg, residual))
        except SampleError as fault:
            raise _at(f"samples[{number}]", fault) from fault
    return Samples(tuple(found), below)


def read_samples(text: str, *, detection_limit: float = 0.0) -> Samples:
    """Samples from CSV text with the columns `m_kg` and `residual` (or `residual_percent`).

    Columns are parted by comma, semicolon or tab (as in the heading line); a decimal comma needs one of the
    last two, or quotes. "<0.002" and "nd" stand for a reading below the detection limit. Other columns,
    empty lines and lines that begin with # are passed over. Raises SampleError naming line and column.
    """
    limit = as_number(SampleError, "detection_limit", detection_limit, high=1.0, high_open=True)
    rows = _rows(text)
    if not rows:
        raise SampleError("samples", "empty")
    (line, head), *body = rows
    mass, residual, percent = _columns(line, head)
    found, below = [], 0
    for line, row in body:
        if len(row) != len(head):
            raise SampleError(f"line {line}", "cells", found=len(row), expected=len(head))
        where = f"line {line}, {head[residual]}"
        value = _residual(where, row[residual], percent=percent)
        m_kg = _number(f"line {line}, {MASS}", row[mass])
        if value is None or 0.0 < value < limit:
            as_number(SampleError, f"line {line}, {MASS}", m_kg)
            below += 1
            continue
        try:
            found.append(Sample(m_kg, value))
        except SampleError as fault:
            raise _at(f"line {line}", fault) from fault
    return Samples(tuple(found), below)


def _at(place: str, fault: SampleError) -> SampleError:
    """The same fault with the place where it stands."""
    facts = {key: value for key, value in fault.say.facts.items() if key != "field"}
    return SampleError(f"{place}, {fault.field}", fault.say.key.rpartition(".")[2], **facts)


def _rows(text: str) -> list[tuple[int, list[str]]]:
    """Line number and cells of every line that says something."""
    lines = text.removeprefix("\ufeff").splitlines()
    first = next((line for line in lines if line.strip() and not line.lstrip().startswith("#")), "")
    delimiter = next((mark for mark in (";", "\t") if mark in first), ",")
    found = []
    for number, line in enumerate(lines, start=1):
        if line.strip() and not line.lstrip().startswith("#"):
            try:
                cells = next(csv.reader(io.StringIO(line), delimiter=delimiter, strict=True))
            except csv.Error as fault:
                raise SampleError(f"line {number}", "no_csv", found=str(fault)) from fault
            if any(cell.strip() for cell in cells):
                found.append((number, [cell.strip() for cell in cells]))
    return found


def _columns(line: int, head: list[str]) -> tuple[int, int, bool]:
    """Places of the kg and of the residual, and whether the residual is in percent."""
    names = [name.lower() for name in head]
    for name in (MASS, RESIDUAL, PERCENT):
        if names.count(name) > 1:
            raise SampleError(f"line {line}, {name}", "column_twice")
    for name, given in ((MASS, MASS in names), (RESIDUAL, RESIDUAL in names or PERCENT in names)):
        if not given:
            raise SampleError(f"line {line}, {name}", "no_column", found=", ".join(head))
    if RESIDUAL in names and PERCENT in names:
        raise SampleError(f"line {line}, {RESIDUAL}", "both_columns")
    percent = PERCENT in names
    return names.index(MASS), names.index(PERCENT if percent else RESIDUAL), percent


def _residual(where: str, cell: str, *, percent: bool) -> float | None:
    """The fraction in a cell, or None for a reading below the detection limit."""
    if cell.lower() in _NOTHING_FOUND:
        return None
    if cell.startswith("<"):
        _number(where, cell[1:].rstrip("% ") if percent else cell[1:])
        return None
    if "%" in cell and not percent:
        raise SampleError(where, "percent", found=cell)
    value = _number(where, cell.rstrip("% ") if percent else cell)
    if percent:
        if value >= 100.0:
            raise SampleError(where, "hundred_or_more", found=cell)
        return value / 100.0
    if value > 1.0:
        raise SampleError(where, "above_one", found=cell)
    return value


def _number(where: str, cell: str) -> float:
    """A number with decimal comma or point. Two marks at once could be thousands: refused."""
    text = cell.strip()
    if not text:
        raise SampleError(where, "no_cell")
    if "," in text and "." in text:
        raise SampleError(where, "two_marks", found=cell)
    if not _NUMBER.fullmatch(text):
        raise SampleError(where, "no_number", found=repr(cell))
    return as_number(SampleError, where, float(text.replace(",", ".")), low=-math.inf)


def refuse_unusable(of: Samples, *, parameters: int) -> None:
    """Refuse what no washout can be fitted to.

    Raises CalibrationError for fewer than 4 readings or no reading to spare for the scatter, or if all
    readings lie on one side of 0.5, and NotFallingError if they do not fall overall: neither their ranks
    (more pairs rise than fall) nor a straight line through ln r, nor the last against the first.
    """
    readings = of.readings
    least = max(4, parameters + 1)
    if len(readings) < least:
        raise SampleError("samples", "too_few", found=len(readings), least=least)
    refuse_rising(of)
    values = [one.residual for one in readings]
    if min(values) > _HALF:
        raise SampleError(RESIDUAL, "all_above")
    if max(values) < _HALF:
        raise SampleError(RESIDUAL, "all_below")


def refuse_rising(of: Samples) -> None:
    """Raise NotFallingError unless the readings fall with the kg, by ranks, by slope and end to end."""
    readings = of.readings
    if readings[0].m_kg == readings[-1].m_kg:
        raise NotFallingError(MASS, "same_kg", found=f"{readings[0].m_kg:g}")
    pairs = [(a, b) for i, a in enumerate(readings) for b in readings[i + 1 :] if b.m_kg > a.m_kg]
    falling = sum((b.residual < a.residual) - (b.residual > a.residual) for a, b in pairs)
    mean = sum(one.m_kg for one in readings) / len(readings)
    slope = sum((one.m_kg - mean) * math.log(one.residual) for one in readings)
    if falling <= 0 or slope >= 0.0 or readings[-1].residual >= readings[0].residual:
        raise NotFallingError(
            RESIDUAL,
            "not_falling",
            first=f"{readings[0].residual:g}",
            last=f"{readings[-1].residual:g}",
            from_kg=f"{readings[0].m_kg:g}",
            to_kg=f"{readings[-1].m_kg:g}",
        )

"""From the washout and the limit to what a crew is told: kg, bars, minutes, and how sure these are."""

from collections.abc import Iterator, Mapping
from functools import lru_cache
from math import ceil, inf, isinf
from typing import Literal, get_args

from msgspec import Struct
from msgspec.structs import replace

from floorterm.flush.errors import QuantityInputError, as_number, one_of
from floorterm.flush.limits import Limit
from floorterm.flush.model import LineModel, Unit
from floorterm.flush.washout import Washout, washout
from floorterm.wording import Say

Evidence = Literal["measured", "estimated", "guessed"]
_EVIDENCE: tuple[Evidence, ...] = get_args(Evidence)  # from the best to the worst
_UNIT_FIELDS = ("mixed_kg", "plug_kg", "dead_fraction", "exchange_ratio")
_LINE_FIELDS = ("flash_fraction", "return_kg")
_OTHER_INPUTS = ("rate_kg_h", "slug_g", *_LINE_FIELDS)


class Sensitivity(Struct, frozen=True):
    """The figure worth measuring first: how many kg the flush moves if it is 1 % larger (`unit` "": of the
    line).
    """

    unit: str
    field: str
    kg_per_percent: float


class FlushQuantity(Struct, frozen=True, kw_only=True):
    """What to flush for a pair. Rounded figures are rounded to the safe side, each from the unrounded
    `m_star_kg`.

    `status`: "ok"; "none" (nothing to flush); "deviation" (flushing cannot help); "unreachable" (the feed
    itself carries more than the limit). Unless "ok" all quantities are 0. `required_kg` and `m_star_kg`:
    line mass since the dose was switched. `bars`: number to divert. `diverted_kg`: bars, and flash where it
    leaves the line. `evidence` is the worst mark among the inputs; `assumed` are those that nobody
    measured.
    """

    status: Literal["ok", "none", "deviation", "unreachable"]
    required_kg: int
    bars: int
    diverted_kg: int
    minutes: int
    m_star_kg: float
    bars_kg: float
    flash_kg: float
    limit: Limit
    evidence: Evidence
    measured: tuple[str, ...]
    assumed: tuple[str, ...]
    most_sensitive: Sensitivity | None
    trapped_kg: float
    warnings: tuple[Say, ...]


def round_up(value: float) -> int:
    """The next whole number, forgiving 1e-9 of arithmetic noise."""
    return max(0, ceil(value - 1e-9))


def flush_quantity(
    line: LineModel,
    limit: Limit,
    rate_kg_h: float,
    slug_g: float,
    evidence: Mapping[str, Evidence] | None = None,
    *,
    divert_flash: bool = False,
    floor: float = 0.0,
) -> FlushQuantity:
    """The flush of a line down to a residual limit.

    `rate_kg_h`: line mass per hour leaving the last unit. `slug_g`: mass of the slug that one bar is
    pressed from, so a bar weighs (1 - flash_fraction) of it and one leaves per slug. `evidence` marks
    inputs by unit name or by "rate_kg_h", "slug_g", "flash_fraction", "return_kg"; a unit or rate without a
    mark counts as guessed. Raises QuantityInputError, or WashoutInputError for the floor, naming the field.
    """
    rate = as_number(QuantityInputError, "rate_kg_h", rate_kg_h, low_open=True)
    slug_kg = as_number(QuantityInputError, "slug_g", slug_g, low_open=True) / 1000.0
    marks = _marks(line, evidence or {})
    curve = _known(line, divert_flash, floor)
    status, m_star = _status(curve, limit)
    gone = divert_flash or line.flash_to is None
    flash_kg = line.flash_fraction * m_star if gone else 0.0
    bars_kg = curve.bars_kg(m_star)
    return FlushQuantity(
        status=status,
        required_kg=round_up(m_star),
        bars=round_up(m_star / slug_kg),
        diverted_kg=round_up(bars_kg + flash_kg),
        minutes=round_up(m_star / rate * 60.0),
        m_star_kg=m_star,
        bars_kg=bars_kg,
        flash_kg=flash_kg,
        limit=limit,
        evidence=max(marks.values(), key=_EVIDENCE.index),
        measured=tuple(name for name, mark in marks.items() if mark == "measured"),
        assumed=tuple(name for name, mark in marks.items() if mark != "measured"),
        most_sensitive=most_sensitive(line, m_star, divert_flash=divert_flash, floor=floor),
        trapped_kg=curve.trapped_kg,
        warnings=_warnings(line, limit, curve),
    )


def most_sensitive(
    line: LineModel, kg: float, *, divert_flash: bool = False, floor: float = 0.0
) -> Sensitivity | None:
    """The field whose 1 % moves the crossing at `kg` most (first order); None where nothing is to be
    flushed.
    """
    if kg <= 0.0:
        return None
    curve = _known(line, divert_flash, floor)
    step = 1e-4 * kg
    slope = (curve.residual(kg + step) - curve.residual(kg - step)) / (2.0 * step)
    if slope >= 0.0:
        return None
    here = curve.residual(kg)
    found = [
        Sensitivity(unit, field, (here - _known(other, divert_flash, floor).residual(kg)) / slope)
        for unit, field, other in _one_percent_more(line)
    ]
    return max(found, key=lambda one: abs(one.kg_per_percent), default=None)


def _one_percent_more(line: LineModel) -> Iterator[tuple[str, str, LineModel]]:
    """Unit, field and the line with that field 1 % larger, for every figure that is not zero."""
    for place, unit in enumerate(line.units):
        for field in _UNIT_FIELDS:
            value = 1.01 * getattr(unit, field)
            if value > 0.0 and not (field == "dead_fraction" and value >= 1.0):
                units: list[Unit] = list(line.units)
                units[place] = replace(unit, **{field: value})
                yield unit.name, field, replace(line, units=tuple(units))
    for field in _LINE_FIELDS:
        value = 1.01 * getattr(line, field)
        if value > 0.0 and not (field == "flash_fraction" and value >= 1.0):
            yield "", field, replace(line, **{field: value})


@lru_cache(maxsize=256)
def _known(line: LineModel, divert_flash: bool, floor: float) -> Washout:
    """The washout of a line, made once: all pairs on it share its series."""
    return washout(line, divert_flash=divert_flash, floor=floor)


def _status(curve: Washout, limit: Limit) -> tuple[Literal["ok", "none", "deviation", "unreachable"], float]:
    if limit.status == "deviation":
        return "deviation", 0.0
    m_star = curve.kg_to_reach(limit.value) if limit.value > 0.0 else inf
    if isinf(m_star):
        return "unreachable", 0.0
    return ("ok", m_star) if m_star > 0.0 else ("none", 0.0)


def _marks(line: LineModel, evidence: Mapping[str, Evidence]) -> dict[str, Evidence]:
    names = [unit.name for unit in line.units]
    for name, mark in evidence.items():
        one_of(QuantityInputError, "evidence", name, (*names, *_OTHER_INPUTS))
        one_of(QuantityInputError, f"evidence.{name}", mark, _EVIDENCE)
    needed = [unit.name for unit in line.units if unit.content_kg > 0] + ["rate_kg_h"]
    needed += [name for name in _OTHER_INPUTS if name in evidence and name not in needed]
    return {name: evidence.get(name, "guessed") for name in needed}


def _warnings(line: LineModel, limit: Limit, curve: Washout) -> tuple[Say, ...]:
    found = list(line.warnings)
    if curve.trapped_kg > 0:
        found.append(Say("flush.warn.trapped", {"kg": f"{curve.trapped_kg:.1f}"}))
    if curve.divert_flash and line.return_kg > 0:
        found.append(Say("flush.warn.conveyor", {"kg": f"{line.return_kg:g}"}))
    decisive = limit.decisive
    if decisive is not None and decisive.confidence != "text-seen":
        mark = decisive.confidence.replace("-", "_")
        if decisive.entry:
            found.append(Say(f"flush.warn.confidence_{mark}", {"item": decisive.item}))
        else:
            found.append(Say(f"limits.warn.confidence_{mark}"))
    found.extend(limit.notes)
    return tuple(found)

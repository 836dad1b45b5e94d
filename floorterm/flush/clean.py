"""Strip and clean chosen units: part of their soap is taken out and replaced by new soap.

The first crossing of the limit is worthless here: a clean last unit starts good and is soiled by the units
before it. What counts is the last crossing.
"""

from collections.abc import Mapping, Sequence
from math import isinf

from msgspec import Struct

from floorterm.flush.errors import WashoutInputError, as_number, one_of
from floorterm.flush.flash import washed_limit
from floorterm.flush.following import Followed
from floorterm.flush.model import LineModel
from floorterm.flush.washout import UnitStart, washout
from floorterm.wording import Say


class Cleaning(Struct, frozen=True, kw_only=True):
    """One unit cleaned: `removed_share` of its soap replaced, which takes `minutes` (at the site's standard).

    `scraped`: somebody says that the dead parts were scraped too; otherwise they keep all of their soap.
    Raises WashoutInputError naming the field for a share outside [0, 1] or minutes that are negative.
    """

    unit: str
    removed_share: float
    minutes: float = 0.0
    scraped: bool = False

    def __post_init__(self) -> None:
        as_number(WashoutInputError, f"{self.unit}.removed_share", self.removed_share, high=1.0)
        as_number(WashoutInputError, f"{self.unit}.minutes", self.minutes)


class Stripped(Struct, frozen=True, kw_only=True):
    """A flush after cleaning, flash diverted. Masses in kg; `m_star_kg`, `first_kg`, `peak_kg`: line mass.

    `first_kg` is the first crossing (0: starts good). `peak`: the highest residual, met at `peak_kg`. `removed_kg`:
    soap taken out of the units. `saved_kg`: line mass less than without cleaning. `say`: what counts for dead
    parts, and "starts clean, turns bad" where that is so.
    """

    m_star_kg: float
    first_kg: float
    peak_kg: float
    peak: float
    removed_kg: float
    saved_kg: float
    minutes: float
    say: tuple[Say, ...]


class CleaningWorth(Struct, frozen=True):
    """What cleaning one unit alone saves: kg of line mass, and kg per cleaning minute."""

    cleaning: Cleaning
    saved_kg: float
    kg_per_min: float


def start_after(line: LineModel, cleanings: Sequence[Cleaning]) -> Mapping[str, UnitStart]:
    """The start state of a line after cleaning. Raises WashoutInputError for an unknown or repeated unit."""
    names = [unit.name for unit in line.units]
    found: dict[str, UnitStart] = {}
    for cleaning in cleanings:
        one_of(WashoutInputError, "unit", cleaning.unit, names)
        if cleaning.unit in found:
            raise WashoutInputError("unit", "repeated", found=cleaning.unit)
        kept = (1.0 - cleaning.removed_share) * line.steady_fraction(names.index(cleaning.unit))
        found[cleaning.unit] = UnitStart(active=kept, plug=kept, dead=kept if cleaning.scraped else None)
    return found


def removed_kg(line: LineModel, cleanings: Sequence[Cleaning]) -> float:
    """Soap taken out, kg: of the active part and the plug, and of the dead part where it was scraped."""
    units = {unit.name: unit for unit in line.units}
    total = 0.0
    for cleaning in cleanings:
        unit = units[cleaning.unit]
        reached = unit.content_kg - (0.0 if cleaning.scraped else unit.mixed_kg * unit.dead_fraction)
        total += cleaning.removed_share * reached
    return total


def strip(line: LineModel, cleanings: Sequence[Cleaning], limit: float, *, floor: float = 0.0) -> Stripped:
    """The flush down to a limit after cleaning, flash diverted. Raises WashoutInputError naming the field."""
    start = start_after(line, cleanings)
    wanted = washed_limit(limit, floor)
    after = Followed(line, start=start)
    if wanted <= 0.0:
        m_star = first = before = float("inf")
        peak_kg, peak = 0.0, 1.0
    else:
        before = washout(line, divert_flash=True).kg_to_reach(wanted)
        m_star = washout(line, divert_flash=True, start=start).kg_to_reach(wanted)
        first = after.first_reach(wanted)
        peak_kg, value = after.highest(0.0)
        peak = floor + (1.0 - floor) * value
    return Stripped(
        m_star_kg=m_star,
        first_kg=first,
        peak_kg=peak_kg,
        peak=peak,
        removed_kg=removed_kg(line, cleanings),
        saved_kg=0.0 if isinf(m_star) else before - m_star,
        minutes=sum(cleaning.minutes for cleaning in cleanings),
        say=_told(line, cleanings, first, m_star),
    )


def rank_cleanings(
    line: LineModel, cleanings: Sequence[Cleaning], limit: float, *, floor: float = 0.0
) -> tuple[CleaningWorth, ...]:
    """Which unit to clean first: each cleaned alone, by kg saved per cleaning minute.

    Raises WashoutInputError for a cleaning without minutes.
    """
    found = []
    for cleaning in cleanings:
        minutes = as_number(WashoutInputError, f"{cleaning.unit}.minutes", cleaning.minutes, low_open=True)
        saved = strip(line, (cleaning,), limit, floor=floor).saved_kg
        found.append(CleaningWorth(cleaning, saved, saved / minutes))
    return tuple(sorted(found, key=lambda worth: (-worth.kg_per_min, worth.cleaning.unit)))


def _told(line: LineModel, cleanings: Sequence[Cleaning], first: float, m_star: float) -> tuple[Say, ...]:
    found = []
    scraped = {cleaning.unit: cleaning.scraped for cleaning in cleanings}
    for unit in line.units:
        if unit.name in scraped and unit.dead_fraction > 0:
            kind = "scraped" if scraped[unit.name] else "not_scraped"
            found.append(Say(f"strategies.clean.{kind}", {"unit": unit.name}))
    if first < m_star * (1.0 - 1e-9):
        found.append(Say("strategies.clean.turns_bad", {"first": f"{first:.0f}", "good": f"{m_star:.0f}"}))
    return tuple(found)

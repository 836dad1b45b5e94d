"""Capacity of a line: which unit governs, how many good bars a minute, and the line rate that goes with it."""

from msgspec import Struct

from floorterm.flush.dosing import returned_fraction
from floorterm.flush.errors import CapacityInputError, as_number


class Capacity(Struct, frozen=True, kw_only=True):
    """Bars a minute at each unit and the good ones that come out. `line_kg_h`: line mass that the governing
    unit lets through. `order`: units from the governing one on, the next one is what to mend after it.
    """

    stamper_min: float
    plodder_min: float
    wrapper_min: float
    good_min: float
    line_kg_h: float
    returned_fraction: float
    order: tuple[str, str, str]

    @property
    def governing(self) -> str:
        """The unit that holds the line back."""
        return self.order[0]


def flash_of_excess(excess: float) -> float:
    """Flash as share of the line mass where a slug is heavier than its bar by `excess` (0.25: by 25 %)."""
    more = as_number(CapacityInputError, "excess", excess)
    return more / (1.0 + more)


def capacity(
    *,
    strokes_min: float,
    cavities: int,
    plodder_kg_h: float,
    flash_fraction: float,
    bar_g: float,
    wrapper_min: float,
    rejects: float = 0.0,
) -> Capacity:
    """The good bars a minute: the least of stamper and plodder, both less rejects, and wrapper.

    `rejects`: share of the stamped bars. Source: mass balance, bars = (1 - flash) of the line mass. Raises
    CapacityInputError naming the field.
    """
    strokes = as_number(CapacityInputError, "strokes_min", strokes_min, low_open=True)
    if isinstance(cavities, bool) or not isinstance(cavities, int) or cavities < 1:
        raise CapacityInputError("cavities", "whole", found=repr(cavities), low=1)
    rate = as_number(CapacityInputError, "plodder_kg_h", plodder_kg_h, low_open=True)
    flash = as_number(CapacityInputError, "flash_fraction", flash_fraction, high=1.0, high_open=True)
    bar_kg = as_number(CapacityInputError, "bar_g", bar_g, low_open=True) / 1000.0
    wrapper = as_number(CapacityInputError, "wrapper_min", wrapper_min, low_open=True)
    bad = as_number(CapacityInputError, "rejects", rejects, high=1.0, high_open=True)
    stamper, plodder = strokes * cavities, rate / 60.0 * (1.0 - flash) / bar_kg
    good = {"plodder": plodder * (1.0 - bad), "stamper": stamper * (1.0 - bad), "wrapper": wrapper}
    first, second, third = sorted(good, key=lambda unit: good[unit])
    least = good[first]
    return Capacity(
        stamper_min=stamper,
        plodder_min=plodder,
        wrapper_min=wrapper,
        good_min=least,
        line_kg_h=least / (1.0 - bad) * bar_kg * 60.0 / (1.0 - flash),
        returned_fraction=returned_fraction(flash, bad),
        order=(first, second, third),
    )


def flush_minutes(m_star_kg: float, line_kg_h: float) -> float:
    """Minutes of a flush: line mass over line rate; where the press stands, at the rate of the flush."""
    kg = as_number(CapacityInputError, "m_star_kg", m_star_kg)
    return kg / as_number(CapacityInputError, "line_kg_h", line_kg_h, low_open=True) * 60.0

"""Refusals of the two acts of lye work: confirming protection, and saying that the lye is not what was written."""

from collections.abc import Iterator

from floorterm.changeover.acts import Protect, RaiseLye
from floorterm.changeover.lye_needs import asked_protection, needed_items
from floorterm.changeover.order_rules import SITE, no, status_refusals
from floorterm.changeover.sign_rules import Asked
from floorterm.changeover.worksheet import Section
from floorterm.lye.errors import ProtectionError
from floorterm.wording import Refusal

_HOTTEST_C, _COLDEST_C, _PURE_PCT = 150, -40, 100


def protect(asked: Asked, act: Protect) -> Iterator[Refusal]:
    """All refusals of confirming protection."""
    section = _lye_section(asked, act.section)
    if section is None:
        yield no("no_lye_work", section=act.section)
        return
    yield from _ended(asked)
    try:
        known = {item.id for item in needed_items(asked_protection(asked.state, section))}
    except ProtectionError as fault:
        yield Refusal(fault.say, SITE)
        return
    if not act.items or not known.issuperset(act.items):
        yield no(
            "no_such_protection", items=", ".join(item for item in act.items if item not in known) or "-"
        )


def raise_lye(asked: Asked, act: RaiseLye) -> Iterator[Refusal]:
    """All refusals of a strength, temperature or pressure as found: only what cannot be."""
    if _lye_section(asked, act.section) is None:
        yield no("no_lye_work", section=act.section)
        return
    yield from _ended(asked)
    if not act.mass_pct.is_finite() or not 0 < act.mass_pct <= _PURE_PCT:
        yield no("lye_strength_impossible")
    if not act.temperature_c.is_finite() or not _COLDEST_C <= act.temperature_c <= _HOTTEST_C:
        yield no("lye_temperature_impossible")


def _lye_section(asked: Asked, name: str) -> Section | None:
    section = asked.state.worksheet.section(name)
    return section if section is not None and section.lye is not None else None


def _ended(asked: Asked) -> Iterator[Refusal]:
    """Both are possible while the work is paused, not after its end."""
    if asked.state.ended:
        yield from status_refusals(asked.state)

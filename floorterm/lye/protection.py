"""Protection by task class L0 to L6: a default list that the site's hazard assessment replaces.

A class is raised by strength, by temperature above the site limit and by pressure, and never lowered
automatically: lowering is a competent person's decision, outside this arithmetic.
"""

from collections.abc import Mapping
from functools import cache
from typing import Literal, get_args

from msgspec import Struct

from floorterm.lye.bands import REGIONS, Region
from floorterm.lye.errors import ProtectionError, number
from floorterm.lye.tables import Origin, figure, figure_origin, merged, table
from floorterm.wording import LANGUAGES, Say, words

TaskClass = Literal["L0", "L1", "L2", "L3", "L4", "L5", "L6"]
CLASSES: tuple[TaskClass, ...] = get_args(TaskClass)
LADDER: tuple[TaskClass, ...] = ("L0", "L6", "L1", "L3", "L4", "L2", "L5")  # least to most protection
Cause = Literal["strength", "temperature", "pressure", "standing"]
WEAR = ("eyes", "hands", "body", "air")
_CODE_LETTERS = frozenset("ABCDEFGHIJKLMNOPST")  # one for each listed chemical


class Item(Struct, frozen=True):
    """Something to wear or to make sure of; `slot` is eyes, hands, body, air or condition."""

    id: str
    slot: str
    origin: Origin


class Standard(Struct, frozen=True):
    """A standard named on equipment of a kind in a region, and the mark to look for."""

    kind: str
    region: Region
    standard: str
    mark: str
    origin: Origin


class Glove(Struct, frozen=True):
    """What a glove's mark or material says about lye."""

    id: str
    mark: str
    meaning: str
    origin: Origin


class Protection(Struct, frozen=True):
    """What a task asks: `task_class` as chosen, `asked_class` as raised, and by what.

    Conditions (drained, locked out, eyewash checked …) are those of both classes together that fit the task.
    """

    task_class: TaskClass
    asked_class: TaskClass
    raised_by: tuple[Cause, ...]
    items: tuple[Item, ...]
    warnings: tuple[Say, ...]
    origins: tuple[Origin, ...]


def task_class(value: str) -> TaskClass:
    """A word as a task class. Raises ProtectionError."""
    found = next((one for one in CLASSES if one == value), None)
    if found is None:
        raise ProtectionError("task_class", "unknown", found=str(value), known=", ".join(CLASSES))
    return found


def item_name(item: str) -> Mapping[str, str]:
    """An item as people call it, in each language: a fact for a sentence."""
    return {language: words(f"lye.item.{item}", language) for language in LANGUAGES}


def rank(one: TaskClass) -> int:
    """Place on the ladder of protection, 0 for the least."""
    return LADDER.index(one)


@cache
def items_of(one: TaskClass) -> tuple[Item, ...]:
    """The default list of a class."""
    return tuple(
        Item(row["item"], row["slot"], row.origin) for row in table("protection") if row["task_class"] == one
    )


def protection(
    task: str,
    *,
    mass_pct: float,
    temperature_c: float,
    pressurised: bool,
    limit_c: float | None = None,
    standing: TaskClass | None = None,
) -> Protection:
    """What a task asks under its conditions; `standing` is a class that applies already and stays.

    Raises ProtectionError for an unknown class, figures that make no sense, and for opening a line (L2) that is
    under pressure: drain, relieve and lock out first, no protection makes up for it.
    """
    chosen = task_class(task)
    w = number(ProtectionError, "mass_pct", mass_pct, low=0.0)
    if w > 100:
        raise ProtectionError("mass_pct", "above", found=f"{w:g}", high="100")
    t = number(ProtectionError, "temperature_c", temperature_c)
    limit = figure("site_limit_c") if limit_c is None else number(ProtectionError, "limit_c", limit_c)
    if pressurised and chosen == "L2":
        raise ProtectionError("pressure", "opened_under_pressure")
    holds: dict[Cause, bool] = {
        "strength": w >= figure("strength_pct"),
        "temperature": t > limit,
        "pressure": pressurised,
    }
    asked, causes = chosen, []
    for cause, true in holds.items():
        higher = _raised(cause, chosen) if true else chosen
        if higher != chosen:
            causes.append(cause)
        asked = max(asked, higher, key=rank)
    if standing is not None and rank(standing) > rank(asked):
        asked = standing
        causes.append("standing")
    items = _together(chosen, asked)
    origins = [item.origin for item in items]
    if causes:
        origins += [row.origin for row in table("raising") if row["cause"] in causes]
    if "strength" in causes:
        origins.append(figure_origin("strength_pct"))
    if "temperature" in causes:
        origins.append(figure_origin("site_limit_c"))
    return Protection(chosen, asked, tuple(causes), items, _glove_warnings(items, w, t), merged(origins))


def _raised(cause: Cause, chosen: TaskClass) -> TaskClass:
    return next(
        (
            task_class(row["raised_to"])
            for row in table("raising")
            if row["cause"] == cause and row["task_class"] == chosen
        ),
        chosen,
    )


_DRY = "dry_gloves_k"


def _together(chosen: TaskClass, asked: TaskClass) -> tuple[Item, ...]:
    """Wear of the raised class, slot by slot, plus what the task itself asks beyond wear."""
    own, higher = items_of(chosen), items_of(asked)
    slots = {item.slot for item in higher}
    found = {item.id: item for item in higher if item.slot in WEAR}
    found |= {item.id: item for item in own if item.slot in WEAR and item.slot not in slots}
    found |= {item.id: item for item in own if item.slot not in WEAR}
    found |= {
        item.id: item for item in own if item.id == _DRY
    }  # solid lye asks it of whatever gloves are worn
    if any(item.id == "eyewash_checked" for item in higher):
        found |= {item.id: item for item in higher if item.id == "eyewash_checked"}
    return tuple(found.values())


def _glove_warnings(items: tuple[Item, ...], mass_pct: float, temperature_c: float) -> tuple[Say, ...]:
    """The letter K stands for 40 % at 23 C: stronger or hotter lye needs the maker's data."""
    if not any(item.id.endswith(("_k", "gloves")) for item in items):
        return ()
    if mass_pct > 40 or temperature_c > 23:
        facts = {"strength": f"{mass_pct:g}", "temperature": f"{temperature_c:.0f}"}
        return (Say("lye.warning.glove_beyond_k", facts),)
    return ()


@cache
def gloves() -> tuple[Glove, ...]:
    """What marks and materials of gloves say about lye."""
    return tuple(Glove(row["glove"], row["mark"], row["meaning"], row.origin) for row in table("gloves"))


def glove_shown_against_lye(marking: str) -> bool:
    """Whether the letters on a glove (such as "AJKLMN") hold the K that stands for sodium hydroxide 40 %.

    Only a run of code letters, each once and in the order of the alphabet, is a marking: the k of "unmarked" or
    of "thick rubber" shows nothing. Source: EN ISO 374-1:2016 summary; the set of 18 letters is from memory.
    """
    letters = marking.strip().upper()
    return "K" in letters and set(letters) <= _CODE_LETTERS and list(letters) == sorted(set(letters))


def standards(region: Region) -> tuple[Standard, ...]:
    """Standards to look for on equipment in a region. Raises ProtectionError for an unknown one."""
    if region not in REGIONS:
        raise ProtectionError("region", "unknown", found=str(region), known=", ".join(REGIONS))
    return tuple(
        Standard(row["kind"], region, row["standard"], row["mark"], row.origin)
        for row in table("standards")
        if row["region"] == region
    )

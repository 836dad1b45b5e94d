"""What must be in order around a lye task: eyewash, data sheet, hazard assessment, order of addition, tools.

The weekly and yearly eyewash limits come from a consensus standard (ANSI/ISEA Z358.1), not from the text of
29 CFR 1910.151(c), and say so.
"""

import re
from calendar import monthrange
from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from typing import Literal

from msgspec import Struct

from floorterm.lye.errors import LyeError, number
from floorterm.lye.protection import TaskClass
from floorterm.lye.tables import figure, table
from floorterm.wording import LANGUAGES, Refusal, Say, words

# Other words for a material that lye attacks, or for what is coated with it.
_OTHER_NAMES = {
    "aluminum": "aluminium",
    "cinc": "zinc",
    "galvanised": "zinc",
    "galvanized": "zinc",
    "galvanizado": "zinc",
    "galvanizada": "zinc",
    "tinplate": "tin",
    "hojalata": "tin",
}
_EYEWASH = "29 CFR 1910.151(c); ANSI/ISEA Z358.1 (consensus standard)"


class Eyewash(Struct, frozen=True, kw_only=True):
    """Checks of an eyewash and shower. `failed` is the last failed activation; a later good one clears it."""

    activated: date | None
    inspected: date | None
    failed: date | None = None
    checked_before_task: bool = False


def months_later(day: date, months: int) -> date:
    """The same day of a later month, or that month's last day."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def eyewash_refusals(task: TaskClass, eyewash: Eyewash, today: date) -> tuple[Refusal, ...]:
    """What blocks a task of L1 to L6 in the area; nothing blocks L0.

    Activated at most 7 days ago (day 8 is overdue), inspected at most 12 calendar months ago, no failure since
    the last good activation (a failure on the same day counts), quick check before the task.
    """
    if task == "L0":
        return ()
    days, months = int(figure("eyewash_days")), int(figure("eyewash_months"))
    found = []
    activated, inspected = eyewash.activated, eyewash.inspected
    if activated is None or today - activated > timedelta(days=days) or activated > today:
        found.append(Refusal(Say("lye.eyewash.weekly", {"days": days}), _EYEWASH))
    if inspected is None or today > months_later(inspected, months) or inspected > today:
        found.append(Refusal(Say("lye.eyewash.yearly", {"months": months}), _EYEWASH))
    if eyewash.failed is not None and (activated is None or activated <= eyewash.failed):
        found.append(Refusal(Say("lye.eyewash.failed"), _EYEWASH))
    if not eyewash.checked_before_task:
        found.append(Refusal(Say("lye.eyewash.before_task"), "site policy"))
    return tuple(found)


def data_sheet_warnings(shown: date | None, newest: date | None) -> tuple[Say, ...]:
    """A sheet older than the newest stored, or none at all (29 CFR 1910.1200(g))."""
    if shown is None:
        return (Say("lye.sheet.none"),)
    if newest is not None and shown < newest:
        return (Say("lye.sheet.older", {"shown": shown.isoformat(), "newest": newest.isoformat()}),)
    return ()


class Assessment(Struct, frozen=True, kw_only=True):
    """The written certification of hazard assessment: workplace, who certifies, when, and that it is one."""

    workplace: str
    certified_by: str
    on: date | None
    titled: bool
    changed_on: date | None = None  # the last change of the task or area


def assessment_refusals(assessment: Assessment, today: date) -> tuple[Refusal, ...]:
    """What the certification lacks (29 CFR 1910.132(d)(2)); the clause sets no expiry date."""
    lacks = [
        name
        for name, there in (
            ("workplace", bool(assessment.workplace.strip())),
            ("certified_by", bool(assessment.certified_by.strip())),
            ("on", assessment.on is not None and assessment.on <= today),
            ("titled", assessment.titled),
        )
        if not there
    ]
    found = [Refusal(Say(f"lye.assessment.{name}"), "29 CFR 1910.132(d)(2)") for name in lacks]
    on, changed = assessment.on, assessment.changed_on
    if on is not None and changed is not None and on < changed:
        found.append(Refusal(Say("lye.assessment.changed"), "29 CFR 1910.132(d)(1)"))
    return tuple(found)


class Addition(Struct, frozen=True, kw_only=True):
    """One thing put into the vessel, in the order of the record; `batch_pct` is the strength just before."""

    kind: Literal["water_in", "lye_in"]
    kg: float
    batch_pct: float


def order_violations(additions: Sequence[Addition], water_kg: float, target_pct: float) -> tuple[int, ...]:
    """Indices of additions in the wrong order: lye before all of the water, or water onto strong lye.

    All of the planned water goes in before the first lye. A later top-up is allowed only when the batch is
    already at the target strength or below. Raises LyeError for a mass or strength that is none.
    Source: handling guides for caustic; UFC 3-240-13FN.
    """
    number(LyeError, "water_kg", water_kg, low=0.0, low_open=True)
    number(LyeError, "target_pct", target_pct, low=0.0, low_open=True)
    wrong = []
    water, lye_seen = 0.0, False
    for i, one in enumerate(additions):
        number(LyeError, "kg", one.kg, low=0.0, low_open=True)
        number(LyeError, "batch_pct", one.batch_pct, low=0.0)
        if one.kind == "lye_in":
            if not lye_seen and water < water_kg * 0.999:  # the scale's own tolerance of one in a thousand
                wrong.append(i)
            lye_seen = True
        else:
            water += one.kg
            if lye_seen and one.batch_pct > target_pct:
                wrong.append(i)
    return tuple(wrong)


def blocked_tools(materials: Iterable[str]) -> tuple[Refusal, ...]:
    """Materials on the tool list that lye attacks: aluminium, zinc, tin, lead, leather.

    A material counts wherever its word stands in the text ("aluminium scoop", "cubo galvanizado"), in every
    language of the wordings; "lead-free" is not lead.
    """
    blocked = [row["material"] for row in table("incompatible") if row["blocks_tools"] == "yes"]
    known = _OTHER_NAMES | {
        word.lower(): name for name in blocked for word in (name, *_material(name).values())
    }
    spoken = (word for text in materials for word in re.findall(r"[^\W_]+(?:-free)?", text.lower()))
    return tuple(
        Refusal(Say("lye.tool_blocked", {"material": _material(name)}), "site policy")
        for name in dict.fromkeys(known[word] for word in spoken if word in known)
    )


def _material(name: str) -> dict[str, str]:
    return {language: words(f"lye.material.{name}", language) for language in LANGUAGES}

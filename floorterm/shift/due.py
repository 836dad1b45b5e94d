"""What of the plant's programme is due by the day after a shift: eyewash, lockout inspections. Pure."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, timedelta
from typing import Literal

from floorterm.changeover.eyewash import eyewash_of
from floorterm.changeover.state import State
from floorterm.lockout.inspection import Due
from floorterm.lye.duties import months_later
from floorterm.lye.tables import figure
from floorterm.shift.summary import DueLine, Text

_NEXT_DAY = timedelta(days=1)  # due tomorrow is for the next shift to know


def eyewash_due(
    kind: Literal["weekly", "yearly"], title: Text, checks: Sequence[State], day: date
) -> Iterator[DueLine]:
    """The check of an eyewash if it is due by the day after; its limits are those of lye work (`lye.duties`)."""
    if kind == "weekly":
        found = eyewash_of(checks, ())
        last = found.activated
        until = last + timedelta(days=int(figure("eyewash_days"))) if last else None
        if found.failed is not None:
            yield DueLine(sort="failed", text=title, on=found.failed.isoformat())
    else:
        last = eyewash_of((), checks).inspected
        until = months_later(last, int(figure("eyewash_months"))) if last else None
    if until is None or until <= day + _NEXT_DAY:
        yield DueLine(sort=kind, text=title, on=until.isoformat() if until else "")


def inspections_due(found: Iterable[Due], titles: dict[str, Text]) -> Iterator[DueLine]:
    """Lockout procedures whose periodic inspection is overdue or due soon, and what the last ones left open."""
    for one in found:
        title = titles.get(one.procedure, {"en": one.procedure})
        if one.status != "in_date":
            yield DueLine(sort="inspection", text=title, on=one.due.isoformat())
        if one.not_reviewed:
            yield DueLine(sort="review", text=title, said=", ".join(one.not_reviewed))
        for _, deviation in one.open:
            yield DueLine(sort="correction", text=title, said=deviation.text)

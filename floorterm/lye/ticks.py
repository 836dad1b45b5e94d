"""Confirmed protection: what still lacks before a lye task starts. A missing item is a stop without override."""

from collections.abc import Iterable
from datetime import date

from msgspec import Struct

from floorterm.lye.protection import Protection, TaskClass, item_name, rank
from floorterm.wording import Refusal, Say

_RULE = "site policy"


class Tick(Struct, frozen=True, kw_only=True):
    """One item confirmed: by whom, in which session and shift, for which class.

    `inspection_due` is the last good day of the item's own inspection, None if it has none.
    """

    item: str
    by: str
    session: str
    shift: str
    task_class: TaskClass
    inspection_due: date | None = None


def missing(
    asked: Protection, ticks: Iterable[Tick], *, by: str, session: str, shift: str, today: date
) -> tuple[Refusal, ...]:
    """Why the task must not start yet, one refusal an item.

    Only a tick by the acting person, in the same session and shift, for this class or a higher one, with the
    item's inspection in date counts: yesterday's tick, another person's and one for a lower class do not.
    """
    found = list(ticks)
    refusals = []
    for item in asked.items:
        reasons = [
            _reason(tick, asked, by=by, session=session, shift=shift, today=today)
            for tick in found
            if tick.item == item.id
        ]
        if not reasons:
            refusals.append(Refusal(Say("lye.tick.none", {"item": item_name(item.id)}), _RULE))
        elif None not in reasons:
            refusals.append(Refusal(Say(f"lye.tick.{reasons[-1]}", {"item": item_name(item.id)}), _RULE))
    return tuple(refusals)


def _reason(tick: Tick, asked: Protection, *, by: str, session: str, shift: str, today: date) -> str | None:
    if tick.by != by:
        return "other_person"
    if tick.shift != shift:
        return "other_shift"
    if tick.session != session:
        return "other_session"
    if rank(tick.task_class) < rank(asked.asked_class):
        return "lower_class"
    if tick.inspection_due is not None and tick.inspection_due < today:
        return "inspection_overdue"
    return None

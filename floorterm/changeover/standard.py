"""Standard minutes of a worksheet: a list schedule with one person a duty, in the worksheet's order.

It answers "how long should this take" for the heading of a screen; the crew planner is another matter.
"""

from collections.abc import Mapping
from decimal import Decimal
from types import MappingProxyType

from msgspec import Struct

from floorterm.changeover.worksheet import Step, Worksheet

_ZERO = Decimal(0)
_AS_WRITTEN: Mapping[str, Decimal] = MappingProxyType({})


class Slot(Struct, frozen=True):
    """Planned start and end of a step, in minutes from the start of the internal work."""

    start: Decimal
    end: Decimal


def minutes_of(worksheet: Worksheet, step: Step, kg: Decimal | None = None) -> Decimal:
    """Standard minutes of one step: a wait takes its dwell, a flush what its kg need at the line's rate.

    `kg`: what the flush asks for now, where that was revised.
    """
    if step.kind == "flush" and worksheet.flush is not None and step.required_kg is not None:
        required = step.required_kg if kg is None else kg
        return (required / worksheet.flush.rate_kg_h * 60).quantize(Decimal("0.1"))
    if step.kind == "wait" and step.dwell_min is not None:
        return max(step.dwell_min, step.standard_min)
    return step.standard_min


def schedule(worksheet: Worksheet, kg: Mapping[str, Decimal] = _AS_WRITTEN) -> Mapping[str, Slot]:
    """A slot for every step. External steps (done while the line still runs) end at minute 0 or before.

    A step starts when everything it comes after is done and the person of its duty is free; lockout steps
    count for the duty of the work they protect, so that their owner is not in two places. `kg`: what flush steps
    ask for now, by step.
    """
    slots: dict[str, Slot] = {}
    free: dict[str, Decimal] = {}
    for section in worksheet.sections:
        for step in section.steps:
            minutes = minutes_of(worksheet, step, kg.get(step.id))
            if step.external:
                slots[step.id] = Slot(-minutes, _ZERO)
                continue
            duty = step.duty or "lockout"
            ready = max((slots[name].end for name in step.after if name in slots), default=_ZERO)
            start = max(ready, free.get(duty, _ZERO), _ZERO)
            waits = step.kind == "wait"
            slots[step.id] = Slot(start, start + minutes)
            if not waits:  # nobody stands beside a dwell
                free[duty] = start + minutes
    return slots


def standard_min(worksheet: Worksheet, kg: Mapping[str, Decimal] = _AS_WRITTEN) -> Decimal:
    """Standard minutes from the last good outgoing bar to the end of the last step.

    Without a marked last good bar (a procedure that stands alone) the count begins at minute 0.
    """
    slots = schedule(worksheet, kg)
    marked = [slots[step.id].end for step in worksheet.steps() if step.mark == "last_good_outgoing"]
    begin = marked[0] if marked else _ZERO
    end = max((slot.end for slot in slots.values()), default=_ZERO)
    return max(end - begin, _ZERO)

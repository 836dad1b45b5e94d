"""From what somebody types off a paper to the act that enters it. Pure; whether it may be recorded is for the rules."""

import re
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from typing import Final

from msgspec.structs import replace

from floorterm.changeover.acts import LateStep, PushFlush
from floorterm.changeover.entering import (
    EntrySpec,
    Given,
    Speaker,
    act_of,
    counter_of,
    entry_spec,
    some_people_spec,
)
from floorterm.changeover.figures import number_of
from floorterm.changeover.order_rules import no, step_facts
from floorterm.changeover.state import State
from floorterm.changeover.view_words import say
from floorterm.changeover.worksheet import Step
from floorterm.lockout.model import Event
from floorterm.people import Person
from floorterm.wording import Refusal, Say

_TIME: Final = re.compile(r"(?:(\d{4}-\d\d-\d\d)[ T])?(\d{1,2})[:.](\d\d)([+-]\d\d:\d\d)?")


def paper_time(text: str, now: datetime, zone: tzinfo) -> datetime | Say:
    """A paper's time, `13:45` or `2026-11-24 13:45`, on the plant's clock; for anything else what to write instead.

    Without a date it is the last time that the clock showed this: yesterday's, if today's is still to come. An hour
    that a clock change left out is none; one that it repeated needs its offset, `2026-11-01 01:30-06:00`.
    """
    found = _TIME.fullmatch(text.strip())
    if found is None:
        return Say("work.late_unread")
    day, hour, minute, offset = found.groups()
    try:
        date = datetime.fromisoformat(day).date() if day else now.astimezone(zone).date()
        wall = datetime(date.year, date.month, date.day, int(hour), int(minute))  # noqa: DTZ001  a wall's time
    except ValueError:
        return Say("work.late_unread")
    moments = _moments(wall, zone)
    if day is None and not any(at <= now for at in moments) and moments:
        wall -= timedelta(days=1)
        moments = _moments(wall, zone)
    told = f"{wall:%Y-%m-%d %H:%M}"
    if not moments:
        return Say("work.late_hour_missing", {"time": told})
    if offset is None and len(moments) > 1:
        first, second = (told + at.isoformat()[-6:] for at in moments)
        return Say("work.late_hour_twice", {"first": first, "second": second})
    fitting = [at for at in moments if offset is None or at.isoformat().endswith(offset)]
    return fitting[0] if fitting else Say("work.late_offset", {"time": told, "offset": offset or ""})


def _moments(wall: datetime, zone: tzinfo) -> list[datetime]:
    """The instants at which the clocks of a zone show a time, offsets fixed: none, one or two."""
    found = []
    for fold in (0, 1):
        local = wall.replace(tzinfo=zone, fold=fold).astimezone(UTC).astimezone(zone)
        at = local.replace(tzinfo=timezone(local.utcoffset() or timedelta(0)), fold=0)
        if at.replace(tzinfo=None) == wall and at not in found:
            found.append(at)
    return found


def late_spec(state: State, step: Step, speaker: Speaker) -> EntrySpec:
    """What a paper may say of a step: what the screen asks, besides a lock's number and whoever was counted there."""
    spec = entry_spec(state, step, speaker)
    if step.event in (Event.LOCK_ON, Event.LOCK_OFF):
        which = "on" if step.event is Event.LOCK_ON else "off"
        return EntrySpec(mode="code", prompt=say(f"enter_late_lock_{which}", speaker.language))
    if step.event is Event.ACCOUNT_PEOPLE:  # also somebody who worked by paper alone
        return some_people_spec("enter_clear", tuple(speaker.people), speaker)
    return spec


def late_given(step: Step, spec: EntrySpec, value: str, counter: int | None) -> Given | Refusal:
    """What was typed off a paper in one line, or why the step does not take it: nothing of it is dropped."""
    text = value.strip()
    if counter is not None and not step.mark:
        return no("late_no_counter", **step_facts(step))
    if text and (spec.mode == "none" or (spec.mode == "counter" and counter is not None)):
        return no("late_no_value", came=text, **step_facts(step))
    if text and spec.mode == "counter" and counter_of(text) is None:
        return no("counter_missing")
    if text and spec.mode == "kg" and number_of(text) is None:
        return no("no_number", came=text)
    if spec.mode not in ("one", "some") or not text:
        return Given(text=text, counter=counter)
    chosen = tuple(dict.fromkeys(one.strip() for one in text.split(",")))
    known = [option.id for option in spec.options]
    unknown = [one for one in chosen if one not in known]
    if unknown:
        return no("late_unknown_answer", came=", ".join(unknown), known=", ".join(known), **step_facts(step))
    if spec.mode == "one" and len(chosen) > 1:
        return no("late_one_answer", came=", ".join(chosen), **step_facts(step))
    return Given(chosen=chosen, counter=counter)


def recorded(act: LateStep) -> dict[str, str]:
    """What an entry says besides times and people, by the name of the field."""
    fields = ("number", "choice", "text", "scanned", "kg", "counter", "lock", "result", "people", "how")
    values = {name: getattr(act, name) for name in fields}
    return {
        name: ", ".join(value) if isinstance(value, tuple) else str(value)
        for name, value in values.items()
        if value not in ("", None, ())
    }


def late_act(
    state: State,
    step: Step,
    given: Given,
    *,
    done_at: datetime,
    by: Person,
    reason: str,
    seen_by: Person | None = None,
) -> LateStep:
    """The act that enters a step from paper. A step that marks a bar takes `given.counter`, or the text.

    At a lock that was taken off the paper's number stands, whosever it was; without one it is the person's own.
    """
    act = act_of(state, step, by, given)
    if step.event is Event.LOCK_OFF and given.text.strip():
        act = replace(act, lock=given.text.strip())
    bare = LateStep(
        step=step.id,
        done_at=done_at,
        by=by.code,
        by_name=by.name,
        reason=reason,
        seen_by=seen_by.code if seen_by else "",
        seen_by_name=seen_by.name if seen_by else "",
    )
    if isinstance(act, PushFlush):  # a total that falls short is what the paper says all the same
        return replace(bare, kg=act.kg, counter=given.counter)
    counter = act.counter
    if step.mark and counter is None:
        counter = counter_of(given.text)
    return replace(
        bare,
        number=act.number,
        choice=act.choice,
        text=act.text,
        scanned=act.scanned,
        kg=act.kg,
        counter=counter,
        lock=act.lock,
        result=act.result,
        people=act.people,
        how=act.how,
    )

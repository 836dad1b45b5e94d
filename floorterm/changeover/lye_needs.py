"""What lye work asks of the person who does it: protection confirmed in this shift, an eyewash in order.

A class of protection is what the worksheet says, raised by what was found since, and never lowered. Nothing here
says that lye is safe to handle: it says what was confirmed and what is still missing.
"""

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime, time, timedelta

from floorterm.changeover.state import State
from floorterm.changeover.worksheet import LyeNote, Section, Step
from floorterm.lye.duties import Eyewash, eyewash_refusals
from floorterm.lye.errors import ProtectionError
from floorterm.lye.protection import CLASSES, Item, Protection, TaskClass, protection, task_class
from floorterm.lye.tables import Origin
from floorterm.lye.ticks import Tick, missing
from floorterm.people import Person
from floorterm.wording import LANGUAGES, Refusal, Say

_EYEWASH_CHECKED = "eyewash_checked"
_SITE = "site policy"


def shift_begin(note: LyeNote, at: datetime) -> datetime:
    """When the shift of a moment began; `at` carries the plant's own offset."""
    starts = sorted(time.fromisoformat(text) for text in note.shift_starts)
    for day in (at.date(), at.date() - timedelta(days=1)):
        begun = [
            moment for start in starts if (moment := datetime.combine(day, start, tzinfo=at.tzinfo)) <= at
        ]
        if begun:
            return begun[-1]
    return datetime.combine(at.date(), time(), tzinfo=at.tzinfo)


def asked_protection(state: State, section: Section, *, before_n: int | None = None) -> Protection:
    """What a section of lye work asks now, or asked before an entry. Raises ProtectionError where it must not be done.

    The conditions are the worksheet's and every one that was found since; the highest class stands.
    """
    note = section.lye
    assert note is not None, f"{section.id} is no section of lye work"
    mass_pct, temperature_c, pressurised = note.mass_pct, note.temperature_c, note.pressurised
    standing: TaskClass | None = None
    conditions = [(mass_pct, temperature_c, pressurised)]
    conditions += [
        (one.mass_pct, one.temperature_c, one.pressurised)
        for one in state.lye_found
        if one.section == section.id and (before_n is None or one.n < before_n)
    ]
    for pct, degrees, pressure in conditions:
        found = protection(
            note.task,
            mass_pct=float(pct),
            temperature_c=float(degrees),
            pressurised=pressure,
            limit_c=float(note.limit_c),
            standing=standing,
        )
        standing = found.asked_class
    return found


def needed_items(asked: Protection) -> tuple[Item, ...]:
    """The items of a protection; every task that opens lye also asks for a look at the eyewash first."""
    if asked.asked_class == "L0" or any(item.id == _EYEWASH_CHECKED for item in asked.items):
        return asked.items
    origin = Origin("duties", "29 CFR 1910.151(c); ANSI/ISEA Z358.1 (consensus standard)", "partly-seen", "")
    return (*asked.items, Item(_EYEWASH_CHECKED, "condition", origin))


def items_missing(state: State, section: Section, person: Person, now: datetime) -> tuple[Refusal, ...]:
    """What the person has not confirmed themselves in this shift for this work: one refusal a reason."""
    note = section.lye
    if note is None:
        return ()
    try:
        asked = asked_protection(state, section)
    except ProtectionError as fault:
        return (Refusal(fault.say, _SITE),)
    whole = Protection(
        asked.task_class,
        asked.asked_class,
        asked.raised_by,
        needed_items(asked),
        asked.warnings,
        asked.origins,
    )
    return _together(
        missing(
            whole,
            _ticks(state, section, now),
            by=person.code,
            session=state.work,
            shift=shift_begin(note, now).isoformat(),
            today=now.date(),
        )
    )


def _together(refusals: Iterable[Refusal]) -> tuple[Refusal, ...]:
    """Refusals of one reason as one sentence that names all items: nine of them would fill a small screen."""
    items: dict[str, list[Mapping[str, str]]] = {}
    for refusal in refusals:
        item = refusal.say.facts["item"]
        assert isinstance(item, Mapping), "an item is named in each language"
        items.setdefault(refusal.say.key.rpartition(".")[2], []).append(item)
    return tuple(
        Refusal(
            Say(
                f"changeover.protect.{reason}",
                {"items": {name: "; ".join(item[name] for item in found) for name in LANGUAGES}},
            ),
            _SITE,
        )
        for reason, found in items.items()
    )


def _ticks(state: State, section: Section, now: datetime) -> Iterator[Tick]:
    """Everything confirmed for a section; the piece of work is the session of these confirmations."""
    note = section.lye
    assert note is not None
    for made in state.protected:
        if made.section != section.id:
            continue
        try:
            stood = asked_protection(state, section, before_n=made.n).asked_class
        except ProtectionError:  # said of a task that must not be done: it never counts
            stood = task_class("L0")
        for item in made.items:
            yield Tick(
                item=item,
                by=made.person,
                session=state.work,
                shift=shift_begin(note, made.at.astimezone(now.tzinfo)).isoformat(),
                task_class=stood,
                inspection_due=note.due.get(item),
            )


def protection_missing(state: State, step: Step, person: Person, now: datetime) -> tuple[Refusal, ...]:
    """What the person must still confirm before this step; nothing for steps outside lye work."""
    section = state.worksheet.section_of(step.id)
    return items_missing(state, section, person, now) if section.lye is not None else ()


def own_tick_missing(state: State, step: Step, person: Person, now: datetime) -> bool:
    """Whether a confirmation that stands is another person's or another shift's, so that it may be given again."""
    if step.kind != "protect":
        return False
    section = state.worksheet.section_of(step.id)
    return section.lye is not None and step.item not in items_confirmed(state, section, person, now)


def items_confirmed(state: State, section: Section, person: Person, now: datetime) -> frozenset[str]:
    """What the person has confirmed themselves for a section in this shift."""
    note = section.lye
    if note is None:
        return frozenset()
    since = shift_begin(note, now)
    return frozenset(
        item
        for made in state.protected
        if made.person == person.code and made.section == section.id and made.at >= since
        for item in made.items
    )


def step_refusals(
    state: State, step: Step, person: Person, now: datetime, eyewash: Eyewash | None
) -> Iterator[Refusal]:
    """Against a step of lye work without protection, or with an eyewash that is overdue or failed."""
    section = state.worksheet.section_of(step.id)
    note = section.lye
    if note is None or step.kind == "lockout":
        return
    found = eyewash or Eyewash(activated=None, inspected=None)
    checked = Eyewash(
        activated=found.activated, inspected=found.inspected, failed=found.failed, checked_before_task=True
    )  # the look before the task is one of the items
    try:
        asked = asked_protection(state, section).asked_class
    except (
        ProtectionError
    ):  # said by `items_missing`; whatever must not be done needs an eyewash all the more
        asked = CLASSES[-1]
    yield from eyewash_refusals(asked, checked, now.date())
    if step.kind != "protect":
        yield from items_missing(state, section, person, now)

"""What a screen shows of lye work: the section in hand, and what a person still has to confirm for it."""

from datetime import datetime

from floorterm.changeover.entering import EntrySpec, Option
from floorterm.changeover.lye_needs import asked_protection, items_confirmed, needed_items
from floorterm.changeover.state import State
from floorterm.changeover.view_words import say
from floorterm.changeover.worksheet import Section, Step
from floorterm.lye.errors import ProtectionError
from floorterm.lye.protection import item_name
from floorterm.people import Person


def lye_section(state: State, step: Step | None) -> Section | None:
    """The section of lye work that is in hand: the step's, else the only one that the worksheet has."""
    if step is not None:
        section = state.worksheet.section_of(step.id)
        if section.lye is not None:
            return section
    found = [section for section in state.worksheet.sections if section.lye is not None]
    return found[0] if len(found) == 1 else None


def protection_spec(
    state: State, section: Section, person: Person, now: datetime, language: str
) -> EntrySpec:
    """The items that a section asks of a person, to be chosen one by one; what counts already is marked so."""
    try:
        asked = asked_protection(state, section)
    except ProtectionError as fault:
        return EntrySpec(mode="some", prompt=str(fault))
    confirmed = items_confirmed(state, section, person, now)
    options = tuple(
        Option(
            id=item.id,
            text=item_name(item.id)[language],
            note=say("protect_counts", language) if item.id in confirmed else "",
        )
        for item in needed_items(asked)
    )
    prompt = say("enter_protect", language, task=asked.asked_class)
    return EntrySpec(mode="some", prompt=prompt, options=options)

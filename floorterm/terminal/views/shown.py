"""What a plant hands to the views: its names of duties and people, and a piece of work ready to show.

One place, so that a screen and a plain-line command ask the rules with the same surroundings. Needs no terminal.
"""

from typing import TYPE_CHECKING

from floorterm.changeover.acts import Act, LateStep
from floorterm.changeover.entering import Speaker
from floorterm.changeover.rules import may
from floorterm.changeover.view import WorkView, view
from floorterm.languages import by_language
from floorterm.people import LockoutStatus
from floorterm.wording import Refusal

if TYPE_CHECKING:
    from floorterm.changeover.state import State
    from floorterm.people import Person
    from floorterm.plant_record import PlantRecord


def speaker_of(plant: "PlantRecord", language: str) -> Speaker:
    """A language and the plant's names of duties."""
    return Speaker(
        language=language,
        duties={duty.id: by_language(duty.name) for duty in plant.library.plant.duties},
    )


def crew_names(plant: "PlantRecord", state: "State") -> dict[str, str]:
    """Names by code of everybody who may be in a crew; nobody where no lockout of the work has one."""
    if all(job.mode != "group" for job in state.worksheet.jobs):
        return {}
    people = plant.ledger.people()
    return {one.code: one.name for one in people if one.active and one.lockout is LockoutStatus.AUTHORIZED}


def work_view(
    plant: "PlantRecord", state: "State", person: "Person | None", language: str, *, at: str = ""
) -> WorkView:
    """A piece of work for a person now, with the locks of other works and what else the rules ask about.

    `at` is a step that the person chose from the list.
    """
    return view(
        state,
        person,
        plant.now(),
        language,
        elsewhere=plant.elsewhere(state.work),
        duties=speaker_of(plant, language).duties,
        people=crew_names(plant, state),
        at=at,
        eyewash=plant.eyewash(state),
    )


def refusals_now(plant: "PlantRecord", state: "State", act: Act, person: "Person") -> tuple[Refusal, ...]:
    """What the rules say against an act of a person now, before it is tried."""
    return may(
        state,
        act,
        person,
        plant.now(),
        elsewhere=plant.elsewhere(state.work),
        people=plant.ledger.people() if isinstance(act, LateStep) else (),
        eyewash=plant.eyewash(state),
    )

"""What people of the demo enter at a step: what the scenario says, else what is usual there, else what fits. Pure."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from decimal import Decimal

from msgspec import Struct

from floorterm.changeover.acts import LateStep, SignStep
from floorterm.changeover.bench import usual_entry
from floorterm.changeover.entering import worked_act
from floorterm.changeover.state import State
from floorterm.changeover.worksheet import Step
from floorterm.demo.readings import middle_reading
from floorterm.demo.scenario import Incident
from floorterm.lockout.model import Event
from floorterm.people import Person

Crew = Mapping[str, str]  # who has a duty in a piece of work, by code


class Said(Struct, frozen=True):
    """What is known of an entry: what an incident gives, what is usual at the step, what the bar counter shows."""

    given: str
    usual: str
    counter: int | None


def signer_of(step: Step, crew: Crew) -> str:
    """Who signs a step."""
    return crew["lockout" if step.kind == "lockout" else step.duty]


def entered(state: State, step: Step, crew: Crew, said: Said) -> SignStep:
    """The step signed with what its kind asks for."""
    given, counter = said.given, said.counter
    match step.kind:
        case "reading" if step.worked_out:
            return worked_act(step, given or said.usual or usual_entry(step), counter)
        case "reading":
            return SignStep(step=step.id, number=given or said.usual or middle_reading(step), counter=counter)
        case "choice":
            plain = next((choice.id for choice in step.choices if not choice.deviation), step.choices[0].id)
            return SignStep(step=step.id, choice=given or plain, counter=counter)
        case "text":
            text = given or said.usual or "as the worksheet"
            return SignStep(step=step.id, text=text, counter=counter)
        case "scan":
            return SignStep(step=step.id, scanned=step.expect, counter=counter)
        case "flush":
            required = state.flush[step.id].required_kg if step.id in state.flush else step.required_kg
            return SignStep(step=step.id, kg=Decimal(given) if given else required, counter=counter)
        case "lockout":
            return _at_a_lockout(state, step, crew, given)
        case _:
            return SignStep(step=step.id, counter=counter)


def _at_a_lockout(state: State, step: Step, crew: Crew, given: str) -> SignStep:
    job = state.worksheet.job(step.job)
    assert job is not None  # compose gives every lockout step its job
    match step.event:
        case Event.LOCK_ON | Event.LOCK_OFF:
            return SignStep(step=step.id, lock=f"{signer_of(step, crew)}-{step.point}")
        case Event.NOTIFY_BEFORE | Event.NOTIFY_AFTER:
            return SignStep(step=step.id, people=job.affected_duties)
        case Event.VERIFY:
            return SignStep(step=step.id, result=given or "zero")
        case Event.INSPECT_AREA | Event.CONFIRM_EXCEPTION:
            return SignStep(step=step.id, result="ok")
        case Event.ACCOUNT_PEOPLE:
            return SignStep(step=step.id, result="ok", people=_under(state, step.job, crew))
        case Event.SHUT_DOWN:
            return SignStep(step=step.id, how="normal")
        case Event.PLUG_CONTROL:
            return SignStep(step=step.id, how="in_hand")
        case Event.ASSIGN_PRIMARY:
            return SignStep(step=step.id, people=tuple(dict.fromkeys(crew.values())))
        case _:
            return SignStep(step=step.id)


def _under(state: State, job_id: str, crew: Crew) -> tuple[str, ...]:
    """Everybody who signs a step under that lockout, in order."""
    steps = (step for step in state.worksheet.steps() if step.needs_lockout == job_id)
    return tuple(dict.fromkeys(signer_of(step, crew) for step in steps))


def from_paper(act: SignStep, by: Person, incident: Incident, now: datetime) -> LateStep:
    """The same step as it was signed on paper some minutes ago, in whole minutes as papers have them."""
    ago = timedelta(minutes=float(incident.paper_min) - 1)
    return LateStep(
        step=act.step,
        done_at=(now - ago).replace(second=0, microsecond=0),
        by=by.code,
        by_name=by.name,
        reason=incident.reason,
        number=act.number,
        text=act.text,
        choice=act.choice,
    )

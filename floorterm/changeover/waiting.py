"""Which steps of a piece of work wait, whoever asks: what a screen shows before anything else is imported. Pure."""

from datetime import datetime

from floorterm.changeover.state import State
from floorterm.changeover.worksheet import Step


def open_steps(state: State, now: datetime) -> tuple[Step, ...]:
    """Steps that are not signed in the current round, or whose time is over, in the worksheet's order."""
    return tuple(step for step in state.worksheet.steps() if not state.stands(step.id, now))


def due_steps(state: State, now: datetime) -> tuple[Step, ...]:
    """Open steps that wait for no other step, in the worksheet's order."""
    return tuple(
        step for step in open_steps(state, now) if all(_behind(state, name, now) for name in step.after)
    )


def _behind(state: State, step_id: str, now: datetime) -> bool:
    return state.worksheet.step(step_id) is None or state.stands(step_id, now)

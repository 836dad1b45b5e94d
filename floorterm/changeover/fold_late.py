"""What a step entered from paper does to the state of a piece of work: it tells the past and changes no lock."""

from floorterm.changeover.acts import LateStep
from floorterm.changeover.fold_steps import deviates, signed
from floorterm.changeover.paper_lockout import proof_gaps
from floorterm.changeover.state import Paper, State
from floorterm.entries import Entry

UNPROVED = (
    "changeover.deviation.late_unproved"  # key of the deviation of work on paper without a proved lockout
)


def entered(state: State, entry: Entry, act: LateStep) -> State:
    """A step from paper: it is signed with the paper's time and person, and judged as any other.

    Work under a lockout of which neither record nor paper show own locks and a verification raises a deviation; it
    is never refused, because what happened is not undone by leaving it out.
    """
    paper = Paper(
        at=act.done_at,
        person=act.by,
        name=act.by_name,
        reason=act.reason,
        seen_by=act.seen_by,
        seen_by_name=act.seen_by_name,
    )
    step = state.worksheet.step(act.step)
    unproved = (
        step is not None
        and step.needs_lockout in state.locks
        and proof_gaps(state, step.needs_lockout, paper)
    )
    after = signed(state, entry, act.signature(), paper)
    if step is None or not unproved:
        return after
    machine = state.locks[step.needs_lockout].job.machine
    return deviates(
        after, entry, UNPROVED, {"name": act.by_name, "machine": machine}, critical="safety", paper=paper
    )

"""Going on towards another incoming fragrance: what of the work so far the new worksheet keeps."""

from collections.abc import Mapping
from decimal import Decimal

from msgspec.structs import replace

from floorterm.changeover.paper_lockout import papers
from floorterm.changeover.state import FlushProgress, Signed, State, Turned
from floorterm.changeover.worksheet import Step, Worksheet
from floorterm.lockout.state import LockoutState


def initial_flush(worksheet: Worksheet) -> dict[str, FlushProgress]:
    """The flush steps of a worksheet before anything was pushed."""
    return {
        step.id: FlushProgress(required_kg=step.required_kg or Decimal(0))
        for step in worksheet.steps()
        if step.kind == "flush"
    }


def initial_locks(worksheet: Worksheet) -> dict[str, LockoutState]:
    """The lockout jobs of a worksheet before anything happened."""
    return {job.id: LockoutState.initial(job, worksheet.line.id) for job in worksheet.jobs}


def redirected(state: State, worksheet: Worksheet, n: int) -> State:
    """The state on the new worksheet; `n` is the number of the entry that redirected.

    A signature is kept if the new worksheet holds the identical step, it is no flush step, and every step
    that it comes after is kept. A lockout job with the same id and points keeps its state; one that the new
    worksheet lacks, or has with other points, is carried along as `id~n` until its record is closed, and whoever's
    lock was taken off is told of it. No lock is lost; what is closed stays in the record for the audit.
    """
    locks, past = _locks(state, worksheet, n)
    return replace(
        state,
        worksheet=worksheet,
        signed=_kept(state, worksheet),
        by_paper=tuple(one for one in state.by_paper if _stays(one.act.step, state, worksheet)),
        flush=initial_flush(worksheet),
        locks=locks,
        past_locks={**state.past_locks, **past},
        turned=(*state.turned, Turned(n=n, worksheet=state.worksheet)),
    )


def _kept(state: State, worksheet: Worksheet) -> dict[str, Signed]:
    kept: dict[str, bool] = {}

    def keeps(step_id: str) -> bool:
        if step_id not in kept:
            kept[step_id] = False  # a ring of steps keeps nothing
            step = worksheet.step(step_id)
            kept[step_id] = step is not None and _same(step, state) and all(map(keeps, step.after))
        return kept[step_id]

    return {step_id: signed for step_id, signed in state.signed.items() if keeps(step_id)}


def _stays(step_id: str, state: State, worksheet: Worksheet) -> bool:
    step = worksheet.step(step_id)
    return step is not None and state.worksheet.step(step_id) == step


def _same(step: Step, state: State) -> bool:
    return step.kind != "flush" and step.id in state.signed and state.worksheet.step(step.id) == step


def _locks(
    state: State, worksheet: Worksheet, n: int
) -> tuple[Mapping[str, LockoutState], Mapping[str, LockoutState]]:
    """The lockouts that go on, and those that are closed and that the new worksheet does not take up."""
    locks: dict[str, LockoutState] = initial_locks(worksheet)
    past: dict[str, LockoutState] = {}
    for key, lockout in state.locks.items():
        job = worksheet.job(key)
        carried = key if "~" in key else f"{key}~{n}"
        if job is not None and job.points == lockout.job.points:
            locks[key] = replace(lockout, job=job)
        elif lockout.begun and (lockout.removed or not lockout.closed):
            locks[carried] = _renamed(lockout, carried)
        elif lockout.events or papers(state, key):
            past[carried] = _renamed(lockout, carried)
    return locks, past


def _renamed(lockout: LockoutState, key: str) -> LockoutState:
    points = {
        name: replace(point, locks=tuple(replace(lock, job=key) for lock in point.locks))
        for name, point in lockout.points.items()
    }
    return replace(lockout, job=replace(lockout.job, id=key), points=points)

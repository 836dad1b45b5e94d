"""Walk the scenario: every piece of work step by step through the plant's own rules, on a set clock.

Nothing is written past the rules: an act that they refuse stops the rebuild with their sentences.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Protocol

from msgspec import Struct

from floorterm.changeover.acts import (
    Abandon,
    Act,
    CorrectStep,
    Dispose,
    ExplainMinutes,
    LockoutAct,
    Note,
    Pause,
    Protect,
    PushFlush,
    Release,
    RepeatSection,
    Resume,
    SignStep,
)
from floorterm.changeover.lye_needs import asked_protection, items_missing, needed_items
from floorterm.changeover.standard import minutes_of
from floorterm.changeover.state import State
from floorterm.changeover.worksheet import Step
from floorterm.demo.clock import SetClock
from floorterm.demo.entered import Said, entered, from_paper, signer_of
from floorterm.demo.scenario import Incident, Run
from floorterm.lockout.model import Event
from floorterm.plant import Plant, Who

_SECOND = timedelta(seconds=1)
_SETTLING_BARS = 12  # that come by before the diverter is turned


class Due(Struct, frozen=True):
    """The next thing that a piece of work does, and when."""

    at: datetime
    step: Step | None  # None: release the work


@dataclass
class Walker:
    """One piece of work under way. `ready` says when each step was signed, `free` when each person is.

    `usual` are the readings and texts that people enter at a step when nothing is amiss.
    """

    plant: Plant
    clock: SetClock
    run: Run
    start: datetime
    usual: Mapping[str, str] = field(default_factory=dict)
    work: str = ""
    stopped: bool = False
    ready: dict[str, datetime] = field(default_factory=dict)
    free: dict[str, datetime] = field(default_factory=dict)
    counter: int = 0
    count: int = 0
    known: State | None = None  # as read last: nobody but this walker acts on the work

    # --- when -----------------------------------------------------------------------------------

    def due(self) -> Due | None:
        """What comes next, or None when nothing does."""
        if self.stopped:
            return None
        if not self.work:
            return Due(self.start, None)
        state = self.state
        if state.status in ("released", "abandoned"):
            return None
        waiting = [step for step in state.worksheet.steps() if step.id not in state.signed]
        open_ = [step for step in waiting if all(name in state.signed for name in step.after)]
        if not open_:
            newest = max(self.ready.values(), default=self.start)
            return Due(newest + timedelta(minutes=1), None)
        return min((Due(self._end(state, step), step) for step in open_), key=lambda due: due.at)

    def _end(self, state: State, step: Step) -> datetime:
        begun = max(
            self.start, self.free.get(self._who(step), self.start), *(self.ready[name] for name in step.after)
        )
        minutes = minutes_of(state.worksheet, step) * self.run.pace
        incident = self._incident(step)
        minutes += incident.more_min + incident.paper_min if incident is not None else 0
        return begun + timedelta(seconds=max(20, int(minutes * 60)))

    @property
    def state(self) -> State:
        """The work as the record has it."""
        if self.known is None:
            self.known = self.plant.state(self.work)
        return self.known

    # --- who ------------------------------------------------------------------------------------

    def _who(self, step: Step) -> str:
        return signer_of(step, self.run.crew)

    def _person(self, code: str) -> Who:
        return Who(self.plant.ledger.person(code), "pin")

    # --- what -----------------------------------------------------------------------------------

    def go(self, due: Due) -> None:
        """Do what is due."""
        self.clock.move_to(due.at)
        if not self.work:
            self._begin()
        elif due.step is None:
            self._act(Release(), self.run.crew["release"])
        else:
            self._sign(due.step)

    def _begin(self) -> None:
        starter = self._person(self.run.crew["supervisor"])
        key = self.plant.ledger.new_id()
        if self.run.procedure:
            state = self.plant.start_procedure(starter, self.run.line, self.run.procedure, key)
        else:
            state = self.plant.start_changeover(starter, self.run.line, self.run.to, key)
        self.work = state.work

    def _sign(self, step: Step) -> None:
        code = self._who(step)
        incident = self._incident(step)
        if step.needs_lockout:
            self._join(step.needs_lockout, code)
        self._protect(step, code)
        if step.kind == "flush" and step.required_kg:
            for share in (Decimal("0.4"), Decimal("0.8")):
                self._act(PushFlush(step=step.id, kg=(step.required_kg * share).quantize(Decimal(1))), code)
                self.clock.advance(_SECOND)
        if step.event is Event.WORK_END:
            self._everybody_out(step.job)
        act = self._entry(step, incident)
        late = None
        if incident is not None and incident.paper_min:
            late = from_paper(act, self.plant.ledger.person(code), incident, self.plant.now())
        self._act(late or act, code, self._witness(step, code))
        self.ready[step.id] = self.free[code] = self.clock()
        if step.needs_lockout:
            self._leave_if_done(step.needs_lockout, code)
        if incident:
            self._follow(step, incident)

    def _protect(self, step: Step, code: str) -> None:
        """Somebody who comes to lye work confirms their own protection first."""
        state, person = self.state, self.plant.ledger.person(code)
        section = state.worksheet.section_of(step.id)
        if step.kind == "protect" or not items_missing(state, section, person, self.plant.now()):
            return
        items = tuple(item.id for item in needed_items(asked_protection(state, section)))
        self._act(Protect(section=section.id, items=items), code)
        self.clock.advance(_SECOND)

    def _witness(self, step: Step, signer: str) -> str:
        if not step.witness:
            return ""
        code = self.run.crew[step.witness]
        return code if code != signer else self.run.crew["second_" + step.witness]

    def _incident(self, step: Step) -> Incident | None:
        if self.state.rounds.get(self.state.worksheet.section_of(step.id).id, 1) > 1:
            return None
        return next((found for found in self.run.incidents if found.at == step.id), None)

    def _entry(self, step: Step, incident: Incident | None) -> SignStep:
        given = incident.entry if incident else ""
        counter = self._counted(step) if step.mark else None
        return entered(self.state, step, self.run.crew, Said(given, self.usual.get(step.id, ""), counter))

    def _counted(self, step: Step) -> int:
        """The bar counter: what was made before, and from the marked bar on what was pushed out and a few more."""
        if step.mark == "last_good_outgoing":
            self.counter = 41_217
            return self.counter
        note, pushed = self.state.worksheet.flush, sum(one.pushed_kg for one in self.state.flush.values())
        assert note is not None  # only a changeover has marks
        return self.counter + int(pushed * 1000 / note.slug_g) + _SETTLING_BARS

    # --- lockout beside the steps ---------------------------------------------------------------

    def _owns_locks(self, job_id: str, code: str) -> bool:
        return any(lock.owner == code for lock in self.state.locks[job_id].locks_on())

    def _join(self, job_id: str, code: str) -> None:
        """A further person comes under the lockout: reviews, puts own locks on, tries out."""
        if self._owns_locks(job_id, code):
            return
        job = self.state.worksheet.job(job_id)
        assert job is not None
        acts: list[LockoutAct] = [LockoutAct(job=job_id, event=Event.REVIEW)]
        acts += [
            LockoutAct(job=job_id, event=Event.LOCK_ON, points=(point,), lock=f"{code}-{point}")
            for point in job.required
        ]
        acts.append(LockoutAct(job=job_id, event=Event.VERIFY, points=job.required, result="zero"))
        for act in acts:
            self._act(act, code)
            self.clock.advance(_SECOND * 6)

    def _leave_if_done(self, job_id: str, code: str) -> None:
        """Whoever only joined ends their work and takes their locks off when their last step is signed."""
        state = self.state
        left = [
            step
            for step in state.worksheet.steps()
            if step.needs_lockout == job_id and step.id not in state.signed and self._who(step) == code
        ]
        if left or code == self.run.crew["lockout"]:
            return
        self._act(LockoutAct(job=job_id, event=Event.WORK_END), code)
        for lock in state.locks[job_id].locks_on():
            if lock.owner == code:
                self.clock.advance(_SECOND * 6)
                self._act(
                    LockoutAct(job=job_id, event=Event.LOCK_OFF, points=(lock.point,), lock=lock.lock), code
                )

    def _everybody_out(self, job_id: str) -> None:
        for code in self.state.locks[job_id].working():
            if code != self.run.crew["lockout"]:
                self._act(LockoutAct(job=job_id, event=Event.WORK_END), code)

    # --- what goes wrong ------------------------------------------------------------------------

    def _follow(self, step: Step, incident: Incident) -> None:
        for what in incident.then:
            self.clock.advance(timedelta(minutes=float(incident.wait_min)))
            by = incident.by or self._who(step)
            match what:
                case "correct":
                    signed = self.state.signed[step.id]
                    self._act(
                        CorrectStep(
                            step=step.id, corrects=signed.n, number=incident.to, reason=incident.reason
                        ),
                        by,
                    )
                case "repeat":
                    section = self.state.worksheet.section_of(step.id)
                    self._act(RepeatSection(section=section.id, reason=incident.reason), by)
                    for again in section.steps:
                        self.ready.pop(again.id, None)
                case "pause":
                    self._act(Pause(reason=incident.reason), by)
                    self.clock.advance(timedelta(minutes=float(incident.minutes)))
                    self._act(Resume(), by)
                case "explain":
                    told = ExplainMinutes(
                        step=step.id,
                        cause=incident.cause,
                        minutes=int(incident.to),
                        reason=incident.reason,
                    )
                    self._act(told, by)
                case "note":
                    self._act(Note(text=incident.note or incident.reason, step=step.id), by)
                case "dispose":
                    newest = [
                        found for found in self.state.deviations if found.step == step.id and found.open
                    ][-1]
                    self._act(
                        Dispose(deviation=newest.n, decision=incident.decision, reason=incident.reason),
                        self.run.crew["supervisor"],
                    )
                case "abandon":
                    self._act(Abandon(reason=incident.reason, holds=incident.holds), by)
                case "redirect":
                    self.known = None
                    self.plant.redirect(
                        self.work,
                        incident.to,
                        incident.reason,
                        self._person(by),
                        key=self.plant.ledger.new_id(),
                    )
                case "stop":
                    self.stopped = True
        for name in self.run.crew.values():
            self.free[name] = max(self.free.get(name, self.start), self.clock())

    def _act(self, act: Act, code: str, witness: str = "") -> None:
        self.known = None
        self.plant.act(
            self.work,
            act,
            self._person(code),
            key=self.plant.ledger.new_id(),
            witness=self.plant.ledger.person(witness) if witness else None,
        )
        self.count += 1


class Acting(Protocol):
    """Whatever acts at its own moments: a piece of work under way, an office."""

    def due(self) -> Due | None:
        """What comes next, or None when nothing does."""

    def go(self, due: Due) -> None:
        """Do what is due."""


def walk_all(
    plant: Plant,
    clock: SetClock,
    runs: Iterator[tuple[Run, datetime]],
    usual: Mapping[str, str],
    beside: Iterable[Acting] = (),
) -> None:
    """Walk every run to its end, and what acts beside them, always the one whose next act comes first.

    What one piece of work does moves no other, so only the one that acted is asked again.
    """
    walkers: list[Acting] = [Walker(plant, clock, run, start, usual) for run, start in runs]
    walkers += beside
    dues = {index: due for index, walker in enumerate(walkers) if (due := walker.due())}
    while dues:
        index = min(dues, key=lambda index: (dues[index].at, index))
        walkers[index].go(dues.pop(index))
        if (due := walkers[index].due()) is not None:
            dues[index] = due

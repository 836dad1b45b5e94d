"""Lockouts on a real ledger, event by event: what the audit of a plant is tried on."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

from floorterm.changeover.acts import LockoutAct
from floorterm.demo.clock import SetClock
from floorterm.entries import Entry
from floorterm.inspecting import record_inspection
from floorterm.lockout.inspection import Report
from floorterm.lockout.model import Event, Job
from floorterm.people import LockoutStatus
from floorterm.plant import Plant
from tests.conftest import who


class JobOnLedger:
    """A jam at the stamper of line 1, locked out by B. Brand."""

    def __init__(self, plant: Plant, clock: SetClock, code: str = "BB") -> None:
        self.plant, self.clock, self.code = plant, clock, code
        state = plant.start_procedure(who(plant, code), "L1", "jam-stamper", plant.ledger.new_id())
        self.work = state.work
        self.job: Job = state.worksheet.jobs[0]

    @property
    def id(self) -> str:
        """The job as the audit names it."""
        return f"{self.work}/{self.job.id}"

    def act(self, event: Event, **fields: Any) -> Entry:
        """One event, a minute after the last one."""
        self.clock.advance(timedelta(minutes=1))
        done = LockoutAct(job=self.job.id, event=event, **fields)
        return self.plant.act(self.work, done, who(self.plant, self.code), key=self.plant.ledger.new_id())

    def to_work(self) -> None:
        """Everything up to the start of work."""
        for event, fields in self.before():
            self.act(event, **fields)

    def before(self) -> Iterator[tuple[Event, dict[str, Any]]]:
        """The events up to the start of work, with their fields."""
        points = self.job.required
        yield Event.NOTIFY_BEFORE, {"people": self.job.affected_duties}
        yield Event.REVIEW, {}
        yield Event.SHUT_DOWN, {"how": "normal"}
        for point in points:
            yield Event.ISOLATE, {"points": (point,)}
        for point in points:
            yield Event.LOCK_ON, {"points": (point,), "lock": f"{self.code}-{point}"}
        yield Event.RELEASE, {"points": points}
        yield Event.VERIFY, {"result": "zero"}
        yield Event.WORK_START, {}

    def finish(self) -> None:
        """Everything after the work, in order."""
        points = self.job.required
        self.act(Event.WORK_END)
        self.act(Event.INSPECT_AREA, result="ok")
        self.act(Event.ACCOUNT_PEOPLE, result="ok", people=(self.code,))
        for point in points:
            self.act(Event.LOCK_OFF, points=(point,), lock=f"{self.code}-{point}")
        self.act(Event.NOTIFY_AFTER, people=self.job.affected_duties)
        for point in points:
            self.act(Event.RE_ENERGISE, points=(point,))
        self.act(Event.RESTART)
        self.act(Event.CLOSE)


def inspected(plant: Plant) -> int:
    """The stamper's procedure inspected today by S. Stern, with everybody reviewed; the number of its entry."""
    everybody = tuple(one.code for one in plant.ledger.people() if one.lockout is LockoutStatus.AUTHORIZED)
    report = Report(procedure="lockout-stamper-1", on=plant.today(), observed=("AA",), reviewed=everybody)
    return record_inspection(plant, who(plant, "SS"), report, key=plant.ledger.new_id()).n


def well_done(plant: Plant, clock: SetClock) -> JobOnLedger:
    """A whole lockout that nothing is missing of."""
    job = JobOnLedger(plant, clock)
    job.to_work()
    job.finish()
    return job


def left_early(plant: Plant, clock: SetClock) -> tuple[JobOnLedger, Entry]:
    """One own lock comes off while at work: never refused, and it falls short. The entry of that lock too."""
    job = JobOnLedger(plant, clock)
    job.to_work()
    return job, job.act(Event.LOCK_OFF, points=job.job.required[:1])

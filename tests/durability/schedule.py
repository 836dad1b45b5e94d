"""Who goes on next: tasks on one thread, chosen by a seed wherever one of them pauses."""

from collections.abc import Callable
from dataclasses import dataclass, field
from hashlib import sha256
from random import Random

from greenlet import greenlet

TOO_MANY = 200_000


def _at_once() -> bool:
    return True


@dataclass(eq=False)
class Task:
    """Something that is under way."""

    name: str
    greenlet: greenlet
    until: Callable[[], bool] = field(default=_at_once)
    over: bool = False


class Gone(BaseException):
    """A task is no more; it is told so where it paused, and wherever it would pause again."""


class Schedule:
    """The same seed gives the same steps; `trace` tells two schedules apart."""

    def __init__(self, luck: Random) -> None:
        self.steps = 0
        self._luck = luck
        self._stay = luck.choice((0.0, 0.5, 0.9, 0.98))  # how often the same task goes on
        self._hub = greenlet.getcurrent()
        self._tasks: list[Task] = []
        self._now: Task | None = None
        self._trace = sha256()

    @property
    def trace(self) -> str:
        """A digest of every step so far."""
        return self._trace.hexdigest()

    def begin(self, name: str, work: Callable[[], None]) -> Task:
        """Another task. Exceptions that it does not catch end the schedule."""
        task = Task(name, greenlet(work, self._hub))
        self._tasks.append(task)
        return task

    def pause(self, what: str, until: Callable[[], bool] = _at_once) -> None:
        """Let others go on, until this one is chosen again, at the earliest when that holds."""
        task = self._now
        assert task is not None, "only a task can pause"
        if task.over:
            raise Gone
        task.until = until
        self._trace.update(f"{task.name} {what}\n".encode())
        self._hub.switch()

    def pause_for(self, steps: int) -> None:
        """Let others go on for so many steps at least."""
        later = self.steps + steps
        self.pause("is on its way", until=lambda: self.steps >= later)

    def end(self, task: Task) -> None:
        """It is no more, wherever it was."""
        task.over = True
        if task.greenlet:  # it has begun
            before, self._now = self._now, task
            task.greenlet.throw(Gone)
            self._now = before

    def run(self, between: Callable[[], None]) -> None:
        """Until nothing is under way any more; `between` is called after every step."""
        while self._tasks:
            self.steps += 1
            assert self.steps < TOO_MANY, "it comes to no end"
            ready = [task for task in self._tasks if task.until()]
            if not ready:
                continue  # time goes by
            if self._now not in ready or self._luck.random() >= self._stay:
                self._now = self._luck.choice(ready)
            self._now.greenlet.switch()
            self._now.over = self._now.greenlet.dead
            between()
            self._tasks = [task for task in self._tasks if not task.over]

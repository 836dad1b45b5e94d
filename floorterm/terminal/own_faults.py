"""Faults of the program itself: kept in a file, said in one sentence, and it goes on.

What fails in a key's act or a worker was not carried out; what fails while a screen is told or drawn, or in the tick,
would come again by itself: there it is said that what stands on the screen may be wrong. What fails while a screen
is put up ends the terminal (`crash`).
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from textual._callback import invoke  # counts what a callback takes

from floorterm.terminal.log import LOG
from floorterm.wording import words

if TYPE_CHECKING:
    from collections.abc import Awaitable, Coroutine, Generator

    from textual.worker import Worker

    from floorterm.terminal.app import FloorApp


class _Around:
    """A coroutine whose faults are outlived. None of it begins before it is awaited."""

    def __init__(self, faults: "OwnFaults", work: "Coroutine[Any, Any, Any]") -> None:
        self._faults, self._work = faults, work

    def __await__(self) -> "Generator[Any, Any, Any]":
        return self._run().__await__()

    async def _run(self) -> Any:
        with self._faults.outlived():
            return await self._work


class OwnFaults:
    """Outlives the program's own faults. The same fault is kept once, however often a key meets it."""

    def __init__(self, app: "FloorApp") -> None:
        self._app = app
        self._kept: dict[tuple[str, str, int], Path | None] = {}

    @contextmanager
    def outlived(self) -> Iterator[None]:
        """Around what a hand asks for: a record that does not answer, or a fault, is said; the screen stays."""
        try:
            with self._app.losing_record():
                yield
        except Exception as fault:
            self._say(self.sentence(fault))

    @contextmanager
    def showing(self) -> Iterator[None]:
        """Around what tells a screen: after a fault what stands there may be missing or out of date; that is said."""
        try:
            with self._app.losing_record():
                yield
        except Exception as fault:
            self._say(self._sentence("terminal.own_fault_shown", fault))

    @contextmanager
    def ticking(self) -> Iterator[None]:
        """Around a part of the tick: the same fault comes with every tick, and is said once."""
        try:
            with self._app.losing_record():
                yield
        except Exception as fault:
            if not self._is_kept(fault):
                self._say(self._sentence("terminal.own_fault_shown", fault))

    def not_drawn(self, fault: Exception) -> str:
        """What stands where a widget could not be drawn. The fault is said once, when the frame is over."""
        if not self._is_kept(fault):
            self._app.call_later(self._say, self._sentence("terminal.own_fault_shown", fault))
        return words("terminal.not_drawn", self._app.language)

    def work(self, start: "Callable[..., Worker[Any]]", work: "Coroutine[Any, Any, Any]") -> "Worker[Any]":
        """Start a worker with a coroutine that ends no terminal."""
        worker = start(_Around(self, work))
        if worker._task is not None:  # one that is called off before it begins would never be closed
            worker._task.add_done_callback(lambda _: work.close())
        return worker

    def call(self, callback: Callable[..., Any]) -> "Callable[..., Awaitable[Any]]":
        """A callback that ends no terminal."""

        async def called(*given: Any) -> Any:
            with self.outlived():
                return await invoke(callback, *given)

        return called

    def sentence(self, fault: Exception) -> str:
        """What is said of a fault, which is kept in a file; nothing in it claims that anything is recorded."""
        return self._sentence("terminal.own_fault", fault)

    def _sentence(self, key: str, fault: Exception) -> str:
        path = self._keep(fault)
        return words(key, self._app.language, path=str(path or "-"))

    def _is_kept(self, fault: Exception) -> bool:
        from floorterm.terminal.crash import place_of  # noqa: PLC0415  only when something went wrong

        return place_of(fault) in self._kept

    def _keep(self, fault: Exception) -> Path | None:
        from floorterm.terminal.crash import keep, place_of  # noqa: PLC0415  only when something went wrong

        place = place_of(fault)
        if place not in self._kept:
            self._kept[place] = keep(fault)
            LOG.error("a fault of the program, kept in %s", self._kept[place] or "no file")
        return self._kept[place]

    def _say(self, sentence: str) -> None:
        from floorterm.terminal.base import FloorScreen  # noqa: PLC0415  screens import the application's parts

        if self._app.screen_stack and isinstance(self._app.screen, FloorScreen):
            self._app.screen.refuse((sentence,), "caution")

"""Where every piece of work stands, line by line, without its entries: begun, ended, what is left of it.

A register is a value made from the ledger's references (an entry's number, kind, line and work). It takes the
references that came since, so that a plant reads each of them once and not its whole past at every question.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from types import MappingProxyType
from typing import Protocol

from floorterm.changeover.acts import STARTED, Abandon, Release

HOLDS = "line.holds"
ENDS = (Release.KIND, Abandon.KIND)
MARKS = (STARTED, HOLDS, *ENDS)  # the kinds that move a register; others only say that a work was touched


class Mark(Protocol):
    """What a register reads of an entry."""

    @property
    def n(self) -> int:
        """The entry's number."""

    @property
    def at(self) -> datetime:
        """Its time."""

    @property
    def kind(self) -> str:
        """Its kind."""

    @property
    def line(self) -> str:
        """The line that it is about."""

    @property
    def changeover(self) -> str:
        """The piece of work that it belongs to."""

    @property
    def step(self) -> str:
        """Its step; of a start the procedure that begins, empty for a changeover."""


@dataclass(frozen=True, slots=True)
class LineMarks:
    """One line: its open and its abandoned works in order of their start, and the entry that says what it holds."""

    open: tuple[str, ...] = ()
    abandoned: tuple[str, ...] = ()
    holds: Mark | None = None


@dataclass(frozen=True, slots=True)
class Register:
    """All lines up to entry `n`. `touched`: the last entry of each work that had one since the register began."""

    n: int = 0
    started: tuple[Mark, ...] = ()
    ended_at: Mapping[str, datetime] = field(default_factory=lambda: MappingProxyType({}))
    lines: Mapping[str, LineMarks] = field(default_factory=lambda: MappingProxyType({}))
    touched: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))

    def line(self, line: str) -> LineMarks:
        """One line; a line without entries has nothing."""
        return self.lines.get(line, LineMarks())

    def taking(self, marks: Iterable[Mark]) -> "Register":
        """The register after further entries, in the order of their numbers; those it knows are passed over."""
        new = [mark for mark in marks if mark.n > self.n]
        if not new:
            return self
        started, ended_at = list(self.started), dict(self.ended_at)
        lines, touched = dict(self.lines), dict(self.touched)
        for mark in new:
            if mark.changeover:
                touched[mark.changeover] = mark.n
            if mark.kind not in MARKS:
                continue
            if mark.kind == STARTED:
                started.append(mark)
            elif mark.kind in ENDS:
                ended_at[mark.changeover] = mark.at
            lines[mark.line] = _moved(lines.get(mark.line, LineMarks()), mark)
        return Register(
            n=new[-1].n,
            started=tuple(started),
            ended_at=MappingProxyType(ended_at),
            lines=MappingProxyType(lines),
            touched=MappingProxyType(touched),
        )


def begun(n: int, marks: Iterable[Mark]) -> Register:
    """The register at entry `n`, from all entries of the kinds in `MARKS`; what came before touches no work."""
    known = Register().taking(mark for mark in marks if mark.n <= n)
    return replace(known, n=n, touched=MappingProxyType({}))


def _moved(line: LineMarks, mark: Mark) -> LineMarks:
    if mark.kind == STARTED:
        return replace(line, open=(*line.open, mark.changeover))
    if mark.kind == HOLDS:
        return replace(line, holds=mark)
    return LineMarks(
        open=tuple(work for work in line.open if work != mark.changeover),
        abandoned=(*line.abandoned, mark.changeover) if mark.kind == Abandon.KIND else line.abandoned,
        holds=mark if mark.changeover.startswith("C") else line.holds,  # a procedure changes no fragrance
    )

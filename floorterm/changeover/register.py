"""Where every piece of work stands, line by line, without its entries: begun, ended, what is left of it.

A register is a value made from the ledger's references (an entry's number, kind, line and work). It begins where
the plant's last standing was recorded (`standing`), or with the first entry, and takes the references that came
since, so that a plant reads each of them once and not its whole past at every question.
"""

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from types import MappingProxyType
from typing import Protocol

from msgspec import Struct, field
from msgspec.structs import replace

from floorterm.changeover.acts import STARTED, Abandon, CorrectStep, LockoutAct, Release
from floorterm.changeover.standing import NOTHING, Standing

HOLDS = "line.holds"
ENDS = (Release.KIND, Abandon.KIND)
# What may be added to a work that has ended, so that something is left of it, or a deviation is open, once more.
STIRS = (CorrectStep.KIND, LockoutAct.KIND)
MARKS = (
    STARTED,
    HOLDS,
    *ENDS,
    *STIRS,
)  # the kinds that move a register; others only say that a work was touched


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


class LineMarks(Struct, frozen=True):
    """One line: its open works in order of their start, its abandoned ones, and the entry that says what it holds.

    `stirred` are other works that had ended and to which somebody added something since, or of which a deviation was
    open when the register began: whoever asks what is left, or waits, looks at these too.
    """

    open: tuple[str, ...] = ()
    abandoned: tuple[str, ...] = ()
    stirred: tuple[str, ...] = ()
    holds: Mark | None = None


class Register(Struct, frozen=True):
    """All lines up to entry `n`. `stands` is the standing that it began with, `started` are the works since.

    `touched`: the last entry of each work that had one since the register began.
    """

    n: int = 0
    stands: Standing = NOTHING
    started: tuple[Mark, ...] = ()
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
        started, lines, touched = list(self.started), dict(self.lines), dict(self.touched)
        for mark in new:
            if mark.changeover:
                touched[mark.changeover] = mark.n
            if mark.kind == STARTED:
                started.append(mark)
            if mark.kind in MARKS:
                lines[mark.line] = _moved(lines.get(mark.line, LineMarks()), mark)
        return replace(
            self,
            n=new[-1].n,
            started=tuple(started),
            lines=MappingProxyType(lines),
            touched=MappingProxyType(touched),
        )


def begun(
    n: int,
    marks: Iterable[Mark],
    stands: Standing = NOTHING,
    held: Mapping[int, Mark] = MappingProxyType({}),
    touched: Mapping[str, int] = MappingProxyType({}),
) -> Register:
    """The register at entry `n`, from a standing and the entries of the kinds in `MARKS` that came after it.

    `held` are the entries, by number, that say what the lines of the standing hold. What came before `n` touches
    no work, except what is given as `touched`.
    """
    first = {
        one.line: LineMarks(
            open=one.open,
            abandoned=one.left,
            stirred=tuple(work for work in one.waiting if work not in one.left),
            holds=held.get(one.holds),
        )
        for one in stands.lines
    }
    start = Register(n=stands.n, stands=stands, lines=MappingProxyType(first))
    known = start.taking(mark for mark in marks if mark.n <= n)
    return replace(known, n=n, touched=touched)


def next_number(known: int, taken: Callable[[int], bool]) -> int:
    """The first number after `known` that is not taken, of numbers that were taken one after the other.

    Asks a few times, and about twice the binary length of the answer where `known` is far below it.
    """
    low, step = known, 1
    while taken(low + step):
        low, step = low + step, 2 * step
    high = low + step
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if taken(middle) else (low, middle)
    return high


def _moved(line: LineMarks, mark: Mark) -> LineMarks:
    work = mark.changeover
    if mark.kind == STARTED:
        return replace(line, open=(*line.open, work))
    if mark.kind == HOLDS:
        return replace(line, holds=mark)
    if mark.kind in STIRS:
        known = work in line.open or work in line.abandoned or work in line.stirred
        return line if known else replace(line, stirred=(*line.stirred, work))
    return replace(
        line,
        open=tuple(other for other in line.open if other != work),
        abandoned=(*line.abandoned, work) if mark.kind == Abandon.KIND else line.abandoned,
        holds=mark if work.startswith("C") else line.holds,  # a procedure changes no fragrance
    )

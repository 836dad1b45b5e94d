"""What the record alone says of every line: the works that are open, what the lines hold. No checklists are read.

The terminal's first frame and the opened plant read the same way, through whatever reads entries: the ledger, or the
small read-only `floorterm.ledger.sight` before the ledger's machinery is imported. No state of its own besides a cache
of folds, which any reader could compute again from the entries.
"""

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime, timedelta, timezone
from typing import TYPE_CHECKING, Protocol
from zoneinfo import ZoneInfo

from floorterm.changeover.acts import Release
from floorterm.changeover.fold import BRINGING, apply, fold
from floorterm.changeover.line_now import Holds, LineNow, under_lockout, urgency
from floorterm.changeover.register import HOLDS, MARKS, LineMarks, Mark, Register, begun
from floorterm.changeover.standing import STANDS, standing_of
from floorterm.changeover.state import State
from floorterm.entries import Entry

if TYPE_CHECKING:
    from floorterm.ledger import Head, Ref, Start

_MOST_STATES = 256  # folds that are kept: more than a screen, a shift or a month's audit asks for again


class Record(Protocol):
    """Whatever reads the entries of a ledger."""

    def start(self) -> "Start":
        """What entry 1 says."""

    def head(self) -> "Head":
        """The last entry."""

    def now(self) -> datetime:
        """The time by the record's clock."""

    def entry(self, n: int) -> Entry:
        """Entry number n."""

    def entries(
        self,
        *,
        changeover: str | None = None,
        kinds: Iterable[str] | None = None,
        after_n: int = 0,
        limit: int | None = None,
        newest_first: bool = False,
    ) -> list[Entry]:
        """Entries that fit everything that is given, in order of their numbers."""

    def refs(
        self, *, kinds: Iterable[str] | None = None, after_n: int = 0, limit: int | None = None
    ) -> "list[Ref]":
        """The same without their values."""


class LineRecord:
    """What can be read of the lines. Not shared between threads without a lock."""

    def __init__(self, record: Record) -> None:
        self._record = record
        self._states: dict[str, State] = {}  # the least used first
        self._released: dict[
            str, tuple[int, tuple[str, ...]]
        ] = {}  # by line: its last release, and what it left
        self._known: Register | None = None

    @property
    def zone(self) -> ZoneInfo:
        """The time zone of the record."""
        return ZoneInfo(self._record.start().time_zone)

    def now(self) -> datetime:
        """The ledger's clock (wall time, or the set clock of a demo) with the plant's own offset at that moment."""
        return with_offset(self._record.now(), self.zone)

    def working_lines(self) -> tuple[LineNow, ...]:
        """Lines of the record on which somebody may still have to act, in the order of what needs a person first."""
        register = self._register()
        found = (self._line_now(line, register) for line in register.lines)
        return tuple(sorted((one for one in found if one.works), key=urgency))

    def state(self, work: str) -> State:
        """The state of a piece of work, folded from its entries (only the new ones are read)."""
        return self._state(work, self._register())

    def holds(self, line: str) -> Holds:
        """What the line holds: as stated last, or as the last finished or abandoned changeover left it."""
        return self._holds(line, self._register())

    def line_now(self, line: str) -> LineNow:
        """One line at a glance."""
        return self._line_now(line, self._register())

    def _register(self) -> Register:
        """Where every work stands, up to the ledger's last entry: what came since the last look is read."""
        known = self._known
        new: Sequence[Ref] = () if known is None else self._record.refs(after_n=known.n)
        if known is None or any(ref.kind == STANDS for ref in new):
            touched = {} if known is None else dict(known.taking(new).touched)
            fresh = self._begun(touched)
        else:
            fresh = known.taking(new)
        self._known = fresh
        return fresh

    def _begun(self, touched: dict[str, int]) -> Register:
        """The register from the newest standing on, or from the first entry where there is none."""
        n = self._record.head().n
        newest = self._record.entries(kinds=(STANDS,), newest_first=True, limit=1)
        stands = standing_of(newest[0] if newest else None)
        held = {line.holds: self._ref(line.holds) for line in stands.lines if line.holds}
        marks = self._record.refs(kinds=MARKS, after_n=stands.n)
        return begun(n, marks, stands, held, touched)

    def _ref(self, n: int) -> "Ref":
        return self._record.refs(after_n=n - 1, limit=1)[0]

    def _state(self, work: str, register: Register) -> State:
        states = self._states
        known = states.pop(work, None)
        if known is None or register.touched.get(work, 0) > known.last_n:
            known = fold_on(work, known, self._record.entries)
        states[work] = known
        while len(states) > _MOST_STATES:
            del states[next(iter(states))]
        return known

    def _holds(self, line: str, register: Register) -> Holds:
        mark = register.line(line).holds
        if mark is None:
            return Holds()
        if mark.kind == HOLDS:
            found = tuple(self._record.entry(mark.n).value["fragrances"])
        else:
            found = self._left_on(line, mark, register)
        return Holds(fragrances=found, n=mark.n, at=mark.at)

    def _left_on(self, line: str, mark: Mark, register: Register) -> tuple[str, ...]:
        """What the end of a changeover left on its line. A released one leaves what it was to bring, whatever else was
        recorded in it: few of its entries are read.
        """
        if mark.kind != Release.KIND or mark.changeover in self._states:
            return self._state(mark.changeover, register).holds
        n, found = self._released.get(line, (0, ()))
        if n != mark.n:
            few = self._record.entries(changeover=mark.changeover, kinds=BRINGING)
            found = fold(mark.changeover, few).holds
            self._released[line] = (mark.n, found)
        return found

    def _line_now(self, line: str, register: Register) -> LineNow:
        marks = register.line(line)
        open_works = [self._state(work, register) for work in marks.open]
        left = tuple(state for state in self._abandoned(marks, register) if under_lockout(state))
        return LineNow(
            line=line,
            holds=self._holds(line, register),
            changeover=next((state for state in open_works if state.worksheet.procedure is None), None),
            procedures=tuple(state for state in open_works if state.worksheet.procedure is not None),
            leftover=left,
            waiting=tuple(state for state in self._waiting(marks, register) if state not in left),
        )

    def _ended(self, marks: LineMarks, register: Register) -> list[State]:
        """Works of a line that ended and of which something may be left or open, in the order of their ends."""
        found = (self._state(work, register) for work in (*marks.abandoned, *marks.stirred))
        return sorted(found, key=lambda state: state.ended_at or state.last_at)

    def _abandoned(self, marks: LineMarks, register: Register) -> list[State]:
        """The abandoned ones of them."""
        return [state for state in self._ended(marks, register) if state.status == "abandoned"]

    def _waiting(self, marks: LineMarks, register: Register) -> list[State]:
        """Those of which a deviation is open. A released work has none but those of what was added to it later."""
        return [state for state in self._ended(marks, register) if state.open_deviations]


def with_offset(at: datetime, zone: ZoneInfo) -> datetime:
    """The instant on the zone's wall clock, its offset fixed so that minutes added to it are real minutes."""
    local = at.astimezone(zone)
    return local.replace(tzinfo=timezone(local.utcoffset() or timedelta(0)))


def fold_on(work: str, known: State | None, entries: Callable[..., Sequence[Entry]]) -> State:
    if known is None:
        return fold(work, entries(changeover=work))
    for entry in entries(changeover=work, after_n=known.last_n):
        known = apply(known, entry)
    return known

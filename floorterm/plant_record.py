"""The record of a plant as it stands: what each line holds, which works are open, what counts for whom.

Library and ledger are read together here, and nothing is written; `floorterm.plant` records. No state of its own
besides a cache of folds, which any reader could compute again from the entries.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta, timezone
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from floorterm.changeover.accepting import CALIBRATED, calibration_from
from floorterm.changeover.acts import LockoutAct, Release
from floorterm.changeover.compose import compose, compose_procedure
from floorterm.changeover.eyewash import eyewash_of, up_to_last_good
from floorterm.changeover.fold import apply, fold
from floorterm.changeover.register import ENDS, HOLDS, MARKS, Register, begun
from floorterm.changeover.state import State
from floorterm.changeover.tank_history import Use, tanks_held, use_of
from floorterm.changeover.worksheet import Worksheet
from floorterm.entries import Entry
from floorterm.library.calibrated import Calibration, CalibrationMismatchError, with_calibration
from floorterm.lockout.inspection import KINDS, fold_inspections, with_inspections
from floorterm.lockout.model import Event
from floorterm.lockout.state import LockOn
from floorterm.lye.duties import Eyewash

if TYPE_CHECKING:
    from floorterm.ledger import Ledger
    from floorterm.library.model import Library

APPROVED = "library.approved"


@dataclass(frozen=True, slots=True, kw_only=True)
class Holds:
    """What a line holds according to the record: fragrances (the main one first), since which entry and when."""

    fragrances: tuple[str, ...] = ()
    n: int = 0
    at: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LineNow:
    """One line at a glance. `changeover` is the open one; `procedures` are the open stand-alone ones.

    `leftover` are abandoned works on this line whose lockout is not ended: a lock on, or a point isolated.
    """

    line: str
    holds: Holds
    changeover: State | None = None
    procedures: tuple[State, ...] = ()
    leftover: tuple[State, ...] = ()

    @property
    def works(self) -> tuple[State, ...]:
        """Every piece of work that somebody may still have to act on."""
        first = (self.changeover,) if self.changeover else ()
        return (*first, *self.procedures, *self.leftover)


@dataclass
class _Cache:
    states: dict[str, State] = field(default_factory=dict)
    register: Register | None = None
    removals: tuple[int, tuple[Entry, ...]] = (0, ())


class PlantRecord:
    """What can be read of an opened plant. Not shared between threads without a lock."""

    def __init__(self, library: "Library", ledger: "Ledger", terminal: str) -> None:
        self.library = library
        self.ledger = ledger
        self.terminal = terminal
        self._cache = _Cache()

    @property
    def zone(self) -> ZoneInfo:
        """The time zone of the record."""
        return ZoneInfo(self.ledger.start().time_zone)

    def now(self) -> datetime:
        """The ledger's clock (wall time, or the set clock of a demo) with the plant's own offset at that moment."""
        return with_offset(self.ledger.now(), self.zone)

    def today(self) -> date:
        """The plant's local date."""
        return self.now().date()

    def state(self, work: str) -> State:
        """The state of a piece of work, folded from its entries (only the new ones are read)."""
        return self._state(work, self._register())

    def works(self, line: str | None = None) -> tuple[State, ...]:
        """Every piece of work in order of its start, ended ones too."""
        register = self._register()
        started = (mark for mark in register.started if line in (None, mark.line))
        return tuple(self._state(mark.changeover, register) for mark in started)

    def works_between(self, since: datetime, until: datetime) -> tuple[State, ...]:
        """Works that were under way at some moment of the half-open interval."""
        register = self._register()
        return tuple(
            self._state(mark.changeover, register)
            for mark in register.started
            if mark.at < until and register.ended_at.get(mark.changeover, until) >= since
        )

    def holds(self, line: str) -> Holds:
        """What the line holds: as stated last, or as the last finished or abandoned changeover left it."""
        return self._holds(line, self._register())

    def tanks(self, line: str, *newer: Use) -> dict[str, str]:
        """What the line's shared dosing tanks held last, by tank, as far as the record says. `newer`: uses that no
        ended changeover stands for yet.
        """
        return tanks_held(self.library, line, (*newer, *self._uses(line)))

    def _uses(self, line: str) -> Iterator[Use]:
        for ref in self.ledger.refs(kinds=(HOLDS, *ENDS), line=line, newest_first=True):
            if ref.kind == HOLDS:
                stated = tuple(self.ledger.entry(ref.n).value["fragrances"])
                yield Use(sure=stated) if len(stated) == 1 else Use(perhaps=stated)
            elif ref.changeover.startswith("C"):
                yield use_of(self.state(ref.changeover), released=ref.kind == Release.KIND)

    def line_now(self, line: str) -> LineNow:
        """One line at a glance."""
        return self._line_now(line, self._register())

    def _register(self) -> Register:
        """Where every work stands, up to the ledger's last entry: what came since the last look is read."""
        known = self._cache.register
        if known is None:
            n = self.ledger.head().n
            fresh = begun(n, self.ledger.refs(kinds=MARKS))
        else:
            fresh = known.taking(self.ledger.refs(after_n=known.n))
        self._cache.register = fresh
        return fresh

    def _state(self, work: str, register: Register) -> State:
        known = self._cache.states.get(work)
        if known is not None and register.touched.get(work, 0) <= known.last_n:
            return known
        self._cache.states[work] = state = fold_on(work, known, self.ledger.entries)
        return state

    def _holds(self, line: str, register: Register) -> Holds:
        mark = register.line(line).holds
        if mark is None:
            return Holds()
        if mark.kind == HOLDS:
            found = tuple(self.ledger.entry(mark.n).value["fragrances"])
        else:
            found = self._state(mark.changeover, register).holds
        return Holds(fragrances=found, n=mark.n, at=mark.at)

    def _line_now(self, line: str, register: Register) -> LineNow:
        marks = register.line(line)
        open_works = [self._state(work, register) for work in marks.open]
        abandoned = [self._state(work, register) for work in marks.abandoned]
        return LineNow(
            line=line,
            holds=self._holds(line, register),
            changeover=next((state for state in open_works if state.worksheet.procedure is None), None),
            procedures=tuple(state for state in open_works if state.worksheet.procedure is not None),
            leftover=tuple(state for state in abandoned if _under_lockout(state)),
        )

    def lines(self) -> tuple[LineNow, ...]:
        """All lines, in the order of what needs a person first (locks, deviations, work, then quiet lines)."""
        register = self._register()
        found = [self._line_now(line, register) for line in self.library.lines]
        return tuple(sorted(found, key=_urgency))

    def approval(self) -> Entry | None:
        """The entry that approved the library as it is now, if any."""
        for entry in self.ledger.entries(kinds=(APPROVED,), newest_first=True):
            if entry.value.get("library_digest") == self.library.digest:
                return entry
        return None

    def calibration(self, line: str) -> Calibration | None:
        """The newest figures of a line that somebody accepted; None if there are none that still fit the line."""
        for ref in self.ledger.refs(kinds=(CALIBRATED,), line=line, newest_first=True):
            found = calibration_from(ref.n, self.ledger.entry(ref.n).value)
            try:
                with_calibration(self.library.lines[line], found.values)
            except CalibrationMismatchError:
                return None  # a unit was taken out or renamed: what was measured is of another line
            return found
        return None

    def inspected_library(self) -> "Library":
        """The library with the recorded inspections among the certificates of its lockout procedures."""
        found = fold_inspections(self.ledger.entries(kinds=KINDS))
        if not found:
            return self.library
        return self.library.model_copy(update={"lockouts": with_inspections(self.library.lockouts, found)})

    def worksheet(self, line: str, incoming: str, *, compare: bool = False) -> Worksheet:
        """The worksheet that a changeover of this line to that fragrance would have now.

        `compare` notes the ways to flush side by side, which takes about a second.
        """
        holds = self.holds(line).fragrances
        return compose(
            self.inspected_library(),
            line,
            holds[0] if holds else "",
            incoming,
            self.today(),
            traces=holds[1:],
            calibration=self.calibration(line),
            compare=compare,
            tanks=self.tanks(line),
        )

    def procedure_worksheet(self, line: str, procedure: str) -> Worksheet:
        """The worksheet of a procedure that stands alone."""
        return compose_procedure(self.inspected_library(), line, procedure, self.today())

    def uninformed(self, person: str) -> tuple[Entry, ...]:
        """Entries by which somebody took this person's lock off, of which nobody has told them yet.

        Until they are told they resume no work ((e)(3)(iii)): they do not sign in, and only ways out are recorded.
        """
        removals: dict[tuple[str, str], list[Entry]] = {}
        for entry in self._removals():
            about = (entry.changeover, str(entry.value.get("job", "")))
            if entry.value.get("owner") != person:
                continue
            if entry.value.get("event") == Event.REMOVE_OTHER:
                removals.setdefault(about, []).append(entry)
            elif entry.value.get("event") == Event.OWNER_INFORMED:
                removals.pop(about, None)
        return tuple(entry for entries in removals.values() for entry in entries)

    def untold_works(self, line: str) -> tuple[State, ...]:
        """Works of a line, ended ones too, in which somebody's lock was taken off who does not know it yet."""
        works = dict.fromkeys(entry.changeover for entry in self._removals() if entry.line == line)
        states = (self.state(work) for work in works)
        return tuple(state for state in states if any(job.removed for job in state.locks.values()))

    def _removals(self) -> tuple[Entry, ...]:
        """Entries that take an absent owner's lock off or tell the owner of it; only new ones are read."""
        seen, known = self._cache.removals
        new = self.ledger.entries(kinds=(LockoutAct.KIND,), after_n=seen)
        about = (Event.REMOVE_OTHER, Event.OWNER_INFORMED)
        found = (*known, *(entry for entry in new if entry.value.get("event") in about))
        self._cache.removals = (new[-1].n if new else seen, found)
        return found

    def elsewhere(self, work: str) -> tuple[LockOn, ...]:
        """Locks of other works, on every line, and points that they isolated and have not locked yet.

        Nobody energises a point under them, and no lock is in two places.
        """
        register = self._register()
        others = (
            self._state(other, register)
            for line in sorted(register.lines)  # those of the record, not of today's YAML
            for other in (*register.line(line).open, *register.line(line).abandoned)
            if other != work
        )
        return tuple(lock for state in others for job in state.locks.values() for lock in job.holding())

    def eyewash(self, state: State) -> Eyewash | None:
        """The checks of eyewash and shower that count for a piece of lye work; None for any other work.

        Those of every line count on which the procedure stands together with the work's line: one eyewash
        serves them.
        """
        if all(section.lye is None for section in state.worksheet.sections):
            return None
        line, register = state.worksheet.line.id, self._register()
        found: dict[str, list[State]] = {"weekly": [], "yearly": []}
        for name, alone in self.library.alone.items():
            if alone.eyewash is not None and line in alone.lines:
                started = (mark.changeover for mark in reversed(register.started) if mark.step == name)
                found[alone.eyewash] += up_to_last_good(self._state(work, register) for work in started)
        return eyewash_of(found["weekly"], found["yearly"])


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


def _under_lockout(state: State) -> bool:
    return any(not job.is_idle for job in state.locks.values())


def _locks_on(state: State) -> bool:
    return any(job.locks_on() for job in state.locks.values())


def _urgency(now: LineNow) -> tuple[int, str]:
    """0: locks on or a deviation waits; 1: work is on; 2: quiet."""
    pressing = any(_locks_on(state) or any(dev.open for dev in state.deviations) for state in now.works)
    return (0 if pressing else 1 if now.works else 2, now.line)

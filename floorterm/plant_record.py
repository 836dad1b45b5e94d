"""The record of a plant as it stands: what each line holds, which works are open, what counts for whom.

Library and ledger are read together here, and nothing is written; `floorterm.plant` records. What is read at an
opening is what is open and what came since the plant's last standing (`changeover.standing`), however old the ledger
is.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from msgspec.structs import replace

from floorterm.changeover.accepting import CALIBRATED, calibration_from
from floorterm.changeover.acts import STARTED, LockoutAct, Redirect, Release
from floorterm.changeover.compose import compose, compose_procedure
from floorterm.changeover.eyewash import eyewash_of, up_to_last_good
from floorterm.changeover.line_now import LineNow, under_lockout, urgency
from floorterm.changeover.register import ENDS, HOLDS, STIRS, Mark, Register
from floorterm.changeover.standing import FORM, Checked, LineStands, Standing
from floorterm.changeover.state import State
from floorterm.changeover.tank_history import Use, dosed, tanks_held, use_of, uses_kept
from floorterm.changeover.worksheet import Worksheet
from floorterm.entries import Entry
from floorterm.library.calibrated import Calibration, CalibrationMismatchError, with_calibration
from floorterm.line_record import LineRecord
from floorterm.lockout.inspection import KINDS, fold_inspections, with_inspections
from floorterm.lockout.model import Event
from floorterm.lockout.state import LockOn
from floorterm.lye.duties import Eyewash

if TYPE_CHECKING:
    from floorterm.ledger import Ledger
    from floorterm.library.model import Library

APPROVED = "library.approved"


@dataclass
class _Cache:
    removals: tuple[int, tuple[Entry, ...]] | None = None
    approvals: tuple[Entry | None, Entry | None] = (None, None)
    inspections: tuple[Entry, ...] = ()
    inspected: "Library | None" = None


class PlantRecord(LineRecord):
    """What can be read of an opened plant. Not shared between threads without a lock."""

    def __init__(self, library: "Library", ledger: "Ledger", terminal: str) -> None:
        super().__init__(ledger)
        self.library = library
        self.ledger = ledger
        self.terminal = terminal
        self._cache = _Cache()

    def today(self) -> date:
        """The plant's local date."""
        return self.now().date()

    def works(self, line: str | None = None) -> tuple[State, ...]:
        """Every piece of work in order of its start, ended ones too: all that there ever was."""
        register = self._register()
        started = self.ledger.refs(kinds=(STARTED,), line=line)
        return tuple(self._state(mark.changeover, register) for mark in started)

    def works_between(self, since: datetime, until: datetime) -> tuple[State, ...]:
        """Works that were under way at some moment of the half-open interval, in order of their start."""
        register = self._register()
        found = {work for marks in register.lines.values() for work in marks.open}
        found |= {mark.changeover for mark in self.ledger.refs(kinds=ENDS, since=since)}
        found -= {mark.changeover for mark in self.ledger.refs(kinds=(STARTED,), since=until)}
        first = {work: self.ledger.refs(changeover=work, limit=1)[0].n for work in found}
        return tuple(self._state(work, register) for work in sorted(found, key=lambda work: first[work]))

    def works_told_between(self, since: datetime, until: datetime) -> tuple[State, ...]:
        """The same, and works that had ended and to which somebody added something in it, such as a correction."""
        found = {state.work: state for state in self.works_between(since, until)}
        register = self._register()
        stirred = dict.fromkeys(
            mark.changeover for mark in self.ledger.refs(kinds=STIRS, since=since, until=until)
        )
        found |= {work: self._state(work, register) for work in stirred if work not in found}
        return tuple(sorted(found.values(), key=lambda state: (state.started_at, state.work)))

    def tanks(self, line: str, *newer: Use) -> dict[str, str]:
        """What the line's shared dosing tanks held last, by tank, as far as the record says. `newer`: uses that no
        ended changeover stands for yet.
        """
        return tanks_held(self.library, line, (*newer, *self._uses(line)))

    def _uses(self, line: str) -> Iterator[Use]:
        stands = self._register().stands
        yield from (use for _, use in self._uses_since(stands, line))
        yield from uses_kept(stands.line(line).dosed)

    def _uses_since(self, stands: Standing, line: str) -> Iterator[tuple[int, Use]]:
        uses = (HOLDS, *ENDS)
        for ref in self.ledger.refs(kinds=uses, line=line, after_n=stands.n, newest_first=True):
            if ref.kind == HOLDS:
                stated = tuple(self.ledger.entry(ref.n).value["fragrances"])
                yield ref.n, Use(sure=stated) if len(stated) == 1 else Use(perhaps=stated)
            elif ref.changeover.startswith("C"):
                sheets = (STARTED, Redirect.KIND)
                (last,) = self.ledger.entries(
                    changeover=ref.changeover, kinds=sheets, newest_first=True, limit=1
                )
                yield ref.n, use_of(last.value["worksheet"], released=ref.kind == Release.KIND)

    def lines(self) -> tuple[LineNow, ...]:
        """All lines, in the order of what needs a person first (locks, deviations, work, then quiet lines)."""
        register = self._register()
        found = [self._line_now(line, register) for line in self.library.lines]
        return tuple(sorted(found, key=urgency))

    def approval(self) -> Entry | None:
        """The entry that approved the library as it is now, if nobody has approved another one since."""
        own, last = self._approvals()
        return own if own == last else None

    def others_approved(self) -> Entry | None:
        """The newest approval, if it is of other checklists and later than that of these: they count no longer."""
        own, last = self._approvals()
        return last if own is not None and own != last else None

    def _approvals(self) -> tuple[Entry | None, Entry | None]:
        """The newest approval of the library as it is now, and the newest one of all."""
        own, last = self._cache.approvals
        for entry in self.ledger.entries(kinds=(APPROVED,), after_n=last.n if last else 0):
            last = entry
            if entry.value.get("library_digest") == self.library.digest:
                own = entry
        self._cache.approvals = (own, last)
        return own, last

    def calibration(self, line: str) -> Calibration | None:
        """The newest figures of a line that somebody accepted; None if there are none that still fit the line."""
        for ref in self.ledger.refs(kinds=(CALIBRATED,), line=line, newest_first=True, limit=1):
            found = calibration_from(ref.n, self.ledger.entry(ref.n).value)
            try:
                with_calibration(self.library.lines[line], found.values)
            except CalibrationMismatchError:
                return None  # a unit was taken out or renamed: what was measured is of another line
            return found
        return None

    def inspected_library(self) -> "Library":
        """The library with the recorded inspections among the certificates of its lockout procedures."""
        known = self._cache.inspections
        new = self.ledger.entries(kinds=KINDS, after_n=known[-1].n if known else 0)
        if new or self._cache.inspected is None:
            self._cache.inspections = (*known, *new)
            found = fold_inspections(self._cache.inspections)
            changed = {"lockouts": with_inspections(self.library.lockouts, found)} if found else {}
            self._cache.inspected = replace(self.library, **changed) if changed else self.library
        return self._cache.inspected

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
                work, (job, _, redirect) = entry.changeover, about[1].partition("~")
                if redirect:  # that renamed the lockout: what was taken off before it has the old name
                    left = [one for one in removals.pop((work, job), []) if one.n > int(redirect)]
                    removals |= {(work, job): left} if left else {}
        return tuple(entry for entries in removals.values() for entry in entries)

    def untold_works(self, line: str) -> tuple[State, ...]:
        """Works of a line, ended ones too, in which somebody's lock was taken off who does not know it yet."""
        works = dict.fromkeys(entry.changeover for entry in self._removals() if entry.line == line)
        states = (self.state(work) for work in works)
        return tuple(state for state in states if any(job.removed for job in state.locks.values()))

    def lock_works(self, line: str) -> tuple[State, ...]:
        """Works of a line of which its locks tell: those that somebody may act on, and where somebody is to be told."""
        works = self.line_now(line).works
        known = {state.work for state in works}
        return (*works, *(state for state in self.untold_works(line) if state.work not in known))

    def _removals(self) -> tuple[Entry, ...]:
        """Entries that take an absent owner's lock off or tell the owner of it; only new ones are read.

        Of those before the last standing only what was not settled then.
        """
        if self._cache.removals is None:
            stands = self._register().stands
            self._cache.removals = stands.n, tuple(self.ledger.entry(n) for n in stands.removed)
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
            state
            for _, marks in sorted(register.lines.items())  # those of the record, not of today's YAML
            for state in (
                *(self._state(other, register) for other in marks.open),
                *self._abandoned(marks, register),
            )
            if state.work != work
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
                found[alone.eyewash] += self._checks(name, register)
        return eyewash_of(found["weekly"], found["yearly"])

    def checks(self, procedure: str) -> tuple[State, ...]:
        """Works of a procedure that checks eyewash or shower, the newest first, back to the last good one."""
        return tuple(self._checks(procedure, self._register()))

    def _checks(self, procedure: str, register: Register) -> list[State]:
        """Works of a checking procedure, the newest first, back to the last good one."""
        started: Sequence[Mark] = register.started
        kept = register.stands.checks(procedure)
        if kept is None and register.stands.n:  # it was not among the checking procedures then
            started, kept = self.ledger.refs(kinds=(STARTED,)), ()
        newer = (mark.changeover for mark in reversed(started) if mark.step == procedure)
        return up_to_last_good(self._state(work, register) for work in (*newer, *(kept or ())))

    # --- the next standing ----------------------------------------------------------------------

    def standing(self) -> Standing:
        """The plant after the ledger's last entry, as it is recorded for those who open it later."""
        register = self._register()
        return Standing(
            n=register.n,
            form=FORM,
            lines=tuple(self._line_stands(line, register) for line in sorted(register.lines)),
            checked=tuple(
                Checked(procedure=name, works=tuple(state.work for state in self._checks(name, register)))
                for name, alone in sorted(self.library.alone.items())
                if alone.eyewash is not None
            ),
            removed=tuple(self._unsettled(register.n)),
        )

    def _line_stands(self, line: str, register: Register) -> LineStands:
        marks, before = register.line(line), register.stands.line(line)
        new = ((n, use) for n, use in self._uses_since(register.stands, line) if n <= register.n)
        return LineStands(
            line=line,
            open=marks.open,
            left=tuple(state.work for state in self._abandoned(marks, register) if under_lockout(state)),
            waiting=tuple(state.work for state in self._waiting(marks, register)),
            holds=marks.holds.n if marks.holds else 0,
            dosed=dosed(before.dosed, new),
        )

    def _unsettled(self, up_to_n: int) -> Iterator[int]:
        """Entries about removed locks of whoever does not know of it yet, by the entries or by the work's state."""
        told = {owner: self.uninformed(owner) for owner in {_owner(entry) for entry in self._removals()}}
        for entry in self._removals():
            waits = any(
                (one.changeover, one.value.get("job")) == _about(entry) for one in told[_owner(entry)]
            )
            jobs = self.state(entry.changeover).locks.values()
            if entry.n <= up_to_n and (waits or any(_owner(entry) in job.removed for job in jobs)):
                yield entry.n


def _owner(entry: Entry) -> str:
    return str(entry.value.get("owner", ""))


def _about(entry: Entry) -> tuple[str, Any]:
    return entry.changeover, entry.value.get("job")

"""A plant at work: the one way in which acts become entries.

Screens and commands ask here; what is read stands in `plant_record`, the rules are in `changeover`, the record is in
`ledger`.
"""

import contextlib
import uuid
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from msgspec import Struct
from msgspec.structs import replace

from floorterm.access import Right, has_right
from floorterm.changeover.accepting import CALIBRATED, Acceptance, to_value
from floorterm.changeover.acts import STARTED, Act, LateStep, LockoutAct, Redirect, SignStep
from floorterm.changeover.compose import compose
from floorterm.changeover.order_rules import set_clock_refusals
from floorterm.changeover.register import HOLDS, next_number
from floorterm.changeover.rules import may, needs_pin
from floorterm.changeover.standing import STANDS, STANDS_EVERY
from floorterm.changeover.state import State
from floorterm.changeover.tank_history import Use
from floorterm.changeover.worksheet import Worksheet, to_json
from floorterm.entries import Draft, Entry, clean_text
from floorterm.ledger import LedgerError
from floorterm.line_record import fold_on, with_offset
from floorterm.lockout.model import NEVER_REFUSED
from floorterm.people import Person
from floorterm.plant_record import APPROVED, PlantRecord
from floorterm.wording import Refusal, Say

if TYPE_CHECKING:
    from floorterm.ledger import Asked

PROVED = ("pin", "session")  # any other identity: somebody only named themselves
_LAST_RESORT = "site policy"
UNCONFIRMED = Refusal(Say("plant.unconfirmed"), _LAST_RESORT)
_CLOCK_STEPPED = "clock.stepped"  # the ledger's own kind


class Who(Struct, frozen=True):
    """Somebody at this terminal, and how they were recognised: "pin", "session" or "unconfirmed"."""

    person: Person
    identity: str


class Plant(PlantRecord):
    """An opened plant that records. `terminal` names this terminal in every entry."""

    def start_changeover(self, who: Who, line: str, incoming: str, key: str) -> State:
        """Begin a changeover. Raises RefusedError (line busy, nothing known of what it holds, locks left on)."""
        holds = self.holds(line)
        worksheet = self.worksheet(line, incoming, compare=True) if holds.fragrances else None

        def guard(_asked: "Asked") -> Sequence[Refusal]:
            fresh = self.line_now(line)
            found = []
            if worksheet is None:
                found.append(Refusal(Say("plant.holds_unknown"), _LAST_RESORT))
            elif fresh.holds.n != holds.n:
                found.append(Refusal(Say("plant.holds_moved"), _LAST_RESORT))
            if fresh.changeover is not None:
                found.append(Refusal(Say("plant.line_busy", {"work": fresh.changeover.work}), _LAST_RESORT))
            for state in fresh.leftover:
                found.append(Refusal(Say("plant.locks_left", {"work": state.work}), "29 CFR 1910.147(e)(3)"))
            return found

        return self._start(who, line, "C", worksheet, key, guard)

    def start_procedure(self, who: Who, line: str, procedure: str, key: str) -> State:
        """Begin a procedure that stands alone; several may run beside a changeover."""
        worksheet = self.procedure_worksheet(line, procedure)
        return self._start(who, line, "P", worksheet, key, lambda _asked: ())

    def act(self, work: str, act: Act, who: Who, *, key: str, witness: Person | None = None) -> Entry:
        """Record an act, its typed texts made fit for the record.

        Raises RefusedError with every reason, TextError for a text that cannot be kept, or a LedgerError when
        nothing was recorded.
        """
        act = _tidy(act)
        sheet = self.state(work).worksheet
        leaves = _way_out(act, sheet)
        people = self.ledger.people() if isinstance(act, LockoutAct | SignStep | LateStep) else ()

        def guard(asked: "Asked") -> Sequence[Refusal]:
            state = fold_on(work, self._states.get(work), asked.entries)
            assert asked.person is not None  # an act always names a person; the ledger looked them up
            if not leaves and (unproved := _unproved(who, act, state.worksheet)):
                return unproved
            now = with_offset(asked.now, self.zone)
            if not leaves and (untold := self._not_informed(asked.person, act)):
                return untold
            found = may(
                state,
                act,
                asked.person,
                now,
                witness=asked.witness,
                elsewhere=self.elsewhere(work),
                people=people,
                eyewash=self.eyewash(state),
            )
            return (*found, *_set_clock(state, act, asked, now))

        draft = Draft(
            kind=act.KIND,
            key=key,
            person=who.person.code,
            identity=who.identity,
            meaning="entered from paper" if isinstance(act, LateStep) else "performed",
            witness=witness.code if witness else "",
            terminal=self.terminal,
            line=sheet.line.id,
            changeover=work,
            step=getattr(act, "step", ""),
            corrects=getattr(act, "corrects", None),
            reason=getattr(act, "reason", ""),
            value=to_json(act),
        )
        return self.ledger.append(draft, guard, disabled_too=leaves)

    def redirect(self, work: str, incoming: str, reason: str, who: Who, *, key: str) -> Entry:
        """Turn a changeover towards another incoming fragrance; what was signed and still fits is kept."""
        sheet = self.state(work).worksheet
        outgoing = sheet.outgoing.id if sheet.outgoing else ""
        meant = (sheet.incoming.id,) if sheet.incoming else ()
        traces = tuple(
            dict.fromkeys(
                name
                for name in (*(trace.id for trace in sheet.traces), *meant)
                if name not in (outgoing, incoming)
            )
        )
        new = compose(
            self.inspected_library(),
            sheet.line.id,
            outgoing,
            incoming,
            self.today(),
            traces=traces,
            calibration=self.calibration(sheet.line.id),
            compare=True,
            tanks=self.tanks(sheet.line.id, Use(perhaps=meant)),
        )
        return self.act(work, Redirect(reason=reason, worksheet=to_json(new)), who, key=key)

    def state_holds(
        self, who: Who, line: str, fragrances: tuple[str, ...], reason: str, *, key: str
    ) -> Entry:
        """State what a line holds: once after `init`, later only to overrule the record, always with a reason."""
        reason = clean_text(reason)

        def guard(asked: "Asked") -> Sequence[Refusal]:
            found = list(_unproved(who))
            if not has_right(asked.person, Right.STATE_HOLDS):
                found.append(Refusal(Say("plant.supervisor_only"), _LAST_RESORT))
            if not fragrances or not all(self._runs_on(line, name) for name in fragrances):
                names = ", ".join(fragrances) or "-"
                found.append(
                    Refusal(Say("plant.holds_no_such", {"names": names, "line": line}), _LAST_RESORT)
                )
            if not reason:
                found.append(Refusal(Say("plant.reason_missing"), _LAST_RESORT))
            if self.line_now(line).changeover is not None:
                found.append(Refusal(Say("plant.holds_while_busy"), _LAST_RESORT))
            return found

        return self.ledger.append(
            Draft(
                kind=HOLDS,
                key=key,
                person=who.person.code,
                identity=who.identity,
                meaning="stated",
                terminal=self.terminal,
                line=line,
                reason=reason,
                value={"fragrances": list(fragrances)},
            ),
            guard,
        )

    def approve_library(self, who: Who, *, key: str) -> Entry:
        """A safety officer approves the library as it is now, by its digest."""

        def guard(asked: "Asked") -> Sequence[Refusal]:
            if unproved := _unproved(who):
                return unproved
            if not has_right(asked.person, Right.APPROVE_CHECKLISTS):
                return (Refusal(Say("plant.safety_officer_only"), _LAST_RESORT),)
            return ()

        return self.ledger.append(
            Draft(
                kind=APPROVED,
                key=key,
                person=who.person.code,
                identity=who.identity,
                meaning="approved",
                terminal=self.terminal,
                value={"library_digest": self.library.digest},
            ),
            guard,
        )

    def accept_calibration(
        self, who: Who, line: str, accepted: Acceptance, reason: str, *, key: str
    ) -> Entry:
        """Accept measured figures of a line; worksheets composed from now on use them.

        Raises RefusedError: only a supervisor or the safety officer, with a reason, and only on the figures that
        counted when the proposal was computed.
        """
        reason = clean_text(reason)

        def guard(asked: "Asked") -> Sequence[Refusal]:
            found = list(_unproved(who))
            if not has_right(asked.person, Right.ACCEPT_CALIBRATION):
                found.append(Refusal(Say("plant.supervisor_accepts"), _LAST_RESORT))
            if not reason:
                found.append(Refusal(Say("plant.reason_missing"), _LAST_RESORT))
            if not accepted.values:
                found.append(Refusal(Say("plant.nothing_to_accept"), _LAST_RESORT))
            now = self.calibration(line)
            if (now.n if now else 0) != accepted.before:
                found.append(Refusal(Say("plant.calibration_moved"), _LAST_RESORT))
            return found

        return self.ledger.append(
            Draft(
                kind=CALIBRATED,
                key=key,
                person=who.person.code,
                identity=who.identity,
                meaning="accepted",
                terminal=self.terminal,
                line=line,
                reason=reason,
                value=to_value(accepted),
            ),
            guard,
        )

    def _runs_on(self, line: str, fragrance: str) -> bool:
        found = self.library.fragrances.get(fragrance)
        return found is not None and line in found.lines

    def _not_informed(self, person: Person, act: Act) -> tuple[Refusal, ...]:
        if isinstance(act, LockoutAct) and act.is_way_out:
            return ()
        return tuple(
            Refusal(
                Say("plant.not_informed", {"name": entry.name, "work": entry.changeover, "n": entry.n}),
                "29 CFR 1910.147(e)(3)(iii)",
            )
            for entry in self.uninformed(person.code)[:1]
        )

    def _start(
        self,
        who: Who,
        line: str,
        prefix: str,
        worksheet: Worksheet | None,
        key: str,
        guard: Callable[["Asked"], Sequence[Refusal]],
    ) -> State:
        work = self._next_name(prefix)
        value: dict[str, Any] = {}
        if worksheet is not None:
            value = {
                "worksheet": to_json(worksheet),
                "worksheet_digest": worksheet.digest,
                "library_digest": self.library.digest,
                "library_approved": self.approval() is not None,
            }

        def whole(asked: "Asked") -> Sequence[Refusal]:
            if unproved := _unproved(who):
                return unproved
            if asked.entries(changeover=work, limit=1):
                return (Refusal(Say("plant.start_again"), _LAST_RESORT),)
            return guard(asked)

        entry = self.ledger.append(
            Draft(
                kind=STARTED,
                key=key,
                person=who.person.code,
                identity=who.identity,
                meaning="started",
                terminal=self.terminal,
                line=line,
                changeover=work,
                step=worksheet.procedure.id if worksheet is not None and worksheet.procedure else "",
                value=value,
            ),
            whole,
        )
        self._note_standing()
        return self.state(entry.changeover)

    def _next_name(self, prefix: str) -> str:
        """The next free name of a piece of work: its kind's letter and its number, without gaps."""
        names = [mark.changeover for mark in self._register().started if mark.changeover.startswith(prefix)]
        known = int(names[-1].removeprefix(f"{prefix}-")) if names else 0

        def taken(number: int) -> bool:
            return bool(self.ledger.refs(changeover=f"{prefix}-{number:04d}", limit=1))

        return f"{prefix}-{next_number(known, taken):04d}"

    def _note_standing(self) -> None:
        """Record now and then where the plant stands, so that whoever opens it later need not read its past."""
        register = self._register()
        if register.n - register.stands.n < STANDS_EVERY:
            return
        draft = Draft(
            kind=STANDS, key=self.ledger.new_id(), terminal=self.terminal, value=to_json(self.standing())
        )
        with contextlib.suppress(LedgerError):  # the work is recorded; the next start tries again
            self.ledger.append(draft)


def _set_clock(state: State, act: Act, asked: "Asked", now: datetime) -> tuple[Refusal, ...]:
    """Against a dwell whose time went by only on a clock that was set meanwhile, by the record's own entries."""
    step = state.worksheet.step(act.step) if isinstance(act, SignStep) else None
    since = state.done(step.since or (step.after[-1] if step.after else "")) if step is not None else None
    if step is None or step.kind != "wait" or since is None:
        return ()
    steps = asked.entries(kinds=(_CLOCK_STEPPED,), after_n=since.n)
    told = sum((timedelta(seconds=float(entry.value["by"]["number"])) for entry in steps), timedelta(0))
    return tuple(set_clock_refusals(state, step, now, told + (asked.stepped or timedelta(0))))


def _way_out(act: Act, sheet: Worksheet) -> bool:
    """Whether the act only makes its person safer: these need no proof of who it is."""
    match act:
        case LockoutAct():
            return act.is_way_out
        case SignStep(outcome="done"):
            step = sheet.step(act.step)
            return step is not None and step.event in NEVER_REFUSED
    return False


def _unproved(who: Who, act: Act | None = None, sheet: Worksheet | None = None) -> tuple[Refusal, ...]:
    """Against an act of somebody who only named themselves, or whose PIN must be asked again for it.

    A redirect signs no step, so the plant's words for asking again do not speak of it.
    """
    if who.identity not in PROVED:
        return (UNCONFIRMED,)
    if act is None or sheet is None or who.identity == "pin" or isinstance(act, Redirect):
        return ()
    if needs_pin(sheet, act, sheet.step(getattr(act, "step", ""))):
        return (Refusal(Say("plant.pin_again"), _LAST_RESORT),)
    return ()


def _tidy(act: Act) -> Act:
    """The act with every typed text as the record keeps texts."""
    texts = {
        name: clean_text(value, newlines=name == "text")
        for name in act.__struct_fields__
        if type(value := getattr(act, name)) is str  # words of a closed set stay what they are
    }
    return replace(act, **texts)


def new_key() -> str:
    """An idempotency key for an act that begins now."""
    return str(uuid.uuid4())

"""Acts: the closed set of things that a person can do to a piece of work. One act becomes one entry.

`KIND` of an act is the kind of its entry; the act's fields are the entry's `value`. Anything that is true of
every act (person, witness, step, reason, correction number) stands in the entry's own fields as well.
"""

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from types import MappingProxyType
from typing import Annotated, Any, ClassVar, Literal

import msgspec
from msgspec import Struct, field

from floorterm.lockout.model import EMERGENCY, NEVER_REFUSED, Event

Outcome = Literal["done", "not_applicable"]
Disposal = Literal["accept", "rework", "scrap", "hold"]
Cause = Literal["waiting", "searching"]


class SignStep(Struct, frozen=True, kw_only=True):
    """Sign a step. Which of the values is given depends on the step's kind.

    `number` is the reading as typed (decimal point, no grouping); `kg` the running total of a flush step;
    `counter` the bar counter of a marking step. A step that does not apply carries `reason`.
    """

    KIND: ClassVar[str] = "step.signed"
    step: str
    outcome: Outcome = "done"
    number: str = ""
    choice: str = ""
    text: str = ""
    scanned: str = ""
    kg: Decimal | None = None
    counter: int | None = None
    lock: str = ""
    result: str = ""
    people: tuple[str, ...] = ()
    how: str = ""
    reason: str = ""


class LateStep(Struct, frozen=True, kw_only=True):
    """A step that was done and signed on paper, entered afterwards: its own kind of fact.

    `done_at` is the time that the paper gives (it carries its offset), `by` the code of whoever signed the paper with
    `by_name` as it stands there, `seen_by` who signed it as witness; `reason` says why it was not recorded at once.
    When it was entered and by whom is the entry's own. The other fields are those of `SignStep`.
    """

    KIND: ClassVar[str] = "step.late"
    step: str
    done_at: Annotated[datetime, msgspec.Meta(tz=True)]
    by: str
    by_name: str
    reason: str
    seen_by: str = ""
    seen_by_name: str = ""
    number: str = ""
    choice: str = ""
    text: str = ""
    scanned: str = ""
    kg: Decimal | None = None
    counter: int | None = None
    lock: str = ""
    result: str = ""
    people: tuple[str, ...] = ()
    how: str = ""

    def signature(self) -> SignStep:
        """What was signed on the paper, as if it had been signed here."""
        return SignStep(
            step=self.step,
            number=self.number,
            choice=self.choice,
            text=self.text,
            scanned=self.scanned,
            kg=self.kg,
            counter=self.counter,
            lock=self.lock,
            result=self.result,
            people=self.people,
            how=self.how,
        )


class CorrectStep(Struct, frozen=True, kw_only=True):
    """Correct what was entered at a step: a new entry that names the old one (`corrects`) and the reason."""

    KIND: ClassVar[str] = "step.corrected"
    step: str
    corrects: int
    reason: str
    number: str = ""
    choice: str = ""
    text: str = ""
    scanned: str = ""
    kg: Decimal | None = None
    counter: int | None = None


class PushFlush(Struct, frozen=True, kw_only=True):
    """Say how many kg of line mass have been pushed so far (running total) at a flush step."""

    KIND: ClassVar[str] = "flush.pushed"
    step: str
    kg: Decimal


class ReviseFlush(Struct, frozen=True, kw_only=True):
    """Change the required kg of a flush step, with the reason and the inputs behind the new figure."""

    KIND: ClassVar[str] = "flush.revised"
    step: str
    kg: Decimal
    reason: str
    inputs: Mapping[str, str] = field(default_factory=dict)


class LockoutAct(Struct, frozen=True, kw_only=True):
    """A lockout event outside the worksheet's own lockout steps.

    A further person's review, lock, verification, start or end of work, a lock taken off, a repeated
    verification, people told; groups, contractors, tests, hand-overs, an absent owner's lock. `lock_on` is about
    one point (or the lock box) and names the lock; `lock_off` without points means every lock of the acting person
    in that job; `verify` without points means all required points. The other fields are those of `LockEvent`.
    """

    KIND: ClassVar[str] = "lockout.event"
    job: str
    event: Event
    points: tuple[str, ...] = ()
    lock: str = ""
    result: str = ""
    people: tuple[str, ...] = ()
    how: str = ""
    owner: str = ""
    primary: str = ""
    coordinator: str = ""
    crews: int | None = None

    @property
    def is_way_out(self) -> bool:
        """Whether it is never refused: an end of work, an own lock off, what an emergency did."""
        emergency = self.how == EMERGENCY and self.event in (Event.SHUT_DOWN, Event.REMOVE_OTHER)
        return self.event in NEVER_REFUSED or emergency


class Protect(Struct, frozen=True, kw_only=True):
    """Confirm protection for a section of lye work: what the acting person wears and has made sure of, now."""

    KIND: ClassVar[str] = "lye.protected"
    section: str
    items: tuple[str, ...]


class RaiseLye(Struct, frozen=True, kw_only=True):
    """Say that lye is stronger, hotter or under pressure, as found. It can only ask for more protection."""

    KIND: ClassVar[str] = "lye.raised"
    section: str
    mass_pct: Decimal
    temperature_c: Decimal
    pressurised: bool = False


class RepeatSection(Struct, frozen=True, kw_only=True):
    """Do a section again: a new round of the same steps; the earlier round stays."""

    KIND: ClassVar[str] = "section.repeated"
    section: str
    reason: str


class Pause(Struct, frozen=True, kw_only=True):
    """Stop the work for a reason that is not the worksheet's."""

    KIND: ClassVar[str] = "work.paused"
    reason: str


class Resume(Struct, frozen=True, kw_only=True):
    """Take the work up again."""

    KIND: ClassVar[str] = "work.resumed"


class Note(Struct, frozen=True, kw_only=True):
    """Write something down, about a step or about the whole work."""

    KIND: ClassVar[str] = "work.note"
    text: str
    step: str = ""


class ExplainMinutes(Struct, frozen=True, kw_only=True):
    """Say that so many minutes of a step went by in waiting or searching, which no sign-off can show."""

    KIND: ClassVar[str] = "minutes.explained"
    step: str
    cause: Cause
    minutes: int
    reason: str


class RaiseDeviation(Struct, frozen=True, kw_only=True):
    """Report something that is not as it should be and that no limit caught."""

    KIND: ClassVar[str] = "deviation.raised"
    text: str
    step: str = ""
    critical: Literal["", "safety", "quality"] = ""


class Dispose(Struct, frozen=True, kw_only=True):
    """Decide about a deviation (`deviation` is the number of the entry that raised it)."""

    KIND: ClassVar[str] = "deviation.disposed"
    deviation: int
    decision: Disposal
    reason: str


class Abandon(Struct, frozen=True, kw_only=True):
    """End the work without finishing it. Locks stay what they are; `holds` states what the line now holds."""

    KIND: ClassVar[str] = "work.abandoned"
    reason: str
    holds: tuple[str, ...] = ()


class Redirect(Struct, frozen=True, kw_only=True):
    """Go on towards another incoming fragrance: the new worksheet, as JSON. Locks stay what they are."""

    KIND: ClassVar[str] = "work.redirected"
    reason: str
    worksheet: Mapping[str, Any]


class Release(Struct, frozen=True, kw_only=True):
    """Release the line for the incoming fragrance (or end a stand-alone procedure)."""

    KIND: ClassVar[str] = "work.released"


Act = (
    SignStep | LateStep | CorrectStep | PushFlush | ReviseFlush | LockoutAct | Protect | RaiseLye | RepeatSection
    | Pause | Resume | Note | ExplainMinutes | RaiseDeviation | Dispose | Abandon | Redirect | Release
)  # fmt: skip

STARTED = "work.started"  # begins a piece of work: its value holds the worksheet and its digest

ACTS: Mapping[str, type[Act]] = MappingProxyType(
    {
        act.KIND: act
        for act in (
            SignStep, LateStep, CorrectStep, PushFlush, ReviseFlush, LockoutAct, Protect, RaiseLye, RepeatSection,
            Pause, Resume, Note, ExplainMinutes, RaiseDeviation, Dispose, Abandon, Redirect, Release,
        )
    }
)  # fmt: skip


class UnknownActError(ValueError):
    """An entry of a kind that this version does not know; it is shown, never skipped in silence."""


def act_from_value(kind: str, value: Mapping[str, Any]) -> Act:
    """The act that an entry of that kind stands for. Raises UnknownActError or msgspec.ValidationError."""
    if kind not in ACTS:
        raise UnknownActError(f"Entries of kind {kind!r} are not known to this version.")
    return msgspec.convert(value, ACTS[kind])

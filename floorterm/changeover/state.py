"""The state of one piece of work: nothing but a fold over its entries.

The types are here; `floorterm.changeover.fold` computes them and `floorterm.changeover.rules` asks them.
"""

from collections.abc import Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Literal

from msgspec import Struct, field

from floorterm.changeover.acts import Cause, Disposal, Pause, SignStep
from floorterm.changeover.worksheet import Step, Worksheet
from floorterm.lockout.state import LockOn, LockoutState
from floorterm.wording import Fact

Status = Literal["open", "paused", "released", "abandoned"]


class Paper(Struct, frozen=True, kw_only=True):
    """What a paper says of a step that was entered afterwards: when it was done, by whom, who saw it.

    `reason` says why it was not recorded at once. Nobody but the paper vouches for `at`.
    """

    at: datetime
    person: str
    name: str
    reason: str
    seen_by: str = ""
    seen_by_name: str = ""


class Signed(Struct, frozen=True, kw_only=True):
    """One signed step: the act as it counts now (corrections applied), by whom, and whether within limits.

    `at`, `person` and `name` are those of the entry. Of a step that was done on `paper` they say when and by whom it
    was entered; `done_at` and `done_by` are the paper's then.
    """

    act: SignStep
    n: int
    at: datetime
    person: str
    name: str
    witness: str = ""
    witness_name: str = ""
    within: bool = True
    round: int = 1
    corrected_by: int | None = None
    paper: Paper | None = None

    @property
    def done_at(self) -> datetime:
        """When it was done: the entry's time, or the paper's word."""
        return self.at if self.paper is None else self.paper.at

    @property
    def done_by(self) -> str:
        """Code of who did it: the entry's person, or who signed the paper."""
        return self.person if self.paper is None else self.paper.person

    @property
    def done_by_name(self) -> str:
        """Name of who did it, as the entry or the paper has it."""
        return self.name if self.paper is None else self.paper.name


REPORTED = "changeover.deviation.raised"  # key of what somebody reported


class Deviation(Struct, frozen=True, kw_only=True):
    """Something out of limits or reported. `n` numbers the entry that raised it; `key` and `facts` word it.

    `stops` keeps what comes after the step waiting until somebody decided; a hold keeps it waiting on.
    """

    n: int
    at: datetime
    step: str
    by: str
    by_name: str
    key: str
    facts: Mapping[str, Fact]
    critical: Literal["", "safety", "quality"] = ""
    stops: bool = False
    decision: Disposal | None = None
    decided_by: str = ""
    decided_n: int | None = None
    decided_at: datetime | None = None
    reason: str = ""
    paper: Paper | None = None

    @property
    def done_at(self) -> datetime:
        """When what deviates was done: the entry's time, or the paper's word."""
        return self.at if self.paper is None else self.paper.at

    @property
    def done_by_name(self) -> str:
        """Name of who did it, as the entry or the paper has it."""
        return self.by_name if self.paper is None else self.paper.name

    def caused_by(self, code: str) -> bool:
        """Whether it is of somebody's own doing: they did it, or entered it. Having reported it is not."""
        did = self.by if self.paper is None else self.paper.person
        return code in (self.by, did) and self.key != REPORTED

    @property
    def open(self) -> bool:
        """Whether it still waits for a disposition (`hold` keeps it waiting)."""
        return self.decision in (None, "hold")


class Correction(Struct, frozen=True, kw_only=True):
    """What entry `n` changed of a signature or of a total at a flush step: before and after it, and why.

    `entered_at` and `done_at` are those of what it corrects; they are two where that came from paper.
    """

    n: int
    at: datetime
    by_name: str
    before: SignStep
    after: SignStep
    reason: str
    entered_at: datetime
    done_at: datetime


class Push(Struct, frozen=True, kw_only=True):
    """One running total as somebody entered it: kg of line mass since the dose was switched."""

    n: int
    kg: Decimal
    at: datetime
    by_name: str


class FlushProgress(Struct, frozen=True, kw_only=True):
    """Where a flush step stands: kg required as revised last, and kg of line mass pushed so far.

    `inputs` are those of the last revision: the way that was chosen, what check samples taught.
    """

    required_kg: Decimal
    pushed_kg: Decimal = Decimal(0)
    revised_by: int | None = None
    inputs: Mapping[str, str] = field(default_factory=dict)
    pushes: tuple[Push, ...] = ()

    @property
    def left_kg(self) -> Decimal:
        """Line mass in kg still to be flushed; never negative."""
        return max(Decimal(0), self.required_kg - self.pushed_kg)


class NoteTaken(Struct, frozen=True, kw_only=True):
    """A note or a pause with its author, for the record of the work."""

    n: int
    at: datetime
    by_name: str
    text: str
    step: str = ""
    kind: str = "work.note"


class Stop(Struct, frozen=True, kw_only=True):
    """A pause of the work from its beginning to its end, with the reason that was given."""

    since: datetime
    until: datetime
    reason: str


class MinutesTold(Struct, frozen=True, kw_only=True):
    """Why a step took longer, as somebody said afterwards: so many of its minutes were waiting, or searching."""

    n: int
    step: str
    cause: Cause
    minutes: int
    reason: str
    by_name: str


class Protected(Struct, frozen=True, kw_only=True):
    """Protection for a section of lye work as one person confirmed it, item by item or all at once."""

    n: int
    at: datetime
    person: str
    section: str
    items: tuple[str, ...]


class LyeFound(Struct, frozen=True, kw_only=True):
    """Lye as somebody found it at a section: mass %, C, under pressure or not."""

    n: int
    section: str
    mass_pct: Decimal
    temperature_c: Decimal
    pressurised: bool


class Turned(Struct, frozen=True, kw_only=True):
    """The worksheet that a redirect of entry `n` replaced."""

    n: int
    worksheet: Worksheet


class State(Struct, frozen=True, kw_only=True):
    """Everything known about one piece of work after its entries so far.

    `signed` holds the current round of every step that stands; `history` every signature ever, in order of entry;
    `by_paper` the lockout steps of the current round that were done on paper, whether they count yet or not.
    `rounds` says how often a section has been begun. `planned` is the worksheet that the work began with, where a
    redirect has replaced it. `locks` holds every lockout job, also those that a redirected
    worksheet no longer has while something of them is left. `holds` is set when the work ended: fragrance ids that
    the line may hold, the main one first (empty: the work changed nothing).
    """

    work: str
    worksheet: Worksheet
    planned: Worksheet | None = None
    status: Status = "open"
    started_at: datetime
    started_by: str
    last_at: datetime
    last_n: int
    signed: Mapping[str, Signed] = field(default_factory=dict)
    history: tuple[Signed, ...] = ()
    by_paper: tuple[Signed, ...] = ()
    rounds: Mapping[str, int] = field(default_factory=dict)
    deviations: tuple[Deviation, ...] = ()
    corrections: tuple[Correction, ...] = ()
    locks: Mapping[str, LockoutState] = field(default_factory=dict)
    past_locks: Mapping[str, LockoutState] = field(default_factory=dict)
    turned: tuple[Turned, ...] = ()
    flush: Mapping[str, FlushProgress] = field(default_factory=dict)
    notes: tuple[NoteTaken, ...] = ()
    protected: tuple[Protected, ...] = ()
    lye_found: tuple[LyeFound, ...] = ()
    paused_since: datetime | None = None
    paused_s: int = 0
    stops: tuple[Stop, ...] = ()
    told: tuple[MinutesTold, ...] = ()
    ended_at: datetime | None = None
    ended_by: str = ""
    holds: tuple[str, ...] = ()

    @property
    def ended(self) -> bool:
        """Whether the work was released or abandoned."""
        return self.status in ("released", "abandoned")

    def expired(self, step_id: str, now: datetime) -> bool:
        """Whether a signed step has reopened by itself because its time is over.

        It counts until what comes after it is done: a line clearance must be fresh when the new material is
        loaded, not when the line is released an hour later.
        """
        step, signed = self.worksheet.step(step_id), self.signed.get(step_id)
        if step is None or signed is None or step.expires_min is None:
            return False
        after = self.worksheet.followers[step_id]
        if after and all(name in self.signed for name in after):
            return False
        return now > signed.done_at + timedelta(minutes=step.expires_min)

    def done(self, step_id: str) -> Signed | None:
        """The signature of a step in the current round, also one on paper that does not count yet."""
        on_paper = (one for one in reversed(self.by_paper) if one.act.step == step_id)
        return self.signed.get(step_id) or next(on_paper, None)

    def stands(self, step_id: str, now: datetime) -> bool:
        """Whether a step is signed in the current round and not expired."""
        return step_id in self.signed and not self.expired(step_id, now)

    def step_of(self, signed: Signed) -> Step | None:
        """The step of a signature, on the worksheet that it was signed on."""
        then = (one.worksheet for one in self.turned if signed.n < one.n)
        return next(then, self.worksheet).step(signed.act.step)

    @property
    def every_lockout(self) -> Mapping[str, LockoutState]:
        """The lockouts of this work, and those of before a redirect whose record was closed (`past_locks`)."""
        return {**self.past_locks, **self.locks}

    def locks_on(self) -> tuple[LockOn, ...]:
        """Every lock of this work that is on now, in the order in which they went on."""
        found = [lock for job in self.locks.values() for lock in job.locks_on()]
        return tuple(sorted(found, key=lambda lock: lock.n))

    @property
    def runs_until(self) -> str:
        """The step that says when the last good outgoing bar was made; "" where the worksheet has none."""
        marks = (step.id for step in self.worksheet.steps() if step.mark == "last_good_outgoing")
        return next(marks, "")

    @property
    def last_good(self) -> Signed | None:
        """The signature of the last good outgoing bar: of this round, or of before a redirect, which makes no bars."""
        mark = self.runs_until
        if mark in self.signed or self.planned is None:
            return self.signed.get(mark)
        return next((one for one in reversed(self.history) if one.act.step == mark), None)

    @property
    def open_deviations(self) -> tuple[Deviation, ...]:
        """Deviations that wait for a disposition."""
        return tuple(deviation for deviation in self.deviations if deviation.open)

    @property
    def title(self) -> tuple[str, str]:
        """(outgoing, incoming) ids of a changeover, or (procedure id, "")."""
        sheet = self.worksheet
        if sheet.procedure is not None:
            return sheet.procedure.id, ""
        return (sheet.outgoing.id if sheet.outgoing else ""), (sheet.incoming.id if sheet.incoming else "")


def pause_reason(state: State) -> str:
    """The reason of the newest pause; "" where there was none."""
    return next((note.text for note in reversed(state.notes) if note.kind == Pause.KIND), "")

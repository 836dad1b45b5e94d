"""What a shift's review shows, as one frozen value: it is shown, signed by its digest, and kept in the entry whole.

Nothing in it depends on the language or on the minute in which it is read, so that the same record gives the same
digest until something happens. Times are plant time with the offset, `YYYY-MM-DDTHH:MM:SS-07:00`; minutes are whole
seconds; texts are the plant's, by language. A field that is added has a default, so that earlier entries read.
"""

from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any, Literal

import msgspec
from msgspec import Struct, field
from msgspec.structs import replace

from floorterm.changeover.minutes import Lost
from floorterm.entries import canonical, digest
from floorterm.wording import Fact, Say

Text = Mapping[str, str]


class MinutesPart(Struct, frozen=True, kw_only=True):
    """One part of the difference between actual and planned; `text` is the step's, {} where it belongs to none.

    "small" are parts of less than a minute together, `n` of them: those of one section, whose id is then `step` and
    whose title is `text`, or those that are left.
    """

    cause: Lost | Literal["small"]
    seconds: int
    n: int = 1
    step: str = ""
    text: Text = field(default_factory=dict)
    reasons: tuple[str, ...] = ()


class MinutesLine(Struct, frozen=True, kw_only=True):
    """Planned, standard and actual seconds of a changeover that has ended; the parts sum to actual less planned."""

    planned_s: int
    standard_s: int
    actual_s: int
    parts: tuple[MinutesPart, ...] = ()


class FlushLine(Struct, frozen=True, kw_only=True):
    """What was diverted against what was computed.

    kg of line mass: `computed_kg` when the work began, `required_kg` as revised last, `pushed_kg` as entered. Of bars
    and of all diverted soap the figure computed and the one that follows from the kg pushed; `counted` is the
    difference of the two counters that were entered at the marked bars.
    """

    computed_kg: Decimal
    required_kg: Decimal
    pushed_kg: Decimal
    bars_computed: int
    bars_pushed: int
    diverted_computed_kg: Decimal
    diverted_pushed_kg: Decimal
    counted: int | None = None
    evidence: str = ""


class WorkLine(Struct, frozen=True, kw_only=True):
    """One piece of work. `minutes` and `flush` are those of a changeover, the minutes only once it has ended."""

    work: str
    line: Text
    status: str
    started: str
    ended: str = ""
    outgoing: Text = field(default_factory=dict)
    incoming: Text = field(default_factory=dict)
    procedure: Text = field(default_factory=dict)
    minutes: MinutesLine | None = None
    flush: FlushLine | None = None


class DeviationLine(Struct, frozen=True, kw_only=True):
    """One deviation with its disposition; `decision` "" waits for one, "hold" keeps it waiting.

    `at` and `by` say when and by whom what deviates was done: of a step from paper they are the paper's.
    """

    n: int
    work: str
    line: Text
    at: str
    by: str
    key: str
    facts: Mapping[str, Fact] = field(default_factory=dict)
    text: Text = field(default_factory=dict)  # of its step, {} where it is about none
    critical: str = ""
    decision: str = ""
    decided_by: str = ""
    reason: str = ""

    @property
    def undecided(self) -> bool:
        """Whether nobody has decided anything about it yet."""
        return not self.decision


class SignOffLine(Struct, frozen=True, kw_only=True):
    """A sign-off that is missing or came late.

    "late": entry `n` was entered at `at` by `by` from a paper of `done` by `done_by`. "open": `n` steps of a work that
    goes on are not signed, `text` the first of them. "release": everything is signed but the release.
    """

    sort: Literal["late", "open", "release"]
    work: str
    line: Text
    n: int = 0
    text: Text = field(default_factory=dict)
    at: str = ""
    by: str = ""
    done: str = ""
    done_by: str = ""
    reason: str = ""


class CorrectionLine(Struct, frozen=True, kw_only=True):
    """Entry `n` corrected a step: what counted before it and what counts after it, as entered; `unit` is of both."""

    n: int
    work: str
    line: Text
    text: Text
    at: str
    by: str
    was: Text
    now: Text
    unit: str = ""
    reason: str = ""


class LockLine(Struct, frozen=True, kw_only=True):
    """A lock that the record has on."""

    point: str
    lock: str
    owner: str
    since: str = ""


class LockoutLine(Struct, frozen=True, kw_only=True):
    """A lockout that is begun and not closed, with its locks; it can be open without any."""

    work: str
    line: Text
    machine: Text
    locks: tuple[LockLine, ...] = ()


class DueLine(Struct, frozen=True, kw_only=True):
    """Something of the plant's programme that is due by the day after the shift.

    "weekly" and "yearly": the checks of eyewash and shower; "failed": the last one failed; "inspection": of a
    lockout procedure; "review": people with whom the inspector has not gone through it; "correction": what an
    inspection found and nobody has corrected. `on` is the last day on which it counts, "" where it never counted.
    """

    sort: Literal["weekly", "yearly", "failed", "inspection", "review", "correction"]
    text: Text
    on: str = ""
    said: str = ""


class Summary(Struct, frozen=True, kw_only=True):
    """One shift: what ran, what deviated, which sign-offs are missing, late or corrected, what is left on, what is due.

    `corrections` are those that were entered in the shift, and those of what it signed off, whenever they were.
    """

    shift: str  # `2026-11-24/early`
    name: Text
    since: str
    until: str
    works: tuple[WorkLine, ...] = ()
    deviations: tuple[DeviationLine, ...] = ()
    sign_offs: tuple[SignOffLine, ...] = ()
    corrections: tuple[CorrectionLine, ...] = ()
    lockouts: tuple[LockoutLine, ...] = ()
    due: tuple[DueLine, ...] = ()

    @property
    def undecided(self) -> tuple[DeviationLine, ...]:
        """Deviations about which nobody has decided anything."""
        return tuple(one for one in self.deviations if one.undecided)


def summary_json(summary: Summary) -> dict[str, Any]:
    """The summary as JSON-ready data for an entry."""
    found: dict[str, Any] = _lean(msgspec.to_builtins(summary, str_keys=True))
    return found


def _lean(value: Any, *, whole: bool = False) -> Any:
    """Without what reads back by itself; the facts of a sentence stay whole, since it names each of them."""
    if isinstance(value, dict):
        return {
            key: _lean(inner, whole=whole or key == "facts")
            for key, inner in value.items()
            if whole or inner not in (None, "", (), {})
        }
    if isinstance(value, tuple | list):
        return [_lean(inner, whole=whole) for inner in value]
    return value


def summary_from_json(data: Mapping[str, Any]) -> Summary:
    """Read a summary back from an entry. Raises msgspec.ValidationError if it is none."""
    return msgspec.convert(data, Summary)


def shown_digest(summary: Summary, handover: str) -> str:
    """SHA-256 over the canonical JSON of all that is signed: the summary and the text for the next shift."""
    return digest_of(summary_json(summary), handover)


def digest_of(summary: Mapping[str, Any], handover: str) -> str:
    """The same of a summary as an entry carries it, whichever version wrote it. Raises BodyError."""
    return digest(canonical({"handover": handover, "summary": summary}))


_NOTHING_PUSHED: Mapping[str, Any] = {
    "pushed_kg": Decimal(0),
    "bars_pushed": 0,
    "diverted_pushed_kg": Decimal(0),
    "counted": None,
}


# --- what is different ----------------------------------------------------------------------------------------------


def differences(old: Summary, new: Summary, *, dues: bool = True, after_n: int = 0) -> tuple[Say, ...]:
    """What reads differently now, one sentence a piece; what is due only where `dues` asks for it.

    How far a work that goes on has come is no difference: on a line that works it is another minute by minute. Of
    corrections, and of deviations that the old one does not name, those after entry `after_n` count: earlier versions
    signed without naming them.
    """
    old, new = _settled(old), _settled(new)
    found = [
        *_between("work", _keyed(old.works, "work"), _keyed(new.works, "work")),
        *_deviated(old, new, after_n),
        *_between("sign_off", _keyed(old.sign_offs, "work"), _keyed(new.sign_offs, "work")),
        *_corrected(old, new, after_n),
        *_between("lockout", _keyed(old.lockouts, "work"), _keyed(new.lockouts, "work")),
    ]
    if dues:
        found += _between("due", _keyed(old.due, "sort"), _keyed(new.due, "sort"))
    if not found and (old.since, old.until) != (new.since, new.until):
        found.append(Say("shift.diff_hours"))
    return tuple(found)


def _settled(summary: Summary) -> Summary:
    """Without what each sign-off of a work that goes on moves: its steps not signed yet, its kg flushed."""
    return replace(
        summary,
        works=tuple(
            line
            if line.ended or line.flush is None
            else replace(line, flush=replace(line.flush, **_NOTHING_PUSHED))
            for line in summary.works
        ),
        sign_offs=tuple(line for line in summary.sign_offs if line.sort == "late"),
    )


def _keyed(lines: Iterable[Any], name: str) -> dict[str, tuple[Any, ...]]:
    found: dict[str, tuple[Any, ...]] = {}
    for line in lines:
        key = str(getattr(line, name))
        found[key] = (*found.get(key, ()), line)
    return found


def _deviated(old: Summary, new: Summary, after_n: int) -> list[Say]:
    """When and by whom stands in the entry: it never changes, earlier versions only told it otherwise of a paper."""
    before, now = (
        {str(one.n): replace(one, at="", by="") for one in summary.deviations} for summary in (old, new)
    )
    return _between(
        "deviation", before, {n: one for n, one in now.items() if n in before or int(n) > after_n}
    )


def _corrected(old: Summary, new: Summary, after_n: int) -> list[Say]:
    """A correction is another entry: it comes, and never goes or changes."""
    known = {line.n for line in old.corrections}
    return [
        Say("shift.diff_correction", {"n": str(line.n), "which": line.work})
        for line in new.corrections
        if line.n > after_n and line.n not in known
    ]


def _between(sort: str, old: Mapping[str, Any], new: Mapping[str, Any]) -> list[Say]:
    keys = dict.fromkeys((*old, *new))
    return [Say(f"shift.diff_{sort}", {"which": key}) for key in keys if old.get(key) != new.get(key)]

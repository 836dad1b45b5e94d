"""Reading and signing a plant's shifts: the summary as the record has it now, the signatures that it holds.

Recording asks `shift.signing` inside the transaction with the summary read there, so that nobody signs what has
changed since it was shown.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any

from floorterm.entries import Entry, clean_text
from floorterm.inspecting import inspections
from floorterm.languages import by_language
from floorterm.lockout.inspection import due_list
from floorterm.recording import recorded
from floorterm.shift.due import eyewash_due, inspections_due
from floorterm.shift.signing import (
    COUNTERSIGNED,
    KINDS,
    SIGNED,
    ShiftSignature,
    Signing,
    countersign_refusals,
    countersigned_value,
    opens_at,
    sign_refusals,
    signatures_of,
    signed_value,
)
from floorterm.shift.summarise import summarise
from floorterm.shift.summary import DueLine, Summary, Text, differences
from floorterm.shift.window import Window, window_at, window_before
from floorterm.wording import Refusal, Say

if TYPE_CHECKING:
    from floorterm.changeover.state import State
    from floorterm.ledger import Asked
    from floorterm.plant import Plant, Who


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """A shift as it is reviewed: the summary now, its signatures, and what reads differently since the newest one.

    `at` is when it was read; the same shift read a minute later is the same review.
    """

    window: Window
    summary: Summary
    signatures: tuple[ShiftSignature, ...] = ()
    changed: tuple[Say, ...] = ()
    at: datetime = field(compare=False)

    @property
    def opens(self) -> datetime | None:
        """From when on it may be signed, where that is still to come."""
        opens = opens_at(self.window)
        return opens if self.at < opens else None

    @property
    def signature(self) -> ShiftSignature | None:
        """The newest signature."""
        return self.signatures[-1] if self.signatures else None

    def shown(self, handover: str) -> Summary:
        """What is shown beside that text for the next shift: what was signed, as long as nothing reads differently.

        What is due goes on by itself and is not counted; to sign once more is to sign what stands there now.
        """
        signed = self.signature
        if signed is None or self.changed or handover != signed.handover:
            return self.summary
        return signed.summary


# --- reading --------------------------------------------------------------------------------------------------------


def review_of(plant: "Plant", window: Window) -> Review:
    """One shift as the record has it now."""
    summary = summary_of(plant, window)
    found = signatures_of(window.key, plant.ledger.entries(kinds=KINDS, since=opens_at(window)))
    signed = found[-1] if found else None
    changed = differences(signed.summary, summary, dues=False, after_n=signed.n) if signed else ()
    return Review(window=window, summary=summary, signatures=found, changed=changed, at=plant.now())


def signature_of(plant: "Plant", window: Window) -> ShiftSignature | None:
    """The newest signature of a shift, without computing what it shows now."""
    found = signatures_of(window.key, plant.ledger.entries(kinds=KINDS, since=opens_at(window)))
    return found[-1] if found else None


def summary_of(plant: "Plant", window: Window) -> Summary:
    """The summary of a shift as the record has it now."""
    return summarise(window, shift_states(plant, window), tuple(_due(plant, window)), plant.now())


def shift_states(plant: "Plant", window: Window) -> tuple["State", ...]:
    """Works that were on or corrected in the shift, and those of which a lock is left or a deviation is open."""
    found = {state.work: state for state in plant.works_told_between(window.since, window.until)}
    found |= {state.work: state for line in plant.lines() for state in line.unsettled}
    return tuple(found.values())


def states_shown(plant: "Plant", window: Window) -> tuple["State", ...]:
    """What the Shift screen is about: as above of a shift that runs; of an earlier one what was on, or corrected."""
    if window.until > plant.now():
        return shift_states(plant, window)
    return plant.works_told_between(window.since, window.until)


def shift_to_review(plant: "Plant") -> Window:
    """The shift that ended last, until the one that runs is near its end."""
    shifts = plant.library.plant.shifts
    now = window_at(shifts, plant.now(), plant.zone)
    return now if plant.now() >= opens_at(now) else window_before(shifts, now, plant.zone)


def _due(plant: "Plant", window: Window) -> Iterator[DueLine]:
    day = window.until.date()
    for name, alone in plant.library.alone.items():
        if alone.eyewash is not None:
            yield from eyewash_due(alone.eyewash, _text(alone.title), plant.checks(name), day)
    months = plant.library.plant.lockout.inspection_months
    lockouts = plant.library.lockouts
    found = due_list(lockouts, inspections(plant), plant.ledger.people(), day, months)
    yield from inspections_due(found, {name: _text(one.title) for name, one in lockouts.items()})


def _text(text: Any) -> Text:
    return by_language(text)


# --- writing --------------------------------------------------------------------------------------------------------


def sign(plant: "Plant", who: "Who", shown: Review, handover: str, *, key: str) -> Entry:
    """Sign a shift as it was shown. Raises RefusedError with every reason (what changed meanwhile), or TextError."""
    said = clean_text(handover, newlines=True)
    known = shown.signature.n if shown.signature is not None else 0

    def guard(asked: "Asked") -> Sequence[Refusal]:
        fresh = summary_of(plant, shown.window)
        signatures = _signatures(asked, shown.window)
        signing = Signing(
            window=shown.window,
            shown=shown.summary,
            fresh=fresh,
            handover=said,
            known=known,
            signatures=signatures,
        )
        return sign_refusals(signing, asked.person, asked.now)

    return recorded(plant, who, SIGNED, signed_value(shown.summary, said), "reviewed", guard, key)


def countersign(plant: "Plant", who: "Who", shown: Review, *, key: str) -> Entry:
    """Take a signed shift over. Raises RefusedError with every reason."""
    signature = shown.signature

    def guard(asked: "Asked") -> Sequence[Refusal]:
        number = signature.n if signature is not None else 0
        return countersign_refusals(_signatures(asked, shown.window), number, asked.person)

    value = countersigned_value(signature, shown.window.key) if signature is not None else {}
    return recorded(plant, who, COUNTERSIGNED, value, "taken over", guard, key)


def _signatures(asked: "Asked", window: Window) -> tuple[ShiftSignature, ...]:
    return signatures_of(window.key, asked.entries(kinds=KINDS, since=opens_at(window)))

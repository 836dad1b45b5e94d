"""When a seal is due at a plant's second place, and bringing it there. No work ever waits for it.

Nothing is remembered besides the record and the witness file: what is due follows from the entries since the last
seal for that place, what is owed from the seals in the record that the file lacks. So any terminal takes up where
another one stopped.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING

from msgspec import Struct

from floorterm.entries import Draft, Entry, stamp
from floorterm.ledger.proof_faults import WitnessAwayError, WitnessDiffersError
from floorterm.ledger.seal import SEAL_MADE, Seal, seal_value
from floorterm.ledger.witness import append_seals, seals_among
from floorterm.shift.window import last_end

if TYPE_CHECKING:
    from floorterm.ledger import EntriesReader, Ledger
    from floorterm.ledger.transaction import Transaction
    from floorterm.library.model import Shift

SEAL_AWAY = "seal.away"  # a seal could not be brought to its second place
PHOTOGRAPH = "photograph"  # where a seal goes that is shown as a code
_DAILY = timedelta(hours=24)
_LOOK_BACK = 200  # seals to other places that may lie behind the newest one to this place
_AT_ONCE = {
    "work.released": "release",
    "export.made": "export",
    "archive.made": "export",
    "backup.made": "backup",
    "ledger.restored": "restore",
    "shift.signed": "shift",
    "shift.countersigned": "shift",
}
_LOCKOUT = ("lockout.event", "step.signed")
_CLOSE = "close"  # the event that ends a lockout, and the last word of the step that stands for it


class Kept(Struct, frozen=True):
    """What one visit of the second place came to: the seal made now, if one was due, and how many were brought."""

    made: Seal | None
    brought: int


def why_due(entries: "EntriesReader", to: str, shift_end: datetime, now: datetime) -> str:
    """Why a seal is due there now, or "".

    "first", "release", "lockout", "export", "backup", "restore", "shift", "daily".
    """
    newest = _newest(entries, to)
    if newest is None:
        return "first"
    for entry in entries(after_n=newest.n, kinds=(*_AT_ONCE, *_LOCKOUT)):
        if entry.kind in _AT_ONCE:
            return _AT_ONCE[entry.kind]
        if entry.value.get("event") == _CLOSE or entry.step.endswith(f"/{_CLOSE}"):
            return "lockout"
    if newest.at < shift_end and _worked(entries, newest.n):
        return "shift"
    return "daily" if now - newest.at >= _DAILY else ""


def _newest(entries: "EntriesReader", to: str) -> Entry | None:
    found = entries(kinds=(SEAL_MADE,), newest_first=True, limit=_LOOK_BACK)
    return next((entry for entry in found if entry.value.get("to") == to), None)


def _worked(entries: "EntriesReader", after_n: int) -> bool:
    """Whether anything but seals was recorded since."""
    return any(not entry.kind.startswith("seal.") for entry in entries(after_n=after_n, limit=_LOOK_BACK))


def keep(ledger: "Ledger", shifts: "Sequence[Shift]", zone: tzinfo, witness: Path, terminal: str) -> Kept:
    """Make the seal that is due, if one is, and bring everything that the second place is owed.

    Raises WitnessAwayError (an entry says it of every seal made now; all is brought later), WitnessDiffersError, or
    another LedgerError.
    """
    made = _make(ledger, shifts, zone, str(witness), terminal)
    try:
        brought = bring(ledger, witness, made)
    except WitnessAwayError as fault:
        if made is not None:
            value = {"n": made.n, "to": str(witness), "reason": str(fault.say.facts["reason"])}
            _record(ledger, SEAL_AWAY, value, terminal)
        raise
    return Kept(made, brought)


def _make(ledger: "Ledger", shifts: "Sequence[Shift]", zone: tzinfo, to: str, terminal: str) -> Seal | None:
    ended = last_end(shifts, ledger.now(), zone)
    if not why_due(ledger.entries, to, ended, ledger.now()):
        return None
    key = ledger.new_id()

    def work(transaction: "Transaction") -> Seal | None:
        # asked again while nobody else can write: of several terminals one makes the seal
        why = why_due(transaction.entries, to, ended, transaction.now)
        if not why:
            return None
        seal = Seal.of(transaction.head(), ledger.start().plant)
        draft = Draft(kind=SEAL_MADE, key=key, terminal=terminal, value=seal_value(seal, to, why))
        transaction.append((draft,))
        return seal

    return ledger.unit_of_work(work)


def _record(ledger: "Ledger", kind: str, value: Mapping[str, object], terminal: str) -> None:
    draft = Draft(kind=kind, key=ledger.new_id(), terminal=terminal, value=value)
    ledger.unit_of_work(lambda transaction: transaction.append((draft,)))


def bring(ledger: "Ledger", witness: Path, made: Seal | None = None) -> int:
    """Add to the witness file what it is owed; seals other than `made` come late, and the file says so.

    Gives how many were added. Raises WitnessAwayError, or WitnessDiffersError if the newest seal there is none of this
    ledger: then nothing is added, because somebody has to look first.
    """
    head, kept = ledger.head(), seals_among(witness)
    newest = max((seal for seal in kept if seal.chain == head.chain), key=lambda seal: seal.n, default=None)
    if newest is not None:
        _compare(ledger, witness, newest)
    there = {
        (seal.n, seal.hash) for seal in kept
    }  # also those from before a restore gave the chain another name
    owed = [
        _seal_of(ledger, entry)
        for entry in ledger.entries(kinds=(SEAL_MADE,), after_n=newest.n if newest else 0)
        if entry.value.get("to") == str(witness)
        and (entry.value.get("n"), entry.value.get("hash")) not in there
    ]
    if not owed:
        return 0
    late = [seal for seal in owed if seal != made]
    remark = f"{stamp(ledger.now())} brought late: {len(late)}, owed since {late[0].at}" if late else ""
    append_seals(witness, owed, remark=remark)
    return len(owed)


def _seal_of(ledger: "Ledger", entry: Entry) -> Seal:
    """As it was made: under the identifier that the chain had at the sealed entry."""
    n, digits = entry.value["n"], entry.value["hash"]
    return Seal(
        chain=ledger.chain_at(n), plant=ledger.start().plant, n=n, hash=digits, at=stamp(ledger.entry(n).at)
    )


def _compare(ledger: "Ledger", witness: Path, newest: Seal) -> None:
    if newest.n > ledger.head().n or ledger.entry(newest.n).hash != newest.hash:
        raise WitnessDiffersError(path=str(witness), number=newest.n, at=newest.at)


def photo_seal(ledger: "Ledger", *, person: str = "", terminal: str = "") -> Seal:
    """A seal to be photographed: the last one made for that, if nothing but seals was recorded since, else a new one.

    Raises a LedgerError where it cannot be recorded.
    """
    newest = _newest(ledger.entries, PHOTOGRAPH)
    if newest is not None and not _worked(ledger.entries, newest.n):
        return _seal_of(ledger, newest)
    return ledger.seal(PHOTOGRAPH, person=person, terminal=terminal)

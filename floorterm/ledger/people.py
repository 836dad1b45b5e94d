"""Changes of people and PINs inside a transaction of the ledger, each with its entry.

Who may do what to whom stands in `_refusals`; everything else is how the tables follow the entries.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta

from msgspec import Struct
from msgspec.structs import replace
from sqlalchemy import delete, insert, select, update

from floorterm.access import Right, has_right
from floorterm.entries import Draft, Entry, TextError, clean_text, instant, stamp
from floorterm.ledger import pins, reading
from floorterm.ledger.faults import (
    BadgeTakenError,
    CodeTakenError,
    LedgerError,
    NoPinError,
    PersonFaultError,
    PinBlockedError,
    PinError,
    PinOffError,
    PinRuleError,
    UnknownPersonError,
    WrongPinError,
)
from floorterm.ledger.persons import (
    ADDED,
    CHANGED,
    DISABLED,
    PIN_BURST,
    PIN_CHANGED,
    PIN_OFF,
    PIN_RESET,
    changed_value,
    record_of,
)
from floorterm.ledger.tables import ATTEMPTS, PEOPLE, PINS
from floorterm.ledger.transaction import Transaction
from floorterm.ledger.values import Asked, Guard
from floorterm.people import Permission, Person
from floorterm.wording import Refusal, Say

_RULE = "site policy"


class PeopleAct(Struct, frozen=True, kw_only=True):
    """Who changes something about people, and how the program knows them."""

    by: str
    identity: str = ""
    terminal: str = ""
    reason: str = ""
    witness: str = ""

    def draft(self, transaction: Transaction, kind: str, value: dict[str, object]) -> Draft:
        """The draft of the entry that this act becomes."""
        return Draft(
            kind=kind,
            key=transaction.new_id(),
            person=self.by,
            identity=self.identity,
            meaning="performed" if self.by else "",
            witness=self.witness,
            terminal=self.terminal,
            reason=self.reason,
            value=value,
        )


class Pin(Struct, frozen=True):
    """A stored PIN: its hash, and whether it may be used only to choose another."""

    phc: str
    one_time: bool


# --- who may ----------------------------------------------------------------------------------------


def _refuse(key: str) -> tuple[Refusal, ...]:
    return (Refusal(Say(key), _RULE),)


def _administers(everybody: Sequence[Person]) -> Guard:
    """Administrators change people; before there is anybody, the first administrator is added by nobody."""

    def guard(asked: Asked) -> Sequence[Refusal]:
        if asked.person is None and not everybody:
            return ()
        if not has_right(asked.person, Right.CHANGE_PEOPLE):
            return _refuse("ledger.not_administrator")
        return ()

    return guard


def _administered(after: Sequence[Person], guard: Guard) -> Guard:
    """The same, and at least one active administrator is left."""

    def both(asked: Asked) -> Sequence[Refusal]:
        left = any(person.active and person.permission is Permission.ADMINISTRATOR for person in after)
        return (*guard(asked), *(() if left else _refuse("ledger.last_administrator")))

    return both


def _resets(target: Person) -> Guard:
    """Administrators reset anybody's PIN, supervisors and safety officers operators'; nobody their own."""

    def guard(asked: Asked) -> Sequence[Refusal]:
        by = asked.person
        if by is not None and by.code == target.code:
            return _refuse("ledger.own_reset")
        operator = target.permission is Permission.OPERATOR
        right = Right.RESET_OPERATOR_PIN if operator else Right.RESET_ANY_PIN
        return () if has_right(by, right) else _refuse("ledger.may_not_reset")

    return guard


def _recovers(target: Person, reason: str) -> Guard:
    """Two people who supervise or administer, neither of them the one who lost the PIN, and a reason."""

    def vouches(person: Person | None) -> bool:
        return has_right(person, Right.VOUCH_FOR_ADMINISTRATOR)

    def guard(asked: Asked) -> Sequence[Refusal]:
        found: list[Refusal] = []
        codes = {person.code for person in (asked.person, asked.witness) if person is not None}
        if len(codes) < 2 or target.code in codes or not all(map(vouches, (asked.person, asked.witness))):
            found += _refuse("ledger.recover_two")
        if target.permission is not Permission.ADMINISTRATOR:
            found += _refuse("ledger.recover_administrators")
        if not reason:
            found += _refuse("ledger.recover_reason")
        return found

    return guard


# --- people -----------------------------------------------------------------------------------------


def add(
    transaction: Transaction, act: PeopleAct, person: Person, phc: str | None, *, one_time: bool
) -> Entry:
    """Add somebody, with a hashed PIN or without."""
    person = _fit(person)
    everybody = reading.people(transaction.connection)
    if any(person.code.casefold() == other.code.casefold() for other in everybody):
        raise CodeTakenError(code=person.code)
    _check_badge(everybody, person)
    guard = _administered((*everybody, person), _administers(everybody))
    draft = act.draft(transaction, ADDED, record_of(person))
    entry = transaction.append((draft,), guard)[0]
    transaction.connection.execute(insert(PEOPLE).values(**row_of(person)))
    if phc is not None:
        _put_pin(transaction, person.code, phc, one_time=one_time)
    return entry


def change(transaction: Transaction, act: PeopleAct, person: Person) -> Entry:
    """Make what is known of somebody equal to `person`."""
    person = _fit(person)
    before = _active(transaction, person.code)
    person = replace(person, active=True)
    everybody = reading.people(transaction.connection)
    others = tuple(other for other in everybody if other.code != person.code)
    _check_badge(others, person)
    draft = act.draft(transaction, CHANGED, changed_value(before, person))
    entry = transaction.append((draft,), _administered((*others, person), _administers(everybody)))[0]
    row = row_of(person)
    transaction.connection.execute(update(PEOPLE).where(PEOPLE.c.code == row.pop("code")).values(**row))
    return entry


def disable(transaction: Transaction, act: PeopleAct, code: str) -> Entry:
    """Disable a code for good."""
    _active(transaction, code)
    everybody = reading.people(transaction.connection)
    others = tuple(other for other in everybody if other.code != code)
    draft = act.draft(transaction, DISABLED, {"code": code})
    entry = transaction.append((draft,), _administered(others, _administers(everybody)))[0]
    transaction.connection.execute(update(PEOPLE).where(PEOPLE.c.code == code).values(active=0))
    return entry


def _active(transaction: Transaction, code: str) -> Person:
    found = transaction.signer(code)
    if found is None:
        raise UnknownPersonError(code=code)
    return found


def _fit(person: Person) -> Person:
    """The person with texts fit for the record. Raises PersonFaultError."""
    texts = {}
    for field, limit in (("code", 20), ("name", 80), ("badge", 80)):
        text = getattr(person, field)
        try:
            texts[field] = clean_text(text, limit=limit)
        except TextError as fault:
            raise PersonFaultError("ledger.person_text", text=repr(text[:limit])) from fault
    if not texts["code"] or not texts["name"]:
        raise PersonFaultError("ledger.person_empty")
    for word in (texts["code"], *person.duties):
        if not word or word != "".join(word.split()):
            raise PersonFaultError("ledger.person_space", text=repr(word))
    return replace(person, code=texts["code"], name=texts["name"], badge=texts["badge"])


def _check_badge(others: Sequence[Person], person: Person) -> None:
    for other in others:
        if person.badge and other.badge == person.badge:
            raise BadgeTakenError(code=other.code)


def row_of(person: Person) -> dict[str, object]:
    """A person as a row of the table of people."""
    return {
        "code": person.code,
        "name": person.name,
        "permission": str(person.permission),
        "duties": "\n".join(sorted(person.duties)),
        "lockout": str(person.lockout),
        "trained_on": person.trained_on.isoformat() if person.trained_on else None,
        "valid_to": person.valid_to.isoformat() if person.valid_to else None,
        "badge": person.badge or None,
        "active": int(person.active),
    }


# --- PINs -------------------------------------------------------------------------------------------


def reset(transaction: Transaction, act: PeopleAct, code: str, phc: str) -> Entry:
    """Put a one-time PIN in place of whatever there was, and forget the wrong tries.

    With a witness it is the way back of an administrator whom no other administrator can help.
    """
    target = _active(transaction, code)
    guard = _recovers(target, act.reason) if act.witness else _resets(target)
    entry = transaction.append((act.draft(transaction, PIN_RESET, {"code": code}),), guard)[0]
    _put_pin(transaction, code, phc, one_time=True)
    _forget(transaction, f"person:{code}")
    return entry


def choose(transaction: Transaction, code: str, old_phc: str, phc: str, terminal: str) -> Entry:
    """Put the person's own choice in place of the PIN that was checked; not if it was reset meanwhile."""
    _active(transaction, code)
    current = _pin(transaction, code)
    if current is None or (current.phc != old_phc and current.one_time):
        raise WrongPinError(code=code)
    act = PeopleAct(by=code, identity="pin", terminal=terminal)
    entry = transaction.append((act.draft(transaction, PIN_CHANGED, {"code": code}),))[0]
    _put_pin(transaction, code, phc, one_time=False)
    return entry


def check_other(old: str, new: str) -> None:
    """Raise PinRuleError if the new PIN is the old one."""
    if old == new:
        raise PinRuleError("ledger.pin_same")


def begin_try(transaction: Transaction, code: str, terminal: str) -> tuple[Person, Pin] | LedgerError:
    """Count a try as a failure beforehand, or say why none is allowed now."""
    person = _active(transaction, code)
    row = _pin(transaction, code)
    if row is None:
        return NoPinError(code=code)
    if _failures(transaction, f"person:{code}")[0] >= pins.OFF:
        return PinOffError(code=code, failures=pins.OFF)
    subjects = _subjects(code, terminal)
    waits = [_blocked_until(transaction, subject, free) for subject, free in subjects]
    until = max((wait for wait in waits if wait is not None), default=None)
    if until is not None:
        subject = code if waits[0] == until else terminal
        seconds = max(1, round((until - transaction.now).total_seconds()))
        return PinBlockedError(until, subject=subject, seconds=seconds)
    for subject, _ in subjects:
        _count(transaction, subject)
    return person, row


def failed_try(transaction: Transaction, code: str, terminal: str) -> PinError:
    """The try that was counted was wrong: bursts become entries. Gives the error to raise."""
    failures, _ = _failures(transaction, f"person:{code}")
    kinds = {pins.BURST: PIN_BURST, pins.OFF: PIN_OFF}
    if failures in kinds:
        value = {"code": code, "failures": failures}
        draft = Draft(kind=kinds[failures], key=transaction.new_id(), terminal=terminal, value=value)
        transaction.append((draft,))
    left = max(0, pins.FREE_TRIES - failures)
    return WrongPinError(code=code, n=left) if left else WrongPinError(code=code)


def good_try(transaction: Transaction, code: str, terminal: str, phc: str, fresh: str | None) -> None:
    """The try that was counted was right: counters go to nothing, an outdated hash is replaced."""
    for subject, _ in _subjects(code, terminal):
        _forget(transaction, subject)
    if fresh is not None:
        transaction.connection.execute(
            update(PINS).where(PINS.c.code == code, PINS.c.phc == phc).values(phc=fresh)
        )


def _subjects(code: str, terminal: str) -> list[tuple[str, int]]:
    subjects = [(f"person:{code}", pins.FREE_TRIES)]
    return [*subjects, (f"terminal:{terminal}", pins.FREE_AT_TERMINAL)] if terminal else subjects


def _pin(transaction: Transaction, code: str) -> Pin | None:
    row = transaction.connection.execute(select(PINS).where(PINS.c.code == code)).first()
    return None if row is None else Pin(row.phc, bool(row.one_time))


def _put_pin(transaction: Transaction, code: str, phc: str, *, one_time: bool) -> None:
    transaction.connection.execute(delete(PINS).where(PINS.c.code == code))
    transaction.connection.execute(insert(PINS).values(code=code, phc=phc, one_time=int(one_time)))


def _failures(transaction: Transaction, subject: str) -> tuple[int, datetime]:
    row = transaction.connection.execute(select(ATTEMPTS).where(ATTEMPTS.c.subject == subject)).first()
    return (0, transaction.now) if row is None else (row.failures, instant(row.failed_at))


def _blocked_until(transaction: Transaction, subject: str, free: int) -> datetime | None:
    """When the wait of a subject ends, if it has not yet.

    A failure that lies in the future (the clock was set back) is taken as of now: nobody waits for the clock.
    """
    failures, failed_at = _failures(transaction, subject)
    wait = pins.wait_after(failures, free)
    if not wait > timedelta(0):
        return None
    if failed_at > transaction.now:
        failed_at = transaction.now
        _store(transaction, subject, failures)
    until = failed_at + wait
    return until if transaction.now < until else None


def _count(transaction: Transaction, subject: str) -> None:
    _store(transaction, subject, _failures(transaction, subject)[0] + 1)


def _store(transaction: Transaction, subject: str, failures: int) -> None:
    _forget(transaction, subject)
    transaction.connection.execute(
        insert(ATTEMPTS).values(subject=subject, failures=failures, failed_at=stamp(transaction.now))
    )


def _forget(transaction: Transaction, subject: str) -> None:
    transaction.connection.execute(delete(ATTEMPTS).where(ATTEMPTS.c.subject == subject))

"""Checking code and PIN at the door, against the people of the ledger: the same rules, counts and entries as inside."""

from dataclasses import dataclass
from functools import cache

from floorterm.ledger import (
    InactivePersonError,
    Ledger,
    LedgerError,
    NoPinError,
    OneTimePinError,
    PinBlockedError,
    PinOffError,
    PinRuleError,
    UnknownPersonError,
    WrongPinError,
)
from floorterm.ledger.pins import DEFAULT_PROFILE, hash_pin, matches
from floorterm.people import Person
from floorterm.wording import Say

_NOT_TOGETHER = (UnknownPersonError, InactivePersonError, NoPinError, WrongPinError)


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Typed:
    """What somebody typed into the page; `new` and `again` only where a PIN for one use is replaced.

    Never shown as text: it holds PINs.
    """

    code: str
    pin: str
    new: str = ""
    again: str = ""


class DoorError(Exception):
    """Somebody is not let in. `say` is the sentence, `status` the answer's number.

    `right` says that the PIN was theirs all the same; `choose` asks for one of their own.
    """

    def __init__(
        self, say: Say, status: int, *, right: bool = False, choose: bool = False, wait_s: int = 0
    ) -> None:
        super().__init__(say.key)
        self.say, self.status, self.right, self.choose, self.wait_s = say, status, right, choose, wait_s


def check(ledger: Ledger, typed: Typed, terminal: str) -> Person:
    """Whose code (or badge) and PIN these are. Slow on purpose: to be called in a thread. Raises DoorError.

    Somebody unknown, disabled, without a PIN or with a wrong one reads the same sentence after the same time.
    """
    try:
        person = _somebody(ledger, typed.code)
        if not typed.new:
            return ledger.check_pin(person.code, typed.pin, terminal)
        if typed.new != typed.again:
            raise DoorError(Say("web.pin_differs"), 403, choose=True)
        ledger.change_pin(person.code, typed.pin, typed.new, terminal)
        return ledger.person(person.code)
    except OneTimePinError:
        raise DoorError(Say("web.choose_pin"), 403, right=True, choose=True) from None
    except PinRuleError as fault:
        raise DoorError(fault.say, 403, right=True, choose=True) from None
    except PinBlockedError as fault:
        seconds = fault.say.facts["seconds"]
        assert isinstance(seconds, int)
        raise waiting(seconds) from None
    except PinOffError as fault:
        raise DoorError(fault.say, 403) from None
    except _NOT_TOGETHER as fault:
        if not isinstance(fault, WrongPinError):
            matches(_nobodys_hash(), typed.pin)
        raise DoorError(Say("web.not_together"), 403, choose=bool(typed.new)) from None
    except LedgerError as fault:
        raise DoorError(fault.say, 503) from None


def waiting(seconds: int) -> DoorError:
    """Too many wrong tries."""
    return DoorError(Say("web.wait", {"seconds": seconds}), 429, wait_s=seconds)


def _somebody(ledger: Ledger, typed: str) -> Person:
    """By code in any case of letters, or by badge. Raises UnknownPersonError or InactivePersonError."""
    found = next((one for one in ledger.people() if one.code.casefold() == typed.casefold()), None)
    person = found or ledger.by_badge(typed)
    if person is None:
        raise UnknownPersonError(code=typed)
    if not person.active:
        raise InactivePersonError(code=person.code, name=person.name)
    return person


@cache
def _nobodys_hash() -> str:
    return hash_pin("nobody's", DEFAULT_PROFILE)

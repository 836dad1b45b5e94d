"""PINs: hashing, the rules for choosing one, and how long to wait after wrong ones.

Argon2id (RFC 9106); the default parameters are OWASP's minimum, 19 MiB, two passes, one lane. A centrally
checked six-digit PIN is convenient identification at a line, not an authenticator in the sense of NIST
SP 800-63B revision 4: somebody who holds the hashes tries all of them in hours.
"""

import itertools
import re
import secrets
from collections.abc import Callable
from datetime import date, timedelta
from typing import TYPE_CHECKING

from msgspec import Struct

from floorterm.ledger.faults import PinRuleError

if TYPE_CHECKING:
    from argon2 import PasswordHasher  # loaded at the first PIN only

LEAST, MOST = 6, 12
FREE_TRIES = 5  # wrong PINs of one person before the first wait
FREE_AT_TERMINAL = 20  # wrong PINs of anybody at one terminal before the first wait
BURST = 20  # wrong PINs in a row that are told to a supervisor
OFF = 100  # wrong PINs in a row after which the PIN is off (NIST SP 800-63B: at most 100)
FIRST_WAIT = timedelta(seconds=30)
LONGEST_WAIT = timedelta(minutes=15)


class PinProfile(Struct, frozen=True):
    """Cost of one PIN hash: memory in KiB, passes, lanes. Hashes follow a changed one at sign-in."""

    memory_kib: int = 19 * 1024
    passes: int = 2
    lanes: int = 1


DEFAULT_PROFILE = PinProfile()
CHEAP_PROFILE = PinProfile(memory_kib=8, passes=1)  # tests and invented plants only: it protects nothing


def hash_pin(pin: str, profile: PinProfile) -> str:
    """Argon2id hash with a fresh salt of 16 bytes, as PHC text."""
    return _hasher(profile).hash(pin)


def matches(phc: str, pin: str) -> bool:
    """Whether the PIN is the one behind the hash; the hash carries its own parameters."""
    from argon2.exceptions import VerifyMismatchError  # noqa: PLC0415

    try:
        return _hasher(DEFAULT_PROFILE).verify(phc, pin)
    except VerifyMismatchError:
        return False


def outdated(phc: str, profile: PinProfile) -> bool:
    """Whether the hash was made with other parameters than those wanted now."""
    return _hasher(profile).check_needs_rehash(phc)


def _hasher(profile: PinProfile) -> "PasswordHasher":
    from argon2 import PasswordHasher, Type  # noqa: PLC0415

    return PasswordHasher(
        time_cost=profile.passes,
        memory_cost=profile.memory_kib,
        parallelism=profile.lanes,
        hash_len=32,
        salt_len=16,
        type=Type.ID,
    )


def wait_after(failures: int, free: int = FREE_TRIES) -> timedelta:
    """How long the next try must wait after so many wrong PINs in a row: 30 s, doubling to 15 min."""
    if failures < free:
        return timedelta(0)
    doublings = min(failures - free, 10)
    return min(FIRST_WAIT * (1 << doublings), LONGEST_WAIT)


def check_rules(pin: str, code: str) -> None:
    """Raise PinRuleError if somebody may not have this PIN."""
    if not re.fullmatch(rf"[0-9]{{{LEAST},{MOST}}}", pin):
        raise PinRuleError("ledger.pin_length", least=LEAST, most=MOST)
    digits = "".join(re.findall(r"[0-9]", code))
    if pin in digits or (len(digits) >= LEAST and digits in pin):
        raise PinRuleError("ledger.pin_code")
    if _is_run(pin) or _is_repetition(pin) or _is_date(pin):
        raise PinRuleError("ledger.pin_easy")


def _is_run(pin: str) -> bool:
    steps = {(int(b) - int(a)) % 10 for a, b in itertools.pairwise(pin)}
    return steps in ({1}, {9})


def _is_repetition(pin: str) -> bool:
    """One piece of up to three digits over and over: 111111, 121212, 123123."""
    return any((pin[:size] * len(pin))[: len(pin)] == pin for size in (1, 2, 3))


def _is_date(pin: str) -> bool:
    """Whether the PIN reads as a day of somebody's life, in any usual order, with or without the century."""
    if len(pin) == 6:
        layouts = [(pin[0:2], pin[2:4], "20" + pin[4:6]), (pin[4:6], pin[2:4], "20" + pin[0:2])]
    elif len(pin) == 8:
        layouts = [(pin[0:2], pin[2:4], pin[4:8]), (pin[6:8], pin[4:6], pin[0:4])]
    else:
        return False
    layouts.append((layouts[0][1], layouts[0][0], layouts[0][2]))  # month first
    return any(_is_day(*map(int, layout)) for layout in layouts)


def _is_day(day: int, month: int, year: int) -> bool:
    try:
        date(year, month, day)
    except ValueError:
        return False
    return 1900 <= year <= 2099


def issue_pin(code: str, draw: Callable[[int], int] = secrets.randbelow) -> str:
    """A random six-digit PIN that breaks no rule for that person. `draw(n)` gives a number below n."""
    while True:
        pin = f"{draw(10**LEAST):0{LEAST}d}"
        try:
            check_rules(pin, code)
        except PinRuleError:
            continue
        return pin

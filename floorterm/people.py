"""A person as the rules see them: a plain value, without PIN and without database.

Three separate things (they must never be mixed): *permission* in the program, *duty* on the floor,
*lockout status* under the energy-control programme.
"""

from datetime import date, datetime
from enum import StrEnum

from msgspec import Struct


class Permission(StrEnum):
    """What somebody may do in the program. Ordered only by the tables that use it."""

    OPERATOR = "operator"
    SUPERVISOR = "supervisor"
    SAFETY_OFFICER = "safety_officer"
    ADMINISTRATOR = "administrator"


class LockoutStatus(StrEnum):
    """Status under the energy-control programme; spelt as 29 CFR 1910.147(b) spells it."""

    AUTHORIZED = "authorized"
    AFFECTED = "affected"
    OTHER = "other"


class Person(Struct, frozen=True):
    """Somebody who signs: code, printed name, and what they are allowed, able and trained to do.

    `trained_on` and `valid_to` speak of lockout training: None means that no training is on record
    (`trained_on`) or that the site sets no end (`valid_to`; the last day counts).
    """

    code: str
    name: str
    permission: Permission = Permission.OPERATOR
    duties: frozenset[str] = frozenset()
    lockout: LockoutStatus = LockoutStatus.OTHER
    trained_on: date | None = None
    valid_to: date | None = None
    badge: str = ""
    active: bool = True


class PersonThen(Struct, frozen=True):
    """A person as the entry `n` about them left them, until the next one; `at` is its time, with the plant's offset.

    `trainings` are the dates of all lockout training on record by then, in order.
    """

    n: int
    at: datetime
    person: Person
    trainings: tuple[date, ...] = ()

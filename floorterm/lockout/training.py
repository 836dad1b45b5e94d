"""Lockout training of each person, and what asks for it again (29 CFR 1910.147(c)(7)).

Retraining follows from events: a change of the procedure or of the machine, an inspection that names somebody.
The regulation sets no calendar period; a last day is the site's own policy and marked as such. A change of duty
asks a person to decide whether it brought a new hazard.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Literal

from msgspec import Struct, field

from floorterm.lockout.inspection import energy_control
from floorterm.people import LockoutStatus, Person
from floorterm.wording import Say

if TYPE_CHECKING:
    from floorterm.library.model import LockoutFile

Status = Literal["missing", "again", "over", "soon", "in_date", "not_asked"]
SOON_DAYS = 30
_ORDER: Mapping[Status, int] = {
    "missing": 0, "again": 1, "over": 2, "soon": 3, "in_date": 4, "not_asked": 5,
}  # fmt: skip


class History(Struct, frozen=True, kw_only=True):
    """What the record tells of a person over time: training dates, changes of duty, the lockout status since when."""

    trained: tuple[date, ...] = ()
    duty_changed: tuple[date, ...] = ()
    status_since: date | None = None


class Training(Struct, frozen=True, kw_only=True):
    """Where one person stands. `reasons` say why training is asked for, each with its clause or as site policy."""

    person: Person
    status: Status
    history: History = field(default_factory=History)
    reasons: tuple[tuple[Say, str], ...] = ()


def trainings(
    people: Iterable[Person],
    lockouts: Mapping[str, "LockoutFile"],
    named: Mapping[str, date],
    histories: Mapping[str, History],
    today: date,
) -> tuple[Training, ...]:
    """Everybody active, whoever needs something first. `named`: by person, the day an inspection named them."""
    found = [
        _training(person, lockouts, named.get(person.code), histories.get(person.code, History()), today)
        for person in people
        if person.active
    ]
    return tuple(sorted(found, key=lambda one: (_ORDER[one.status], one.person.code)))


def _training(
    person: Person,
    lockouts: Mapping[str, "LockoutFile"],
    named: date | None,
    history: History,
    today: date,
) -> Training:
    if person.lockout is LockoutStatus.OTHER:
        return Training(person=person, status="not_asked", history=history)
    if person.trained_on is None or person.trained_on > today:
        clause = "(c)(7)(i)(A)" if person.lockout is LockoutStatus.AUTHORIZED else "(c)(7)(i)(B)"
        reason = (Say("training.none"), f"29 CFR 1910.147{clause}")
        return Training(person=person, status="missing", history=history, reasons=(reason,))
    again = _again(person, lockouts, named, today) if person.lockout is LockoutStatus.AUTHORIZED else []
    later = [day for day in history.duty_changed if day > person.trained_on]
    asked = (
        [(Say("training.duty_changed", {"date": max(later).isoformat()}), "29 CFR 1910.147(c)(7)(iii)(A)")]
        if later
        else []
    )
    over, soon = _validity(person, today)
    status: Status = "again" if again else "over" if over else "soon" if soon else "in_date"
    return Training(person=person, status=status, history=history, reasons=(*again, *asked, *over, *soon))


def _again(
    person: Person, lockouts: Mapping[str, "LockoutFile"], named: date | None, today: date
) -> list[tuple[Say, str]]:
    assert person.trained_on is not None
    found: list[tuple[Say, str]] = []
    for name, lockout in energy_control(lockouts).items():
        changes = (("procedure", lockout.changed_on), ("machine", lockout.machine_changed_on))
        for what, day in changes:
            if day is not None and person.trained_on < day <= today:
                facts = {"procedure": name, "date": day.isoformat()}
                found.append((Say(f"training.{what}_changed", facts), "29 CFR 1910.147(c)(7)(iii)(A)"))
    if named is not None and person.trained_on < named:
        say = Say("training.named", {"date": named.isoformat()})
        found.append((say, "29 CFR 1910.147(c)(7)(iii)(B)"))
    return found


def _validity(person: Person, today: date) -> tuple[Sequence[tuple[Say, str]], Sequence[tuple[Say, str]]]:
    """(over, soon): what the site's own last day says."""
    if person.valid_to is None:
        return (), ()
    facts = {"date": person.valid_to.isoformat()}
    days = (person.valid_to - today).days
    if days < 0:
        return ((Say("training.over", facts), "site policy"),), ()
    return (), (((Say("training.soon", facts), "site policy"),) if days <= SOON_DAYS else ())

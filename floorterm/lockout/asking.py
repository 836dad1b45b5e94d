"""One question to the guard, and the words in which it says no. Shared by the parts of the guard."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Final

from msgspec import Struct, field

from floorterm.lockout.model import Job, LockEvent
from floorterm.lockout.naming import place_facts
from floorterm.lockout.state import LockOn, LockoutState
from floorterm.people import LockoutStatus, Person
from floorterm.wording import Fact, Refusal, Say

CFR: Final = "29 CFR 1910.147"
NONSENSE: Final = "LR-03"  # sequences that are physically impossible are shown, not smoothed
SITE: Final = "site policy"


class Asked(Struct, frozen=True, kw_only=True):
    """The state, the event proposed, who, when, the locks of other jobs, and people whom the event names."""

    state: LockoutState
    event: LockEvent
    person: Person
    now: datetime
    elsewhere: tuple[LockOn, ...] = ()
    people: Mapping[str, Person] = field(default_factory=dict)

    def no(self, key: str, clause: str, points: Iterable[str] = (), /, **facts: Fact) -> Refusal:
        """A refusal about this job, with the names of points in every language."""
        machine = {"machine": self.state.job.machine}
        named = place_facts(self.state, points)
        rule = clause if clause == SITE or clause.startswith(("LO-", "LR-")) else CFR + clause
        return Refusal(Say(f"lockout.{key}", {**machine, **named, **facts}), rule)

    def others(self, point: str) -> tuple[LockOn, ...]:
        """Locks of other jobs on that point of this line."""
        same = (lock for lock in self.elsewhere if lock.line in ("", self.state.line))
        return tuple(lock for lock in same if lock.point == point)

    def known(self, code: str) -> Person | None:
        """Somebody whom the event names; None where nobody of that code is known."""
        return self.person if code == self.person.code else self.people.get(code)

    def spoken(self, codes: Iterable[str]) -> str:
        """Names for a sentence."""
        known = ((code, self.known(code)) for code in codes)
        return ", ".join(person.name if person else self.state.name(code) for code, person in known)


def authorised(person: Person | None) -> bool:
    """Whether somebody is an authorised employee."""
    return person is not None and person.lockout is LockoutStatus.AUTHORIZED


def firms_of(job: Job, person: Person) -> tuple[str, ...]:
    """The outside employers that a person works for: duties that the site lists for that."""
    return tuple(duty for duty in job.policy.contractor_duties if duty in person.duties)

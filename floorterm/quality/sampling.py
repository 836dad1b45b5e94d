"""Sampling by attributes: single plans at normal severity, double plans, and what each lets through.

Code letters and master table: MIL-STD-105E (public; cancelled 1995). The tables of tightened and reduced severity
are not carried.
"""

from collections.abc import Callable

from msgspec import Struct

from floorterm.quality.chances import at_most, binomial
from floorterm.quality.errors import QualityError
from floorterm.quality.tables import table


class Plan(Struct, frozen=True):
    """A single plan: inspect n, accept with at most `accept` bad. `everything`: the lot is no larger than n."""

    n: int
    accept: int
    letter: str = ""
    everything: bool = False

    @property
    def reject(self) -> int:
        """The fewest bad that fail the lot."""
        return self.accept + 1

    def chance(self, share_bad: float) -> float:
        """Chance of accepting a large lot with that share bad (binomial)."""
        return at_most(self.n, self.accept, share_bad)


class DoublePlan(Struct, frozen=True):
    """A double plan: accept at once up to `accept1`, fail from `reject1`, otherwise a second sample of n2."""

    n1: int
    accept1: int
    reject1: int
    n2: int
    accept2: int  # of both samples together

    def chance(self, share_bad: float) -> float:
        """Chance of accepting a large lot with that share bad (binomial)."""
        between = range(self.accept1 + 1, self.reject1)
        second = (
            binomial(self.n1, bad, share_bad) * at_most(self.n2, self.accept2 - bad, share_bad)
            for bad in between
            if bad <= self.accept2
        )
        return at_most(self.n1, self.accept1, share_bad) + sum(second)


def code_letter(lot: int, level: str = "II") -> str:
    """The code letter of a lot at inspection level I, II or III. Raises QualityError."""
    if lot < 2 or level not in ("I", "II", "III"):
        raise QualityError("A lot has at least two pieces, and the level is I, II or III.")
    rows = table("attribute_letters")
    return next(row[level] for row in rows if not row["to_lot"] or lot <= int(row["to_lot"]))


def single_normal(lot: int, aql: str, level: str = "II") -> Plan:
    """The single plan at normal severity; an arrow changes the sample as well as the count.

    Raises QualityError for an AQL that the table does not carry.
    """
    rows = table("attribute_single")
    if aql not in rows[0] or aql in ("letter", "n"):
        raise QualityError(f"There is no plan for an AQL of {aql} here.")
    at = next(index for index, row in enumerate(rows) if row["letter"] == code_letter(lot, level))
    while rows[at][aql] in "v^":
        at += 1 if rows[at][aql] == "v" else -1
    n, accept = int(rows[at]["n"]), int(rows[at][aql])
    return Plan(min(n, lot), accept, rows[at]["letter"], lot <= n)


def share_at(chance: Callable[[float], float], wanted: float) -> float:
    """The share bad that is accepted with a wanted chance: a point of the operating characteristic."""
    if not 0 < wanted < 1:
        raise QualityError("The chance of accepting lies between 0 and 1.")
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if chance(middle) > wanted else (low, middle)
    return (low + high) / 2

"""Lots: what was taken into use on a line, what came out of it, what was decided about a bin of rework."""

from datetime import datetime
from decimal import Decimal
from typing import Literal

from msgspec import Struct

Sort = Literal["noodles", "oil", "colour", "packing", "bin", "pallet"]
TAKEN_SORTS: tuple[Sort, ...] = ("noodles", "oil", "colour", "packing", "bin")
MADE_SORTS: tuple[Sort, ...] = ("pallet", "bin")
Verdict = Literal["released", "waste"]


class Lot(Struct, frozen=True, order=True):
    """A lot by its sort and its name as printed. A `bin` is a bin of rework: it comes out, and may go in again."""

    sort: Sort
    name: str

    def __str__(self) -> str:
        """As a command names it."""
        return f"{self.sort}:{self.name}"


class Taken(Struct, frozen=True, kw_only=True):
    """A lot that is in use on a line from `at` on. `n`: the entry that says so.

    `share_pct` is the share of a rework bin in the batch; `facts` what is known of the lot (`cure_age_d`,
    `alkali_pct`), as recorded.
    """

    n: int
    at: datetime
    line: str
    lot: Lot
    share_pct: Decimal | None = None
    facts: tuple[tuple[str, str], ...] = ()


class Made(Struct, frozen=True, kw_only=True):
    """A pallet or a bin that was filled from `begun` to `at`. `kg` is None where nobody weighed it."""

    n: int
    begun: datetime
    at: datetime
    line: str
    lot: Lot
    kg: Decimal | None = None
    fragrances: tuple[str, ...] = ()


class Judged(Struct, frozen=True, kw_only=True):
    """What a supervisor decided about a bin: into which fragrances it may go, up to which share of a batch."""

    n: int
    at: datetime
    lot: Lot
    verdict: Verdict
    into: tuple[str, ...] = ()
    max_share_pct: Decimal | None = None


class Turned(Struct, frozen=True):
    """A line was turned to another fragrance: oil, colour, packing and rework from before are no longer fed."""

    line: str
    at: datetime


class Renamed(Struct, frozen=True):
    """A lot that a step named until entry `n` corrected it: `was` is not in use by the record, and may have been."""

    n: int
    was: Lot
    now: Lot


class Past(Struct, frozen=True, kw_only=True):
    """Everything that is known of the lots of a plant, each in the order of its entries."""

    taken: tuple[Taken, ...] = ()
    made: tuple[Made, ...] = ()
    judged: tuple[Judged, ...] = ()
    turned: tuple[Turned, ...] = ()
    renamed: tuple[Renamed, ...] = ()

    def renamings(self, lot: Lot) -> tuple[Renamed, ...]:
        """Corrections that took this lot's name away from a step, or gave it."""
        return tuple(one for one in self.renamed if lot in (one.was, one.now))

    def every(self) -> "list[Taken | Made]":
        """What went in and what came out, in the order of the record."""
        both: list[Taken | Made] = [*self.taken, *self.made]
        return sorted(both, key=lambda one: one.n)

    def made_as(self, lot: Lot) -> Made | None:
        """The pallet or bin of that name."""
        return next((one for one in self.made if one.lot == lot), None)

    def verdict(self, lot: Lot) -> Judged | None:
        """The last word about a bin; without one it is in quarantine."""
        return next((one for one in reversed(self.judged) if one.lot == lot), None)

"""What touched what: lots in use while a pallet or bin was filled, and what of them the line still carried.

A lot is in use from its scan to the next scan of its sort, plus what the line still holds of it then. How long that is
cannot be told by the clock, since lines stand: it is counted in kg that left the line afterwards. The answer errs to
the wide side: what may have touched is named, and marked `carried`.
"""

from collections.abc import Iterator, Mapping
from datetime import datetime
from decimal import Decimal

from msgspec import Struct

from floorterm.genealogy.model import Lot, Made, Past, Sort, Taken

# A bin of rework is fed beside noodles and oil: whichever comes next, the bin is no longer the one that is fed.
_ENDED_BY: Mapping[Sort, tuple[Sort, ...]] = {
    "noodles": ("noodles",),
    "oil": ("oil",),
    "colour": ("colour",),
    "packing": ("packing",),
    "bin": ("bin", "noodles", "oil"),
}
_OUTLASTS_A_TURN: tuple[Sort, ...] = ("noodles",)
_NOT_CARRIED: tuple[Sort, ...] = ("packing",)


class Link(Struct, frozen=True):
    """A lot that was in use while something was filled; `carried`: only what the line still held of it was."""

    taken: Taken
    made: Made
    carried: bool


class Found(Struct, frozen=True):
    """One lot of an answer. `depth` counts the passes through a line, 1 for the first; `link` led to it."""

    lot: Lot
    depth: int
    link: Link


def links(past: Past, carry_kg: Mapping[str, Decimal]) -> tuple[Link, ...]:
    """Every pair of a lot taken and something made that it touched. `carry_kg`: kg until a line has let go, by line."""
    found = []
    for taken in past.taken:
        ends = _end(taken, past)
        made = sorted(
            (one for one in past.made if one.line == taken.line and one.at > taken.at),
            key=lambda one: (one.begun, one.n),
        )
        left = Decimal(0) if taken.lot.sort in _NOT_CARRIED else carry_kg.get(taken.line, Decimal(0))
        for one in made:
            if ends is None or one.begun < ends:
                found.append(Link(taken, one, carried=False))
            elif left > 0:
                found.append(Link(taken, one, carried=True))
                left -= one.kg or Decimal(0)  # what nobody weighed is not counted as having left
    return tuple(found)


def _end(taken: Taken, past: Past) -> datetime | None:
    """When the lot was no longer fed; None while it still is."""
    ended_by = _ENDED_BY[taken.lot.sort]
    ends = [
        one.at
        for one in past.taken
        if one.line == taken.line and one.lot.sort in ended_by and (one.at, one.n) > (taken.at, taken.n)
        # bags of one lot follow each other; and what is taken with it at one moment does not end it
        and one.lot != taken.lot and not (one.at == taken.at and one.lot.sort != taken.lot.sort)
    ]  # fmt: skip
    if taken.lot.sort not in _OUTLASTS_A_TURN:
        ends += [one.at for one in past.turned if one.line == taken.line and one.at > taken.at]
    return min(ends, default=None)


def forward(lot: Lot, found: tuple[Link, ...]) -> tuple[Found, ...]:
    """Where a lot went: pallets and bins, and through the bins further. Each lot once, by the shortest way."""
    return tuple(_walk(lot, found, forwards=True))


def backward(lot: Lot, found: tuple[Link, ...]) -> tuple[Found, ...]:
    """What touched a pallet or bin: lots taken, and what touched the bins among them."""
    return tuple(_walk(lot, found, forwards=False))


def _walk(lot: Lot, found: tuple[Link, ...], *, forwards: bool) -> Iterator[Found]:
    seen, front, depth = {lot}, [lot], 0
    while front:
        depth += 1
        reached: list[Lot] = []
        for link in sorted(found, key=lambda one: one.carried):  # what was surely fed is named first
            here, there = (link.taken.lot, link.made.lot) if forwards else (link.made.lot, link.taken.lot)
            if here in front and there not in seen:
                seen.add(there)
                reached.append(there)
                yield Found(there, depth, link)
        front = reached

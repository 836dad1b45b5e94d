"""What touched what: in use from scan to scan, what the line still holds, rework further on; both directions agree."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from floorterm.genealogy import Lot, Made, Past, Taken, Turned, backward, forward, links
from floorterm.genealogy.model import Sort

START = datetime(2026, 11, 24, 13, 0, tzinfo=UTC)
CARRY = {"L1": Decimal(300), "L2": Decimal(300)}


def at(minutes: int) -> datetime:
    return START + timedelta(minutes=minutes)


def taken(n: int, minute: int, name: str, sort: Sort = "noodles", line: str = "L1") -> Taken:
    return Taken(n=n, at=at(minute), line=line, lot=Lot(sort, name))


def made(
    n: int,
    begun: int,
    ended: int,
    name: str,
    *,
    sort: Sort = "pallet",
    kg: int | None = 400,
    line: str = "L1",
) -> Made:
    weight = None if kg is None else Decimal(kg)
    return Made(n=n, begun=at(begun), at=at(ended), line=line, lot=Lot(sort, name), kg=weight)


def touched(past: Past, lot: Lot) -> list[tuple[str, bool]]:
    return [(one.lot.name, one.link.carried) for one in forward(lot, links(past, CARRY))]


def test_a_bag_is_in_use_until_the_next_scan_and_then_for_what_the_line_holds() -> None:
    past = Past(
        taken=(taken(1, 0, "A"), taken(4, 60, "B")),
        made=(
            made(2, -30, 0, "before"),
            made(3, 5, 50, "P1"),
            made(5, 50, 90, "P2"),  # open at the change of bags
            made(6, 90, 110, "P3", kg=200),
            made(7, 110, 130, "P4", kg=200),
            made(8, 130, 170, "P5"),
        ),
    )
    assert touched(past, Lot("noodles", "A")) == [("P1", False), ("P2", False), ("P3", True), ("P4", True)]
    assert touched(past, Lot("noodles", "B")) == [(name, False) for name in ("P2", "P3", "P4", "P5")]


def test_what_nobody_weighed_is_not_counted_as_having_left() -> None:
    past = Past(
        taken=(taken(1, 0, "A"), taken(2, 10, "B")),
        made=tuple(made(3 + i, 20 + i, 21 + i, f"P{i}", kg=None) for i in range(20)),
    )
    assert len(touched(past, Lot("noodles", "A"))) == 20


def test_wraps_leave_no_trace_in_the_line_and_a_turn_ends_oil_but_not_noodles() -> None:
    past = Past(
        taken=(taken(1, 0, "W", "packing"), taken(2, 0, "O", "oil"), taken(3, 0, "N")),
        made=(made(4, 0, 30, "P1"), made(5, 70, 90, "P2", kg=500), made(6, 90, 120, "P3")),
        turned=(Turned("L1", at(60)),),
    )
    assert touched(past, Lot("packing", "W")) == [("P1", False)]
    assert touched(past, Lot("oil", "O")) == [("P1", False), ("P2", True)]
    assert touched(past, Lot("noodles", "N")) == [("P1", False), ("P2", False), ("P3", False)]


def test_bags_of_one_lot_follow_each_other() -> None:
    past = Past(taken=(taken(1, 0, "A"), taken(2, 60, "A")), made=(made(3, 500, 600, "P9"),))
    assert touched(past, Lot("noodles", "A")) == [("P9", False)]


def test_rework_carries_a_lot_into_another_line_and_fragrance() -> None:
    past = Past(
        taken=(taken(1, 0, "A"), taken(3, 200, "R1", "bin", "L2"), taken(5, 100, "N2", line="L2")),
        made=(made(2, 10, 20, "R1", sort="bin", kg=80), made(4, 210, 250, "P7", line="L2")),
    )
    found = links(past, CARRY)
    assert [(one.lot.name, one.depth) for one in forward(Lot("noodles", "A"), found)] == [
        ("R1", 1),
        ("P7", 2),
    ]
    assert [(one.lot.name, one.depth) for one in backward(Lot("pallet", "P7"), found)] == [
        ("R1", 1),
        ("N2", 1),
        ("A", 2),
    ]


_NAMES = st.sampled_from("ABCD")
_TAKEN = st.builds(
    taken, st.integers(1, 99), st.integers(0, 300), _NAMES,
    st.sampled_from(["noodles", "oil", "packing", "bin"]), st.sampled_from(["L1", "L2"]),
)  # fmt: skip
_MADE = st.builds(
    lambda n, begun, length, name, sort, line: made(n, begun, begun + length, name, sort=sort, line=line),
    st.integers(1, 99), st.integers(0, 300), st.integers(1, 60), _NAMES,
    st.sampled_from(["pallet", "bin"]), st.sampled_from(["L1", "L2"]),
)  # fmt: skip
_PAST = st.builds(
    lambda one, other: Past(taken=tuple(one), made=tuple(other)),
    st.lists(_TAKEN, max_size=8), st.lists(_MADE, max_size=8),
)  # fmt: skip


@given(_PAST)
def test_both_directions_give_the_same_pairs(past: Past) -> None:
    """A lot is found from a pallet exactly if the pallet is found from the lot, through any number of bins."""
    found = links(past, CARRY)
    lots = {one.lot for one in past.every()}
    there = {(lot, one.lot) for lot in lots for one in forward(lot, found)}
    back = {(one.lot, lot) for lot in lots for one in backward(lot, found)}
    assert there == back


@given(_PAST, st.integers(0, 1000))
def test_a_line_that_holds_more_lets_go_of_nothing_sooner(past: Past, more: int) -> None:
    small, large = links(past, CARRY), links(past, {line: kg + more for line, kg in CARRY.items()})
    assert {(one.taken, one.made) for one in small} <= {(one.taken, one.made) for one in large}


@given(_PAST)
def test_whatever_was_fed_while_something_was_filled_is_named(past: Past) -> None:
    """The newest lot of its sort before the filling ended is always among what touched it (but for a turn)."""
    found = {(one.taken.n, one.taken.lot, one.made) for one in links(past, CARRY)}
    for filled in past.made:
        for sort in ("noodles", "oil", "packing"):
            before = [
                one for one in past.taken
                if one.line == filled.line and one.lot.sort == sort and one.at < filled.at
            ]  # fmt: skip
            if before:
                newest = max(before, key=lambda one: (one.at, one.n))
                assert (newest.n, newest.lot, filled) in found

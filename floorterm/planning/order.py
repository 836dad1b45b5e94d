"""The order in which a line's fragrances cost the least changeover, with a proof or an honest bound.

What the line holds now is place 0, the fragrances to run are 1 to n, each once. That is an open path from a fixed
start on costs that differ by direction; with nothing to pay behind the last one it is a closed tour. Costs are whole
numbers, so that a proof is one. A run between two others may be cheaper than the direct way; nothing here assumes
that it is not.
"""

from collections.abc import Iterator, Sequence
from graphlib import CycleError, TopologicalSorter
from itertools import combinations
from typing import TypeAlias

from msgspec import Struct

from floorterm.planning.assignment import assign

# ends of orders that are followed at once; what is dropped beyond them is remembered in the bound. 15 places never have
# so many; once something was dropped that could be better, nothing is proved any more, and fewer do
MOST_STATES, FEW_STATES = 60_000, 10_000
Costs: TypeAlias = Sequence[Sequence[int | None]]
_Ways: TypeAlias = tuple[int, int, int | None]  # least cost, in how many ways, next larger cost
_Layer: TypeAlias = dict[tuple[int, int], _Ways]  # by the places from here to the end, and the first of them


class OrderInputError(ValueError):
    """The question is none: a table that is not square, a negative cost, a rule about a place that there is not."""


class NoOrderError(ValueError):
    """No order keeps all rules (`proved`), or none was found within the memory that the search may take."""

    def __init__(self, *, proved: bool) -> None:
        self.proved = proved
        super().__init__(
            "No order keeps all rules." if proved else "No order that keeps all rules was found."
        )


class Question(Struct, frozen=True, kw_only=True):
    """`costs[i][j]`: from place i directly to place j, in whole units; None where that may not be.

    `before`: (a, b) where a must run before b, at any distance. `ends[j]`: what is paid behind place j where it is the
    last one (nothing, if left out).
    """

    costs: Costs
    before: tuple[tuple[int, int], ...] = ()
    ends: tuple[int, ...] = ()


class Answer(Struct, frozen=True, kw_only=True):
    """The best order found, and what is known about all others.

    `bound`: no order costs less. `ties`: how many orders cost as much as this one, itself among them; `second`: the
    next larger cost of any order. Both are None where they are not proved; `second` also where there is no other cost.
    """

    order: tuple[int, ...]
    cost: int
    bound: int
    ties: int | None = None
    second: int | None = None

    @property
    def proved(self) -> bool:
        """Whether no order is better."""
        return self.bound == self.cost


def cost_of(question: Question, order: Sequence[int]) -> int | None:
    """What an order costs; None if it breaks a rule or takes a way that may not be."""
    total = question.ends[order[-1]] if question.ends else 0
    for a, b in zip((0, *order), order, strict=False):
        step = question.costs[a][b]
        if step is None:
            return None
        total += step
    place = {one: index for index, one in enumerate(order)} if question.before else {}
    return None if any(place[a] > place[b] for a, b in question.before) else total


def best_order(question: Question, known: Sequence[int] = (), *, most_states: int = MOST_STATES) -> Answer:
    """The order that costs least; of `ties` the one that keeps to the numbers of the places for longest.

    Layer by layer from the last place to the first, every way that cannot lead below the next larger cost known is
    dropped: the assignment bound plus its reduced costs tells. Where an order is `known`, or a layer has more than
    `most_states`, only what is better than the best one known is followed, and of ties nothing is said.
    Raises OrderInputError, NoOrderError.
    """
    after = _after(question)
    n = len(question.costs) - 1
    closed, never = _closed(question, after)
    bound = assign(closed)
    if bound.value >= never:
        raise NoOrderError(proved=True)
    reduced = [
        [
            None if closed[i][j] >= never else closed[i][j] - bound.row[i] - bound.column[j]
            for j in range(n + 1)
        ]
        for i in range(n + 1)
    ]
    tried = sorted(_tried(question, known))
    best = tried[0] if tried else None
    better = best[0] - bound.value - 1 if best else None
    dearer = min((cost - bound.value for cost, _ in tried if best and cost > best[0]), default=None)
    layers, thrown = _layers(reduced, after, (better if known else dearer, better), most_states)
    ways = _joined((ways, reduced[0][first]) for (_, first), ways in layers[-1].items())
    least_thrown = None if thrown is None else bound.value + thrown
    if ways is None or (best is not None and best[0] < bound.value + ways[0]):
        if best is None:
            raise NoOrderError(proved=thrown is None)
        assert least_thrown is not None, "an order that was tried is among those that were not dropped"
        return Answer(order=best[1], cost=best[0], bound=min(best[0], least_thrown))
    cost, second = bound.value + ways[0], None if ways[2] is None else bound.value + ways[2]
    return Answer(
        order=_walked(layers, reduced, ways[0]),
        cost=cost,
        bound=cost if least_thrown is None else min(cost, least_thrown),
        ties=ways[1] if least_thrown is None or least_thrown > cost else None,
        second=second if second is not None and (least_thrown is None or least_thrown >= second) else None,
    )


def _after(question: Question) -> list[int]:
    """For every place those that must come after it, as bits. Raises OrderInputError, NoOrderError for a circle."""
    size = len(question.costs)
    if size < 2 or any(len(row) != size for row in question.costs):
        raise OrderInputError("The table of costs is not square, or nothing is to be run.")
    if question.ends and len(question.ends) != size:
        raise OrderInputError("There is not one end cost for every place.")
    if (
        any(step is not None and step < 0 for row in question.costs for step in row)
        or min(question.ends, default=0) < 0
    ):
        raise OrderInputError("A cost is below 0.")
    if not all(0 < place < size for pair in question.before for place in pair):
        raise OrderInputError("A rule is about a place that there is not.")
    sorter = TopologicalSorter[int](dict.fromkeys(range(size), ()))
    for a, b in question.before:
        sorter.add(a, b)  # what comes after is told first
    after = [0] * size
    try:
        for place in sorter.static_order():
            for a, b in question.before:
                if a == place:
                    after[a] |= 1 << b | after[b]
    except CycleError as fault:
        raise NoOrderError(proved=True) from fault
    return after


def _closed(question: Question, after: Sequence[int]) -> tuple[list[list[int]], int]:
    """The costs of a closed tour, ways that no order takes at a cost that no order reaches; and that cost."""
    size = len(question.costs)
    never = 1 + max(question.ends, default=0)
    never += sum(max((step for step in row if step is not None), default=0) for row in question.costs)
    closed = [[never] * size for _ in range(size)]
    for i in range(size):
        for j in range(1, size):
            step = question.costs[i][j]
            led = i == 0 and any(after[k] >> j & 1 for k in range(1, size))
            between = any(after[i] >> k & 1 and after[k] >> j & 1 for k in range(1, size))
            if i != j and step is not None and not (led or between or after[j] >> i & 1):
                closed[i][j] = step
        if i and not after[i]:
            closed[i][0] = question.ends[i] if question.ends else 0
    return closed, never


def _layers(
    reduced: Sequence[Sequence[int | None]],
    after: Sequence[int],
    limits: tuple[int | None, int | None],
    most_states: int,
) -> tuple[list[_Layer], int | None]:
    """Ends of orders by their length, and a reduced cost below which none was dropped (None: only what is of no use).

    `limits`: the most that an end may cost, as long as there is room, and where there is none.
    """
    n = len(reduced) - 1
    most, better = limits
    layer: _Layer = {
        (1 << j, j): (cost, 1, None)
        for j in range(1, n + 1)
        if (cost := reduced[j][0]) is not None and not after[j] and (most is None or cost <= most)
    }
    layers, thrown = [layer], None if most is None or most != better else most + 1
    ahead = [
        sorted((step, i) for i in range(1, n + 1) if (step := reduced[i][first]) is not None)
        for first in range(n + 1)
    ]
    for _ in range(n - 1):
        longer: _Layer = {}
        for (mask, first), ways in layer.items():
            for step, i in ahead[first]:
                if most is not None and ways[0] + step > most:
                    break
                if not mask >> i & 1 and not after[i] & ~mask:
                    key = (mask | 1 << i, i)
                    longer[key] = _with(longer.get(key), ways, step)
        if len(longer) > most_states and better is not None:
            most, thrown = better, better + 1 if thrown is None else thrown
            longer = {key: ways for key, ways in longer.items() if ways[0] <= better}
        if len(longer) > most_states:
            ranked = sorted(longer.items(), key=lambda one: (one[1][0], one[0]))
            dropped = ranked[most_states][1][0]
            thrown = dropped if thrown is None else min(thrown, dropped)
            longer = dict(ranked[:most_states])
            most_states = min(most_states, FEW_STATES)
        layers.append(longer)
        layer = longer
    return layers, thrown


def _with(known: _Ways | None, ways: _Ways, step: int) -> _Ways:
    """Ways to an end, joined by others that are `step` longer: the two smallest costs are always among them."""
    least, count, second = ways[0] + step, ways[1], None if ways[2] is None else ways[2] + step
    if known is None:
        return least, count, second
    if known[0] == least:
        rest = [one for one in (known[2], second) if one is not None]
        return least, known[1] + count, min(rest, default=None)
    low, high = (known, (least, count, second)) if known[0] < least else ((least, count, second), known)
    return low[0], low[1], high[0] if low[2] is None else min(low[2], high[0])


def _joined(found: Iterator[tuple[_Ways, int | None]]) -> _Ways | None:
    all_ways: _Ways | None = None
    for ways, step in found:
        if step is not None:
            all_ways = _with(all_ways, ways, step)
    return all_ways


def _walked(layers: Sequence[_Layer], reduced: Sequence[Sequence[int | None]], left: int) -> tuple[int, ...]:
    """The order behind a reduced cost, at every turn the first place that leads there."""
    at, mask = 0, (1 << len(reduced)) - 2
    order: list[int] = []
    for layer in reversed(layers):
        for place in range(1, len(reduced)):
            step, ways = reduced[at][place], layer.get((mask, place))
            if step is not None and ways is not None and step + ways[0] == left:
                left, at = ways[0], place
                break
        order.append(at)
        mask &= ~(1 << at)
    return tuple(order)


def _tried(question: Question, known: Sequence[int]) -> list[tuple[int, tuple[int, ...]]]:
    """Orders that are easily found, with their costs: blocks moved while that helps.

    It begins with the order that is known, else with that of the numbers and from each place always to the nearest.
    """
    n = len(question.costs) - 1
    found: dict[tuple[int, ...], int] = {}

    def take(order: tuple[int, ...]) -> int | None:
        cost = found.get(order)
        if cost is None and (cost := cost_of(question, order)) is not None:
            found[order] = cost
        return cost

    numbers = tuple(range(1, n + 1))
    for start in [tuple(known)] if known else [numbers, *(_nearest(question, first) for first in numbers)]:
        order, cost = start, take(start) if start else None
        while cost is not None:
            tried = ((c, moved) for moved in _moved(order) if (c := take(moved)) is not None and c < cost)
            cost, order = min(tried, default=(None, ()))
    return [(cost, order) for order, cost in found.items()]


def _nearest(question: Question, first: int) -> tuple[int, ...]:
    """From a first place always on to the nearest that rules allow; nothing where that leads nowhere."""
    left = set(range(1, len(question.costs)))
    order: list[int] = []
    at, ready = 0, [(0, first)]
    while left:
        may = [(step, j) for step, j in ready if not any(b == j and a in left for a, b in question.before)]
        if not may or question.costs[at][min(may)[1]] is None:
            return ()
        at = min(may)[1]
        order.append(at)
        left.discard(at)
        ready = [(step, j) for j in left if (step := question.costs[at][j]) is not None]
    return tuple(order)


def _moved(order: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
    """The orders in which two neighbouring blocks change places; none is turned round."""
    for i, j, k in combinations(range(len(order) + 1), 3):
        yield order[:i] + order[j:k] + order[i:j] + order[k:]

"""Orders against brute force, an independent assignment solver, and published instances with their known optima."""

from itertools import permutations
from math import comb
from pathlib import Path
from unittest.mock import Mock

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from floorterm.planning import NoOrderError, OrderInputError, Question, best_order, cost_of, order
from floorterm.planning.assignment import assign

_DATA = Path(__file__).parents[1] / "data" / "sequences"


@given(
    st.integers(1, 8).flatmap(
        lambda n: st.lists(st.lists(st.integers(-9, 60), min_size=n, max_size=n), min_size=n, max_size=n)
    )
)
def test_an_assignment_is_the_cheapest_and_its_prices_prove_it(costs: list[list[int]]) -> None:
    # the linear_sum_assignment of SciPy as the independent solver
    found = assign(costs)
    rows, columns = linear_sum_assignment(np.array(costs))
    assert found.value == sum(costs[i][j] for i, j in zip(rows, columns, strict=True))
    assert found.value == sum(found.row) + sum(found.column)
    assert all(
        cost >= found.row[i] + found.column[j] for i, row in enumerate(costs) for j, cost in enumerate(row)
    )


@st.composite
def questions(draw: st.DrawFn) -> Question:
    """Up to six fragrances: ways that may not be, rules that may contradict each other, costs at the end."""
    n = draw(st.integers(1, 6))
    step = st.one_of(st.none(), *[st.integers(0, 20)] * 6)
    place = st.integers(1, n)
    return Question(
        costs=draw(st.lists(st.lists(step, min_size=n + 1, max_size=n + 1), min_size=n + 1, max_size=n + 1)),
        before=tuple(
            draw(st.lists(st.tuples(place, place).filter(lambda pair: pair[0] != pair[1]), max_size=3))
        ),
        ends=tuple(draw(st.one_of(st.just([]), st.lists(st.integers(0, 9), min_size=n + 1, max_size=n + 1)))),
    )


def _all_orders(question: Question) -> list[tuple[int, tuple[int, ...]]]:
    orders = permutations(range(1, len(question.costs)))
    return sorted((cost, order) for order in orders if (cost := cost_of(question, order)) is not None)


@settings(max_examples=150, deadline=None)
@given(questions())
def test_what_is_called_best_is_best_of_all_orders(question: Question) -> None:
    everything = _all_orders(question)
    if not everything:
        with pytest.raises(NoOrderError) as refused:
            best_order(question)
        assert refused.value.proved
        return
    found = best_order(question)
    costs = [cost for cost, _ in everything]
    assert found.proved
    assert (found.cost, found.order) == everything[0]
    assert found.ties == costs.count(costs[0])
    assert found.second == min((cost for cost in costs if cost > costs[0]), default=None)


@settings(max_examples=150, deadline=None)
@given(questions(), st.integers(1, 3))
def test_with_too_little_memory_it_says_so_and_its_bound_holds(question: Question, most: int) -> None:
    everything = _all_orders(question)
    try:
        found = best_order(question, most_states=most)
    except NoOrderError as refused:
        said_none = refused.proved
        found = None
    if found is None:
        assert not (everything and said_none)
        return
    costs = [cost for cost, _ in everything]
    assert cost_of(question, found.order) == found.cost
    assert found.bound <= costs[0] <= found.cost
    assert found.ties in (None, costs.count(costs[0]))
    assert found.second in (None, min((cost for cost in costs if cost > costs[0]), default=None))


@settings(max_examples=150, deadline=None)
@given(questions(), st.integers(1, 60), st.randoms(use_true_random=False))
def test_from_a_known_order_on_the_best_is_found_and_its_bound_holds(question, most, random) -> None:  # type: ignore[no-untyped-def]
    everything = _all_orders(question)
    if not everything:
        return
    found = best_order(question, random.choice(everything)[1], most_states=most)
    costs = [cost for cost, _ in everything]
    assert cost_of(question, found.order) == found.cost
    assert found.bound <= costs[0] <= found.cost
    assert found.proved or most < 60
    assert found.ties in (None, costs.count(costs[0]))
    assert found.second in (None, min((cost for cost in costs if cost > costs[0]), default=None))


def test_orders_that_all_cost_the_same_are_proved_without_being_counted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    joined = Mock(wraps=order._with)
    monkeypatch.setattr(order, "_with", joined)
    n = 20
    costs = [[None if j in (0, i) else 10 for j in range(n + 1)] for i in range(n + 1)]
    found = best_order(Question(costs=costs), most_states=1_000)
    assert (found.order, found.cost, found.proved) == (tuple(range(1, n + 1)), 10 * n, True)
    assert (found.ties, found.second) == (None, None)
    assert joined.call_count < 20_000  # all layers together take ten times as many


def test_fifteen_places_are_always_proved() -> None:
    # each layer has the places behind and the first of them
    assert max(comb(15, places) * places for places in range(1, 16)) <= order.MOST_STATES


def _numbers(name: str) -> list[list[int]]:
    text = (_DATA / name).read_text(encoding="ascii")
    size = int(text.split("DIMENSION:")[1].split()[0])
    numbers = [int(one) for one in text.split("EDGE_WEIGHT_SECTION")[1].split("EOF")[0].split()]
    numbers = numbers[-size * size :]  # an instance with rules says its size once more
    return [numbers[i * size : (i + 1) * size] for i in range(size)]


@pytest.mark.parametrize(
    ("name", "optimum"),
    # TSPLIB95 (G. Reinelt, ORSA Journal on Computing 3 (1991) 376-384). Optima from memory, proved once more with
    # another solver.
    [("ESC07.sop", 2125), ("ESC12.sop", 1675), ("br17.10.sop", 55), ("br17.12.sop", 55)],
)
def test_published_sequences_with_rules_are_proved_at_their_optimum(name: str, optimum: int) -> None:
    table = _numbers(name)
    last = len(table) - 1  # node 1 is the start, the last node the end, -1 at (i, j) means j before i
    found = best_order(
        Question(
            costs=[
                [None if i == j or table[i][j] < 0 else table[i][j] for j in range(last)] for i in range(last)
            ],
            before=tuple((j, i) for i in range(1, last) for j in range(1, last) if table[i][j] == -1),
            ends=(0, *(table[i][last] for i in range(1, last))),
        )
    )
    assert (found.cost, found.proved) == (optimum, True)


def test_a_published_tour_of_seventeen_is_found_and_its_bound_holds() -> None:
    # br17 of TSPLIB95: optimum 39, in its list of best known solutions; most of its ways tie, so memory ends first
    table = _numbers("br17.atsp")
    costs = [[None if i == j else step for j, step in enumerate(row)] for i, row in enumerate(table)]
    found = best_order(Question(costs=costs, ends=tuple(row[0] for row in table)), most_states=2_000)
    assert found.cost == 39
    assert found.bound <= 39
    assert not found.proved
    assert (found.ties, found.second) == (None, None)


# minutes, the line in the first row; computed for this project, and by brute force here
_MINUTES = (
    (None, 41, 22, 19, 15),
    (None, None, 10, 11, 12),
    (None, 24, None, 12, 10),
    (None, 33, 21, None, 14),
    (None, 52, 34, 26, None),
)


def test_a_worked_example_of_four() -> None:
    assert min(_all_orders(Question(costs=_MINUTES))) == (71, (2, 1, 3, 4))
    found = best_order(Question(costs=_MINUTES))
    assert (found.order, found.cost, found.ties, found.second) == ((2, 1, 3, 4), 71, 1, 72)
    ruled = best_order(Question(costs=_MINUTES, before=((1, 2), (1, 3), (1, 4))))
    assert (ruled.order, ruled.cost) == ((1, 2, 3, 4), 77)  # unscented first costs 6 minutes there


@pytest.mark.parametrize(
    "question",
    [
        Question(costs=()),
        Question(costs=((None,),)),
        Question(costs=((None, 1), (None,))),
        Question(costs=((None, -1), (None, None))),
        Question(costs=((None, 1), (None, None)), ends=(0, -1)),
        Question(costs=((None, 1), (None, None)), ends=(0,)),
        Question(costs=((None, 1), (None, None)), before=((0, 1),)),
        Question(costs=((None, 1), (None, None)), before=((1, 2),)),
    ],
)
def test_what_is_no_question_is_refused(question: Question) -> None:
    with pytest.raises(OrderInputError):
        best_order(question)

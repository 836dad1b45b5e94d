"""A lower bound on every order: the cheapest way to give each fragrance one before it and one after it.

The assignment problem by shortest augmenting paths (H. W. Kuhn, "The Hungarian method for the assignment problem",
Naval Research Logistics Quarterly 2 (1955) 83-97; this form, with prices, from memory). Whole numbers throughout: a
proof in floating point is none.
"""

from collections.abc import Sequence

from msgspec import Struct


class Assignment(Struct, frozen=True):
    """`value`: the sum of the cheapest assignment; `row` and `column`: its prices.

    `costs[i][j] - row[i] - column[j]` is never below 0, and 0 on the assignment: whatever visits each place once costs
    exactly `value` and the sum of these differences on its way.
    """

    value: int
    row: tuple[int, ...]
    column: tuple[int, ...]


def assign(costs: Sequence[Sequence[int]]) -> Assignment:
    """The cheapest assignment of rows to columns of a square table of whole numbers."""
    n = len(costs)
    row, column = [0] * n, [0] * (n + 1)
    holder = [-1] * (
        n + 1
    )  # the row that a column is given to; column n stands for the row that is being placed
    for new in range(n):
        holder[n] = new
        found, least = n, [0] * n
        came_from = [n] * n
        reached: list[int] = []
        open_columns = list(range(n))
        for j in open_columns:
            least[j] = costs[new][j] - row[new] - column[j]
        while holder[found] >= 0:
            nearest = min(open_columns, key=least.__getitem__)
            step = least[nearest]
            row[new] += step
            for j in reached:
                row[holder[j]] += step
                column[j] -= step
            for j in open_columns:
                least[j] -= step
            open_columns.remove(nearest)
            reached.append(nearest)
            found = nearest
            i = holder[found]
            if i < 0:
                break
            for j in open_columns:
                through = costs[i][j] - row[i] - column[j]
                if through < least[j]:
                    least[j], came_from[j] = through, found
        while found != n:
            before = came_from[found]
            holder[found] = holder[before]
            found = before
    value = sum(costs[holder[j]][j] for j in range(n))
    return Assignment(value, tuple(row), tuple(column[:n]))

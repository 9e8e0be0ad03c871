"""The assignment problem: every row a column of its own, or none, at the least total price."""

from collections.abc import Sequence

INF = float("inf")


def assign(prices: Sequence[Sequence[float]], empty: Sequence[float]) -> tuple[int | None, ...]:
    """Give every row a column of its own, or none, at the least total price; exact.

    Parameters
    ----------
    prices : rows of prices
        ``prices[i][j]`` of giving column j to row i; inf forbids.
    empty : sequence of float
        Price of leaving row i without a column, finite.

    Returns
    -------
    tuple
        The column of each row, None where it is left without.

    Notes
    -----
    Shortest augmenting paths, as D. F. Crouse, "On implementing 2D rectangular assignment algorithms", IEEE
    Transactions on Aerospace and Electronic Systems 52(4), 2016, pp. 1679-1696, has them: rows come in one by one, each
    by the cheapest chain of changes among those that are in. A chain ends in a free column or leaves a row empty.
    """
    columns = len(prices[0]) if prices else 0
    taker: list[int | None] = [None] * columns
    taken: list[int | None] = [None] * len(prices)
    row_price, column_price = [0.0] * len(prices), [0.0] * columns

    for new in range(len(prices)):
        least, before = [INF] * columns, [new] * columns       # cheapest chain to each column, and the row it comes by
        reached, rows = [], {new: 0.0}
        left = set(range(columns))
        row, here = new, 0.0
        ending: tuple[int, int | None] = new, None
        best = empty[new]
        while True:
            offset, mine = here - row_price[row], prices[row]
            for j in left:
                if (price := offset + mine[j] - column_price[j]) < least[j]:
                    least[j], before[j] = price, row
            column = min(left, key=least.__getitem__, default=None)
            if column is None or least[column] >= best:
                break
            here = least[column]
            left.discard(column)
            reached.append(column)
            holder = taker[column]
            if holder is None:
                ending, best = (before[column], column), here
                break
            row, rows[holder] = holder, here
            if (price := here + empty[row] - row_price[row]) < best:
                ending, best = (row, None), price
        for one, at in rows.items():
            row_price[one] += max(0.0, best - at)
        for column in reached:
            column_price[column] -= max(0.0, best - least[column])
        last, column = ending
        while True:
            column, taken[last] = taken[last], column
            if (held := taken[last]) is not None:
                taker[held] = last
            if last == new:
                break
            assert column is not None
            last = before[column]
    return tuple(taken)

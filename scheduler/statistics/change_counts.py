"""How many changes fall into a period, and to its end, of a position and of groups of positions.

The periods of successive changes form a Markov chain with transitions T, upper triangular, that begins at the first
change f. So the j-th change falls into w with f T^(j−1), and P(j or more by the end of w) is its cumulated sum. The
expected changes in w are f (I − T)⁻¹; as each of them is followed by another one in w with T[w, w], w is entered
with probability e = f (I − T)⁻¹[w] · (1 − T[w, w]), and holds k ≥ 1 changes with e T[w, w]^(k−1) (1 − T[w, w]).
Both are linear in f: a table per class times the rows of its positions. Derived here; Çınlar, Introduction to
Stochastic Processes, 1975, ch. 10 has Markov renewal processes (from memory).
"""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from scheduler.statistics.count_distribution import (
    NEGLIGIBLE,
    CountTable,
    FloatArray,
    Ints,
    one_below_other,
    sum_of_many,
)

FIRST_BAND = 13
POSITIONS_FOR_BANDS = 64
"""Near periods have narrower sums than far ones: 13 together, then 13, 26, …; not worth it for few (ours)."""


def changes_of_groups(
    first: FloatArray, which: Ints, next_change: FloatArray, sizes: Ints
) -> Iterator[tuple[CountTable, CountTable]]:
    """The changes of all positions of each group, within each period and from now to its end.

    `first` (n, W) holds where the first change of each position falls, `which` (n,) its row of `next_change`
    (C, W, W), which holds where the change after one in u falls. Groups are in a row, `sizes` says how many
    positions make one, and within a group positions of a class are in a row.
    """
    one_and_first = np.concatenate([np.ones((len(first), 1)), first], axis=1)
    bands = list(_bands(first.shape[1], int(sizes.max())))
    within = [_in_bands(_within(later), bands) for later in next_change]
    by_end = [_in_bands(_by_end(later), bands) for later in next_change]
    for start, stop in pairwise(np.append(0, np.cumsum(sizes)).tolist()):
        rows, mine = one_and_first[start:stop], which[start:stop]
        yield _sum_of_positions(rows, mine, within), _sum_of_positions(rows, mine, by_end)


def _sum_of_positions(one_and_first: FloatArray, which: Ints, tables: list[list[FloatArray]]) -> CountTable:
    """The changes of all rows together; `tables` are by class and band."""
    bounds = [0, *(np.flatnonzero(np.diff(which)) + 1).tolist(), len(which)]
    of_class = [(one_and_first[start:stop], tables[which[start]]) for start, stop in pairwise(bounds)]
    sums = []
    for band in range(len(tables[0])):
        counts = [_counts(rows, table[band]) for rows, table in of_class]
        sums.append(sum_of_many(counts[0] if len(counts) == 1 else _below_each_other(counts)))
    return one_below_other(sums)


def _counts(one_and_first: FloatArray, table: FloatArray) -> FloatArray:
    """P(exactly k changes) of each row (n, periods, k)."""
    inputs, periods, terms = table.shape
    return (one_and_first[:, :inputs] @ table.reshape(inputs, -1)).reshape(-1, periods, terms)


def _below_each_other(counts: list[FloatArray]) -> FloatArray:
    """With zeros for the numbers that only other classes reach."""
    together = np.zeros((sum(map(len, counts)), counts[0].shape[1], max(some.shape[2] for some in counts)))
    start = 0
    for some in counts:
        together[start : start + len(some), :, : some.shape[2]] = some
        start += len(some)
    return together


def _bands(periods: int, most_positions: int) -> Iterator[tuple[int, int]]:
    """Periods to be treated together, so that the widest sum of a band is not much wider than the narrowest."""
    begin, end = 0, FIRST_BAND if most_positions >= POSITIONS_FOR_BANDS else periods
    while begin < periods:
        yield begin, min(end, periods)
        begin, end = end, 2 * end


def _by_end(later: FloatArray) -> FloatArray:
    """(1 + W, W, k): P(exactly k changes from now to the end of w), see `_from_zero`."""
    reached = [np.triu(np.ones_like(later))]
    while (further := later @ reached[-1]).max() >= NEGLIGIBLE:
        reached.append(further)
    return _from_zero([-reached[0], *(a - b for a, b in pairwise(reached)), reached[-1]])


def _within(later: FloatArray) -> FloatArray:
    """(1 + W, W, k): P(exactly k changes in w), see `_from_zero`."""
    again = np.diagonal(later)
    entered = np.linalg.inv(np.eye(len(later)) - later) * (1.0 - again)
    exactly = [entered * (1.0 - again)]
    while exactly[-1].max() >= NEGLIGIBLE:
        exactly.append(exactly[-1] * again)
    return _from_zero([-entered, *exactly[:-1]])


def _from_zero(added: list[FloatArray]) -> FloatArray:
    """What 1, and then a first change in each u, add to P(exactly k): without a change, zero is certain."""
    table = np.zeros((1 + len(added[0]), added[0].shape[1], len(added)))
    table[0, :, 0] = 1.0
    np.stack(added, axis=2, out=table[1:])
    return table


def _in_bands(table: FloatArray, bands: list[tuple[int, int]]) -> list[FloatArray]:
    """(1 + end, end − begin, k) for each band: first changes after it, and numbers not reached in it, add nothing."""
    cut = [table[: 1 + end, begin:end] for begin, end in bands]
    return [np.ascontiguousarray(some[:, :, : _terms(some)]) for some in cut]


def _terms(table: FloatArray) -> int:
    return int(np.flatnonzero(np.abs(table).max(axis=0).max(axis=0) >= NEGLIGIBLE)[-1]) + 1

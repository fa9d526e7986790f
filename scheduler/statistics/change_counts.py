"""How many changes fall into a period, and to its end, of a position and of groups of positions.

The periods of successive changes form a Markov chain with transitions T, upper triangular, that begins at the first
change f. So the j-th change falls into w with f T^(j−1), and P(j or more by the end of w) is its cumulated sum. The
expected changes in w are f (I − T)⁻¹; as each of them is followed by another one in w with T[w, w], w is entered
with probability e = f (I − T)⁻¹[w] · (1 − T[w, w]), and holds k ≥ 1 changes with e T[w, w]^(k−1) (1 − T[w, w]).
Both are linear in f: a table per class times the rows of its positions. Derived here; Çınlar, Introduction to
Stochastic Processes, 1975, ch. 10 has Markov renewal processes (from memory).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from scheduler.statistics.chance_counts import ChanceCounts, sum_of_chances
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


@dataclass(frozen=True, slots=True)
class LaterChanges:
    """What a first change in u adds to the changes in w, of one class of positions.

    `entered` (W, W) is P(a change in w | the first change in u), `number` (W, k) P(exactly k ≥ 1 changes in w | one),
    and `by_end` holds P(exactly k changes from now to the end of w) for each band of periods, see `_from_zero`.
    """

    entered: FloatArray
    number: FloatArray
    by_end: list[FloatArray]


def later_changes(next_change: FloatArray, *, in_bands: bool) -> LaterChanges:
    """For a class whose change after one in u falls into w with `next_change` (W, W)."""
    bands = list(_bands(len(next_change), FIRST_BAND if in_bands else len(next_change)))
    return LaterChanges(
        _entered(next_change), _numbers(np.diagonal(next_change)), _in_bands(_by_end(next_change), bands)
    )


def changes_of_groups(
    first: FloatArray, which: Ints, classes: Sequence[LaterChanges], sizes: Ints
) -> Iterator[tuple[CountTable, CountTable]]:
    """The changes of all positions of each group, within each period and from now to its end.

    `first` (n, W) holds where the first change of each position falls, `which` (n,) its class. Groups are in a row,
    `sizes` says how many positions make one, and within a group positions of a class are in a row.
    """
    one_and_first = np.concatenate([np.ones((len(first), 1)), first], axis=1)
    for start, stop in pairwise(np.append(0, np.cumsum(sizes)).tolist()):
        bounds = [start, *(start + 1 + np.flatnonzero(np.diff(which[start:stop]))).tolist(), stop]
        of_class = [(slice(begin, end), classes[which[begin]]) for begin, end in pairwise(bounds)]
        within = [ChanceCounts(first[rows] @ later.entered, later.number) for rows, later in of_class]
        by_end = _sum_by_end([(one_and_first[rows], later.by_end) for rows, later in of_class])
        yield sum_of_chances(within), by_end


def _sum_by_end(of_class: list[tuple[FloatArray, list[FloatArray]]]) -> CountTable:
    """The changes of all positions of some classes together; the tables of each class are by band."""
    sums = []
    for band in range(len(of_class[0][1])):
        counts = [_counts(rows, table[band]) for rows, table in of_class]
        sums.append(sum_of_many(counts[0] if len(counts) == 1 else _beside_each_other(counts)))
    return one_below_other(sums)


def _counts(one_and_first: FloatArray, table: FloatArray) -> FloatArray:
    """P(exactly k changes) of each row (k, n, periods)."""
    counts: FloatArray = one_and_first[:, : table.shape[1]] @ table
    return counts


def _beside_each_other(counts: list[FloatArray]) -> FloatArray:
    """With zeros for the numbers that only other classes reach."""
    together = np.zeros((max(map(len, counts)), sum(some.shape[1] for some in counts), counts[0].shape[2]))
    start = 0
    for some in counts:
        together[: len(some), start : start + some.shape[1]] = some
        start += some.shape[1]
    return together


def _bands(periods: int, first: int) -> Iterator[tuple[int, int]]:
    """Periods to be treated together, so that the widest sum of a band is not much wider than the narrowest."""
    begin, end = 0, first
    while begin < periods:
        yield begin, min(end, periods)
        begin, end = end, 2 * end


def _by_end(later: FloatArray) -> FloatArray:
    """(k, 1 + W, W): P(exactly k changes from now to the end of w), see `_from_zero`."""
    reached = [np.triu(np.ones_like(later))]
    while (further := later @ reached[-1]).max() >= NEGLIGIBLE:
        reached.append(further)
    return _from_zero([-reached[0], *(a - b for a, b in pairwise(reached)), reached[-1]])


def _entered(later: FloatArray) -> FloatArray:
    """See `LaterChanges`."""
    entered: FloatArray = np.linalg.inv(np.eye(len(later)) - later) * (1.0 - np.diagonal(later))
    return entered


def _numbers(again: FloatArray) -> FloatArray:
    """(W, k): exactly k ≥ 1, when each change is followed by another in the same period with `again`."""
    exactly = [1.0 - again]
    while (further := exactly[-1] * again).max() >= NEGLIGIBLE:
        exactly.append(further)
    return np.stack(exactly, axis=1)


def _from_zero(added: list[FloatArray]) -> FloatArray:
    """What 1, and then a first change in each u, add to P(exactly k): without a change, zero is certain."""
    table = np.zeros((len(added), 1 + len(added[0]), added[0].shape[1]))
    table[0, 0] = 1.0
    np.stack(added, out=table[:, 1:])
    return table


def _in_bands(table: FloatArray, bands: list[tuple[int, int]]) -> list[FloatArray]:
    """(k, 1 + end, end − begin) for each band: first changes after it, and numbers not reached in it, add nothing."""
    cut = [table[:, : 1 + end, begin:end] for begin, end in bands]
    return [np.ascontiguousarray(some[: _terms(some)]) for some in cut]


def _terms(table: FloatArray) -> int:
    return int(np.flatnonzero(np.abs(table).max(axis=(1, 2)) >= NEGLIGIBLE)[-1]) + 1

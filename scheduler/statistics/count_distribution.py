"""How many: distributions of whole numbers, their sums over many independent things, and what is read off them.

A sum of independent counts has the product of their probability generating functions (Feller, An Introduction to
Probability Theory and Its Applications, vol. 1, ch. XI). They are multiplied by their values on the unit circle and
transformed back, which is exact. Two things are left out, both below 1e-6 in probability: tails that nobody could
see, and values on the circle that a bound proves to be negligible. |φ(θ)| ≤ exp(−q(1 − cos θ)) with q = Σ over
things and k of P(k) P(k + 1): in |φ|² = Σ P(j) P(k) cos (j − k)θ only neighbours are kept, the other cosines are
put to 1, and 1 − x ≤ exp(−x). So of a wide sum, a few values do, as few as a normal distribution would need.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import numpy.typing as npt
from scipy import fft

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]
Ints = npt.NDArray[np.int64]

NEGLIGIBLE = 1e-9
"""A last column of a table below this is dropped (ours): of a million things in sum, about 1e-3 is missed."""

NEGLIGIBLE_ON_CIRCLE = 16.0
"""Values on the circle are left out from exp(−16) = 1.1e-7 on (ours)."""

SIGMAS_EACH_SIDE = 5.5
SEEN_AT_EDGE = 2e-7
"""The circle is about as long as the sum is wide; what lies beyond would be seen wrapped around. If an edge of the
table holds more than this, the circle is taken twice as long (ours)."""

FEW_TERMS = 4
"""Up to so many terms, things are added two by two before they go round the circle (ours, measured)."""

NUMBERS_IN_CACHE = 25_000
"""What is multiplied at a time stays in a processor's cache (ours, measured)."""


@dataclass(frozen=True, slots=True)
class CountTable:
    """P(exactly k) in each of W rows: (W, n + 1). What lies beyond n is negligible."""

    probability: FloatArray

    def mean(self) -> FloatArray:
        mean: FloatArray = self.probability @ np.arange(self.probability.shape[1])
        return mean

    def variance(self) -> FloatArray:
        off = np.arange(self.probability.shape[1]) - self.mean()[:, None]
        variance: FloatArray = np.einsum("wk,wk,wk->w", self.probability, off, off)
        return variance

    def quantile(self, level: float) -> Ints:
        """The smallest k with P(count ≤ k) ≥ level, by row. Raises ValueError unless 0 < level < 1."""
        if not 0.0 < level < 1.0:
            raise ValueError(f"level {level} is not between 0 and 1")
        enough: Ints = (np.cumsum(self.probability, axis=1) < level).sum(axis=1)
        enough[enough == self.probability.shape[1]] -= 1
        return enough

    def at_least(self, count: int) -> FloatArray:
        """P(this many or more), by row."""
        if count <= 0:
            return np.ones(len(self.probability))
        tail: FloatArray = self.probability[:, count:].sum(axis=1)
        return tail

    def and_also(self, other: "CountTable") -> "CountTable":
        """The sum with an independent count. Raises ValueError where the rows differ in number."""
        if len(self.probability) != len(other.probability):
            raise ValueError(f"{len(self.probability)} periods do not go with {len(other.probability)}")
        if min(self.probability.shape[1], other.probability.shape[1]) == 1:  # one of them is certainly zero
            return CountTable(self.probability * other.probability)
        terms = self.probability.shape[1] + other.probability.shape[1] - 1
        length = fft.next_fast_len(terms, real=True)
        values = fft.rfft(self.probability, length) * fft.rfft(other.probability, length)
        return CountTable(_without_tail(np.maximum(fft.irfft(values, length)[:, :terms], 0.0)))

    def times(self, amount: float) -> "CountTable":
        """What is used where each of the counted takes `amount`, > 0.

        Where that is not whole, each takes one of the two whole neighbours at random, so that the mean is kept:
        of 2.3 a share of 0.3 takes 3. Raises ValueError for an amount that is not above 0.
        """
        if not 0.0 < amount < np.inf:
            raise ValueError(f"amount {amount} is not above 0 and finite")
        whole = int(amount)
        most = self.probability.shape[1] - 1
        if whole != amount:
            return CountTable(_without_tail(_used_at_random(self.probability, whole, amount - whole)))
        used = np.zeros((len(self.probability), whole * most + 1))
        used[:, ::whole] = self.probability
        return CountTable(used)


def certainly_zero(rows: int) -> CountTable:
    """Nothing is counted."""
    return CountTable(np.ones((rows, 1)))


def sum_of(tables: Sequence[CountTable]) -> CountTable:
    """The sum of independent counts, one or more, by rows."""
    rest = list(tables)
    while len(rest) > 1:
        odd = rest[len(rest) & ~1 :]
        rest = [a.and_also(b) for a, b in zip(rest[0::2], rest[1::2], strict=False)] + odd
    return rest[0]


def mixture(shares: Sequence[float], tables: Sequence[CountTable]) -> CountTable:
    """One of the tables holds, with these probabilities."""
    return CountTable(np.einsum("t,twk->wk", np.array(shares), np.stack(_as_wide(tables))))


def one_below_other(tables: Sequence[CountTable]) -> CountTable:
    """The rows of the first, then of the second, and so on."""
    return CountTable(np.concatenate(_as_wide(tables)))


@dataclass(frozen=True, slots=True)
class SumOfCounts:
    """A sum of independent counts in each of W rows, as far as it must be known to lay out its distribution.

    `mean`, `variance` and `overlap`, the q of this module's head, are (W,). No count is above `most_of_one`, no sum
    above `most`. `on_circle(length, points)` gives its generating function at the first points of so many on the unit
    circle, (W, points).
    """

    mean: FloatArray
    variance: FloatArray
    overlap: FloatArray
    most_of_one: int
    most: int
    on_circle: Callable[[int, int], ComplexArray]

    def table(self) -> CountTable:
        """Its distribution."""
        spread = np.sqrt(max(float(self.variance.max()), 0.0))
        length = int(2.0 * SIGMAS_EACH_SIDE * spread) + self.most_of_one + 9
        while length < self.most + 1:  # else nothing can be wrapped around
            length = fft.next_fast_len(length, real=True)
            lowest = np.maximum(np.round(self.mean - length / 2.0), 0.0).astype(np.int64)
            sums = self._wound_up(length)
            row, place = np.arange(len(lowest)), lowest % length
            beside = np.maximum(sums[row, place - 1], np.where(lowest > 0, sums[row, place], 0.0))
            if beside.max() < SEEN_AT_EDGE:
                return CountTable(_without_tail(_unwound(sums, lowest)))
            length *= 2
        return CountTable(_without_tail(self._wound_up(self.most + 1)))

    def _wound_up(self, length: int) -> FloatArray:
        """P(sum = k, or k and some full circles of `length`), k from 0 to `length` − 1, (W, length)."""
        least_overlap = max(float(self.overlap.min()), NEGLIGIBLE_ON_CIRCLE / 2.0)
        reach = np.arccos(1.0 - NEGLIGIBLE_ON_CIRCLE / least_overlap)
        points = min(length // 2, int(np.ceil(reach * length / (2.0 * np.pi)))) + 1
        return np.maximum(fft.irfft(self.on_circle(length, points), length, axis=1), 0.0)


def sum_of_many(counts: FloatArray) -> CountTable:
    """The sum of the counts of many things; `counts` (k, things, W) holds P(exactly k) of each in each row."""
    counts = _merged_while_cheap(counts)
    terms, things, _ = counts.shape
    if things == 1:
        return CountTable(_without_tail(np.maximum(counts[:, 0].T, 0.0)))
    mean, variance = _moments_of_sum(counts)
    overlap = np.einsum("knw,knw->w", counts[:-1], counts[1:])
    all_of_them = partial(product_on_circle, counts)
    return SumOfCounts(mean, variance, overlap, terms - 1, things * (terms - 1), all_of_them).table()


def _merged_while_cheap(counts: FloatArray) -> FloatArray:
    """Things added two by two, as long as few can be counted of each, so that fewer have to go round the circle."""
    while counts.shape[1] > 1 and len(counts) <= FEW_TERMS:
        together = _two_by_two(counts)
        counts = together[: _last_seen(together.max(axis=(1, 2))) + 1]
    return counts


def _two_by_two(counts: FloatArray) -> FloatArray:
    """The first half of the things each with one of the second; a middle one stays alone."""
    terms, things, rows = counts.shape
    pairs, begin_second = things // 2, things - things // 2
    first, second = counts[:, :pairs], counts[:, begin_second:]
    together = np.zeros((2 * terms - 1, begin_second, rows))
    together[:terms, pairs:] = counts[:, pairs:begin_second]
    product = np.empty((pairs, rows))
    for i in range(terms):
        for j in range(terms):
            together[i + j, :pairs] += np.multiply(first[i], second[j], out=product)
    return together


def _moments_of_sum(counts: FloatArray) -> tuple[FloatArray, FloatArray]:
    k = np.arange(len(counts), dtype=np.float64)
    each, together = np.tensordot(k, counts, axes=1), counts.sum(axis=1)
    return k @ together, k**2 @ together - np.einsum("nw,nw->w", each, each)


def powers_on_circle(terms: int, length: int, points: int) -> ComplexArray:
    """The powers 0 to `terms` − 1 of the first `points` of `length` on the unit circle, (terms, points)."""
    turn = 2.0 * np.pi / length * np.outer(np.arange(terms), np.arange(points))
    powers: ComplexArray = np.exp(-1j * turn)
    return powers


def product_on_circle(counts: FloatArray, length: int, points: int) -> ComplexArray:
    """The generating function of the sum of `counts` (k, things, W) at these points, (W, points)."""
    terms, things, rows = counts.shape
    # real and imaginary parts in turn, for a product of real matrices
    powers = powers_on_circle(terms, length, points).view(np.float64)
    product = np.ones((rows, points), dtype=np.complex128)
    step = max(1, NUMBERS_IN_CACHE // (2 * rows * points))
    for start in range(0, things, step):
        some = counts[:, start : start + step]
        values = (some.reshape(terms, -1).T @ powers).view(np.complex128)
        product *= values.reshape(some.shape[1], rows, points).prod(axis=0)
    return product


def _unwound(sums: FloatArray, lowest: Ints) -> FloatArray:
    """The circle laid out from `lowest` on, by row."""
    rows, length = sums.shape
    table = np.zeros((rows, int(lowest.max()) + length))
    twice_around = np.concatenate([sums, sums], axis=1)
    for laid_out, around, start in zip(table, twice_around, lowest.tolist(), strict=True):
        laid_out[start : start + length] = around[start % length : start % length + length]
    return table


def _without_tail(table: FloatArray) -> FloatArray:
    return table[:, : _last_seen(table.max(axis=0)) + 1]


def _last_seen(largest: FloatArray) -> int:
    return int(np.flatnonzero(largest >= NEGLIGIBLE)[-1])


def _used_at_random(probability: FloatArray, whole: int, share: float) -> FloatArray:
    """P(k used) where each of the counted takes `whole` + 1 with probability `share`, else `whole`.

    The generating function of the count, at the points that one of the counted makes of the unit circle.
    """
    most = probability.shape[1] - 1
    terms = (whole + 1) * most + 1
    length = fft.next_fast_len(terms, real=True)
    circle = np.exp(-2j * np.pi * np.arange(length // 2 + 1) / length)
    one = circle**whole * (1.0 - share + share * circle)
    values = []
    for some in np.array_split(one, 1 + len(one) * most // (40 * NUMBERS_IN_CACHE)):
        powers = np.ones((most + 1, len(some)), dtype=np.complex128)
        np.multiply.accumulate(np.broadcast_to(some, (most, len(some))), axis=0, out=powers[1:])
        values.append(probability @ powers)
    return np.maximum(fft.irfft(np.concatenate(values, axis=1), length, axis=1)[:, :terms], 0.0)


def _as_wide(tables: Sequence[CountTable]) -> list[FloatArray]:
    """Zeros behind each, so that all have as many columns."""
    widest = max(table.probability.shape[1] for table in tables)
    wide = [np.zeros((len(table.probability), widest)) for table in tables]
    for zeros, table in zip(wide, tables, strict=True):
        zeros[:, : table.probability.shape[1]] = table.probability
    return wide

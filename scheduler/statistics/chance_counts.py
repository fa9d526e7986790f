"""Sums over many things of which each counts with a chance of its own, and then a number that is alike for all.

With z(θ) = Σ P(k) (exp(ikθ) − 1) over the numbers k ≥ 1, a thing of chance e has the generating function 1 + e z. Of
n things with chances c + d around their mean, the product is (1 + c z)^n Π (1 + d u) with u = z/(1 + c z), and its
logarithm Σ (−1)^(m+1) u^m/m Σ d^m: a few sums of powers, whatever number of points on the circle is wanted (the
same series leads from power sums to elementary symmetric functions: Macdonald, Symmetric Functions and Hall
Polynomials, I.2, from memory). It is broken off where a bound shows that the rest is negligible. Things with |d u|
too large for that are multiplied one by one.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from scheduler.statistics.count_distribution import (
    ComplexArray,
    CountTable,
    FloatArray,
    SumOfCounts,
    powers_on_circle,
    product_on_circle,
)

LARGEST_STEP = 0.3
"""|d u| up to which things are taken together (ours): about eight powers do."""

NEGLIGIBLE_REST = 1e-8
"""Of the logarithm of a generating function (ours)."""


@dataclass(frozen=True, slots=True)
class ChanceCounts:
    """`chance` (things, W) of each thing to count in each row; `number` (W, k) is P(exactly k ≥ 1) if it does."""

    chance: FloatArray
    number: FloatArray


def sum_of_chances(classes: Sequence[ChanceCounts]) -> CountTable:
    """The sum over all things of all classes, by row."""
    mean, variance, overlap = np.sum([_moments(some) for some in classes], axis=0)
    most_of_one = max(some.number.shape[1] for some in classes)
    most = sum(len(some.chance) * some.number.shape[1] for some in classes)
    return SumOfCounts(mean, variance, overlap, most_of_one, most, partial(_all_on_circle, classes)).table()


def _moments(some: ChanceCounts) -> FloatArray:
    """Mean, variance and overlap of the sum, (3, W)."""
    k = np.arange(1, some.number.shape[1] + 1, dtype=np.float64)
    chances, squares = some.chance.sum(axis=0), np.einsum("nw,nw->w", some.chance, some.chance)
    mean = some.number @ k
    neighbours = np.einsum("wk,wk->w", some.number[:, :-1], some.number[:, 1:])
    overlap = (chances - squares) * some.number[:, 0] + squares * neighbours
    return np.stack([chances * mean, chances * (some.number @ k**2) - squares * mean**2, overlap])


def _all_on_circle(classes: Sequence[ChanceCounts], length: int, points: int) -> ComplexArray:
    product = np.ones((classes[0].chance.shape[1], points), dtype=np.complex128)
    for some in classes:
        product *= _on_circle(some, length, points)
    return product


def _on_circle(some: ChanceCounts, length: int, points: int) -> ComplexArray:
    powers = powers_on_circle(some.number.shape[1] + 1, length, points)
    turned = some.number @ powers[1:] - some.number.sum(axis=1, keepdims=True)
    centre = some.chance.mean(axis=0)
    at_centre = 1.0 + centre[:, None] * turned
    with np.errstate(divide="ignore", invalid="ignore"):
        step = np.where(turned == 0.0, 0.0, turned / at_centre)
    farthest = np.abs(step).max(axis=1)
    off = some.chance - centre
    if (farthest * np.maximum(off.max(axis=0), -off.min(axis=0)) <= LARGEST_STEP).all():
        return _together(off, at_centre, step, farthest)
    near = (np.abs(off) * farthest <= LARGEST_STEP).all(axis=1)
    apart = product_on_circle(_counts(some.chance[~near], some.number), length, points)
    return apart * _together(off[near], at_centre, step, farthest)


def _together(off: FloatArray, at_centre: ComplexArray, step: ComplexArray, farthest: FloatArray) -> ComplexArray:
    if not len(off):
        return np.ones_like(step)
    together: ComplexArray = np.exp(len(off) * np.log(at_centre) + _logarithm(off, step, farthest))
    return together


def _logarithm(off: FloatArray, step: ComplexArray, farthest: FloatArray) -> ComplexArray:
    """Σ over things of ln(1 + off · step), (W, points), for |off · step| ≤ `LARGEST_STEP`."""
    total = np.zeros_like(step)
    power, of_step, m = np.ones_like(off), np.ones_like(step), 0
    rest = np.inf
    while rest > NEGLIGIBLE_REST:
        for sign in (1.0, -1.0):
            m += 1
            power *= off
            of_step *= step
            sums = power.sum(axis=0)
            total += (sign / m) * sums[:, None] * of_step
        # of an even power the sum is that of the absolute values, and each further one is smaller by `LARGEST_STEP`
        rest = float((sums * farthest**m).max()) * LARGEST_STEP / (1.0 - LARGEST_STEP) / (m + 1)
    return total


def _counts(chance: FloatArray, number: FloatArray) -> FloatArray:
    """P(exactly k) of each thing, (k, things, W)."""
    counts = np.empty((number.shape[1] + 1, *chance.shape))
    np.multiply(number.T[:, None], chance, out=counts[1:])
    np.subtract(1.0, counts[1:].sum(axis=0), out=counts[0])
    return counts

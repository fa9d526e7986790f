"""How many of each part are used per period: the sum, over all places that take it, of their changes.

Each position is a renewal process that has been running for a while: its first change follows its own plan or
forecast, the elements after it stay for times that are independent and follow the law of its class (delayed renewal
process: Cox, Renewal Theory, 1962, ch. 2 and 5). Time is cut into periods. A change that falls into a period counts
as lying evenly spread in it; what is neglected is that a change early in one period makes the next one likelier to
be early in its own. That blurs each later change by about a period, and the first not at all. Where the
median life was twice the longest period or more, no P(≤ k) was 0.01 off from 100,000 courses in continuous time; at
lives shorter than a period the mean was up to 14 % off (measured). `change_counts` tells how changes are
counted, `count_distribution` how they are summed over positions.

A load that the whole plant shares makes its positions wear faster or slower together. A few load cases stand for
it, each with its own law and first changes; given the case the positions are independent, so that the results are
mixed last.
"""

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby, islice, pairwise, repeat
from operator import itemgetter
from typing import Protocol

import numpy as np

from scheduler.statistics.change_counts import POSITIONS_FOR_BANDS, LaterChanges, changes_of_groups, later_changes
from scheduler.statistics.count_distribution import (
    CountTable,
    FloatArray,
    Ints,
    certainly_zero,
    mixture,
    sum_of,
)

MOST_AGAIN = 0.98
"""A share of changes followed by another in the same period, beyond which periods are too long (ours)."""

USERS_AT_ONCE = 2048
CLASSES_KEPT = 64
"""Bound the memory (ours): of so many classes the tables of later changes are kept at hand, about 0.1 MB each."""


@dataclass(frozen=True, slots=True)
class LoadCase:
    """A course that the load of the whole plant may take; the shares of all cases sum to 1.

    For a log-normal load factor, say, the nodes and weights of a Gauss–Hermite quadrature, three or more of them.

    `next_change` (C, W, W) is as `next_change` makes it. `first_change` gives for some positions (n,) the
    probability that their first change falls into each period, (n, W); what is left is beyond. It is called with a
    few thousand positions at a time, with a position again for each of its parts.
    """

    share: float
    next_change: FloatArray
    first_change: Callable[[Ints], FloatArray]


@dataclass(frozen=True, slots=True)
class Users:
    """Which positions (U,) take which part (U,), rising, and how much of it at each change (U,).

    A position takes a part once, since rows count as independent. `amount` is > 0, in the steps in which the part is
    counted; see `CountTable.times` where it is not whole.
    """

    part: Ints
    position: Ints
    amount: FloatArray


@dataclass(frozen=True, slots=True)
class PartDemand:
    """How much of a part is used in each period, and from now to the end of each period."""

    within: CountTable
    by_end: CountTable

    def and_also(self, other: "PartDemand") -> "PartDemand":
        """The sum with an independent demand over the same periods, such as one that has no plan."""
        return PartDemand(self.within.and_also(other.within), self.by_end.and_also(other.by_end))


Piece = tuple[int, list[PartDemand]]


class OfClass(Protocol):
    """The tables of a class; kept for the next chunk of positions."""

    def __call__(self, index: int, *, in_bands: bool) -> LaterChanges: ...


def next_change(edge_d: FloatArray, age_d: FloatArray, stays_cdf: FloatArray) -> FloatArray:
    """P(the next change falls into period w, after a change evenly spread in period u), (C, W, W) as [c, u, w].

    `edge_d` (W + 1,) are the ends of the periods, rising from 0; `stays_cdf` (C, A) is P(an element has been
    changed by `age_d`) (A,), rising from 0 at age 0 and straight between the ages given. Averaging over the
    moment t in (a, b) gives P(changed by e) = [G(e − a) − G(e − b)]/(b − a) with G the integral of the CDF.
    Raises ValueError for edges or ages that do not rise from 0, for ages that end before the last edge, and for
    a CDF that does not rise from 0 to 1 at most.

    >>> weeks_d = np.array([0.0, 7.0, 14.0, 21.0])
    >>> next_change(weeks_d, np.array([0.0, 14.0, 21.0]), np.array([[0.0, 1.0, 1.0]])).round(3)  # 0 to 14 days
    array([[[0.25, 0.5 , 0.25],
            [0.  , 0.25, 0.5 ],
            [0.  , 0.  , 0.25]]])
    """
    _check_law(edge_d, age_d, stays_cdf)
    step_d = np.diff(age_d)
    slope = np.diff(stays_cdf, axis=1) / step_d
    whole_d = np.zeros_like(stays_cdf)
    np.cumsum((stays_cdf[:, 1:] + stays_cdf[:, :-1]) / 2.0 * step_d, axis=1, out=whole_d[:, 1:])
    stay_d = np.maximum(edge_d[None, :] - edge_d[:, None], 0.0)  # [u, w]: from edge u to edge w
    at = np.clip(np.searchsorted(age_d, stay_d, side="right") - 1, 0, len(step_d) - 1)
    into_d = stay_d - age_d[at]
    integral_d = whole_d[:, at] + into_d * (stays_cdf[:, at] + slope[:, at] * into_d / 2.0)
    by_edge = (integral_d[:, :-1] - integral_d[:, 1:]) / np.diff(edge_d)[:, None]
    return np.maximum(np.diff(by_edge, axis=2), 0.0)


def demand_by_part(
    cases: Sequence[LoadCase], later_class: Ints, users: Users, parts: int, *, threads: int = 1
) -> Iterator[PartDemand]:
    """The demand for part 0, 1, …, `parts` − 1, one at a time; nothing where nobody takes it.

    `later_class` says for each position, by which class of `next_change` the elements after the present one stay.
    Memory does not grow with positions. With several `threads`, `first_change` is called in any of them. Raises
    ValueError for shares that do not sum to 1, transitions that are none or lead to endless changes in one period,
    first changes that are not probabilities, users out of order or twice, and indices or amounts out of range.
    """
    _check_cases(cases)
    _check_users(cases, later_class, users, parts)
    nothing = certainly_zero(cases[0].next_change.shape[1])
    next_part = 0
    for part, pieces in groupby(_demand_of_pieces(cases, later_class, users, threads), key=itemgetter(0)):
        yield from repeat(PartDemand(nothing, nothing), part - next_part)
        yield _over_cases([case.share for case in cases], [by_case for _, by_case in pieces])
        next_part = part + 1
    yield from repeat(PartDemand(nothing, nothing), parts - next_part)


def _over_cases(shares: list[float], pieces: list[list[PartDemand]]) -> PartDemand:
    by_case = list(zip(*pieces, strict=True))
    return PartDemand(
        mixture(shares, [sum_of([piece.within for piece in of_case]) for of_case in by_case]),
        mixture(shares, [sum_of([piece.by_end for piece in of_case]) for of_case in by_case]),
    )


def _demand_of_pieces(cases: Sequence[LoadCase], later_class: Ints, users: Users, threads: int) -> Iterator[Piece]:
    """Users of one part who take the same amount, at most `USERS_AT_ONCE`: the part, and the demand in each case."""
    order = np.lexsort((later_class[users.position], users.amount, users.part))
    part, position, amount = users.part[order], users.position[order], users.amount[order]

    kept = [_kept(case) for case in cases]

    def of_chunk(bounds: Ints) -> list[Piece]:
        chosen = position[bounds[0] : bounds[-1]]
        by_case = [
            _changes(case, of_class, later_class[chosen], chosen, np.diff(bounds))
            for case, of_class in zip(cases, kept, strict=True)
        ]
        return [
            (int(part[first]), [_times(changes, float(amount[first])) for changes in of_cases])
            for first, of_cases in zip(bounds[:-1], zip(*by_case, strict=True), strict=True)
        ]

    for pieces in _few_ahead(of_chunk, _chunks(part, amount), threads):
        yield from pieces


def _few_ahead(work: Callable[[Ints], list[Piece]], chunks: Iterator[Ints], threads: int) -> Iterator[list[Piece]]:
    """In order, and only as many ahead as there are threads, so that results do not pile up."""
    if threads == 1:
        yield from map(work, chunks)
        return
    with ThreadPoolExecutor(threads) as pool:
        ahead = deque(pool.submit(work, chunk) for chunk in islice(chunks, threads + 1))
        while ahead:
            done = ahead.popleft().result()
            ahead.extend(pool.submit(work, chunk) for chunk in islice(chunks, 1))
            yield done


def _chunks(part: Ints, amount: FloatArray) -> Iterator[Ints]:
    """Where the pieces of a chunk of users begin, and where the last one ends."""
    begins = np.flatnonzero((np.diff(part, prepend=-1) != 0) | (np.diff(amount, prepend=0.0) != 0))
    pieces = [np.arange(begin, end, USERS_AT_ONCE) for begin, end in pairwise([*begins.tolist(), len(part)])]
    bounds = np.append(np.concatenate([*pieces, begins[:0]]), len(part))
    first = 0
    while first < len(bounds) - 1:
        last = int(np.searchsorted(bounds, bounds[first] + USERS_AT_ONCE, side="right")) - 1
        yield bounds[first : last + 1]
        first = last


def _kept(case: LoadCase) -> OfClass:
    @lru_cache(maxsize=CLASSES_KEPT)
    def of_class(index: int, *, in_bands: bool) -> LaterChanges:
        return later_changes(case.next_change[index], in_bands=in_bands)

    return of_class


def _changes(case: LoadCase, of_class: OfClass, chosen_class: Ints, chosen: Ints, sizes: Ints) -> list[PartDemand]:
    """The number of changes of each group of positions in a row."""
    first = np.asarray(case.first_change(chosen), dtype=np.float64)
    _check_first(first, (len(chosen), case.next_change.shape[1]))
    classes, which = np.unique(chosen_class, return_inverse=True)
    in_bands = bool(sizes.max() >= POSITIONS_FOR_BANDS)
    later = [of_class(index, in_bands=in_bands) for index in classes.tolist()]
    return [PartDemand(within, by_end) for within, by_end in changes_of_groups(first, which, later, sizes)]


def _times(counts: PartDemand, amount: float) -> PartDemand:
    return counts if amount == 1.0 else PartDemand(counts.within.times(amount), counts.by_end.times(amount))


def _check_law(edge_d: FloatArray, age_d: FloatArray, stays_cdf: FloatArray) -> None:
    for name, rising_d in (("edges", edge_d), ("ages", age_d)):
        if len(rising_d) < 2 or rising_d[0] != 0.0 or not (np.diff(rising_d) > 0.0).all():
            raise ValueError(f"{name} {rising_d} do not rise from 0")
    if age_d[-1] < edge_d[-1]:
        raise ValueError(f"ages end at {age_d[-1]} d, before the last edge {edge_d[-1]} d")
    if stays_cdf.shape[1:] != age_d.shape:
        raise ValueError(f"a CDF of shape {stays_cdf.shape} does not go with {len(age_d)} ages")
    if stays_cdf[:, 0].any() or not (np.diff(stays_cdf, axis=1) >= 0.0).all() or stays_cdf.max(initial=0.0) > 1.0:
        raise ValueError("a CDF of times does not rise from 0 to 1 at most")


def _check_cases(cases: Sequence[LoadCase]) -> None:
    total = sum(case.share for case in cases)
    if abs(total - 1.0) > 1e-9 or min(case.share for case in cases) < 0.0:
        raise ValueError(f"shares of the load cases sum to {total}, not 1, or are below 0")
    for case in cases:
        later = case.next_change
        if later.shape != cases[0].next_change.shape or later.ndim != 3 or later.shape[1] != later.shape[2]:
            raise ValueError(f"transitions of shape {later.shape} are not classes × periods × periods in every case")
        if not (later.min() >= 0.0 and later.sum(axis=2).max() <= 1.0 + 1e-9) or np.tril(later, -1).any():
            raise ValueError("transitions are not probabilities from a period to itself and later ones")
        if (again := np.diagonal(later, axis1=1, axis2=2).max()) > MOST_AGAIN:
            raise ValueError(f"a change is followed by another in the same period with {again}, above {MOST_AGAIN}")


def _check_users(cases: Sequence[LoadCase], later_class: Ints, users: Users, parts: int) -> None:
    for name, index, limit in (
        ("part", users.part, parts),
        ("position", users.position, len(later_class)),
        ("class", later_class, cases[0].next_change.shape[0]),
    ):
        if len(index) and not (index.min() >= 0 and index.max() < limit):
            raise ValueError(f"{name} {index.min()} to {index.max()} is not from 0 to {limit - 1}")
    if not len(users.part) == len(users.position) == len(users.amount):
        raise ValueError(f"{len(users.part)} parts, {len(users.position)} positions, {len(users.amount)} amounts")
    if (np.diff(users.part) < 0).any():
        raise ValueError("users are not sorted by part")
    taken, times = np.unique(users.part * len(later_class) + users.position, return_counts=True)
    if (times > 1).any():
        part, position = divmod(int(taken[np.argmax(times)]), len(later_class))
        raise ValueError(f"position {position} takes part {part} {times.max()} times, not once")
    if not ((users.amount > 0.0) & (users.amount < np.inf)).all():
        raise ValueError(f"amount {users.amount.min()} is not above 0 and finite")


def _check_first(first: FloatArray, shape: tuple[int, int]) -> None:
    if first.shape != shape:
        raise ValueError(f"first changes of shape {first.shape}, not {shape}")
    if not (first.min(initial=0.0) >= -1e-9 and first.sum(axis=1).max(initial=0.0) <= 1.0 + 1e-9):
        raise ValueError("first changes are below 0, above 1 in sum, or not numbers")

"""How a quantity follows others within many short histories, each history's own smooth trend taken out first.

A history is cut into blocks of a few neighbours in time; in each block a straight line in time is free, and what is
left is regressed on what the regressors have left (Frisch and Waugh 1933: the same slopes as with all lines in one
regression). Weights of Huber (1964) by the robust scale of each history keep single wrong values from deciding.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]

BLOCK = 10
"""Neighbours that share a straight line (ours): a rise that bends is straight over so few."""

HUBER_K = 1.345
"""95 % efficient with normal scatter (Huber 1964; the usual constant)."""

ROUNDS = 6
"""Of reweighting: from then on slopes move by less than a tenth of their error (ours)."""

_NORMAL_MAD = 0.6745


@dataclass(frozen=True, slots=True)
class LocalSlopes:
    """Of P histories: slope and se (P, K) of each regressor, how far it moved apart from the trend and from the
    other (P, K; a standard deviation), freedom (P,), scale (P,) of the residuals (N,).

    NaN where a history has too few values, or its regressors do not move apart from its trend.
    """

    slope: Floats
    se: Floats
    moved: Floats
    freedom: Floats
    scale: Floats
    residual: Floats


def blocks_of(offsets: Indices, size: int = BLOCK) -> Indices:
    """The block of each value, counted through all stretches (N,): blocks of one stretch are as good as alike.

    A stretch is a part of a history with a trend of its own; stretch i owns offsets[i] up to offsets[i + 1].

    >>> blocks_of(np.array([0, 5, 8]), size=3)
    array([0, 0, 0, 1, 1, 2, 2, 2])
    """
    count = np.diff(offsets)
    blocks = np.maximum(np.ceil(count / size).astype(np.intp), 0)
    first = np.cumsum(blocks) - blocks
    owner = np.repeat(np.arange(len(count)), count)
    place = np.arange(offsets[-1]) - offsets[:-1][owner]
    return np.asarray(first[owner] + place * blocks[owner] // np.maximum(count[owner], 1), dtype=np.intp)


def local_slopes(
    values: Floats,
    regressors: Floats,
    at: Floats,
    sd: Floats,
    offsets: Indices,
    block: Indices,
    huber_k: float = HUBER_K,
    rounds: int = ROUNDS,
) -> LocalSlopes:
    """Slopes of `values` (N,) on one or two `regressors` (N, K), apart from a trend over `at` (N,).

    History i owns the rows offsets[i] up to offsets[i + 1], and `block` (N,) says which of them share a line, as
    `blocks_of` deals them out. `sd` (N,) says how far each value is known to scatter; the scale that is found is in
    units of it. `huber_k` infinite: least squares. Few `rounds` of reweighting are a first look. Raises ValueError
    for another number of regressors and for an sd that is not above 0.

    >>> at = np.arange(8.0)
    >>> moved = np.array([[0.0], [1], [0], [0], [2], [0], [1], [0]])
    >>> values, offsets = 3.0 + 0.1 * at + 2.0 * moved[:, 0], np.array([0, 8])
    >>> found = local_slopes(values, moved, at, np.ones(8), offsets, blocks_of(offsets))
    >>> found.slope.round(6)
    array([[2.]])
    """
    _refuse(regressors, sd)
    histories = len(offsets) - 1
    owner = np.repeat(np.arange(histories), np.diff(offsets))
    columns = np.column_stack([values, regressors])
    precision = 1.0 / sd**2
    weight, scale = np.ones(len(values)), np.full(histories, np.nan)
    for _ in range(1 if np.isinf(huber_k) else rounds):
        left = without_trend(columns, at, weight * precision, block)
        slope, spread = _solve(left, weight * precision, owner, histories)
        residual = left[:, 0] - np.sum(left[:, 1:] * np.nan_to_num(slope)[owner], axis=1)
        off = np.abs(residual) / sd
        scale = _robust_scale(off, owner, histories)
        with np.errstate(divide="ignore", invalid="ignore"):
            limit = huber_k * np.maximum(scale, 1e-9)[owner]
            weight = np.where(off > limit, limit / off, 1.0)
    freedom = np.diff(offsets) - _taken_by_lines(block, owner, histories) - regressors.shape[1]
    return _with_errors(slope, spread, freedom, residual, weight, (sd, owner, np.isinf(huber_k)))


def without_trend(columns: Floats, at: Floats, weight: Floats, block: Indices) -> Floats:
    """What is left of each column (N, C) when the weighted straight line over `at` of its block is taken out."""
    count = int(block[-1]) + 1 if len(block) else 0
    total = np.bincount(block, weight, count)
    time = at - (np.bincount(block, weight * at, count) / total)[block]
    spread = np.bincount(block, weight * time**2, count)
    left = np.empty_like(columns)
    for column in range(columns.shape[1]):
        centred = columns[:, column] - (np.bincount(block, weight * columns[:, column], count) / total)[block]
        along = np.bincount(block, weight * time * centred, count)
        rise = np.divide(along, spread, out=np.zeros(count), where=spread > 0.0)
        left[:, column] = centred - rise[block] * time
    return left


def _solve(left: Floats, weight: Floats, owner: Indices, histories: int) -> tuple[Floats, Floats]:
    """Slopes (P, K), and the diagonal of the inverse of the normal matrix (P, K)."""

    def total(one: int, other: int) -> Floats:
        return np.bincount(owner, weight * left[:, one] * left[:, other], histories).astype(np.float64)

    with np.errstate(divide="ignore", invalid="ignore"):
        if left.shape[1] == 2:
            own = total(1, 1)
            own = np.where(own > 0.0, own, np.nan)
            return (total(0, 1) / own)[:, None], (1.0 / own)[:, None]
        a, b, c, d, e = total(1, 1), total(1, 2), total(2, 2), total(0, 1), total(0, 2)
        determinant = a * c - b * b
        determinant = np.where(determinant > 1e-9 * a * c, determinant, np.nan)
        slope = np.column_stack([c * d - b * e, a * e - b * d]) / determinant[:, None]
        return slope, np.column_stack([c, a]) / determinant[:, None]


def _with_errors(
    slope: Floats,
    spread: Floats,
    freedom: Floats,
    residual: Floats,
    weight: Floats,
    known: tuple[Floats, Indices, bool],
) -> LocalSlopes:
    """Standard errors by the residuals that count, as a Huber regression has them: Σ ψ² / freedom over (mean ψ')²."""
    sd, owner, is_plain = known
    histories = len(freedom)
    weighed = np.bincount(owner, weight / sd**2, histories)
    freedom = np.where(freedom > 0.0, freedom, np.nan)
    pulled = np.bincount(owner, (weight * residual / sd) ** 2, histories)
    kept = np.bincount(owner, weight >= 1.0, histories) / np.maximum(np.bincount(owner, minlength=histories), 1)
    shrunk = np.ones(histories) if is_plain else np.maximum(kept, 0.2)
    scale = np.sqrt(pulled / freedom) / shrunk
    se = scale[:, None] * np.sqrt(spread)
    moved = 1.0 / np.sqrt(spread * weighed[:, None])
    return LocalSlopes(np.where(np.isnan(scale)[:, None], np.nan, slope), se, moved, freedom, scale, residual)


def _robust_scale(off: Floats, owner: Indices, histories: int) -> Floats:
    """The median of the absolute residuals of each history, as the sd of a normal one."""
    # one sort of plain numbers, the history before the point and off squeezed into 0 to 1 behind it, is three times
    # as fast as one by two keys, and loses nothing that a scale would notice
    ordered = np.sort(owner + off / (1.0 + off))
    count = np.bincount(owner, minlength=histories)
    start = np.cumsum(count) - count
    scale = np.full(histories, np.nan)
    some = np.flatnonzero(count)
    squeezed = ordered[start[some] + count[some] // 2] - some
    scale[some] = squeezed / (1.0 - squeezed) / _NORMAL_MAD
    return scale


def _taken_by_lines(block: Indices, owner: Indices, histories: int) -> Floats:
    """Values of each history that its lines go through: two a block, or one where there is no more."""
    first = np.ones(len(block), dtype=np.bool_)
    first[1:] = block[1:] != block[:-1]
    size = np.bincount(block)[block[first]]
    return np.bincount(owner[first], np.minimum(size, 2), histories).astype(np.float64)


def _refuse(regressors: Floats, sd: Floats) -> None:
    if regressors.ndim != 2 or regressors.shape[1] not in {1, 2}:
        raise ValueError(f"regressors of shape {regressors.shape}: one or two columns are solved for")
    if not np.all(sd > 0.0):
        raise ValueError(f"a standard deviation of {float(np.min(sd))} is not above 0")

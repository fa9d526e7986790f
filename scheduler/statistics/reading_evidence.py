"""What the readings of many lives say, each by itself: its life, its clean level, its shape and its noise."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from scheduler.statistics.in_threads import for_each
from scheduler.statistics.load_grid import THREE_POINTS, LoadGrid
from scheduler.statistics.load_posterior import (
    ForecastSettings,
    Gathered,
    Positions,
    Posterior,
    ReadingColumns,
    gather,
    posterior,
)

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]

_AT_ONCE = 96  # lives: more of them do not leave room in the processor's cache, fewer cost calls
_NEARLY_ALL = 0.75  # of the shapes: more are as soon weighed as picked out
_BLOCKS_A_RUN = 8  # of one thread, before it takes more: neighbours have the same shapes
_FREED_BYTES = 16 * 2**20
"""The GNU allocator gives freed memory back beyond twice the largest piece freed so far. For a few hundred lives that
is less than a block's tables, and to get them anew for every block took a sixth of the time. So one such piece, which
is never touched, is freed first."""
_RANKED_AT_ONCE = 4096  # lives
_NEGLECTED = 0.01  # of a life's weight of shapes


@dataclass(frozen=True, slots=True)
class ReadingEvidence:
    """Of E lives, (E,) each; NaN for a life without readings.

    log_life_mean, log_life_var: of ln(run hours from fitting to terminal). load_share: load now over terminal load
    (geometric mean). clean_log_mean, clean_log_var: started logarithm of the clean ΔP. noise_ratio: variance of the
    readings over the stated one. shape_share (E, J): weights of the shapes.
    """

    log_life_mean: Floats
    log_life_var: Floats
    load_share: Floats
    clean_log_mean: Floats
    clean_log_var: Floats
    noise_ratio: Floats
    shape_share: Floats


def nothing_read(lives: int, shapes: int) -> ReadingEvidence:
    columns = {column.name: np.full(lives, np.nan) for column in fields(ReadingEvidence)}
    return ReadingEvidence(**columns | {"shape_share": np.full((lives, shapes), np.nan)})


@dataclass(frozen=True, slots=True)
class WeighedBlock:
    """The posterior of a few lives on the nodes of the shapes that they may have; rows: which lives."""

    rows: Indices
    some: Positions
    grid: LoadGrid
    gathered: Gathered
    weighed: Posterior
    shapes: Indices


def weigh_each(
    grid: LoadGrid,
    readings: ReadingColumns,
    positions: Positions,
    settings: ForecastSettings,
    put: Callable[[WeighedBlock], None],
) -> None:
    """Give `put` the posterior of every life that has readings, a few lives of like shapes and like loads at a time.

    Many blocks are dealt to as many threads as there are processors, so `put` may write to its rows only; a life's
    answer hangs neither on them nor on who shares its block.
    """
    read = np.flatnonzero(np.diff(readings.offsets))
    may_have = _believed_shapes(positions.shape_weights[read])
    blocks = list(_alike(may_have, _risen_share(readings, positions)[read]))

    def weigh(some_blocks: list[Indices]) -> None:
        nodes, shapes = grid, np.arange(may_have.shape[1])
        for chosen in some_blocks:
            rows, wanted = read[chosen], np.flatnonzero(may_have[chosen].any(axis=0))
            if len(wanted) > _NEARLY_ALL * may_have.shape[1]:
                wanted = np.arange(may_have.shape[1])
            if not np.array_equal(wanted, shapes):
                nodes, shapes = grid if len(wanted) == may_have.shape[1] else grid.of(wanted), wanted
            some = positions.at(rows)
            # each life keeps to its own shapes
            own = np.where(may_have[chosen], some.shape_weights, 0.0)
            some = replace(some, shape_weights=own[:, shapes])
            gathered = gather(readings.of(rows), some, settings)
            put(WeighedBlock(rows, some, nodes, gathered, posterior(nodes, gathered, some, settings), shapes))

    if len(blocks) > 1:
        np.empty(_FREED_BYTES, dtype=np.uint8)
    for_each([blocks[start : start + _BLOCKS_A_RUN] for start in range(0, len(blocks), _BLOCKS_A_RUN)], weigh)


def _alike(may_have: npt.NDArray[np.bool_], risen: Floats) -> Iterator[Indices]:
    """Rows in blocks: lives of the same shapes together, nearly all shapes counting as all, by how far they rose."""
    nearly_all = may_have.sum(axis=1) > _NEARLY_ALL * may_have.shape[1]
    order = np.lexsort((risen, *(may_have | nearly_all[:, None]).T))
    yield from (order[start : start + _AT_ONCE] for start in range(0, len(order), _AT_ONCE))


def _risen_share(readings: ReadingColumns, positions: Positions) -> Floats:
    """How far the last reading of each life (P,) stands from clean to terminal; 0 without one."""
    read = np.flatnonzero(np.diff(readings.offsets))
    risen = np.zeros(len(positions.run_h_now))
    clean = positions.clean_mean[read]
    risen[read] = readings.log_dp[readings.offsets[read + 1] - 1] - clean
    risen[read] /= np.maximum(positions.log_terminal[read] - clean, 1e-3)
    return risen


def _believed_shapes(weights: Floats) -> npt.NDArray[np.bool_]:
    """The likeliest shapes of each life, up to nearly all of its weight, (n, J)."""
    kept = np.zeros(weights.shape, dtype=bool)

    def keep(first: int) -> None:
        kept[first : first + _RANKED_AT_ONCE] = _likeliest(weights[first : first + _RANKED_AT_ONCE])

    for_each(range(0, len(weights), _RANKED_AT_ONCE), keep)
    return kept


def _likeliest(weights: Floats) -> npt.NDArray[np.bool_]:
    order = np.argsort(-weights, axis=1)
    before = np.cumsum(np.take_along_axis(weights, order, axis=1), axis=1)
    before = before - np.take_along_axis(weights, order, axis=1)
    total = weights.sum(axis=1, keepdims=True)
    kept = np.zeros(weights.shape, dtype=bool)
    np.put_along_axis(kept, order, before < (1.0 - _NEGLECTED) * total, axis=1)
    return kept


def evidence_of(
    grid: LoadGrid, readings: ReadingColumns, positions: Positions, settings: ForecastSettings
) -> ReadingEvidence:
    """What the readings of each life say, given what was known of it before."""
    found = nothing_read(*positions.shape_weights.shape)
    weigh_each(grid, readings, positions, settings, lambda block: put_evidence(found, block))
    return found


def put_evidence(into: ReadingEvidence, block: WeighedBlock) -> None:
    rows, some, got, weighed = block.rows, block.some, block.gathered, block.weighed
    mean, clean = weighed.mean(weighed.log_life), weighed.mean(weighed.clean)
    of_shape, bend = _shapes_and_bend(block)
    into.log_life_mean[rows] = mean
    into.log_life_var[rows] = weighed.variance(weighed.log_life, mean)
    into.load_share[rows] = np.exp(got.log_h[:, 0] - mean + np.log(got.now_s[:, 0]) * bend)
    into.clean_log_mean[rows] = some.clean_mean + clean
    of_level = 1.0 / (1.0 / some.clean_var + got.weight.sum(axis=1))
    into.clean_log_var[rows] = weighed.variance(weighed.clean, clean) + of_level
    into.noise_ratio[rows] = weighed.mean(weighed.scale) / (got.freedom[:, 0] - 1.0)
    into.shape_share[rows] = 0.0
    into.shape_share[np.ix_(rows, block.shapes)] = of_shape


def _shapes_and_bend(block: WeighedBlock) -> tuple[Floats, Floats]:
    """Share of each shape (n, J), and the mean κ (n,)."""
    grid, weighed = block.grid, block.weighed
    lives, shapes, bends = len(block.rows), len(block.shapes), len(THREE_POINTS)
    run = weighed.place // grid.loads  # nodes of a shape and bend lie together
    share = np.bincount(run, weighed.share, lives * shapes * bends).reshape(lives, shapes, bends)
    return share.sum(axis=2), share.sum(axis=1) @ np.exp(grid.log_bend[: bends * grid.loads : grid.loads])

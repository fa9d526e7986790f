"""What the readings of many lives say, each by itself: its life, its clean level, its shape and its noise."""

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from scheduler.statistics.load_grid import LoadGrid
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
Singles = npt.NDArray[np.float32]
Indices = npt.NDArray[np.int64]

_AT_ONCE = 64  # keeps the block's tables in the processor's cache
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


def weighed_blocks(
    grid: LoadGrid, readings: ReadingColumns, positions: Positions, settings: ForecastSettings
) -> Iterator[WeighedBlock]:
    """The posterior of every life that has readings, a few lives of like shapes at a time."""
    read = np.flatnonzero(np.diff(readings.offsets))
    may_have = _believed_shapes(positions.shape_weights[read])
    order = np.lexsort(may_have.T)
    for start in range(0, len(read), _AT_ONCE):
        chosen = order[start : start + _AT_ONCE]
        rows, shapes = read[chosen], np.flatnonzero(may_have[chosen].any(axis=0))
        some = positions.at(rows)
        # each life keeps to its own shapes, so that its answer does not hang on who shares its block
        own = np.where(may_have[chosen], some.shape_weights, 0.0)
        some = replace(some, shape_weights=own[:, shapes])
        gathered = gather(readings.of(rows), some, settings)
        nodes = grid if len(shapes) == may_have.shape[1] else grid.of(shapes)
        yield WeighedBlock(rows, some, nodes, gathered, posterior(nodes, gathered, some, settings), shapes)


def _believed_shapes(weights: Floats) -> npt.NDArray[np.bool_]:
    """The likeliest shapes of each life, up to nearly all of its weight, (n, J)."""
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
    for block in weighed_blocks(grid, readings, positions, settings):
        put_evidence(found, block)
    return found


def put_evidence(into: ReadingEvidence, block: WeighedBlock) -> None:
    rows, some, got = block.rows, block.some, block.gathered
    share, log_life = block.weighed.share, block.weighed.log_life
    mean = _mean(share, log_life)
    into.log_life_mean[rows] = mean
    into.log_life_var[rows] = _mean(share, (log_life - mean[:, None].astype(np.float32)) ** 2)
    bends = np.exp(block.grid.log_bend)
    log_now = np.log(got.now_s)
    log_load_share = _mean(share, got.log_h.astype(np.float32) - log_life) + log_now[:, 0] * (share @ bends)
    into.load_share[rows] = np.exp(log_load_share)
    clean = _mean(share, block.weighed.clean)
    scatter = _mean(share, (block.weighed.clean - clean[:, None].astype(np.float32)) ** 2)
    into.clean_log_mean[rows] = some.clean_mean + clean
    into.clean_log_var[rows] = scatter + 1.0 / (1.0 / some.clean_var + got.weight.sum(axis=1))
    into.noise_ratio[rows] = _mean(share, block.weighed.scale) / (got.freedom[:, 0] - 1.0)
    into.shape_share[rows] = 0.0
    into.shape_share[np.ix_(rows, block.shapes)] = share.reshape(*some.shape_weights.shape, -1).sum(axis=2)


def _mean(share: Singles, values: Singles) -> Floats:
    return np.asarray(np.einsum("nk,nk->n", share, values), dtype=np.float64)

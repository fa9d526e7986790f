"""What the readings of many lives say, each by itself: its life, its clean level, its shape and its noise."""

from collections.abc import Iterator
from dataclasses import dataclass

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
    return ReadingEvidence(*(np.full(lives, np.nan) for _ in range(6)), np.full((lives, shapes), np.nan))


def weighed_blocks(
    grid: LoadGrid, readings: ReadingColumns, positions: Positions, settings: ForecastSettings
) -> Iterator[tuple[Indices, Positions, Gathered, Posterior]]:
    """The posterior of every life that has readings, a few lives at a time."""
    read = np.flatnonzero(np.diff(readings.offsets))
    for start in range(0, len(read), _AT_ONCE):
        rows = read[start : start + _AT_ONCE]
        some = positions.at(rows)
        gathered = gather(readings, rows, some, settings)
        yield rows, some, gathered, posterior(grid, gathered, some, settings)


def evidence_of(
    grid: LoadGrid, readings: ReadingColumns, positions: Positions, settings: ForecastSettings
) -> ReadingEvidence:
    """What the readings of each life say, given what was known of it before."""
    found = nothing_read(*positions.shape_weights.shape)
    for rows, some, gathered, weighed in weighed_blocks(grid, readings, positions, settings):
        put_evidence(found, rows, some, grid, gathered, weighed)
    return found


def put_evidence(
    into: ReadingEvidence, rows: Indices, some: Positions, grid: LoadGrid, got: Gathered, weighed: Posterior
) -> None:
    share, log_life = weighed.share, weighed.log_life
    mean = _mean(share, log_life)
    into.log_life_mean[rows] = mean
    into.log_life_var[rows] = _mean(share, (log_life - mean[:, None].astype(np.float32)) ** 2)
    bends = np.exp(grid.log_bend)
    log_now = np.log(got.now_s)
    log_load_share = _mean(share, got.log_h.astype(np.float32) - log_life) + log_now[:, 0] * (share @ bends)
    into.load_share[rows] = np.exp(log_load_share)
    clean = _mean(share, weighed.clean)
    scatter = _mean(share, (weighed.clean - clean[:, None].astype(np.float32)) ** 2)
    into.clean_log_mean[rows] = some.clean_mean + clean
    into.clean_log_var[rows] = scatter + 1.0 / (1.0 / some.clean_var + got.weight.sum(axis=1))
    into.noise_ratio[rows] = _mean(share, weighed.scale) / (got.freedom[:, 0] - 1.0)
    into.shape_share[rows] = share.reshape(*some.shape_weights.shape, -1).sum(axis=2)


def _mean(share: Singles, values: Singles) -> Floats:
    return np.asarray(np.einsum("nk,nk->n", share, values), dtype=np.float64)
